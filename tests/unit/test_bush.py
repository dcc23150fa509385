"""Guide bushes: closed, off the part, off the drill, on a face; solids of known size stand for it.

Outside references: trimesh tells whether a mesh is watertight, manifold3d cuts part and bush, and
areas and volumes are those of plain figures (a ring, a tube).
"""

from dataclasses import replace

import numpy as np
import pytest
import shapes
import trimesh
from manifold3d import Manifold

from clearance.case.tables import BushTable
from clearance.drilling.bush import NoBushError, bush, set_up
from clearance.ports.mouth import Request, find_mouths
from clearance.result import Drilling
from clearance.verdict.solids import solid

BLOCK = shapes.block((-20, -20, 0), (20, 20, 30))
MADE = BushTable()


def stroke(entry, direction, diameter=4.0, depth=20.0, flute=50.0, overall=90.0):
    unit = np.asarray(direction, float) / np.linalg.norm(direction)
    return Drilling(
        crossing=0, also_clears=(), drill_diameter_mm=diameter, series="shop", flute_mm=flute,
        overall_mm=overall, from_="outlet", entry_mm=tuple(float(v) for v in entry),
        direction=tuple(float(v) for v in unit), depth_mm=depth, length_to_diameter=5.0,
        wall_margin_mm=0.5, wall_cut_mm=0.0, overrun_mm=0.5, tilt_tolerance_deg=1.0,
        tilt_from_z_deg=0.0, turn_about_z_deg=0.0, drill_tolerance_mm=0.0, run_out_mm=0.0,
    )  # fmt: skip


def mouth_at(part, centre, radius, normal=None):
    return find_mouths(shapes.soup(part), [Request("outlet", centre, radius, normal)])[0]


def made_on(part, centre, radius, one, made=MADE):
    """The bush and, by solids of our own, that it clears part and drill and is closed."""
    found = bush(solid(shapes.soup(part)), mouth_at(part, centre, radius), one, made)
    body = shapes.manifold(found.soup)
    assert (body ^ part).volume() < 1e-6
    entry, way = np.array(one.entry_mm), np.array(one.direction)
    ends = entry - 60.0 * way, entry + one.depth_mm * way
    assert (body ^ shapes.bore(*ends, 0.5 * one.drill_diameter_mm, segments=64)).volume() < 1e-6
    mesh = trimesh.Trimesh(**trimesh.triangles.to_kwargs(found.soup.astype(float)))
    mesh.merge_vertices()
    assert mesh.is_watertight
    assert mesh.body_count == 1
    return found, body


def test_on_a_flat_face_it_is_a_foot_a_tube_and_a_plug():
    """Bore 8, drill 4 with 0.1: foot of radius 4 + 6 = 10, tube 2.05 to 5.05, 8 long, plug 3 deep
    of radius 3.9 about the drill. All of pi (r^2 - s^2) h."""
    part = BLOCK - shapes.bore((0, 0, -1), (0, 0, 31), 4.0)
    one = stroke((0, 0, 30), (0, 0, -1))
    found, body = made_on(part, (0, 0, 30), 4.0, one)
    assert (found.bore, found.length, found.plug_mm) == (4.1, 8.0, 3.0)
    assert found.towards is None
    assert found.seat_mm2 == pytest.approx(np.pi * (10.0**2 - 4.0**2), rel=0.01)
    ring = np.pi * np.array([10.0**2, 5.05**2, 3.9**2])
    hole = np.pi * 2.05**2
    expected = (ring[0] - hole) * 3 + (ring[1] - hole) * 5 + (ring[2] - hole) * 3
    assert body.volume() == pytest.approx(expected, rel=0.01)
    low, high = np.array(body.bounding_box()).reshape(2, 3)
    assert (low[2], high[2]) == pytest.approx((27.0, 38.0), abs=0.01)
    assert "depth stop 28.00 mm from the bush's top" in set_up("a", 1, 1, one, found)


def test_a_drill_that_fills_the_mouth_leaves_no_room_for_a_plug():
    part = BLOCK - shapes.bore((0, 0, -1), (0, 0, 31), 2.3)
    one = stroke((0, 0, 30), (0, 0, -1))
    found, body = made_on(part, (0, 0, 30), 2.3, one)
    assert found.plug_mm == 0.0
    assert body.bounding_box()[2] == pytest.approx(30.0, abs=0.01)
    assert "no plug" in set_up("a", 1, 1, one, found)


@pytest.mark.parametrize("lean", [10.0, 30.0])
def test_a_leaning_drill_has_a_notch_where_the_bore_leans_to(lean):
    along = np.array([np.tan(np.radians(lean)), 0.0, 1.0])
    part = BLOCK - shapes.bore((0, 0, 30) - 40 * along, (0, 0, 30) + 5 * along, 4.0)
    found, body = made_on(part, (0, 0, 30), 4.0, stroke((0, 0, 30), -along))
    assert found.towards == pytest.approx((1.0, 0.0, 0.0), abs=1e-6)
    assert body.bounding_box()[5] > 30.0 + 8.0 * np.cos(np.radians(lean)) - 0.01


def test_it_keeps_off_what_stands_beside_the_opening():
    """A wall 6 mm beside the axis: the foot, 10 wide, is cut 0.1 before it."""
    part = BLOCK - shapes.bore((0, 0, -1), (0, 0, 31), 4.0)
    part = part + shapes.block((6, -20, 29), (20, 20, 45))
    found, body = made_on(part, (0, 0, 30), 4.0, stroke((0, 0, 30), (0, 0, -1)))
    assert body.bounding_box()[3] == pytest.approx(5.9, abs=0.01)
    assert found.seat_mm2 < np.pi * (10.0**2 - 4.0**2) - 10.0


def test_it_is_turned_with_a_face_in_space():
    """Every way round the same bush: the same volume, on a face whose normal is the turned one."""
    part = BLOCK - shapes.bore((0, 0, -1), (0, 0, 31), 4.0)
    _, body = made_on(part, (0, 0, 30), 4.0, stroke((0, 0, 30), (0, 0, -1)))
    turned = part.rotate((0, 70, 20))
    a, b = np.radians([70, 20])
    out = np.array([np.sin(a) * np.cos(b), np.sin(a) * np.sin(b), np.cos(a)])
    found, other = made_on(turned, 30 * out, 4.0, stroke(30 * out, -out))
    assert found.normal == pytest.approx(out, abs=1e-5)
    assert other.volume() == pytest.approx(body.volume(), rel=1e-3)


def leaning(lean):
    """A bore of 8 that comes out of the block's top, and the drill in it."""
    along = np.array([np.tan(np.radians(lean)), 0.0, 1.0])
    part = BLOCK - shapes.bore((0, 0, 30) - 40 * along, (0, 0, 30) + 5 * along, 4.0)
    return part, stroke((0, 0, 30), -along)


def test_where_a_wall_cuts_the_foot_the_notch_is_in_its_edge():
    """A wall 7 mm beside the axis, where the bore leans to: the foot ends at 6.9, and there its
    notch is 1.5 deep (it was told, and was not there)."""
    part, one = leaning(10.0)
    wall = part + shapes.block((7, -20, 29), (20, 20, 60))
    found, body = made_on(wall, (0, 0, 30), 4.0, one)
    assert found.notched
    probe = shapes.block((6.0, -0.3, 30.5), (6.8, 0.3, 31.5))
    assert (body ^ probe).volume() == pytest.approx(0.0, abs=1e-6)
    beside = probe.translate((0.0, 3.5, 0.0))
    assert (body ^ beside).volume() == pytest.approx(beside.volume(), rel=1e-3)
    assert "its notch points towards (1.0000" in set_up("a", 1, 1, one, found)


def test_a_notch_that_would_open_the_bore_is_not_cut_and_that_is_said():
    # The wall 3.7 mm beside the axis: a notch of 1.5 would reach the bore at 2.1.
    part, one = leaning(1.0)
    part += shapes.block((3.7, -20, 30), (20, 20, 32)) + shapes.block((10, -20, 29), (20, 20, 32))
    found, _ = made_on(part, (0, 0, 30), 4.0, one)
    assert not found.notched
    assert "no notch: turn it so that its bore leans towards (1.0000" in set_up(
        "a", 1, 1, one, found
    )


@pytest.mark.parametrize(
    ("made", "tolerance", "enough"),
    [(MADE, 0.9, True), (MADE, 0.7, False), (BushTable(length=20.0), 0.7, True)],
)
def test_how_far_the_drill_may_lean_in_it_is_held_against_what_is_right(made, tolerance, enough):
    """0.1 + 0.018 mm of play over 8 mm of bush: 0.845 deg; over 20 mm 0.338."""
    part = BLOCK - shapes.bore((0, 0, -1), (0, 0, 31), 4.0, segments=32)
    one = replace(
        stroke((0, 0, 30), (0, 0, -1)), tilt_tolerance_deg=tolerance, drill_tolerance_mm=0.018
    )
    found = bush(solid(shapes.soup(part)), mouth_at(part, (0, 0, 30), 4.0), one, made)
    play = np.degrees(np.arctan(0.118 / found.length))
    assert found.play_deg == pytest.approx(play)
    assert ("not by this bush alone" in set_up("a", 1, 1, one, found)) != enough


def test_what_stands_around_cuts_it_back_and_carries_nothing():
    """A platform 3 mm below the axis of a level bore of 4: no foot of 8 reaches below it."""
    part = shapes.block((0, -10, 0), (20, 10, 20)) - shapes.bore(
        (-1, 0, 4), (21, 0, 4), 2.0, segments=32
    )
    one = stroke((20, 0, 4), (-1, 0, 0), diameter=3.0, flute=60.0)
    plate = shapes.block((-50, -50, -20), (70, 50, 0))
    args = solid(shapes.soup(part)), mouth_at(part, (20, 0, 4), 2.0), one, MADE
    alone, on_plate = bush(*args), bush(*args, plate)
    assert shapes.manifold(alone.soup).bounding_box()[2] < -3.9
    assert shapes.manifold(on_plate.soup).bounding_box()[2] == pytest.approx(0.1, abs=0.01)
    # The plate is level with a floor before the part, and no seat.
    with pytest.raises(NoBushError, match="no room for its wall"):
        bush(*args, plate.translate((0, 0, 2.3)))


def test_slivers_carry_nothing():
    """A tube whose wall is 0.2 thick: its rim lies on all sides, and no bush stands on it."""
    outer = shapes.bore((0, 0, 0), (0, 0, 30), 2.7, segments=64)
    tube = outer - shapes.bore((0, 0, -1), (0, 0, 31), 2.5, segments=64)
    one = stroke((0, 0, 30), (0, 0, -1))
    assert "no face carries it" in refused(tube, (0, 0, 30), 2.5, one)
    thick = shapes.bore((0, 0, 0), (0, 0, 30), 3.5, segments=64)
    thick -= shapes.bore((0, 0, -1), (0, 0, 31), 2.5, segments=64)
    found, _ = made_on(thick, (0, 0, 30), 2.5, one)
    assert found.seat_mm2 == pytest.approx(np.pi * (3.5**2 - 2.5**2), rel=0.02)


def refused(part, centre, radius, one, made=MADE):
    with pytest.raises(NoBushError) as fault:
        bush(solid(shapes.soup(part)), mouth_at(part, centre, radius), one, made)
    assert "\n" not in str(fault.value)
    return str(fault.value)


def test_on_a_round_side_nothing_carries_it():
    drum = Manifold.cylinder(60.0, 12.0, 12.0, 256, True).rotate((90.0, 0.0, 0.0))
    part = drum - shapes.bore((0, 0, -20), (0, 0, 20), 3.0)
    top = mouth_at(part, (0, 0, 12), 3.0).centre
    assert "no face carries it" in refused(part, (0, 0, 12), 3.0, stroke(top, (0, 0, -1)))


def test_at_an_edge_of_the_part_it_would_tip():
    """The opening's rim runs 0.3 mm beside the edge: the hull of the face ends within the drill."""
    part = shapes.block((-4.0, -20, 0), (1.6, 20, 30)) - shapes.bore((0, 0, -1), (0, 0, 31), 1.3)
    one = stroke((0, 0, 30), (0, 0, -1), diameter=2.0, flute=40.0)
    assert made_on(part, (0, 0, 30), 1.3, one)
    wide = BLOCK - shapes.block((-3, -3, 20), (3, 3, 31)) - shapes.bore((0, 0, -1), (0, 0, 31), 1.3)
    wide = wide - shapes.block((-21, -21, 10), (21, -1.5, 31))
    # In a pocket whose floor ends 1.5 mm beside the axis, and a drill of 4.
    assert "no face" in refused(wide, (0, 0, 20), 1.3, stroke((0, 0, 20), (0, 0, -1)))


def test_a_wall_close_beside_the_opening_leaves_no_room():
    part = BLOCK - shapes.bore((0, 0, -1), (0, 0, 31), 2.2)
    part = part + shapes.block((2.3, -20, 29), (20, 20, 45))
    why = refused(part, (0, 0, 30), 2.2, stroke((0, 0, 30), (0, 0, -1)))
    assert "no room" in why


def test_a_drill_too_short_for_a_bush_is_named_with_what_is_missing():
    part = BLOCK - shapes.bore((0, 0, -1), (0, 0, 31), 4.0)
    short = stroke((0, 0, 30), (0, 0, -1), flute=27.0, overall=90.0, depth=20.0)
    found, _ = made_on(part, (0, 0, 30), 4.0, short)
    assert found.length == pytest.approx(7.0)
    short = stroke((0, 0, 30), (0, 0, -1), flute=50.0, overall=33.0, depth=20.0)
    assert "leaves 3.00 mm for it, 4 needed" in refused(part, (0, 0, 30), 4.0, short)
    long = BushTable(length=12.0)
    found, _ = made_on(part, (0, 0, 30), 4.0, stroke((0, 0, 30), (0, 0, -1)), long)
    assert found.length == 12.0


def test_a_cut_open_bush_is_not_given_away():
    """The check of what is written looks at the triangles themselves."""
    from clearance.drilling.bush import _check

    part = BLOCK - shapes.bore((0, 0, -1), (0, 0, 31), 4.0)
    one = stroke((0, 0, 30), (0, 0, -1))
    found = bush(solid(shapes.soup(part)), mouth_at(part, (0, 0, 30), 4.0), one, MADE)
    for spoiled, why in (
        (found.soup[1:], "not closed"),
        (found.soup - np.float32([0, 0, 0.5]), "meet the part"),
        (found.soup + np.float32([1.0, 0, 4.0]), "meet the drill"),
    ):
        with pytest.raises(NoBushError, match=why):
            _check(spoiled, part, one, found.length)
