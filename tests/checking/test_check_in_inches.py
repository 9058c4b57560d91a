"""A plan of a build in inches is judged in inches: the same faults, every length and place converted.

Each fault is planted twice, and the two verdicts are held against each other: 1 in = 25.4 mm.
"""

from __future__ import annotations

import json
import re
from pathlib import Path

import pytest

from nestkit.checking import Fault, check_coupon, check_folder
from nestkit.checking.verdict import from_place
from nestkit.errors import InputError
from tests.checking.made import ONE, Made, block, made
from tests.checking.test_check_faults import PLANTED

INCH = 25.4
#: Numbers with a unit behind them: a length, a size, a place or an area.
MEASURED = re.compile(r"((?:\d[\d.]*|\(-?[\d.]+, -?[\d.]+\))(?: x [\d.]+)?) (mm|in)(2?)\b")


def told(folder: Path, m: Made, unit: str) -> list[Fault]:
    m.plan["unit"] = unit
    # Stock sheets have names that a maker gives, which stay as they are.
    text = json.dumps(m.plan).replace('"eva 6 mm"', '"thin sheet"').replace('"eva 10 mm"', '"thick sheet"')
    m.plan = json.loads(text)
    return list(check_folder(m.write(folder)).faults)


def measured(text: str) -> list[tuple[float, str, str]]:
    """Every number that has a unit, with the unit and the power."""
    return [
        (float(number), unit, power)
        for numbers, unit, power in MEASURED.findall(text)
        for number in re.findall(r"-?\d[\d.]*", numbers)
    ]


@pytest.mark.parametrize("name", sorted(PLANTED))
def test_every_planted_fault_is_told_in_inches(name: str, tmp_path: Path) -> None:
    _, action = PLANTED[name]
    both = []
    for unit in ("mm", "in"):
        m = made()
        action(m)
        both.append(told(tmp_path / unit, m, unit))
    assert [fault.code for fault in both[0]] == [fault.code for fault in both[1]]
    for metric, imperial in zip(*both, strict=True):
        in_mm, in_inches = measured(str(metric)), measured(str(imperial))
        assert {unit for _, unit, _ in in_mm} <= {"mm"}
        assert {unit for _, unit, _ in in_inches} <= {"in"}
        assert len(in_mm) == len(in_inches), (str(metric), str(imperial))
        for (first, _, power), (second, _, _) in zip(in_mm, in_inches, strict=True):
            # Places are told to 0.1 mm or 0.001 in, areas to 1 mm2.
            off = 0.6 / INCH**2 + 6e-4 if power else 0.06 / INCH + 6e-4
            assert first / INCH ** (2 if power else 1) == pytest.approx(second, abs=off)


def test_a_place_and_a_shift_are_told_in_inches(tmp_path: Path) -> None:
    m = made()
    m.change(ONE, 0, rows=block(2.54, -12.7, 400, 250)(0))
    (fault,) = told(tmp_path, m, "in")
    # hypot(0.1, 0.5) = 0.5099
    assert str(fault).startswith(
        f"{ONE}, at (0.100, -0.500) in: the blank's edge lies 0.5099 in from its planned place "
        "(+0.1000, -0.5000)."
    )


def test_a_shift_along_one_axis_has_no_minus_for_nothing() -> None:
    assert from_place((0.3, -0.0001), "mm") == "0.30 mm from its planned place (+0.30, +0.00)"
    assert from_place((-0.004, -5.08), "in") == "0.2000 in from its planned place (-0.0002, -0.2000)"


def test_a_coupon_is_judged_in_its_builds_unit(tmp_path: Path) -> None:
    m = made()
    m.write(tmp_path)
    faults = check_coupon(tmp_path, ONE, "in")
    assert faults
    assert all(fault.unit == "in" for fault in faults)
    assert not [fault for fault in faults if re.search(r"\d\)? mm\b", str(fault))]


@pytest.mark.parametrize(("unit", "why"), [("cm", "'cm' is none of mm, in"), (None, "unit")])
def test_a_plan_of_no_known_unit_is_refused_by_name(tmp_path: Path, unit: str | None, why: str) -> None:
    m = made()
    if unit is None:
        del m.plan["unit"]
    else:
        m.plan["unit"] = unit
    with pytest.raises(InputError) as raised:
        check_folder(m.write(tmp_path))
    (problem,) = raised.value.problems
    assert why in str(problem)
    assert "unit" in str(problem)
