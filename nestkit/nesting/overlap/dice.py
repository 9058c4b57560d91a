"""Random numbers for the kernels: the same with the compiler on and off, and on every machine.

References
----------
P. L'Ecuyer 1988, *Efficient and portable combined random number generators*, CACM 31(6): two
multiplicative generators combined, period about 2.3e18. All products fit in 64 bits.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from nestkit.jit import kernel

_M1, _A1 = 2147483563, 40014
_M2, _A2 = 2147483399, 40692

Dice = NDArray[np.int64]


def dice(seed: int) -> Dice:
    """State of a generator, (2,) int64; equal seeds give equal numbers."""
    first, second = np.random.SeedSequence(seed).generate_state(2, np.uint32)
    return np.array([1 + int(first) % (_M1 - 1), 1 + int(second) % (_M2 - 1)], dtype=np.int64)


@kernel
def roll(state: Dice) -> float:
    """Next number, uniform in the open interval (0, 1)."""
    state[0] = state[0] * _A1 % _M1
    state[1] = state[1] * _A2 % _M2
    z = state[0] - state[1]
    if z < 1:
        z += _M1 - 1
    return float(z / _M1)


@kernel
def pick(state: Dice, count: int) -> int:
    """A whole number from 0 to ``count`` - 1."""
    return min(int(roll(state) * count), count - 1)
