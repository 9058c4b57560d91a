"""Maps of the plane, against numpy's own linear algebra."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from nestkit.geometry.affine import apply, compose, determinant, is_similarity, rotation, stretch, translation

numbers = st.floats(-20.0, 20.0)


@given(st.lists(numbers, min_size=6, max_size=6))
def test_stretch_is_the_largest_singular_value(values):
    matrix = np.array(values).reshape(2, 3)
    assert stretch(matrix) == pytest.approx(np.linalg.norm(matrix[:, :2], 2), rel=1e-7, abs=1e-7)
    assert determinant(matrix) == pytest.approx(np.linalg.det(matrix[:, :2]), abs=1e-9)


@given(st.floats(-4.0, 4.0), numbers, numbers, st.floats(0.1, 9.0), st.booleans())
def test_what_turns_mirrors_and_scales_alike_is_a_similarity(turn, x, y, scale, mirrored):
    flat = np.array([[-scale if mirrored else scale, 0.0, 0.0], [0.0, scale, 0.0]])
    matrix = compose(translation(x, y), compose(rotation(turn), flat))
    assert is_similarity(matrix)
    assert stretch(matrix) == pytest.approx(scale)
    assert not is_similarity(compose(matrix, np.array([[1.01, 0.0, 0.0], [0.0, 1.0, 0.0]])))
    assert not is_similarity(compose(matrix, np.array([[1.0, 0.01, 0.0], [0.0, 1.0, 0.0]])))
    ahead = apply(matrix, np.array([(0.0, 0.0), (0.0, 1.0)]))
    # Up is turned to the left by a quarter more than the turn, mirrored or not.
    assert ahead[1] - ahead[0] == pytest.approx([-scale * math.sin(turn), scale * math.cos(turn)], abs=1e-9)
