"""Closing surfaces: where a route crosses one, and what of a section lies behind one."""

from __future__ import annotations

from types import SimpleNamespace

import numpy as np
import pytest
import shapely

from clearance.columns.grid import Grid
from clearance.geometry.areas import largest_circle_mm
from clearance.geometry.planes import Plane
from clearance.passages.closings import Closing, Surface, crossed, drawn_in, mirrored
from clearance.passages.upper_bound import BESIDE, FARTHER
from clearance.passages.window_cells import Cells


def window(at: float = 0.0, turn: float = 0.0) -> Surface:
    """A square of 4 in the plane x = at, outward along +x, turned about z."""
    normal = np.array([np.cos(turn), np.sin(turn), 0.0])
    return Surface(Plane.through(at * normal, normal), shapely.box(-2, -2, 2, 2))


def closing(*surfaces: Surface) -> Closing:
    return Closing(None, (), surfaces)  # type: ignore[arg-type]


@pytest.mark.parametrize(
    ("route", "crosses"),
    [
        ([(-1, 0, -5), (-1, 0, 5)], False),
        ([(-1, 0, -3), (1, 0, 0), (-1, 0, 3)], True),
        ([(0, 0, 0), (-1, 0, 5)], False),  # begins on it
        ([(0, 0, 0), (1e-9, 0, 1), (-1, 0, 5)], False),  # runs along it
        ([(0, 0, 0), (1, 0, 0)], True),
        ([(-1, 0, 3), (1, 0, 3)], False),  # beside it
    ],
)
def test_only_a_step_outward_counts(route, crosses):
    place = crossed(np.array(route, float), (closing(window()),))
    assert (place is not None) == crosses


def test_what_stands_out_is_laid_onto_the_surface():
    route = np.array([(-1, 0, -1.5), (0.5, 0, -0.5), (1, 0.2, 0), (0.5, 0, 0.5), (-1, 0, 1.5)])
    drawn = drawn_in(route, (closing(window()),))
    assert crossed(drawn, (closing(window()),)) is None
    assert drawn[:, 0].max() == pytest.approx(0.0, abs=1e-9)
    assert (drawn[[0, -1]] == route[[0, -1]]).all()


def test_what_goes_round_the_rim_is_not_drawn_in():
    route = np.array([(-1, 0, 0), (1, 0, 0), (1, 0, 3), (-1, 0, 3)], float)
    assert crossed(drawn_in(route, (closing(window()),)), (closing(window()),)) is not None


def test_a_ball_in_a_mouth_whose_parts_lie_in_two_planes():
    # Analytic: with its centre in one plane it leaves a circle of 4 in the other, 0.3 off.
    apart = Closing(None, (None, None), (window(), window(-0.3)))  # type: ignore[arg-type]
    assert apart.width_mm == pytest.approx(np.hypot(4.0, 0.6), abs=2e-3)


@pytest.mark.parametrize("turn", [0.0, 0.7, 3.0])
def test_a_ball_may_stand_out_of_a_gap_by_its_half(turn):
    gap = shapely.affinity.rotate(
        shapely.box(-0.3, -2, 0, 2), np.degrees(turn), origin=(0, 0)
    )  # analytic: a gap of 0.3 holds half of a ball of 0.6
    image = mirrored(gap, window(turn=turn), 0.1)
    assert largest_circle_mm(image) == pytest.approx(0.6, abs=3e-3)
    assert mirrored(gap, window(2.0, turn), 0.1) is gap  # it does not come to that one


@pytest.mark.parametrize(("beyond", "claimed"), [(0.0, BESIDE), (1.0, FARTHER)])
def test_a_cell_that_is_shut_beside_a_mouth_is_no_farther_from_its_rim_than_claimed(
    beyond, claimed
):
    """Analytic: 3 cells aside and 3 outward, from 0 or 1 on; a centre is half a diagonal off."""
    low, high, pitch = np.full(3, -5.0), np.full(3, 5.0), 0.25
    part = SimpleNamespace(
        grid=Grid.over(low, high, pitch),
        window=SimpleNamespace(box=SimpleNamespace(low=low, high=high)),
    )
    cells = Cells(part, (), 1.0)  # type: ignore[arg-type]
    cells.__dict__["radius"] = np.ones(cells.shape, np.float32)
    mouth = window(0.1251)  # a layer of cells lies just within what is shut
    shut = cells.centres(cells._beyond(mouth, beyond * pitch))
    flat = mouth.plane.to_plane(shut)
    aside = shapely.distance(mouth.polygon, shapely.points(flat))
    far = np.hypot(aside, mouth.plane.signed(shut)).max() + cells.half_diagonal_mm
    assert 0.5 * BESIDE * pitch * 0.8 < far <= 0.5 * claimed * pitch
