"""The wall that a plan leaves, against exact distances, also where it is thinner than the pitch.

Every expected wall is analytic: the distance of two axes less two radii.
"""

from dataclasses import replace

import make
import manifold3d as m3
import numpy as np
import pytest
import shapes
import shared

from clearance.case.read import read_case
from clearance.drilling import bore as bores
from clearance.drilling.hole_faces import Faces, Walls
from clearance.drilling.recheck import Recheck
from clearance.drilling.wall_left import (
    Hole,
    UntoldError,
    Voids,
    breaks_into,
    wall_left,
    within_void,
)
from clearance.geometry.soup import flat
from clearance.predicted.plane_sections import predicted_metal
from clearance.verdict.prepared import prepare

TOOL = {"flute": 60.0, "overall": 110.0}


def two_bores(apart, size=(30.0, 16.0, 20.0), radius=3.0, segments=96, lean=0.0):
    """A block with two round bores through it side by side; both lean alike, towards +x."""
    part = m3.Manifold.cube(size).translate((-size[0] / 2, -size[1] / 2, 0))
    for x in (-apart / 2, apart / 2):
        hole = m3.Manifold.cylinder(size[2] + 40, radius, circular_segments=segments)
        part -= hole.translate((0, 0, -20)).rotate((0, lean, 0)).translate((x, 0, 0))
    return part


def both(apart, need, top=20.0, radius=3.0):
    return [
        make.passage((x, 0, 0), (x, 0, top), radius, need, name=name)
        for x, name in ((-apart / 2, "a"), (apart / 2, "b"))
    ]


def drilled(folder, part, passages, sheet, diameter, allowance, least, **keys):
    """Check with one drill of the shop's own."""
    drilling = {
        "series": [],
        "drills": [{"diameter": diameter, **TOOL}],
        "wall_allowance": allowance,
        "min_wall": least,
    }
    separate = {"separate": [{"passages": [p["name"] for p in passages]}]}
    return make.checked(folder, part, passages, sheet, drilling=drilling, **{**separate, **keys})


def of(result, name="a"):
    return next(p for p in result.passages if p.name == name)


def axes_apart(stroke, axis, top=20.0):
    """Least distance of a drill's axis, within the block, from an upright axis."""
    entry, direction = np.array(stroke.entry_mm), np.array(stroke.direction)
    along = np.linspace(0.0, top / abs(direction[2]), 2001)
    points = entry[:2] + along[:, None] * direction[:2]
    return float(np.linalg.norm(points - axis, axis=1).min())


def beside_a(source="log"):
    """A sheet that closes a alone, given as a mesh: a cube over its bore."""
    return {"shape": "mesh", "mesh": "flap.stl", "source": source}


def flap(apart, z, radius=3.0):
    return {
        "flap": m3.Manifold.cube((2 * radius, 2 * radius, 0.2), True).translate((-apart / 2, 0, z))
    }


@pytest.mark.more
def test_a_drill_that_breaks_into_the_neighbour_is_no_plan(tmp_path):
    # 6.25 - 3.0 - 3.4 = -0.15: the drill opens the neighbouring bore.
    part = two_bores(6.25)
    result = drilled(
        tmp_path, part, both(6.25, 5.9), beside_a(), 6.8, 0.8, 0.1,
        meshes=flap(6.25, 10.0), pitch=0.6, smallest_way=0.3,
    )  # fmt: skip
    found = of(result)
    assert found.rework is None
    assert "b" in found.why_not
    assert "breaks into" in found.why_not
    assert result.disposition.recommendation not in ("rework", "repair")


@pytest.mark.parametrize(
    ("pitch", "turn"),
    [
        *shared.more((0.45, 37.0), (0.45, 0.0), (0.2, 37.0), (0.2, 0.0), (0.3, 0.0), (0.3, 37.0)),
    ],
)
def test_the_wall_left_is_the_distance_of_the_axes_less_the_radii(tmp_path, pitch, turn):
    # 6.6 - 3.0 - 3.2 = 0.40, thinner than the coarsest pitch; a finer mesh has shorter chords.
    part = two_bores(6.6, segments=192).rotate((0, 0, turn))
    c, s = np.cos(np.radians(turn)), np.sin(np.radians(turn))
    passages = [
        make.passage((x * c, x * s, 0), (x * c, x * s, 20), 3.0, 5.9, name=name)
        for x, name in ((-3.3, "a"), (3.3, "b"))
    ]
    result = drilled(
        tmp_path,
        part,
        passages,
        beside_a(),
        6.4,
        0.6,
        0.05,
        pitch=pitch,
        smallest_way=0.3,
        meshes={"flap": flap(6.6, 10.0)["flap"].rotate((0, 0, turn))},
    )
    rework = of(result).rework
    (stroke,) = rework.drilling
    taken = stroke.drill_tolerance_mm + stroke.run_out_mm
    true = axes_apart(stroke, (3.3 * c, 3.3 * s)) - 3.0 - 3.2
    assert true == pytest.approx(0.40, abs=0.05)  # the line may lean a little
    assert rework.wall_left_mm == pytest.approx(true, abs=0.02)
    assert rework.wall_least_mm == pytest.approx(true - taken, abs=0.02)


@pytest.mark.more
def test_a_wall_that_only_run_out_reaches_is_no_rework(tmp_path, monkeypatch):
    plans = []
    tried = Recheck.of
    monkeypatch.setattr(Recheck, "of", lambda self, *of: plans.append(of[0]) or tried(self, *of))
    # Axes 6.30: 6.30 - 3.0 - 3.0 = 0.30 of wall; a drill of 5.98 cuts none of it, but 0.022 of
    # tolerance and 0.03 + 0.01 * 110 / 5.98 of run-out leave less than the 0.30 that must stay.
    part = two_bores(6.3, segments=64)
    result = drilled(
        tmp_path, part, both(6.3, 5.9), beside_a(), 5.98, 0.0, 0.3,
        meshes=flap(6.3, 10.0), pitch=0.6, smallest_way=0.3,
    )  # fmt: skip
    rework = of(result).rework
    assert rework.wall_left_mm is None
    (stroke,) = rework.drilling
    taken = stroke.drill_tolerance_mm + stroke.run_out_mm
    true = axes_apart(stroke, (3.15, 0.0)) - 3.0 - 2.99 - taken
    assert rework.wall_least_mm == pytest.approx(true, abs=0.02)
    assert result.disposition.recommendation == "undetermined"
    # The only drill, once from each port: the same plan would be refused again.
    assert [[one.opening for one in plan] for plan in plans] == [["inlet"], ["outlet"]]


@pytest.mark.parametrize(
    "resume", [{}, *shared.more({"resume_shift": [-0.3, 0.0]}, {"resume": "layer"})]
)
def test_a_chamber_beside_a_leaning_bore_is_seen_where_the_part_went_on(tmp_path, resume):
    # The bore leans by 20 degrees; a closed chamber ends 0.4 beside its wall, above the sheet.
    lean, cos = np.tan(np.radians(20.0)), np.cos(np.radians(20.0))
    part = m3.Manifold.cube((40, 16, 20)).translate((-15, -8, 0))
    hole = m3.Manifold.cylinder(60, 3.0, circular_segments=192).translate((0, 0, -20))
    part -= hole.rotate((0, 20, 0))
    edge = 16 * lean + 3.4 / cos  # of the chamber, at its roof
    part -= m3.Manifold.cube((4, 6, 3)).translate((edge, -3, 13))
    passages = [make.passage((0, 0, 0), (20 * lean, 0, 20), 3.1, 5.4)]
    sheet = make.plane(6.0, 2, source="log", **resume)
    # From above, past the chamber.
    keys = {"separate": [], "state": {"on_platform": True}, "pitch": 0.5}
    wide = of(drilled(tmp_path / "w", part, passages, sheet, 7.0, 0.9, 0.01, **keys))
    assert wide.rework is None
    assert "breaks into another void" in wide.why_not
    if resume:
        return
    slim = of(drilled(tmp_path / "s", part, passages, sheet, 6.05, 0.9, 0.01, **keys))
    (stroke,) = slim.rework.drilling
    off = np.array([edge, 0, 16.0]) - np.array(stroke.entry_mm)
    off -= (off @ np.array(stroke.direction)) * np.array(stroke.direction)
    assert slim.rework.wall_left_mm == pytest.approx(np.linalg.norm(off) - 3.025, abs=0.02)


# ---- holes set by hand: the part is read, and no passage judged ------------------------------


def alone(folder, part, passages, sheet, **keys):
    """The part of a case, and where it stands after the event."""
    path = make.write_case(folder, part, passages, sheet, pitch=0.8, smallest_way=0.3, **keys)
    checked = prepare(read_case(path))
    return checked, checked.unknowns.variants[0].events


def voids_of(checked, name, route):
    mouths = checked.mouths
    return Voids(checked, mouths[f"{name} inlet"], mouths[f"{name} outlet"], np.array(route))


def hole(x, radius, taken=0.0, depth=15.0, top=20.0):
    """From a face downward."""
    return Hole(np.array([x, 0.0, top]), np.array([0.0, 0.0, -1.0]), radius, depth, 1.0, taken)


AXIS = [(-3.3, 0.0, z) for z in (0.0, 5.0, 15.0, 20.0)]


@pytest.fixture(scope="module")
def beside(tmp_path_factory):
    folder = tmp_path_factory.mktemp("beside")
    sheet = make.plane(10.0, 2, source="log")
    checked, events = alone(folder, two_bores(6.6, segments=192), both(6.6, 5.9), sheet)
    return voids_of(checked, "a", AXIS), events


@pytest.mark.parametrize(
    ("radius", "taken", "wall", "least"),
    [
        (3.2, 0.15, 0.40, 0.25),
        (2.95, 0.25, None, 0.40),  # the drill cuts none, with run-out it does
        (2.9, 0.05, None, None),
    ],
)
def test_a_wall_is_the_distance_of_the_axes_less_the_radii(beside, radius, taken, wall, least):
    voids, events = beside
    one = hole(-3.3, radius, taken)
    assert breaks_into(voids, events, [one]) == ""
    found = wall_left(voids, [events], [one])
    assert found == (
        wall and pytest.approx(wall, abs=5e-3),
        least and pytest.approx(least, abs=5e-3),
    )
    assert within_void(voids.checked.whole.predict(events), one) == (least is None)
    if wall is None:
        return
    # Of several holes the least counts; one beside the axis is nearer to the other bore.
    near = wall_left(voids, [events], [hole(-3.3, 2.9), hole(-3.1, 3.2)])
    assert near.wall_mm == pytest.approx(0.20, abs=5e-3)


def test_a_hole_breaks_into_the_bore_beside_it_and_says_how_far(beside):
    voids, events = beside
    said = breaks_into(voids, events, [hole(-3.3, 3.0), hole(-3.3, 3.4, 0.25)])
    assert said.startswith("b at (")
    assert "0.20 mm of wall would be left there" in said
    assert said.endswith("drill tolerance and run-out may take 0.25 mm")
    assert {other.name for other in voids.others} == {"b", "the outside"}


def test_the_outer_face_beside_a_bore_is_a_wall_too(tmp_path):
    """A bore 1.5 from the side of the block: 4.5 - 3.2 = 1.3 (analytic)."""
    part = m3.Manifold.cube((20.0, 9.0, 20.0)).translate((-10.0, -4.5, 0.0))
    part -= m3.Manifold.cylinder(30.0, 3.0, circular_segments=192).translate((0, 0, -5))
    passage = make.passage((0, 0, 0), (0, 0, 20), 3.0, 5.0)
    checked, events = alone(tmp_path, part, passage, make.plane(10.0, 2, source="log"))
    voids = voids_of(checked, "a", [(0, 0, z) for z in (0.0, 5.0, 15.0, 20.0)])
    found = wall_left(voids, [events], [hole(0.0, 3.2, 0.1)])
    assert found == (pytest.approx(1.3, abs=5e-3), pytest.approx(1.2, abs=5e-3))
    assert breaks_into(voids, events, [hole(0.0, 4.4, 0.2)]).startswith("the outside at (")
    assert breaks_into(voids, events, [hole(0.0, 4.2, 0.2)]) == ""


@pytest.mark.parametrize(("shift", "wall"), [(-0.3, 0.1), *shared.more((0.3, 0.4))])
def test_a_wall_is_taken_where_each_piece_stands(tmp_path, shift, wall):
    """Above z 10 all is moved; the hole keeps to where the lower piece stands: 0.40 there."""
    sheet = make.plane(10.0, 2, source="log", resume_shift=[shift, 0.0])
    checked, events = alone(tmp_path, two_bores(6.6, segments=192), both(6.6, 5.9), sheet)
    voids = voids_of(checked, "a", AXIS)
    found = wall_left(voids, [events], [hole(-3.3, 3.2)])
    assert found.wall_mm == pytest.approx(wall, abs=5e-3)
    broken = breaks_into(voids, events, [hole(-3.3, 3.5)])
    assert bool(broken) == (shift < 0.0)
    assert not within_void(checked.whole.predict(events), hole(-3.3, 2.9))


def test_a_face_that_the_cut_lays_bare_is_a_wall(tmp_path):
    """A closed chamber, above z 10 moved aside over metal: a drill from below, 0.6 under it."""
    part = m3.Manifold.cube((20.0, 12.0, 16.0)).translate((-8.0, -6.0, 0.0))
    part -= shapes.bore((0, 0, -1), (0, 0, 4), 1.0) + shapes.bore((0, 0, 4), (0, 7, 4), 1.0)
    part -= m3.Manifold.cube((4.0, 6.0, 6.0)).translate((3.0, -3.0, 7.0))
    passage = make.passage((0, 0, 0), (0, 6, 4), 1.0, 1.5)
    sheet = make.plane(10.0, 2, source="log", resume_shift=[-4.0, 0.0])
    checked, events = alone(tmp_path, part, passage, sheet)
    voids = voids_of(checked, "a", [(0, 0, 0), (0, 0, 3), (0, 4, 4), (0, 6, 4)])
    up = Hole(np.zeros(3), np.array([0.0, 0.0, 1.0]), 0.5, 9.0, 0.4, 0.0)
    assert wall_left(voids, [events], [up]).wall_mm == pytest.approx(0.6, abs=5e-3)
    assert breaks_into(voids, events, [up]) == ""
    flat = Hole(up.entry, up.direction, 0.5, 9.2, 0.0, 0.0)  # its end is a level face
    assert wall_left(voids, [events], [flat]).wall_mm == pytest.approx(0.8, abs=5e-3)
    through = Hole(up.entry, up.direction, 0.5, 9.8, 0.4, 0.0)
    assert breaks_into(voids, events, [through]).startswith("another void at (")


def test_a_void_that_leads_out_unnamed_is_untold(tmp_path):
    part = two_bores(6.6)
    part -= (
        m3.Manifold.cylinder(20.0, 1.0, circular_segments=32)
        .rotate((90, 0, 0))
        .translate((-3.3, 0, 5))
    )
    checked, _ = alone(tmp_path, part, both(6.6, 5.9)[:1], make.plane(10.0, 2, source="log"))
    with pytest.raises(UntoldError, match="an opening that the case does not name"):
        voids_of(checked, "a", AXIS)


def test_two_soups_are_as_far_apart_as_their_nearest_edges():
    one = np.array([[[0, 0, 0], [1, 0, 0], [0, 1, 0]]], np.float32)
    for at, expected in (((0.2, 0.2, 0.5), 0.5), ((3.0, 0.0, 0.0), 2.0), ((0.0, -0.7, 0.0), 0.6)):
        two = (0.1 * one + np.float32(at)).astype(np.float32)
        for a, b in ((one, two), (two, one)):
            assert Walls(a).apart(Walls(b), 10.0) == pytest.approx(expected, abs=1e-6)
            assert Walls(a).apart(Walls(b), 0.99 * expected) is None
    assert Walls(one).apart(Walls(one[:0]), 10.0) is None


def cut_anew(whole, events, bore):
    """Where the faces of a hole lie in metal, each face cut by itself."""
    bare = whole.predict(tuple(replace(event, slices=()) for event in events))
    found = []
    for plane, face in bores.facets(bore):
        _, metal = predicted_metal(bare, plane, True, face)
        found.append(plane.to_space(flat(metal, 0.0).reshape(-1, 3)[:, :2]))
    return np.concatenate(found).reshape(-1, 3, 3)


def test_faces_kept_for_many_places_lie_in_metal_as_those_cut_for_one(tmp_path):
    """Beside the metal of every face, cut anew for each place, with no face left out."""
    sheet = make.plane(10.0, 2, source="log", resume_shift=[0.6, 0.0])
    checked, first = alone(tmp_path, two_bores(6.6, segments=48), both(6.6, 5.9), sheet)
    whole = checked.whole
    lean = Hole(np.array([-3.3, 0.0, 20.0]), np.array([0.02, 0.01, -1.0]), 3.1, 14.0, 0.9, 0.0)
    bore = replace(lean.bore(False, -6.0), sides=24)
    beside = m3.Manifold.cube((2.0, 20.0, 3.0)).translate((1.2, -10.0, 8.0))
    kept, wall = Faces(whole, bore), Walls(shapes.soup(beside))
    moved = [(replace(first[0], bottom=z, slices=(z, z + 0.05)),) for z in (4.0, 9.0, 13.0)]
    found = []
    for events in ((), *moved):
        predicted = whole.predict(events)
        expected = Walls(cut_anew(whole, events, bore)).apart(wall, 15.0)
        found.append(expected)
        assert Walls(kept.metal(predicted)).apart(wall, 15.0) == pytest.approx(expected, abs=1e-5)
        assert Walls(kept.metal(predicted)).apart(wall, expected - 1e-4) is None
    assert len({round(one, 3) for one in found}) == 2  # the places tell


@pytest.mark.parametrize("tilt", [0.0, 2e-6, 1e-4])
def test_a_flat_end_hardly_off_level_where_the_part_is_cut_and_moved(tmp_path, tilt):
    """It lies above the cut and below it by less than rounding: no piece may lose it."""
    sheet = make.plane(8.0, 2, source="log", resume_shift=[0.6, 0.0])
    checked, events = alone(tmp_path, two_bores(6.6, segments=24), both(6.6, 5.9), sheet)
    events = (replace(events[0], slices=()),)
    end = 8.0 - 1.5 * tilt * np.cos(np.pi / 24)
    bore = bores.Bore((12.0, 0.0, end - 6.0), (tilt, 0.0, 1.0), 1.5, 6.0, 0.0, 24, around=True)
    metal = Faces(checked.whole, bore).metal(checked.whole.predict(events))

    def area(triangles):
        edge = triangles[:, 1:] - triangles[:, :1]
        return 0.5 * float(np.linalg.norm(np.cross(edge[:, 0], edge[:, 1]), axis=1).sum())

    # Analytic: all of the hole lies in metal; a prism of 24 sides around a circle of 1.5.
    side = 2.0 * 1.5 * np.tan(np.pi / 24)
    assert area(metal) == pytest.approx(24 * side * 6.0 + 2.0 * 24 * 0.5 * 1.5 * side, rel=1e-4)
    assert area(metal) == pytest.approx(area(cut_anew(checked.whole, events, bore)), rel=1e-4)
