"""A part whose mesh lies otherwise than it was built: the same part, in other axes.

The reference is the same part turned beforehand, so that +z of its mesh is the build direction.
"""

from dataclasses import fields, is_dataclass, replace
from typing import get_type_hints

import make
import numpy as np
import pytest
import shapes

from clearance import result as results
from clearance.axes import VECTORS, in_mesh_axes, rotation, to_mesh, to_platform
from clearance.case.plate import read_plate
from clearance.case.read import read_case
from clearance.checking import judge
from clearance.drawing.laboratory import laboratory
from clearance.drawing.level import level_section
from clearance.drawing.level_words import passage_footer
from clearance.drawing.sheet import sheet
from clearance.errors import CaseError, PortError
from clearance.geometry.soup import extent
from clearance.heights import HEIGHTS, POINTS
from clearance.plates.members import members
from clearance.report.full import text
from clearance.restart.asked import standing
from clearance.result import as_json
from clearance.verdict.prepared import prepare

ALONG = {"x": (2.0, 0.0, 0.0), "-z": (0.0, 0.0, -1.0)}
ASLANT = (2.0, -1.0, 0.5)
Z = 3.0  # of the platform along the build direction; the part stands 2 mm above it


def leaning_bore():
    """A block whose bore leans by 25 degrees, with a wedge beside it so that no axis is alike."""
    lean = 10.0 * np.tan(np.radians(25.0))
    part = shapes.block((-14, -7, 0), (14, 9, 20)) - shapes.bore(
        (-1.1 * lean, 0, -1), (1.1 * lean, 0, 21), 2.0, segments=48
    )
    return part.translate((0, 0, Z + 2.0)), lean


def written(folder, direction, **part):
    """The case in a mesh's frame in which `direction` is up; None: turned beforehand."""
    solid, lean = leaning_bore()
    soup = shapes.soup(solid)
    turn = {} if direction is None else {"build_direction": list(direction)}

    def back(points):
        return to_mesh(points, direction)

    mesh = back(soup).astype(np.float32) + np.float32(0.0)
    ends = [(-lean, 0.0, Z + 2.0), (lean, 0.0, Z + 22.0)]
    passage = make.passage(*back(ends), 2.0, 2.5)
    passage["inlet"]["normal"] = list(back((0.0, 0.0, -1.0)))
    west = [-1.0, 0.0] if direction is None else list(back((-1.0, 0.0, 0.0)))
    return make.write_case(
        folder,
        mesh,
        passage,
        make.plane(6.03, 2, resume_shift=[0.05, 0.0]),
        pitch=0.4,
        part={"platform_z": Z, "density_g_cm3": 7.9, **turn, **part},
        drilling={"series": [], "drills": [{"diameter": 3.2, "flute": 40.0, "overall": 80.0}]},
        reading=[{"kind": "step", "value": -0.05, "u": 0.02, "direction": west}],
    )


def examined(folder, direction):
    return judge(prepare(read_case(written(folder, direction))), threads=1)


@pytest.fixture(scope="module")
def plain(tmp_path_factory):
    """The part turned beforehand."""
    return examined(tmp_path_factory.mktemp("plain"), None)


@pytest.fixture(scope="module", params=ALONG, ids=str)
def turned(request, tmp_path_factory):
    direction = ALONG[request.param]
    return direction, examined(tmp_path_factory.mktemp("turned"), direction)


def numbers(value, path=""):
    """Leaves of a JSON value by path, but for sentences."""
    rows = value.items() if isinstance(value, dict) else enumerate(value)
    found = {}
    for key, one in rows:
        if isinstance(one, dict | list):
            found |= numbers(one, f"{path}/{key}")
        elif not isinstance(one, str) or key in ("state", "recommendation", "method", "says"):
            found[f"{path}/{key}"] = one
    return found


def test_the_same_verdict_plan_and_places_in_the_meshs_axes(plain, turned):
    direction, found = turned
    first = plain.result
    assert first.passages[0].rework is not None
    wanted = as_json(in_mesh_axes(replace(first, inputs=None), direction))
    given = as_json(replace(found.in_mesh_axes, inputs=None))
    assert numbers(given) == pytest.approx(numbers(wanted), abs=2e-6)
    entry = found.in_mesh_axes.passages[0].rework.drilling[0].entry_mm
    assert entry != pytest.approx(first.passages[0].rework.drilling[0].entry_mm, abs=1.0)


def words(found):
    said = found.on_paper
    notices = [s for s in said.notices if s not in found.checked.frame_notice]
    return text(replace(said, notices=tuple(notices)))


def test_words_and_pictures_are_in_the_platforms_axes(plain, turned):
    direction, found = turned
    assert words(found) == words(plain)
    up = "({:g}, {:g}, {:g}) ".format(*direction)
    assert sum(up in said for said in found.result.notices) == 1
    assert up in " ".join(passage_footer(found.checked))
    assert f"its {up}is up" in dict(laboratory(found).facts)["axes"]
    assert f"its {up}is up" in sheet(found).frame
    first, other = (
        level_section(one.checked, one.result.passages, 6.1, one.result.separate)
        for one in (plain, found)
    )
    assert other.bounds == first.bounds
    assert other.title == first.title


def test_a_direction_aslant_of_every_axis(plain, tmp_path):
    """The turned mesh is rounded to float32 twice: brackets hold the same truth."""
    found = examined(tmp_path, ASLANT).in_mesh_axes.passages[0]
    first = in_mesh_axes(plain.result, ASLANT).passages[0]
    assert found.state == first.state
    a, b = found.clear_diameter_mm, first.clear_diameter_mm
    assert max(a.low, b.low) <= min(a.high, b.high) + 1e-4
    for one, other in zip(found.crossings, first.crossings, strict=True):
        assert one.height_mm == pytest.approx(other.height_mm, abs=1e-4)
        assert one.centre_mm == pytest.approx(other.centre_mm, abs=0.02)
        assert one.open_area_mm2 == pytest.approx(other.open_area_mm2, rel=1e-3)
    drill, wanted = found.rework.drilling[0], first.rework.drilling[0]
    assert drill.drill_diameter_mm == wanted.drill_diameter_mm
    assert drill.direction == pytest.approx(wanted.direction, abs=0.02)


STEADY = {"voxel_mm", "low_mm", "high_mm"}
"""A volume's own axes; what has moved is told along the platform's, as `resume_shift` is given."""


def test_every_place_and_direction_of_the_result_is_turned():
    """What has three numbers is a place or a direction, but for what says which axes it is in."""
    seen = set()
    for one in vars(results).values():
        if is_dataclass(one):
            for field in fields(one):
                if "float, float, float" in str(get_type_hints(one)[field.name]):
                    seen.add(field.name)
    assert seen
    assert seen <= POINTS | VECTORS | STEADY
    assert not VECTORS & (POINTS | HEIGHTS)


@pytest.mark.parametrize("direction", [*ALONG.values(), ASLANT, (0.0, 0.0, 5.0), (1e-9, 0, -1.0)])
def test_the_shortest_turn(direction):
    """Rodrigues' rotation formula (1840): the angle is that between the direction and +z."""
    matrix = rotation(direction)
    unit = np.array(direction) / np.linalg.norm(direction)
    assert matrix @ matrix.T == pytest.approx(np.eye(3), abs=1e-15)
    assert np.linalg.det(matrix) == pytest.approx(1.0)
    assert matrix @ unit == pytest.approx([0.0, 0.0, 1.0], abs=1e-15)
    assert np.trace(matrix) == pytest.approx(1.0 + 2.0 * unit[2])  # 1 + 2 cos of the angle
    assert to_mesh(to_platform(direction, direction), direction) == pytest.approx(direction)


def test_the_opposite_direction_turns_about_x():
    assert to_platform((1.0, 2.0, 3.0), (0.0, 0.0, -2.0)).tolist() == [1.0, -2.0, -3.0]


FAULTS = {
    "[0, 0, 0]": "found [0, 0, 0], expected a direction, not the zero vector",
    "[0, 0, nan]": "found nan, expected a finite number",
    "[0, 1]": "found [0, 1], expected three numbers, [x, y, z]",
}


@pytest.mark.parametrize("value", FAULTS)
def test_no_direction_is_one_line(tmp_path, value):
    path = written(tmp_path, (1.0, 0.0, 0.0))
    said = path.read_text().replace("[1.0, 0.0, 0.0]", value, 1)
    path.write_text(said)
    with pytest.raises(CaseError) as fault:
        read_case(path)
    line = next(n for n, row in enumerate(said.splitlines(), 1) if "build_direction" in row)
    first, *more = str(fault.value).splitlines()
    assert first.startswith(f"{path}:{line}: [part] build_direction")
    assert first.endswith(FAULTS[value])
    assert not more


def test_a_ports_fault_is_told_in_the_meshs_axes(tmp_path):
    path = written(tmp_path, (1.0, 0.0, 0.0))
    _, lean = leaning_bore()
    at = to_mesh((-lean, 0.0, Z + 2.0), (1.0, 0.0, 0.0))
    path.write_text(path.read_text().replace("radius = 2.0", "radius = 0.5", 1))
    with pytest.raises(PortError) as fault:
        prepare(read_case(path))
    place = "({:g}, {:g}, {:g})".format(*np.round(at, 3) + 0.0)
    assert f"no opening of radius 0.5 mm at {place}" in str(fault.value)


def test_a_reading_has_a_direction_of_the_mesh(tmp_path):
    path = written(tmp_path, (1.0, 0.0, 0.0))
    assert read_case(path).reading[0].direction == pytest.approx((-1.0, 0.0))
    for value, expected in (
        ("[0.0, -1.0]", "expected [x, y, z] of the mesh, since [part] has a build_direction"),
        ("[1.0, 0.0, 0.0]", "expected a direction across the build"),
    ):
        document = path.read_text().splitlines()
        row = max(n for n, line in enumerate(document) if line.startswith("direction"))
        document[row] = f"direction = {value}"
        other = path.with_name("other.toml")
        other.write_text("\n".join(document))
        with pytest.raises(CaseError, match=r"\[\[reading\]\] number 1 direction") as fault:
            read_case(other)
        assert str(fault.value).endswith(expected)


def test_on_a_plate_and_on_a_restart_card_it_stands_as_built(tmp_path):
    along = (2.0, 0.0, 0.0)
    rows = ['[plate]\nname = "p"\nsize = [200.0, 200.0]']
    for n, direction in enumerate((None, along)):
        case = written(tmp_path / str(n), direction)
        case.write_text(f"{case.read_text()}[state]\non_platform = true\n")
        at = f"at = [{40.0 * n}, 5.0]\nturn = 30.0"
        rows.append(f'[[part]]\nname = "{n}"\ncase = "{n}/case.toml"\n{at}')
    path = tmp_path / "plate.toml"
    path.write_text("\n".join(rows))
    first, other = (one.task for one in members(read_plate(path)))
    assert other.bounds == first.bounds
    assert other.platform_z == first.platform_z
    lows, highs = zip(*(extent(one.others[0].metal()) for one in (first, other)), strict=True)
    assert lows[0][2] == lows[1][2]
    assert highs[0] - lows[0] == pytest.approx(highs[1] - lows[1])
    _, parts, _ = standing(path)
    assert extent(parts[1].solids[0]).tolist() == extent(parts[0].solids[0]).tolist()


def test_a_scan_lies_as_the_mesh_does(tmp_path):
    """The upper corner is cut off the scan: its box in the mesh's axes, lowest corner first."""
    solid, _ = leaning_bore()
    top = Z + 22.0
    cut = solid - shapes.block((-20, -20, top - 3.0), (20, 20, top + 1.0))
    direction = (1.0, 0.0, 0.0)
    shapes.write_stl(tmp_path / "scan.stl", to_mesh(shapes.soup(cut), direction).astype("f4"))
    path = written(tmp_path, direction)
    scan = '[scan]\nmesh = "scan.stl"\nuncertainty = 0.05\nplaced = true\n'
    path.write_text(path.read_text() + scan)
    found = judge(prepare(read_case(path)), threads=1)
    low, high = found.in_mesh_axes.scan.missing_low_mm, found.in_mesh_axes.scan.missing_high_mm
    assert (np.array(low) < high).all()
    assert high[0] == pytest.approx(top, abs=1e-3)  # x of the mesh is up
    assert found.result.scan.missing_high_mm[2] == pytest.approx(top, abs=1e-3)
    said = next(s for s in found.result.notices if "does not show" in s)
    assert f"to {top - Z:.1f} mm" in said  # above the platform
    assert found.result.passages[0].scanned.state == "undetermined"
