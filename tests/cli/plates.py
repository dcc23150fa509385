"""A small plate for the tests of the command `plate`, and ways to run and compare."""

import json
import os
import subprocess
import sys
from pathlib import Path
from types import SimpleNamespace

import pytest
import shapes
import shared
from click.testing import CliRunner

from clearance.cli.main import main

PROGRAM = [sys.executable, "-m", "clearance"]

CASE = """\
[part]
name = "{name}"
mesh = "{name}.stl"
layer_thickness = 0.5
platform_z = 0.0
density_g_cm3 = 8.0

[[passage]]
name = "way"
inlet = {{ centre = [{inlet}, 0.0, 0.0], radius = 3.0 }}
outlet = {{ centre = [{outlet}, 0.0, 12.0], radius = 3.0 }}
min_clear_diameter = 5.0

[grid]
pitch = 0.5

[drilling]
series = []                    # the search for plans takes longer than all the rest
"""

HEAD = """\
[plate]
name = "small"
size = [200.0, 200.0]

[[stray]]
shape = "layer"
source = "log"
height = {height}
from_layer = 0
layers = 2
resume = "height"
penetration = 0.5
resume_shift = [0.0, 0.0]
"""

PART = """
[[part]]
name = "{name}"
case = "{case}"
at = [{x}, {y}]
turn = {turn}
{more}
"""

# Straight bores stand over their own hole in the first layers: open. The leaning one has moved
# by 6 mm tan 45 = 6.0 mm at the sheet, its own diameter: sealed.
PARTS = [
    {"name": "S1", "case": "straight.toml", "x": -50, "y": 50, "turn": 0},
    {"name": "S2", "case": "straight.toml", "x": 0, "y": 50, "turn": 90},
    {"name": "L1", "case": "leaning.toml", "x": 50, "y": 50, "turn": 180},
    {"name": "L2", "case": "leaning.toml", "x": -50, "y": 0, "turn": 0, "more": "layers = 0"},
    {"name": "L3", "case": "leaning.toml", "x": 0, "y": 0, "turn": 0, "more": "layers = 1"},
]


def write_designs(folder):
    """Two designs: a block 14 x 14 x 12 with an upright bore of 6, and one with a leaning bore."""
    straight = shapes.block((-7, -7, 0), (7, 7, 12)) - shapes.bore(
        (0, 0, -1), (0, 0, 13), 3.0, segments=24
    )
    leaning = shapes.block((-12, -7, 0), (12, 7, 12)) - shapes.bore(
        (-7, 0, -1), (7, 0, 13), 2.2, segments=24
    )
    shapes.write_stl(folder / "straight.stl", shapes.soup(straight))
    shapes.write_stl(folder / "leaning.stl", shapes.soup(leaning))
    text = CASE.format(name="straight", inlet=0.0, outlet=0.0)
    (folder / "straight.toml").write_text(text, encoding="utf-8")
    text = CASE.format(name="leaning", inlet=-6.0, outlet=6.0)
    text = text.replace("radius = 3.0", "radius = 2.62").replace("= 5.0", "= 3.5")
    (folder / "leaning.toml").write_text(text, encoding="utf-8")


def write_plate(folder, parts, name="plate.toml", height=6.0):
    """Write a plate file and return its path."""
    text = HEAD.format(height=height) + "".join(PART.format(**{"more": "", **p}) for p in parts)
    path = folder / name
    path.write_text(text, encoding="utf-8")
    return path


FEW_SHEETS = [sys.executable, str(Path(__file__).with_name("few_sheets.py"))]
"""The program, which draws sheets of the straight design alone."""


def run(plate, out, *words, wait=True, program=PROGRAM, **options):
    """Run the program in a process of its own."""
    command = [*program, "plate", str(plate), "--out", str(out), *map(str, words)]
    options = {"text": True, "stdout": subprocess.PIPE, "stderr": subprocess.PIPE, **options}
    process = subprocess.Popen(command, **options)
    if not wait:
        return process
    out_text, err_text = process.communicate(timeout=300)
    return subprocess.CompletedProcess(command, process.returncode, out_text, err_text)


def here(plate, out, *words, few_sheets=False):
    """Run the program in this process, its parts too; `computed` names them."""
    with pytest.MonkeyPatch.context() as patch:
        computed = shared.in_this_process(patch, few_sheets)
        found = CliRunner().invoke(main, ["plate", str(plate), "--out", str(out), *map(str, words)])
    return SimpleNamespace(
        returncode=found.exit_code, stdout=found.stdout, stderr=found.stderr, computed=computed
    )


def summary(out):
    """Read plate.json."""
    return json.loads((out / "plate.json").read_text(encoding="utf-8"))


def timeless(out):
    """Bytes of every result, the times taken out, by name."""
    found = {}
    for path in sorted(out.rglob("*")):
        if path.is_file() and path.name != ".clearance-lock":
            found[path.relative_to(out).as_posix()] = _without_seconds(path)
    return found


def _without_seconds(path):
    data = path.read_bytes()
    if path.suffix == ".csv":
        lines = data.decode().splitlines()
        return "\n".join(line.rsplit(",", 1)[0] for line in lines)
    if path.suffix != ".json":
        return data
    lines = data.decode().splitlines()
    kept = [line for line in lines if not line.strip().startswith('"seconds"')]
    assert len(kept) < len(lines)
    return "\n".join(kept)


def whole(out):
    """Assert that no result is torn: every JSON file parses, every PDF has its end."""
    for path in out.rglob("*"):
        if path.suffix == ".json":
            json.loads(path.read_text(encoding="utf-8"))
        if path.suffix == ".pdf":
            assert path.read_bytes().rstrip().endswith(b"%%EOF")


def children(pid):
    """Processes that a process has started."""
    found = []
    for entry in Path("/proc").iterdir():
        if not entry.name.isdigit():
            continue
        try:
            fields = (entry / "stat").read_text().rsplit(")", 1)[1].split()
            command = (entry / "cmdline").read_bytes()
        except OSError:
            continue
        if int(fields[1]) == pid and fields[0] != "Z" and b"spawn_main" in command:
            found.append(int(entry.name))
    return found


def is_root():
    """Whether permissions do not hold."""
    return hasattr(os, "geteuid") and os.geteuid() == 0
