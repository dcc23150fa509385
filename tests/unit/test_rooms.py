"""The exact proof that a stopper hides nothing: rooms around mouths, in parts of known shape."""

from __future__ import annotations

import manifold3d as m3
import numpy as np
import pytest
import shapely
import shapes as s

from clearance.drilling.bore import Bore
from clearance.drilling.drilled import Drilled
from clearance.geometry.soup import Box
from clearance.passages.alone import Stood, alone
from clearance.passages.closings import closing
from clearance.passages.rooms import holds_rims_only, room
from clearance.ports.mouth import Request, find_mouths
from clearance.predicted.bodies import Bodies
from clearance.predicted.part import Window
from clearance.predicted.slabs import Event

PITCH = 0.4
BLOCK = s.block((-5, -5, 0), (5, 5, 6))
BORE = s.bore((0, 0, -1), (0, 0, 7), 1.5, segments=48)
PORT = Request("top", (0, 0, 6), 1.5)


def face_of(solid, *requests, pitch=PITCH, turn=0.0):
    """What is proven of the room around all mouths asked for."""
    soup = s.soup(solid.rotate((0, turn, 0)))
    c, d = np.cos(np.radians(turn)), np.sin(np.radians(turn))
    at = np.array([[c, 0, d], [0, 1, 0], [-d, 0, c]])
    moved = [Request(r.name, at @ np.asarray(r.centre, float), r.radius) for r in requests]
    mouths = tuple(find_mouths(soup, moved))
    return holds_rims_only(soup, mouths, room(mouths, pitch))


def beside(depth: float, radius: float = 0.3, off: float = 2.0):
    """A tube that passes the bore at a distance, its axis so deep below the top face."""
    return s.bore((off, -6, 6 - depth), (off, 6, 6 - depth), radius, segments=24)


PLAIN = {
    "a bore": BLOCK - BORE,
    "a tube's end": s.bore((0, 0, 0), (0, 0, 6), 2.0, segments=48) - BORE,
    "at an edge": s.block((-5, -5, 0), (1.9, 5, 6)) - BORE,
    "an edge rounded off": BLOCK - BORE - s.block((1.8, -6, 5.5), (6, 6, 7)),
    "a dent in the face": BLOCK - BORE - s.bore((2.1, 0, 5.95), (2.1, 0, 7), 0.2, segments=16),
    "a groove across the face": BLOCK - BORE - s.block((1.9, -6, 5.95), (2.1, 6, 7)),
    "a rib in the bore": BLOCK - BORE + s.block((-2, -0.2, 1), (2, 0.2, 5.97)),
    "a core in the bore": BLOCK - BORE + s.bore((0, 0, 0), (0, 0, 5.0), 0.5, segments=24),
    "a hole farther off": BLOCK - BORE - s.bore((3.4, 0, 4), (3.4, 0, 7), 0.3, segments=16),
}
HIDING = {
    "a hole into the bore": BLOCK - BORE - s.bore((1.2, 0, 4.8), (2.4, 0, 6.4), 0.2, segments=24),
    "a blind hole": BLOCK - BORE - s.bore((2.1, 0, 4), (2.1, 0, 7), 0.2, segments=16),
    "a tube that passes": BLOCK - BORE - beside(0.1, 0.05) - beside(0.02, 0.02, 2.2),
    "a pore": BLOCK - BORE - s.block((1.8, -0.1, 5.96), (2.0, 0.1, 5.98)),
    "a bead before the face": (BLOCK - BORE) + s.block((1.8, -0.1, 6.2), (2.0, 0.1, 6.4)),
}


@pytest.mark.parametrize("turn", [0.0, 90.0, 200.0])
@pytest.mark.parametrize("name", PLAIN)
def test_nothing_hides(name, turn):
    assert face_of(PLAIN[name], PORT, turn=turn) is not None


@pytest.mark.parametrize("turn", [0.0, 90.0, 200.0])
@pytest.mark.parametrize("name", HIDING)
def test_something_may_hide(name, turn):
    assert face_of(HIDING[name], PORT, turn=turn) is None


@pytest.mark.parametrize(("pitch", "proven"), [(0.5, False), (0.1, True)])
def test_a_finer_pitch_leaves_a_hole_alone(pitch, proven):
    solid = BLOCK - BORE - s.bore((2.5, 0, 4), (2.5, 0, 7), 0.3, segments=16)
    assert (face_of(solid, PORT, pitch=pitch) is not None) == proven


def test_a_turn_right_behind_the_mouth():
    # All of the bore goes off sideways before the stopper ends.
    turning = BLOCK - s.bore((0, 0, 5.5), (0, 0, 7), 1.5, segments=48)
    turning -= s.block((0, -0.5, 5.5), (6, 0.5, 5.8))
    assert face_of(turning, PORT, turn=90.0) is None
    assert face_of(turning, PORT, turn=90.0, pitch=0.1) is not None


PAIR = (Request("one", (-2, 0, 6), 1.0), Request("two", (2, 0, 6), 1.0))
TWIN = BLOCK - s.bore((-2, 0, -1), (-2, 0, 7), 1.0) - s.bore((2, 0, -1), (2, 0, 7), 1.0)


@pytest.mark.parametrize("turn", [0.0, 90.0])
def test_mouths_in_one_face_have_one_room(turn):
    assert face_of(TWIN, *PAIR, turn=turn) is not None
    joined = TWIN - s.bore((-2, 0, 5.8), (2, 0, 5.8), 0.1, segments=16)
    assert face_of(joined, *PAIR, turn=turn) is None
    assert face_of(TWIN, PAIR[0], turn=turn) is not None


SIDE = BLOCK - s.bore((-6, 0, 3), (6, 0, 3), 1.0, segments=48)
ENDS = (Request("left", (-5, 0, 3), 1.0), Request("right", (5, 0, 3), 1.0))


def sheet(height, rise, shift=(0.0, 0.0)):
    """Three layers as wide as the part; what is above goes on so much higher and aside."""
    return Event(0, height, (0.05, 0.15, 0.25), 0.1, False, 0.0, rise, shift)


def looked_at(solid, requests, events=(), holes=(), own=False, **bodies):
    """By name: the mouths whose stoppers are proven to hide nothing in a predicted part.

    With `own` those that nothing but what is theirs has come to.
    """
    soup = s.soup(solid)
    known = Bodies(soup, soup, bodies.get("added", {}), False)
    low, high = known.bounds
    mouths = find_mouths(soup, list(requests))
    plugs = np.empty((0, 3, 3), np.float32)
    predicted = Window(known, Box(low - 2.0, high + 4.0), PITCH, plugs).predict(tuple(events))
    if holes:
        predicted = Drilled(predicted.window, predicted.events, predicted.added, tuple(holes))
    stood = [Stood(m, place) for m in mouths for place in closing(predicted.events, m).places]
    found = alone(predicted, stood, PITCH)
    found = found.own if own else found.inner
    hiding = {one.nominal.name for n, one in enumerate(stood) if n not in found}
    return {one.nominal.name for one in stood} - hiding


@pytest.mark.parametrize(
    ("rise", "shift", "proven"),
    [
        (0.0, (0.0, 0.0), {"left", "right"}),
        (0.3, (0.0, 0.0), {"left", "right"}),
        (0.3, (0.0, 0.2), {"left", "right"}),
        (0.0, (0.2, 0.0), set()),  # out of the face's plane
    ],
)
def test_a_cut_through_the_mouths(rise, shift, proven):
    assert looked_at(SIDE, ENDS, [sheet(3.2, rise, shift)]) == proven


BIG = s.block((-5, -6, -3), (5, 6, 9)) - s.bore((-6, 0, 3), (6, 0, 3), 1.0, segments=48)
UNDERCUT = BIG - s.bore((-4.9, 0, 3), (-4.7, 0, 3), 1.8, segments=48)
FROM_ASIDE = s.block((-4.9, -2.7, 1), (-4.7, -2.5, 5.5))
FROM_ABOVE = s.block((-4.9, -0.1, 5.7), (-4.7, 0.1, 5.9))


@pytest.mark.parametrize(
    ("tube", "rise", "shift", "proven"),
    [
        (s.block((-1, 3, 1), (1, 4, 2)), 0.0, (0.0, 2.0), {"left", "right"}),
        (FROM_ASIDE, 0.0, (0.0, 0.1), {"left", "right"}),
        (FROM_ASIDE, 0.0, (0.0, 2.0), {"right"}),
        (FROM_ABOVE, -1.5, (0.0, 0.0), {"right"}),
    ],
)
def test_a_cut_right_past_the_rim(tube, rise, shift, proven):
    """What lies far from the mouth as designed comes over the undercut behind it."""
    cut = [Event(0, 4.2, (), 0.1, False, 0.0, rise, shift)]
    assert looked_at(UNDERCUT - tube, ENDS, cut) == proven
    assert looked_at(UNDERCUT - tube, ENDS, cut, own=True) == proven


def test_a_bore_that_widens_past_the_cut():
    """What stands over the cut is not behind the mouth where it has moved to."""
    wide = BIG - s.bore((-4.9, 0, 3), (0, 0, 3), 1.8, segments=48)
    for height, proven in ((4.2, {"right"}), (5.5, {"left", "right"})):
        cut = [Event(0, height, (), 0.1, False, 0.0, 0.0, (0.0, 0.3))]
        assert looked_at(wide, ENDS, cut) == proven


@pytest.mark.parametrize("aside", [0.0, 0.1])
def test_what_comes_from_in_or_out(aside):
    """Where the face is set out of its plane, void from deeper behind it comes near."""
    cut = [Event(0, 3.9, (), 0.1, False, 0.0, 0.0, (-1.0, aside))]
    deep = s.block((-3.8, -1.3, 3.7), (-3.6, -1.2, 5))
    assert looked_at(SIDE, ENDS, cut, own=True) == {"left", "right"}
    assert looked_at(SIDE - deep, ENDS, cut, own=True) == {"right"}
    assert looked_at(SIDE - deep, ENDS, cut) == set()


@pytest.mark.parametrize(("height", "proven"), [(3.0, {"right"}), (0.1, {"left", "right"})])
def test_measured_metal_before_a_mouth(height, proven):
    flake = s.soup(s.block((-5.4, -0.5, height), (-4.0, 0.5, height + 0.1)))
    known = looked_at(SIDE, ENDS, [], added={0: flake})
    assert known == {"left", "right"}  # it only takes void away
    assert looked_at(SIDE, ENDS, [sheet(3.2, 0.3)], added={0: flake}) == proven


@pytest.mark.parametrize(
    ("start", "way", "proven"),
    [
        ((-6, 0, 3), (1, 0, 0), {"left", "right"}),  # through the mouth
        ((-4.8, 0, 7), (0, 0, -1), {"right"}),  # through metal beside it, into the bore
        ((-4.8, 6, 3.9), (0, -1, 0), {"right"}),
        ((0, 0, 7), (0, 0, -1), {"left", "right"}),  # far away
    ],
)
def test_a_bore_drilled_through_metal_beside_a_mouth(start, way, proven):
    hole = Bore(np.array(start, float), np.array(way, float), 0.5, 12.0, 0.2)
    assert looked_at(SIDE, ENDS, holes=[hole]) == proven


def test_a_tube_that_touches_the_face_along_an_edge_of_both_is_no_part_of_it():
    """Four triangles meet at the edge: one line and one piece by their edges, two voids."""
    bored = s.soup(BLOCK - BORE)
    top = (bored[:, :, 2] > 6 - 1e-5).all(axis=1)
    rim = np.unique(bored[top].reshape(-1, 3)[:, :2], axis=0).astype(float)
    rim = rim[np.hypot(*rim.T) < 1.6]
    rim = rim[np.argsort(np.arctan2(rim[:, 1], rim[:, 0]))]
    edge = [(2, -4), (2, 4)]
    beside = shapely.Polygon([(5, -5), (5, 5), *edge[::-1]])
    rest = shapely.Polygon([(-5, -5), (5, -5), *edge, (5, 5), (-5, 5)], [rim])
    flat = [
        [(*xy, 6.0) for xy in shapely.orient_polygons(t).exterior.coords[:3]]
        for polygon in (beside, rest)
        for t in shapely.get_parts(shapely.constrained_delaunay_triangles(polygon))
    ]
    section = np.array([[2, 0, 6.0], [1.9, 0, 5.8], [2.1, 0, 5.8]])
    ends = [section + np.array([0.0, y, 0.0]) for y in (-4, 4)]
    tube = m3.Manifold.hull_points(np.concatenate(ends))
    soup = np.concatenate([bored[~top], np.float32(flat), s.soup(tube)[:, ::-1]])
    mouths = tuple(find_mouths(np.ascontiguousarray(soup), [PORT]))
    assert holds_rims_only(soup, mouths, room(mouths, PITCH)) is None


@pytest.mark.parametrize("turn", [0.0, 37.0, 90.0])
@pytest.mark.parametrize(("end", "proven"), [(0.1, True), (0.8, False)])
def test_a_surface_that_crosses_itself(turn, end, proven):
    """A pocket in one bore's wall; drawn out it ends within the other bore, through its wall."""
    solid = BLOCK - s.bore((0, -1.3, 2), (0, -1.3, 7), 1.0) - s.bore((0, 1.3, 2), (0, 1.3, 7), 1.0)
    solid -= s.block((-0.1, -0.6, 5.85), (0.1, 0.1, 5.95))
    soup = s.soup(solid)
    drawn = np.isclose(soup[..., 1], 0.1) & (abs(soup[..., 0]) < 0.2) & (soup[..., 2] > 5.8)
    soup[..., 1][drawn & (soup[..., 2] < 5.98)] = end
    c, d = np.cos(np.radians(turn)), np.sin(np.radians(turn))
    at = np.array([[1, 0, 0], [0, c, d], [0, -d, c]])
    requests = [Request(str(y), at @ np.array((0, y, 6.0)), 1.0) for y in (-1.3, 1.3)]
    soup = np.ascontiguousarray(soup @ at.T.astype(np.float32))
    mouths = tuple(find_mouths(soup, requests))
    assert (holds_rims_only(soup, mouths, room(mouths, PITCH)) is not None) == proven


def test_a_dent_that_crosses_into_a_bore():
    dented = BLOCK - BORE - s.block((1.7, -0.1, 5.9), (1.9, 0.1, 7))
    soup = s.soup(dented)
    mouths = tuple(find_mouths(soup, [PORT]))
    assert holds_rims_only(soup, mouths, room(mouths, PITCH)) is not None
    soup[..., 0][np.isclose(soup[..., 0], 1.7) & (soup[..., 2] < 5.95)] = 1.0
    assert holds_rims_only(soup, mouths, room(mouths, PITCH)) is None


def test_corners_of_a_room_lie_where_its_sides_meet():
    """Of two mouths side by side: every corner on two sides and an end, within all others."""
    solid = BLOCK - sum((s.bore((0, y, -1), (0, y, 7), 1.0) for y in (-1.5, 1.5)), m3.Manifold())
    requests = [Request(str(y), (0, y, 6), 1.0) for y in (-1.5, 1.5)]
    found = room(tuple(find_mouths(s.soup(solid), requests)), PITCH, 0.3, 0.2)
    short = found.bounds - found.corners @ found.normals.T
    assert short.min() == pytest.approx(0.0, abs=1e-5)
    assert ((short < 1e-5).sum(axis=1) == 3).all()
    assert (found.box.high - found.box.low)[1] > 5.0 + 2 * 0.3
