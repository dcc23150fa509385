"""The wall that a plan leaves, against exact distances, also where it is thinner than the pitch.

Every expected wall is analytic: the distance of two axes less two radii.
"""

import make
import manifold3d as m3
import numpy as np
import pytest
import shared

from clearance.drilling.recheck import Recheck

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
        (0.45, 37.0),
        *shared.more((0.45, 0.0), (0.2, 37.0), (0.2, 0.0), (0.3, 0.0), (0.3, 37.0)),
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
    "resume", [{}, {"resume_shift": [-0.3, 0.0]}, *shared.more({"resume": "layer"})]
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
    keys = {"separate": [], "state": {"on_platform": True}}  # from above, past the chamber
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
