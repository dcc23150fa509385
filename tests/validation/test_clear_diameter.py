"""Clear diameters and open areas against closed forms.

Every expected value is analytic unless it says otherwise. A round bore is an inscribed polygon of
N corners in the mesh: its clear diameter is D cos(pi / N), which is what "the truth" means here
(REFERENCES 5); the drawing's D must be met within a pitch. What docs/validation.md has a row of the
same part for comes with `-m more` here: a plain test makes that row.
"""

from __future__ import annotations

from math import acos, cos, pi, radians, sin, sqrt, tan

import make
import manifold3d as m3
import numpy as np
import pytest
import shapes as s
import shared

N = 96
CHORD = cos(pi / N)
PITCH = 0.3


def bracket(passage, drawing: float, least: float, most: float | None = None) -> None:
    """Truth (anywhere from least to most) inside [low, high]; drawing met within one pitch."""
    clear = passage.clear_diameter_mm
    most = least if most is None else most
    assert clear.low <= most + 1e-6
    assert clear.high >= least - 1e-6
    assert clear.low - 1e-9 <= clear.predicted <= clear.high + 1e-9
    assert abs(clear.predicted - drawing) <= PITCH
    assert clear.high - clear.low <= PITCH


def tilted(tilt: float, radius: float = 2.0, height: float = 20.0):
    """Leaning bore and its passage."""
    lean = height / 2 * tan(radians(tilt))
    solid = s.tilted_bore(radius, tilt, (2 * lean + 30, 14.0, height), N)
    mouth = radius / sqrt(cos(radians(tilt)))
    return solid, make.passage((-lean, 0, 0), (lean, 0, height), mouth, 1.5 * radius)


@pytest.mark.parametrize("tilt", [60, *shared.more(0, 15, 30, 45)])
def test_a_leaning_tube_is_as_wide_as_its_normal_section(tmp_path, tilt):
    solid, passage = tilted(tilt)
    found = make.first(tmp_path, solid, passage)
    bracket(found, 4.0, 4.0 * CHORD)
    assert found.state == "open"


@pytest.mark.parametrize("tilt", [45, *shared.more(0, 15, 30, 60)])
def test_a_sheet_of_the_right_slices_changes_nothing_but_steps(tmp_path, tilt):
    # Slice k where layer k belongs: the wall becomes a stair that stands in by half a layer's lean
    # on either side; open area at mid layer is the ellipse's.
    solid, passage = tilted(tilt)
    t = 0.1
    found = make.first(tmp_path, solid, passage, make.sheet(8.0, 3, from_layer=80), layer=t)
    step = t * tan(radians(tilt))
    bracket(found, 4.0 * CHORD - step, 4.0 * CHORD - step, 4.0 * CHORD)
    (crossing,) = found.crossings
    nominal = pi * 4.0 / cos(radians(tilt))
    assert crossing.nominal_area_mm2 == pytest.approx(nominal, rel=0.01)
    # The least section is at a face between two layers, open on both sides: a lens of two steps.
    lens = _lens_area(2.0, step * cos(radians(tilt))) / cos(radians(tilt))
    assert crossing.open_area_mm2 == pytest.approx(lens, rel=0.01)


def _lens_area(radius: float, apart: float) -> float:
    """Common area of two circles (REFERENCES 2.2; analytic)."""
    if apart >= 2 * radius:
        return 0.0
    return 2 * radius**2 * acos(apart / (2 * radius)) - apart / 2 * sqrt(4 * radius**2 - apart**2)


@pytest.mark.parametrize("tilt", [15, *shared.more(30, 45, 60)])
def test_first_slices_over_a_leaning_tube_leave_a_lens(tmp_path, tilt):
    # Two ellipses apart by d = (height between slice and place) tan(tilt): scaled along the lean
    # they are circles apart by d cos(tilt).
    solid, passage = tilted(tilt)
    height, t = 3.0, 0.1
    found = make.first(tmp_path, solid, passage, make.sheet(height, 1), layer=t)
    (crossing,) = found.crossings
    apart = (height + t - 0.5 * t) * sin(radians(tilt))  # worst at the sheet's upper face
    expected = _lens_area(2.0, apart) / cos(radians(tilt))
    whole = pi * 4.0 / cos(radians(tilt))
    assert crossing.open_area_mm2 == pytest.approx(expected, abs=0.01 * whole)
    assert crossing.open_fraction == pytest.approx(expected / whole, abs=0.01)
    assert crossing.height_mm == pytest.approx(height + t, abs=1e-6)


SHIFTS = [(shift, along) for along in (0.0, 37.0) for shift in (0.5, 1.5, 2.8, 3.9, 4.1)]
PLAIN = [(3.9, 37.0), (4.1, 0.0)]


@pytest.mark.parametrize(
    ("shift", "along"), [*PLAIN, *shared.more(*(one for one in SHIFTS if one not in PLAIN))]
)
def test_a_shifted_resume_leaves_a_lens(tmp_path, shift, along):
    solid = s.straight_bore(2.0, (24.0, 24.0, 20.0), N)
    move = [shift * cos(radians(along)), shift * sin(radians(along))]
    event = make.sheet(9.96, 0, next_layer=100, resume_shift=move)
    event["height"] = 10.0
    found = make.first(tmp_path, solid, make.passage((0, 0, 0), (0, 0, 20), 2, 1.0), event)
    (crossing,) = found.crossings
    assert crossing.open_area_mm2 == pytest.approx(_lens_area(2.0, shift), abs=0.01 * 4 * pi)
    if shift > 4:
        assert found.state == "blocked"
        assert found.clear_diameter_mm.high == 0.0
        return
    bracket(found, 4.0 - shift, 4.0 * CHORD - shift, 4.0 - shift)
    assert found.state == ("open" if 4.0 * CHORD - shift > 1.0 else "restricted")


@pytest.mark.parametrize(
    ("hole", "offset"), [(0.4, 3.1), *shared.more((2.0, 1.3), (2.0, 0.0), (1.0, 2.9))]
)
def test_a_plate_with_a_hole_lets_the_hole_through(tmp_path, hole, offset):
    bore = s.straight_bore(4.0, (20.0, 20.0, 20.0), N)
    plate = s.bore((0, 0, 10.03), (0, 0, 10.53), 4.5, segments=N)
    plate -= s.bore((offset, 0.1, 9), (offset, 0.1, 12), hole, segments=N)
    found = make.first(
        tmp_path,
        bore,
        make.passage((0, 0, 0), (0, 0, 20), 4, 0.5),
        {"shape": "mesh", "mesh": "plate.stl"},
        meshes={"plate": plate},
    )
    bracket(found, 2 * hole, 2 * hole * CHORD)
    (crossing,) = found.crossings
    assert crossing.open_area_mm2 == pytest.approx(pi * hole**2, abs=0.01 * 16 * pi)
    assert found.state == "open"


@pytest.mark.parametrize("gap", [0.7, *shared.more(5.0, 2.0)])
def test_a_plate_that_leaves_a_segment_lets_its_height_through(tmp_path, gap):
    # The largest circle in a circular segment of height h has diameter h (REFERENCES 2.2).
    bore = s.straight_bore(4.0, (20.0, 20.0, 20.0), N)
    plate = s.block((-5, -5, 10.03), (4.0 - gap, 5, 10.53))
    found = make.first(
        tmp_path,
        bore,
        make.passage((0, 0, 0), (0, 0, 20), 4, 0.5),
        {"shape": "mesh", "mesh": "plate.stl"},
        meshes={"plate": plate},
    )
    bracket(found, gap, gap * CHORD, gap)


@pytest.mark.parametrize(("a", "b"), [(4.0, 0.6), *shared.more((2.0, 1.0), (3.0, 2.5))])
def test_an_elliptical_bore_is_as_wide_as_its_short_axis(tmp_path, a, b):
    tool = s.bore((0, 0, -1), (0, 0, 21), 1.0, segments=N).scale((a, b, 1.0))
    solid = s.block((-8.1, -7.3, 0), (8.3, 7.1, 20)) - tool.rotate((0, 0, 20.0))
    found = make.first(
        tmp_path, solid, make.passage((0, 0, 0), (0, 0, 20), sqrt(a * b), b), make.sheet(9.0)
    )
    bracket(found, 2 * b, 2 * b * CHORD, 2 * b)
    (crossing,) = found.crossings
    assert crossing.open_area_mm2 == pytest.approx(pi * a * b, rel=0.01)
    assert found.state == "open"


@pytest.mark.parametrize("turn", [0.0, *shared.more(17.0)])
def test_a_duct_is_as_wide_as_its_short_side(tmp_path, turn):
    tool = s.block((-1.1, -4.0, -1), (1.1, 4.0, 21)).rotate((0, 0, turn))
    solid = s.block((-8, -8, 0), (8, 8, 20)) - tool
    radius = sqrt(2.2 * 8.0 / pi)
    found = make.first(
        tmp_path, solid, make.passage((0, 0, 0), (0, 0, 20), radius, 2.0), make.sheet(9.0)
    )
    bracket(found, 2.2, 2.2)
    assert found.crossings[0].open_area_mm2 == pytest.approx(17.6, rel=1e-5)


@pytest.mark.more
def test_a_torus_bend(tmp_path):
    step = radians(2.0)
    solid = s.torus_bend(2.0, 7.0, N, 2.0)
    found = make.first(tmp_path, solid, make.passage((-7, 0, 0), (7, 0, 0), 2.0, 3.5))
    # Between two rings the wall is a chord: at the outer side it stands in by the sagitta.
    sagitta = 9.0 * (1 - cos(step / 2))
    bracket(found, 4.0, 4.0 * CHORD - 2 * sagitta, 4.0)
    assert found.state == "open"


@pytest.mark.more
def test_a_helical_tube(tmp_path):
    solid = s.helical_tube(1.5, 6.0, 20.0, 1.25, 64)
    end = 2 * pi * 1.25
    slope = 20.0 / (2 * pi * 1.25 * 6.0)
    mouth = 1.5 / sqrt(sin(np.arctan(slope)))
    passage = make.passage((6, 0, 0), (6 * cos(end), 6 * sin(end), 20), mouth, 2.5)
    found = make.first(tmp_path, solid, passage)
    bracket(found, 3.0, 3.0 * cos(pi / 64) - 0.02, 3.0)  # 0.02: chord of 4 degrees of the helix
    assert found.state == "open"


@pytest.mark.parametrize("pitches", shared.more(((0.8, 0.4, 0.2),)))
def test_the_bracket_shrinks_with_the_pitch(tmp_path, pitches):
    solid = s.helical_tube(1.5, 6.0, 20.0, 1.25, 64)
    end = 2 * pi * 1.25
    passage = make.passage((6, 0, 0), (6 * cos(end), 6 * sin(end), 20), 2.0, 2.5)
    widths = []
    for pitch in pitches:
        clear = make.first(tmp_path / f"{pitch}", solid, passage, pitch=pitch).clear_diameter_mm
        assert clear.low <= 3.0 <= clear.high + 0.02
        assert clear.high - clear.low <= pitch
        widths.append(clear.high - clear.low)
    assert widths[-1] <= max(widths[0], 0.06)


# ---- touching spheres (REFERENCES 2.1): throats with closed forms, off every grid line ----------

OFF = (0.137, 0.211, 0.0931)


@pytest.mark.more
def test_simple_cubic_spheres(tmp_path):
    # Throat (sqrt 2 - 1) R through the square window of four touching spheres.
    radius = 2.0
    step = 2 * radius
    balls = [
        m3.Manifold.sphere(radius, 96).translate((x, y, z))
        for x in (-step / 2, step / 2)
        for y in (-step / 2, step / 2)
        for z in (step / 2, 3 * step / 2)
    ]
    shell = s.block((-6, -6, -3), (6, 6, 11)) - s.block((-step, -step, 0), (step, step, 2 * step))
    shell -= s.bore((0, 0, -4), (0, 0, 12), 1.5, segments=N)
    solid = m3.Manifold.batch_boolean([shell, *balls], m3.OpType.Add).translate(OFF)
    ends = (np.array((0, 0, -3.0)) + OFF, np.array((0, 0, 11.0)) + OFF)
    found = make.first(tmp_path, solid, make.passage(*ends, 1.5, 1.0))
    throat = 2 * (sqrt(2) - 1) * radius
    bracket(found, throat, throat, throat + 0.01)  # faceted spheres are 0.002 mm smaller
    assert found.state == "open"


def test_face_centred_cubic_spheres(tmp_path):
    # One cell and a second on it, cut by mirror planes (walls through sphere centres do not widen
    # any way). From one octahedral hole to the next the throat is a triangle of three spheres:
    # (2 / sqrt 3 - 1) R. The ports are drilled through the spheres before the two holes.
    radius = 4.0
    a = 2 * sqrt(2) * radius
    centres = {
        (x + i, y + j, z + k)
        for x, y, z in ((0, 0, 0), (0, 0.5, 0.5), (0.5, 0, 0.5), (0.5, 0.5, 0))
        for i in (0, 1)
        for j in (0, 1)
        for k in (0, 1, 2)
        if x + i <= 1 and y + j <= 1 and z + k <= 2
    }
    balls = [m3.Manifold.sphere(radius, 96).translate(tuple(a * np.array(c))) for c in centres]
    outer = s.block((-1, -1, -1), (a + 1, a + 1, 2 * a + 1))
    metal = outer - s.block((0, 0, 0), (a, a, 2 * a))
    metal = m3.Manifold.batch_boolean([metal, *balls], m3.OpType.Add) ^ outer
    ends = [np.array((-1.0, a / 2, z)) for z in (a / 2, 3 * a / 2)]
    for end in ends:
        metal -= s.bore(end - np.array((1, 0, 0)), end + np.array((5.0, 0, 0)), 1.2, segments=N)
    solid = metal.translate(OFF)
    found = make.first(
        tmp_path, solid, make.passage(ends[0] + OFF, ends[1] + OFF, 1.2, 0.5), pitch=0.3
    )
    throat = 2 * (2 / sqrt(3) - 1) * radius
    bracket(found, throat, throat, throat + 0.02)
    assert found.state == "open"


@pytest.mark.more
def test_hexagonally_close_packed_spheres(tmp_path):
    # Four layers A B A B in a box, round the column of octahedral holes over the C places. From the
    # lowest hole to the third up there are two triangles of spheres: (2 / sqrt 3 - 1) R again.
    radius = 4.0
    step, rise = 2 * radius, 2 * radius * sqrt(2 / 3)
    a, b = np.array((step, 0.0)), np.array((step / 2, step * sqrt(3) / 2))
    places = {0: np.zeros(2), 1: (a + b) / 3}  # A and B; C is at 2 (a + b) / 3
    column = 2 * (a + b) / 3
    balls = []
    for layer in range(4):
        for i in range(-3, 4):
            for j in range(-3, 4):
                at = places[layer % 2] + i * a + j * b - column
                if np.abs(at).max() < 2 * step:
                    balls.append(m3.Manifold.sphere(radius, 96).translate((*at, layer * rise)))
    top = 3 * rise
    outer = s.block((-9, -9, -1), (9, 9, top + 1))
    metal = outer - s.block((-8, -8, 0), (8, 8, top))
    metal = m3.Manifold.batch_boolean([metal, *balls], m3.OpType.Add) ^ outer
    metal -= s.bore((0, 0, -2), (0, 0, 0.5 * rise), 1.2, segments=N)
    metal -= s.bore((0, 0, 2.5 * rise), (0, 0, top + 2), 1.2, segments=N)
    ends = [np.array((0, 0, z)) + OFF for z in (-1.0, top + 1)]
    found = make.first(tmp_path, metal.translate(OFF), make.passage(*ends, 1.2, 0.5))
    throat = 2 * (2 / sqrt(3) - 1) * radius
    bracket(found, throat, throat, throat + 0.02)
    assert found.state == "open"


@pytest.mark.more
def test_body_centred_cubic_spheres(tmp_path):
    # Touching along the body's diagonals. The bores end in tetrahedral holes two cells apart; any
    # way between leads through triangles of sides 2R, 2R, 4R / sqrt 3: (sqrt 1.5 - 1) R.
    radius = 2.5
    cell = 4 * radius / sqrt(3)
    balls = [
        m3.Manifold.sphere(radius, 96).translate(tuple(cell * (np.array((i, j, k)) + half)))
        for i in range(-1, 3)
        for j in range(-1, 3)
        for k in range(-1, 4)
        for half in (0.0, 0.5)
    ]
    low, high = cell * np.array((-0.5, -0.5, -0.5)), cell * np.array((1.5, 1.5, 2.5))
    outer = s.block(low - 1, high + 1)
    metal = outer - s.block(low, high)
    metal = m3.Manifold.batch_boolean([metal, *balls], m3.OpType.Add) ^ outer
    ends = []
    for z in (0.0, 2.0 * cell):
        hole = np.array((cell / 2, cell / 4, z))
        face = np.array((cell / 2, low[1] - 1, z))
        metal -= s.bore(face - (0, 1, 0), hole, 0.7, segments=N)
        ends.append(face + OFF)
    found = make.first(tmp_path, metal.translate(OFF), make.passage(*ends, 0.7, 0.4))
    throat = 2 * (sqrt(1.5) - 1) * radius
    bracket(found, throat, throat, throat + 0.02)
    assert found.state == "open"
