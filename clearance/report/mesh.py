"""A mesh report in words and as JSON.

In: a `MeshReport`. Out: the faults by name, the text for people, the keys of the contract.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import numpy as np

from clearance.geometry.cutting import Floats
from clearance.report.table import wrapped
from clearance.result import PROGRAM
from clearance.result.mesh import MeshResult, mesh_inputs
from clearance.result.passage import Point
from clearance.survey.faults import MeshReport
from clearance.survey.thickness import Narrow
from clearance.verdict.numbers import counted, level, near

WIDTH = 88


def faults(found: MeshReport) -> list[str]:
    """Everything wrong with a mesh, a sentence each, gravest first."""
    said = [*_open(found), *_triangles(found), *_pieces(found)]
    if found.suggested_unit != found.unit:
        size = _size(found)
        other = (
            f"unit {found.suggested_unit} would make it likely"
            if found.suggested_unit
            else "no unit makes it likely"
        )
        said.append(f"unit: its largest side is {size:.4g} mm if the unit is {found.unit}; {other}")
    for sheet in found.sheets:
        thick = f"{sheet.thickness_mm:.3g} mm thick" if sheet.thickness_mm > 0.0 else "no thickness"
        said.append(
            f"flat sheet of the file's own across a void: {near(sheet.area_mm2, 1)} mm2 at "
            f"{level([sheet.height_mm])}, {thick}, {sheet.triangles} level triangles. If it is not "
            "meant, the file closes passages there, not the machine"
        )
    if found.refused is not None and not said:
        said.append(found.refused)
    return said


def _open(found: MeshReport) -> list[str]:
    said = []
    if found.unclosed_edges:
        places = "; ".join(
            f"{c.edges} around {_point(c.centre_mm)} within {_box(c.extent_mm)} mm"
            for c in found.where_open
        )
        hint = " (some end in the middle of another edge: T-junctions)" if found.t_junctions else ""
        said.append(f"open: {found.unclosed_edges} unclosed edges{hint}: {places}")
    elif not found.closed and not found.against_neighbours and not found.not_finite:
        said.append("not closed: triangles that meet at edges of four or more do not pair up")
    if found.one_sided:
        said.append("one-sided: a patch of triangles has no outward side")
    if found.closed and abs(found.volume_mm3) <= 1e-9 * _room(found):
        said.append("no volume: the mesh encloses none")
    if found.not_finite:
        said.append(
            f"numbers that are not finite: in {counted(found.not_finite, 'triangle')}, "
            "left out here"
        )
    return said


def _triangles(found: MeshReport) -> list[str]:
    said = []
    if found.against_neighbours:
        said.append(f"flipped: {counted(found.against_neighbours, 'triangle')} against neighbours")
    if found.facing_inward > found.against_neighbours:
        said.append(f"facing inward: {counted(found.facing_inward, 'triangle')}")
    if found.duplicate:
        said.append(f"duplicate: {counted(found.duplicate, 'triangle')} in the place of another")
    if found.zero_area:
        said.append(f"zero area: {counted(found.zero_area, 'triangle')}")
    if found.crowded_edges:
        said.append(f"crowded: {found.crowded_edges} edges of more than two triangles")
    return said


def _pieces(found: MeshReport) -> list[str]:
    if not found.overlapping_pieces:
        return []
    places = ", ".join(_point(at) for at in found.overlaps_at)
    return [
        f"overlapping: {found.overlapping_pieces} of {counted(found.pieces, 'piece')} with surface "
        f"inside other metal, as at {places}; metal is counted once"
    ]


def as_json(found: MeshReport) -> MeshResult:
    """The keys of the contract; null for what there is not."""
    chord = found.chord
    return {
        "schema": 1,
        "mesh": found.path.name,
        "unit": found.unit,
        "suggested_unit": found.suggested_unit,
        "triangles": found.triangles,
        "closed": found.closed,
        "fit_for_check": found.fit,
        "refused": found.refused,
        "mended": list(found.mended),
        "faults": faults(found),
        "volume_mm3": _number(found.volume_mm3),
        "bounds_mm": (_place(found.low), _place(found.high)),
        "unclosed_edges": found.unclosed_edges,
        "where_open": [
            {
                "edges": c.edges,
                "centre_mm": _place(c.centre_mm),
                "extent_mm": _place(c.extent_mm),
            }
            for c in found.where_open
        ],
        "one_sided": found.one_sided,
        "t_junctions": found.t_junctions,
        "crowded_edges": found.crowded_edges,
        "not_finite": found.not_finite,
        "facing_inward": found.facing_inward,
        "against_neighbours": found.against_neighbours,
        "duplicate": found.duplicate,
        "zero_area": found.zero_area,
        "pieces": found.pieces,
        "cavities": found.cavities,
        "overlapping_pieces": found.overlapping_pieces,
        "overlaps_at_mm": [_place(at) for at in found.overlaps_at],
        "chord_error_mm": {"max": chord.max_mm, "p99": chord.p99_mm},
        "chord_error_at_mm": _place(chord.at_mm) if chord.edges else None,
        "chord_error_untold_edges": chord.untold,
        "chord_error_untold_at_mm": _place(chord.untold_at_mm) if chord.untold else None,
        "taken_from_clear_diameter_mm": 2.0 * chord.hollow_max_mm,
        "thinnest_wall_mm": _number(found.wall.width_mm),
        "thinnest_wall_at_mm": _middle(found.wall),
        "thinnest_gap_mm": _number(found.gap.width_mm),
        "thinnest_gap_at_mm": _middle(found.gap),
        "measured_from_points": found.points,
        "flat_sheets": [
            {
                "height_mm": sheet.height_mm,
                "thickness_mm": sheet.thickness_mm,
                "area_mm2": sheet.area_mm2,
                "centre_mm": _place(sheet.centre_mm),
                "pieces": sheet.pieces,
                "triangles": sheet.triangles,
            }
            for sheet in found.sheets
        ],
        "notices": list(found.notices),
        "inputs": mesh_inputs(found.path.name, found.sha256),
        "program": PROGRAM,
    }


def text(found: MeshReport, width: int = WIDTH) -> str:
    """The report for people."""
    own = "its own" if found.own_unit else "as told"
    closed = "closed" if found.closed else "not closed"
    volume = f"{near(found.volume_mm3, 1)} mm3" + ("" if found.closed else ", which means little")
    facts = [
        ("bounds", f"{_point(found.low)} to {_point(found.high)} mm"),
        ("volume", volume),
        ("pieces", f"{found.pieces}, {found.cavities} of them cavities"),
        *_chord(found),
        ("thinnest wall", _thin(found.wall, found.points)),
        ("thinnest gap", _thin(found.gap, found.points)),
    ]
    head = f"{found.path.name}: {found.triangles} triangles, {closed}, unit {found.unit} ({own})"
    lines = wrapped(head, width)
    for label, said in facts:
        room = LABEL if width >= LEAST_LABELLED else 4
        mark = f"  {label}" if room == LABEL or not label else f"  {label}: "
        lines += wrapped(said, width, mark.ljust(room), " " * room)
    said_of = faults(found)
    lines += ["", "faults:" if said_of else "no fault found"]
    for sentence in said_of:
        lines += wrapped(sentence, width, "  - ", "    ")
    for sentence in found.notices:
        lines += wrapped(sentence, width, "  note: ", "    ")
    verdict = "`check` takes this mesh"
    if found.refused is not None:
        verdict = f"`check` refuses this mesh: {found.refused}"
    elif found.mended:
        verdict += f", mended: {'; '.join(found.mended)}"
    if found.refused is None and found.sheets:
        verdict += ", with its flat sheets as part of the nominal shape"
    return "\n".join([*lines, "", *wrapped(verdict, width)]) + "\n"


LABEL, LEAST_LABELLED = 17, 60
"""Columns of a label, and of a terminal that has room for a column of labels."""


def _chord(found: MeshReport) -> list[tuple[str, str]]:
    """Chord error of round walls; in ten thousandths, for it is a few hundredths at most."""
    chord = found.chord
    if not chord.edges:
        return [("chord error", "none: no round walls")]
    facts = [
        (
            "chord error",
            f"at most {chord.max_mm:.4f} mm at {_point(chord.at_mm)}, 99 % below "
            f"{chord.p99_mm:.4f} mm",
        )
    ]
    if chord.hollow_max_mm > 0.0:
        taken = 2.0 * chord.hollow_max_mm
        facts.append(("", f"takes up to {taken:.4f} mm off the clear diameter of a bore"))
    if chord.untold:
        facts.append(
            (
                "",
                f"not told: {counted(chord.untold, 'edge')} as at {_point(chord.untold_at_mm)}, of "
                "coarse facets or of the drawing",
            )
        )
    return facts


def _thin(found: Narrow, points: int) -> str:
    if not np.isfinite(found.width_mm):
        return f"none found from {points} points"
    return f"{near(found.width_mm)} mm at {_point(found.at_mm)}, from {points} points"


def _size(found: MeshReport) -> float:
    return float((found.high - found.low).max())


def _room(found: MeshReport) -> float:
    """Volume of the bounding box, at least 1 mm3."""
    return max(1.0, float(np.prod(found.high - found.low)))


def _point(at: Sequence[float] | Any) -> str:
    return "(" + ", ".join(f"{v:.2f}" for v in np.asarray(at) + 0.0) + ")"


def _box(extent: Any) -> str:
    return " x ".join(f"{v:.2f}" for v in extent)


def _place(at: Floats) -> Point:
    x, y, z = at.tolist()
    return x, y, z


def _number(value: float) -> float | None:
    return float(value) if np.isfinite(value) else None


def _middle(found: Narrow) -> Point | None:
    return _place(found.at_mm) if np.isfinite(found.width_mm) else None
