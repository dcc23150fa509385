"""STEP files as parts: tessellated to a stated chord, round walls exact.

Closed forms: a bore of radius 2 and half a torus of radii 10 and 2 (tests/step/write.py draws them
and keeps what the kernel made of them). Tests of the kernel itself are skipped where the extra
`step` is not installed.
"""

import importlib.util
import json
import sys
from pathlib import Path

import make
import numpy as np
import pytest
import shapes
from click.testing import CliRunner

from clearance.case.pitch import chord
from clearance.case.read import read_case
from clearance.checking import judge
from clearance.cli.main import main
from clearance.errors import PartError
from clearance.mesh import formats
from clearance.mesh.part import read_part
from clearance.mesh.step import RoundWall, from_glb
from clearance.report.openings import toml
from clearance.survey.openings import find_openings
from clearance.verdict import passage_check
from clearance.verdict.other_event import with_strays
from clearance.verdict.prepared import prepare

FILES = Path(__file__).parent.parent / "step"
CHORD = 0.02
kernel = pytest.mark.skipif(
    importlib.util.find_spec("cascadio") is None, reason='needs pip install "clearance[step]"'
)
ENDS = {"bore": ((0, 0, 0), (0, 0, 18)), "bend": ((-10, 0, 0), (10, 0, 0))}
VOLUMES = {
    "bore": 20 * 16 * 18 - np.pi * 4 * 18,
    "bend": 32 * 12 * 16 - np.pi * 10 * np.pi * 4,  # Pappus: half of 2 pi R times pi r^2
}


@pytest.fixture
def recorded(monkeypatch):
    """In place of the kernel what it made once, at a chord of 0.02 mm."""
    asked = []

    def read(path, chord_mm):
        asked.append(chord_mm)
        return from_glb(path.with_suffix(".glb").read_bytes(), CHORD)

    monkeypatch.setattr(formats, "read_step", read)
    return asked


@pytest.mark.parametrize("name", ENDS)
def test_a_recorded_tessellation_is_a_closed_part_with_its_round_wall(recorded, name):
    part = read_part(FILES / f"{name}.step", "inch")
    assert shapes.is_closed(part.triangles)
    assert part.notices == ("the file's own unit, mm, is used, not inch",)
    area = {"bore": 2 * np.pi * 2 * 18, "bend": np.pi * 10 * 2 * np.pi * 2}[name]
    assert abs(shapes.volume(part.triangles) - VOLUMES[name]) <= CHORD * area
    assert part.chord_mm == CHORD
    (wall,) = part.walls
    assert (wall.radius, wall.major) == pytest.approx((2.0, 10.0 if name == "bend" else 0.0))
    corners = part.triangles.reshape(-1, 3).astype(np.float64)
    near = wall.off(corners) < 1.0  # the block's own corners lie farther
    assert wall.off(corners[near]).max() < 1e-5


@pytest.mark.parametrize("name", ENDS)
def test_openings_have_the_exact_radius(recorded, name):
    part = read_part(FILES / f"{name}.step")
    found = find_openings(part.triangles, part.walls)
    assert [one.exact_radius for one in found.openings] == pytest.approx([2.0, 2.0])
    assert all(one.mouth.radius < 2.0 for one in found.openings)  # of the triangles
    assert toml(found).count("radius = 2.0,") == 2


@pytest.mark.parametrize("name", ENDS)
def test_the_bracket_holds_the_closed_form(recorded, tmp_path, monkeypatch, name):
    """4 mm clear; whether 3.98 are the triangles cannot tell, and no finer columns could."""
    monkeypatch.setattr(passage_check, "FINER", 0)
    case = written(tmp_path, name, 3.98)
    checked = prepare(case)
    assert recorded == [pytest.approx(0.1 * 0.2)]
    assert with_strays(checked, ()).chord_mm == CHORD  # for margins and suspects too
    result = judge(checked, threads=1).result
    found = result.passages[0]
    bracket = found.clear_diameter_mm
    assert bracket.low <= 4.0 <= bracket.high
    assert bracket.high - bracket.low < 0.2 + 8 * CHORD
    assert found.state == "undetermined"
    assert result.mesh_chord_mm == CHORD
    said = [text for text in result.notices if "tessellated" in text]
    assert said == [
        f"{name}.step is tessellated: its triangles lie at most 0.02 mm off its surface (chord "
        "error), so 0.04 mm stand on both sides of each clear diameter's bracket"
    ]


def written(folder, name, need, **grid):
    """The case of a part; tests with the kernel replace the recorded file's."""
    soup = shapes.straight_bore(2.0, (20.0, 16.0, 18.0), 12)
    path = make.write_case(
        folder, soup, make.passage(*ENDS[name], 2.0, need), pitch=0.2, part={"mesh": f"{name}.step"}
    )
    for kind in (".step", ".glb"):
        path.with_name(f"{name}{kind}").write_bytes((FILES / f"{name}{kind}").read_bytes())
    return read_case(path)


def test_the_chord_is_a_tenth_of_the_pitch(tmp_path):
    case = written(tmp_path, "bore", 3.0)
    assert chord(case) == pytest.approx(0.02)
    assert chord(case, 0.05) == pytest.approx(0.005)


def test_without_the_extra_one_line_says_what_to_install(monkeypatch):
    monkeypatch.setattr(importlib.util, "find_spec", lambda _: None)
    said = CliRunner().invoke(main, ["mesh", str(FILES / "bore.step")])
    assert said.exit_code == 2
    assert said.stderr == (
        f"error: {FILES / 'bore.step'}: is a STEP file, which needs one more library: "
        'pip install "clearance[step]"\n'
    )


def test_a_chord_that_was_not_kept_is_told():
    """Where round walls lie farther off than was asked for, that is the chord error."""
    data = (FILES / "bore.glb").read_bytes()
    found = from_glb(data, 1e-4)
    corners = np.unique(np.round(found.triangles.reshape(-1, 3), 6), axis=0)
    sides = int(((corners[:, 2] == 0.0) & (np.hypot(*corners[:, :2].T) < 3.0)).sum())
    assert 1e-3 < found.chord_mm <= CHORD
    assert found.chord_mm == pytest.approx(2.0 * (1.0 - np.cos(np.pi / sides)), rel=1e-3)


@pytest.mark.parametrize("turn", [None, (0.0, 0.0, np.sqrt(0.5), np.sqrt(0.5))])
def test_instances_keep_their_places(turn):
    """glTF 2.0, 5.25: rotation as a unit quaternion (x, y, z, w); here a quarter turn about z."""
    data = (FILES / "bore.glb").read_bytes()
    length = int.from_bytes(data[12:16], "little")
    document = json.loads(data[20 : 20 + length])
    node = {"mesh": 0, "translation": [0.1, 0.0, 0.0]}
    document["nodes"] = [node if turn is None else {**node, "rotation": turn}, {"mesh": 0}]
    document["scenes"] = [{"nodes": [0, 1]}]
    text = json.dumps(document).encode()
    text += b" " * (-len(text) % 4)
    made = data[:12] + len(text).to_bytes(4, "little") + b"JSON" + text + data[20 + length :]
    found = from_glb(made, CHORD)
    plain = from_glb(data, CHORD).triangles
    first = plain if turn is None else plain @ np.array([[0, 1, 0], [-1, 0, 0], [0, 0, 1]])
    aside = first + np.array([100.0, 0.0, 0.0])
    assert found.triangles == pytest.approx(np.concatenate([aside, plain]), abs=1e-9)
    assert [wall.origin[0] for wall in found.walls] == pytest.approx([100.0, 0.0])


def test_only_square_ends_are_a_walls_own():
    wall = RoundWall(np.zeros(3), np.array([0.0, 0.0, 1.0]), 2.0)
    up, aslant = np.array([0.0, 0.0, 1.0]), np.array([0.0, 0.6, 0.8])
    assert wall.ends_at(np.array([0.0, 0.0, 7.0]), up, 0.1)
    assert not wall.ends_at(np.array([0.0, 0.0, 7.0]), aslant, 0.1)
    assert not wall.ends_at(np.array([0.5, 0.0, 7.0]), up, 0.1)


@kernel
@pytest.mark.parametrize("name", ENDS)
def test_the_kernel_makes_what_was_recorded_and_a_finer_chord_is_nearer(name):
    sys.path.insert(0, str(FILES))
    import write

    assert write.PARTS[name]() == (FILES / f"{name}.step").read_text("ascii")
    rough, fine = (read_part(FILES / f"{name}.step", chord_mm=c) for c in (CHORD, CHORD / 4))
    assert shapes.is_closed(fine.triangles)
    known = from_glb((FILES / f"{name}.glb").read_bytes(), CHORD)
    assert rough.triangles == pytest.approx(known.triangles, abs=1e-5)
    errors = [abs(shapes.volume(one.triangles) - VOLUMES[name]) for one in (rough, fine)]
    assert errors[1] < 0.5 * errors[0]


@kernel
def test_the_files_unit_and_damage(tmp_path):
    """ISO 10303-41: lengths in the unit of the context; here metres."""
    sys.path.insert(0, str(FILES))
    import write

    path = tmp_path / "metres.stp"
    path.write_text(write.bore(1e-3, "$"))
    part = read_part(path, chord_mm=CHORD)
    assert part.notices == ()
    assert np.ptp(part.triangles, axis=(0, 1)) == pytest.approx([20, 16, 18], abs=1e-4)
    path.write_text(path.read_text()[:2000])
    with pytest.raises(PartError, match=r"metres\.stp: the STEP file cannot be read: \S+") as fault:
        read_part(path)
    assert "\n" not in str(fault.value)
