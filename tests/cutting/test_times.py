"""Time from speeds and acceleration, worked by hand and against a simulation in small steps."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from nestkit.build.model import Cutter
from nestkit.cutting.jobs import make_jobs
from nestkit.cutting.model import Stroke, Times
from nestkit.cutting.times import (
    etching_seconds,
    job_times,
    move_seconds,
    path_seconds,
    stroke_seconds,
)
from nestkit.geometry import Line, LineKind, Path
from tests.cutting.test_order import at, build, part, sheet
from tests.zoo import rectangle, rounded


def square(side: float) -> Path:
    return Path.polyline([(0, 0), (side, 0), (side, side), (0, side)], True)


def test_a_move_by_hand():
    """From standstill to standstill at 1000 mm/s^2 (uniform acceleration, any book of mechanics).

    To 200 mm/s it takes 0.2 s and 20 mm, and as much to stop. 100 mm: 60 mm at full speed, 0.3 s, and
    0.4 s. 40 mm: just reaches it, 0.4 s. 10 mm: 5 mm up, 5 mm down, each sqrt(2 5 / 1000) = 0.1 s.
    """
    assert move_seconds(100, 200, 1000) == pytest.approx(0.7)
    assert move_seconds(40, 200, 1000) == pytest.approx(0.4)
    assert move_seconds(10, 200, 1000) == pytest.approx(0.2)
    assert move_seconds(0, 200, 1000) == 0.0
    assert move_seconds(100, 200, None) == pytest.approx(0.5)


def test_a_square_stops_at_its_corners():
    """Four sides of 100 mm, each 0.7 s as above."""
    assert path_seconds(square(100), 200, 1000) == pytest.approx(4 * 0.7)
    assert path_seconds(square(100), 200, None) == pytest.approx(2.0)


def test_a_circle_is_no_faster_than_its_bend_allows():
    """Radius 10 mm at 1000 mm/s^2: v = sqrt(a r) = 100 mm/s; up to it and down again costs 0.1 s more."""
    seconds = path_seconds(Path.circle(0, 0, 10), 200, 1000)
    assert seconds == pytest.approx(20 * math.pi / 100 + 0.1)


def test_joints_that_hardly_turn_are_no_stops():
    straight = Path.polyline([(0, 0), (60, 0), (100, 0)], False)
    assert path_seconds(straight, 200, 1000) == pytest.approx(0.7)
    bend = Path.polyline([(0, 0), (50, 0), (99, 4)], False)
    assert path_seconds(bend, 200, 1000) == pytest.approx(bend.length / 200 + 0.2)
    corner = Path.polyline([(0, 0), (50, 0), (95, 20)], False)
    assert path_seconds(corner, 200, 1000) > bend.length / 200 + 0.3


def simulated(limits: list[tuple[float, float]], acceleration: float) -> float:
    """Time along a line of (length, speed limit) pieces: speeds on a fine grid, forwards and backwards."""
    step = 0.002
    limit = np.concatenate([np.full(round(length / step), speed) for length, speed in limits])
    square = np.concatenate(([0.0], np.minimum(limit[:-1], limit[1:]) ** 2, [0.0]))
    for order in (range(1, len(square)), range(len(square) - 2, -1, -1)):
        for k in order:
            behind = square[k - 1 if order.step > 0 else k + 1]
            square[k] = min(square[k], behind + 2 * acceleration * step)
    speeds = np.sqrt(square)
    return float((2 * step / (speeds[:-1] + speeds[1:])).sum())


def test_a_rounded_rectangle_against_a_simulation():
    """Begins on a straight side; its corners of 10 mm radius allow sqrt(500 10) = 70.7 mm/s."""
    ring = rounded(60, 40, 10)
    slow = math.sqrt(500 * 10)
    quarter = math.pi * 10 / 2
    pieces = [(40, 120), (quarter, slow), (20, 120), (quarter, slow)] * 2
    assert path_seconds(ring, 120, 500) == pytest.approx(simulated(pieces, 500), rel=2e-3)


@given(st.floats(1, 500), st.floats(1, 400), st.floats(10, 5000), st.floats(1.1, 10))
def test_a_better_machine_is_no_slower(side, speed, acceleration, more):
    seconds = path_seconds(square(side), speed, acceleration)
    assert seconds >= path_seconds(square(side), speed, None)
    assert path_seconds(square(side), speed * more, acceleration) <= seconds + 1e-9
    assert path_seconds(square(side), speed, acceleration * more) <= seconds + 1e-9
    assert path_seconds(square(side).reversed(), speed, acceleration) == pytest.approx(seconds)


def test_a_whole_job_by_hand():
    """A plate of 100 x 60 mm with a mark, no kerf, at 1000 mm/s^2.

    Cut at 20 mm/s, which takes 0.02 s to reach: 320 / 20 + 0.08. The mark of 50 mm at 100 mm/s: 0.5 + 0.1.
    Ways of 14.142 and 10 mm at up to 300 mm/s, which they never reach: 2 sqrt(L / a) = 0.23784 and 0.2.
    Two paths begin, 0.5 s each. All of it times 1.1.
    """
    mark = Line(LineKind.MARK, Path.polyline([(10, 10), (60, 10)], False))
    plate = part("plate", rectangle(100, 60), lines=[mark])
    settings = {
        "cut_speed": 20,
        "mark_speed": 100,
        "travel_speed": 300,
        "acceleration": 1000,
        "start_time": 0.5,
        "time_factor": 1.1,
    }
    (job,) = make_jobs(build([plate], kerf=0.0, **settings), [sheet(at(plate, 1, 0, 0))])
    # The cut may begin on a side, which makes two runs of it, or at a corner.
    assert job.times.cutting == pytest.approx(1.1 * (16 + 0.08), abs=1.1 * 0.021)
    assert job.times.marking == pytest.approx(1.1 * 0.6)
    assert job.times.travel == pytest.approx(1.1 * 0.43784, abs=1e-3)
    assert job.times.starts == pytest.approx(1.1)
    assert job.times.etching == 0.0
    assert job.seconds == job.times.total == pytest.approx(1.1 * 18.11784, abs=0.03)


@pytest.mark.parametrize("settings", [{}, {"acceleration": 800, "start_time": 0.3, "time_factor": 1.2}])
def test_a_measured_time_that_is_fed_back_is_what_is_estimated(settings):
    """A job that is measured at 47 s; the factor that the report asks for gives 47 s for it."""
    plate = part(
        "plate", rectangle(100, 60), lines=[Line(LineKind.MARK, Path.polyline([(9, 9), (60, 9)], False))]
    )
    laid = [sheet(at(plate, 1, 20, 20), at(plate, 2, 150, 80))]
    (job,) = make_jobs(build([plate], **settings), laid)
    factor = settings.get("time_factor", 1.0) * 47.0 / job.seconds
    (again,) = make_jobs(build([plate], **{**settings, "time_factor": factor}), laid)
    assert again.seconds == pytest.approx(47.0)


def test_etching_by_hand():
    """An area of 100 x 8 mm at a pitch of 0.1 mm and 200 mm/s: 8000 mm of lines, 40 s.

    With 2000 mm/s^2 each of its 80 lines takes 0.1 s more to stop and come back up to speed.
    """
    ring = Path.polyline([(0, 0), (100, 0), (100, 8), (0, 8)], True)
    area = [(Stroke("POCKET_01", ring, "a", 1, LineKind.FOLD),)]
    assert etching_seconds(area, 800.0, Cutter()) == pytest.approx(40.0)
    assert etching_seconds(area, 800.0, Cutter(acceleration=2000.0)) == pytest.approx(48.0)
    assert etching_seconds(area, 800.0, Cutter(time_factor=1.5)) == pytest.approx(60.0)
    lines = [tuple(Stroke("POCKET_01", Path.polyline([(0, y), (100, y)], False), "a", 1) for y in range(4))]
    assert etching_seconds(lines, 0.0, Cutter(area_mode=False)) == pytest.approx(2.0)
    assert etching_seconds(lines, 0.0, Cutter(area_mode=False, time_factor=1.5)) == pytest.approx(3.0)
    # 0.1 s to reach 200 mm/s at 2000 mm/s^2.
    quick = Cutter(area_mode=False, acceleration=2000.0)
    assert etching_seconds(lines, 0.0, quick) == pytest.approx(4 * (0.5 + 0.1))


def test_times_add_up():
    strokes = [
        Stroke("MARK", Path.polyline([(5, 5), (25, 5)], False), "a", 1, LineKind.MARK),
        Stroke("POCKET_01", square(10), "a", 1, LineKind.FOLD),
        Stroke("CUT_OUTSIDE", square(40), "a", 1),
    ]
    cutter = Cutter(acceleration=800.0, start_time=0.25)
    times = job_times(strokes, cutter, etching=7.0)
    each = stroke_seconds(strokes, cutter)
    assert times.total == pytest.approx(sum(map(sum, each)) + 7.0)
    assert times.starts == pytest.approx(0.5)
    assert (times + times).total == pytest.approx(2 * times.total)
    assert Times().total == 0.0
