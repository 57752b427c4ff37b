"""Matrices: products held against numpy's, ways up and directions worked by hand."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from monitor.imports.matrices import (
    IDENTITY,
    MatrixError,
    checked,
    height_m,
    lifted,
    plan_m,
    sound,
    stance,
    within,
)

numbers = st.floats(-900, 900, allow_nan=False, width=32)
matrices = st.lists(st.lists(numbers, min_size=3, max_size=3), min_size=4, max_size=4).map(sound)


def square(matrix):
    """The same with a fourth column, as numpy multiplies it: points are rows."""
    made = np.eye(4)
    made[:, :3] = matrix
    return made


@given(matrices, matrices)
def test_a_product_is_that_of_a_library(inner, outer):
    assert np.allclose(square(within(inner, outer)), square(inner) @ square(outer), rtol=1e-9)


@given(matrices)
def test_nothing_around_it_changes_nothing(matrix):
    assert np.allclose(within(matrix, IDENTITY), matrix)
    assert np.allclose(within(IDENTITY, matrix), matrix)


@given(matrices, matrices, matrices)
def test_it_does_not_matter_which_pair_is_multiplied_first(a, b, c):
    left, right = within(within(a, b), c), within(a, within(b, c))
    assert np.allclose(left, right, rtol=1e-7, atol=1e-3)


def test_millimetres_become_metres():
    place = sound([[1, 0, 0], [0, 1, 0], [0, 0, 1], [1500, -250, 7480]])
    assert height_m(place) == pytest.approx(7.48)
    assert plan_m(place) == pytest.approx((1.5, -0.25))
    assert height_m(lifted(1.2)) == pytest.approx(1.2)


# The base of a device points along its own z: up when it hangs (DIN SPEC 15800). So the side
# away from the base is -z: tilt 0 when that is straight up.
@pytest.mark.parametrize(
    ("z_axis", "way_up", "tilt", "lean"),
    [
        ((0, 0, 1), "hung", 180, None),
        ((0, 0, -1), "standing", 0, None),
        # -z points along -x, a quarter turn anticlockwise from +y seen from above: 270.
        ((1, 0, 0), "side", 90, 270),
        ((-1, 0, 0), "side", 90, 90),
        ((0, 1, 0), "side", 90, 180),
        ((0, -1, 0), "side", 90, 0),
        # z leans from straight up by 45 degrees toward +x: -z is 135 degrees from up, toward -x.
        ((1, 0, 1), "leaning", 135, 270),
        # Length says nothing: a group that scales by 3 turns nothing.
        ((0, 0, 3), "hung", 180, None),
        # 4 degrees off straight down, within what counts as straight: tan 4 = 0.0699.
        ((0.0699, 0, 1), "hung", 176, None),
        # 6 degrees is not: tan 6 = 0.1051.
        ((0.1051, 0, 1), "leaning", 174, 270),
    ],
)
def test_which_way_up(z_axis, way_up, tilt, lean):
    found = stance(sound([[1, 0, 0], [0, 1, 0], z_axis, [0, 0, 0]]))
    assert found.way_up == way_up
    assert found.tilt_deg == pytest.approx(tilt, abs=0.01)
    assert found.lean_deg == (None if lean is None else pytest.approx(lean, abs=0.01))


def test_a_matrix_that_flattens_all_says_no_way_up():
    assert stance(sound([[0, 0, 0]] * 4)) is None


@pytest.mark.parametrize(
    "text",
    [
        "",
        "0",
        "{1,0,0}{0,1,0}{0,0,1}",
        "{1,0,0}{0,1,0}{0,0,1}{0,0,nan}",
        "{1,0,0}{0,1,0}{0,0,1}{0,0,inf}",
        "{1,0,0}{0,1,0}{0,0,1}{0,0,1,2}",
        "{1,0,0}{0,1,0}{0,0,1}{0;0;0}",
        "{1,0,0}{0,1,0}{0,0,1}{0,0,٣}",
        "{1,0,0}{0,1,0}{0,0,1}{0,0," + "9" * 2000 + "}",
    ],
)
def test_what_is_no_matrix(text):
    with pytest.raises(MatrixError):
        checked(text)


def test_spaces_and_exponents_are_a_matrix():
    assert checked(" { 1.0,0.,-0 } {0,1e0,0}{0,0,1.}{ .5,-2.5E+3,1e-2}\n")


@pytest.mark.parametrize(
    "rows",
    [
        [[1, 0, 0], [0, 1, 0], [0, 0, 1], [0, 0, 1.1e7]],
        [[1, 0, 0], [0, 1, 0], [0, 0, 2000], [0, 0, 0]],
        [[1, 0, 0], [0, 1, 0], [0, 0, 1], [0, float("inf"), 0]],
        [[1, 0, 0], [0, 1, 0], [0, 0, 1], [0, float("nan"), 0]],
    ],
)
def test_absurd_numbers_are_no_place(rows):
    with pytest.raises(MatrixError):
        sound(rows)
