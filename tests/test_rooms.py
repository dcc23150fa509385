"""Imports go one way: a room uses only rooms listed before it."""

import ast
from pathlib import Path

import pytest

PACKAGE = Path(__file__).parent.parent / "clearance"

ROOMS = [
    "errors",
    "once",
    "files",
    "keys",
    "toml_file",
    "powder_bed",
    "event",
    "melted",
    "case_tables",
    "case",
    "plate_case",
    "compiler",
    "closedness",
    "mending",
    "shells",
    "threemf",
    "mesh_files",
    "part",
    "stretches",
    "sections",
    "sight",
    "bores",
    "ports",
    "distance",
    "flat_sheets",
    "rays",
    "thickness",
    "round_walls",
    "mesh_faults",
    "mesh_report",
    "section_properties",
    "tube_ends",
    "columns",
    "stray",
    "variants",
    "slice_faces",
    "possible",
    "bore",
    "predicted",
    "sheet_levels",
    "crossings",
    "cells",
    "neck",
    "cuts",
    "changed",
    "drilled",
    "closings",
    "passages",
    "hidden",
    "openings",
    "straight_kernels",
    "straight",
    "drills",
    "result",
    "heights",
    "states",
    "between",
    "joints",
    "loose",
    "signs",
    "balls",
    "resumed",
    "graph",
    "patches",
    "checked",
    "passage_check",
    "obstacles",
    "wall_left",
    "together",
    "reach",
    "orifice",
    "flow",
    "flow_of_passage",
    "known",
    "order_of_work",
    "disposition",
    "gather",
    "remedy",
    "apart",
    "second_opinion",
    "verified",
    "check",
    "sweep_levels",
    "sweep_cuts",
    "sweep_bounds",
    "sweep_passage",
    "sweep_result",
    "sweep_wanted",
    "sweep_drills",
    "sweep",
    "kernels",
    "batch",
    "sweep_pieces",
    "margins",
    "report",
    "curve",
    "drawing_parts",
    "drawing_words",
    "drawing",
    "drill_section",
    "sheet_facts",
    "sheet",
    "style",
    "plots",
    "sweep_plots",
    "plots_planes",
    "section_pages",
    "paper",
    "passage_pages",
    "sheet_pages",
    "placed",
    "plate_files",
    "plate_members",
    "plate_part",
    "stamp",
    "plate",
    "plate_plots",
    "cluster",
    "openings_report",
    "openings_plots",
    "terminal",
    "commands_plate",
    "commands_mesh",
    "commands_sweep",
    "cli",
    "__main__",
]
"""The order of DEVELOPERS.md, along the data's way."""

EDGES = {
    "matplotlib": {
        "style",
        "plots",
        "plots_planes",
        "section_pages",
        "paper",
        "passage_pages",
        "sheet_pages",
        "stamp",
        "plate_plots",
        "openings_plots",
        "sweep_plots",
    },
    "click": {"terminal", "cli", "__main__", "commands_plate", "commands_mesh", "commands_sweep"},
}
"""Libraries that only these rooms may use."""


def imports(room: Path) -> set[str]:
    found = set()
    for node in ast.walk(ast.parse(room.read_text(encoding="utf-8"))):
        if isinstance(node, ast.ImportFrom) and node.module:
            found.add(node.module)
            found |= {f"{node.module}.{alias.name}" for alias in node.names}
        elif isinstance(node, ast.Import):
            found |= {alias.name for alias in node.names}
    return found


def rooms() -> list[Path]:
    return sorted(path for path in PACKAGE.glob("*.py") if path.stem != "__init__")


def test_every_room_has_its_place():
    assert {room.stem for room in rooms()} == set(ROOMS)


@pytest.mark.parametrize("room", rooms(), ids=lambda room: room.stem)
def test_a_room_imports_only_rooms_before_it(room):
    before = set(ROOMS[: ROOMS.index(room.stem)])
    for name in imports(room):
        parts = name.split(".")
        if parts[0] == "clearance" and len(parts) > 1 and parts[1] in ROOMS:
            assert parts[1] in before, f"{room.name} imports {name}, which comes after it"


@pytest.mark.parametrize("room", rooms(), ids=lambda room: room.stem)
def test_drawing_and_command_line_stay_at_the_edge(room):
    for name in imports(room):
        library = name.split(".")[0]
        assert room.stem in EDGES.get(library, {room.stem}), f"{room.name} imports {library}"
