"""Openings in words, as JSON, and as [[passage]] tables of a case file.

In: `Openings`. Out: text. The names that passages get say where their ports lie.
"""

from __future__ import annotations

import json
import math
from collections.abc import Sequence
from typing import Any

import numpy as np

from clearance.report.table import wrapped
from clearance.result import PROGRAM
from clearance.result.mesh import OpeningsResult, mesh_inputs
from clearance.result.passage import Point
from clearance.survey.openings import Opening, Openings
from clearance.verdict.numbers import counted, least, near, point

SIDES = (("left", "right"), ("front", "back"), ("bottom", "top"))
"""Of a part seen along +y, with z up: towards -x and +x, -y and +y, -z and +z."""
WIDTH = 88
"""Columns of the text where the terminal does not say otherwise."""
TABLE_WIDTH = 74
"""Columns of the table; where there are fewer, each opening is told in words."""
ASKED = 0.9
"""Of what passes in the nominal part: what a pasted passage asks for until it is edited."""


def as_json(found: Openings, mesh: str, sha256: str) -> OpeningsResult:
    """The keys of the contract, lengths in mm; `sha256` of the bytes of the mesh."""
    return {
        "schema": 1,
        "mesh": mesh,
        "openings": [
            {
                "id": one.number,
                "centre_mm": _place(one.mouth.centre),
                "normal": _place(one.normal),
                "diameter_mm": one.diameter_mm,
                "exact_diameter_mm": None if one.exact_radius is None else 2.0 * one.exact_radius,
                "clear_diameter_mm": one.clear_diameter_mm,
                "area_mm2": one.area_mm2,
                "network": one.network,
            }
            for one in found.openings
        ],
        "notices": list(found.notices),
        "inputs": mesh_inputs(mesh, sha256),
        "program": PROGRAM,
    }


def text(found: Openings, mesh: str, width: int = WIDTH) -> str:
    """A table for people; a line of words for each opening where a table has no room."""
    count, groups = len(found.openings), len(found.networks())
    lines = wrapped(
        f"{mesh}: {counted(count, 'opening')} in {counted(groups, 'connected group')}", width
    )
    if found.openings:
        lines += ["", *(_table(found) if width >= TABLE_WIDTH else _words(found, width))]
    for notice in found.notices:
        lines += wrapped(f"note: {notice}", width, "", "  ")
    return "\n".join(lines) + "\n"


def _table(found: Openings) -> list[str]:
    head = f"{'':>4} {'group':>5}  {'centre, mm':26} {'diameter':>8} {'clear':>7}  faces"
    lines = [head]
    for one in found.openings:
        x, y, z = (near(value) for value in one.mouth.centre)
        lines.append(
            f"{one.number:>4} {one.network:>5}  {x:>8} {y:>8} {z:>8} "
            f"{near(_diameter(one)):>8} {least(2.0 * one.mouth.inscribed_radius):>7}  "
            f"{_faces(one)}"
        )
    return lines


def _words(found: Openings, width: int) -> list[str]:
    lines = []
    for one in found.openings:
        lines += wrapped(
            f"{one.number}, group {one.network}: centre {point(_place(one.mouth.centre))}, "
            f"diameter {near(_diameter(one))}, clear "
            f"{least(2.0 * one.mouth.inscribed_radius)}, faces {_faces(one)}",
            width,
            "",
            "  ",
        )
    return lines


def toml(found: Openings, clear: Sequence[float | None] = ()) -> str:
    """[[passage]] tables: in each connected group the first opening to each other one.

    Normals and centres are written so that the mouths are found again; what a passage has to
    let through is not known from a mesh: it is marked to be edited.

    Parameters
    ----------
    found : Openings
    clear : sequence of float or None, mm
        What passes each of the passages in turn, as far as it is known; else its ports tell.
    """
    tables, passing = [], iter(clear)
    named = {(one.number, other.number): name for name, one, other in pairs(found)}
    for members in found.networks():
        first, *others = members
        if not others:
            tables.append(
                f"# opening {first.number}, {position(first)}: no other one leads there\n"
            )
        for other in others:
            name = named[first.number, other.number]
            tables.append(_passage(name, first, other, next(passing, None)))
    return "\n".join(tables)


def pairs(found: Openings) -> list[tuple[str, Opening, Opening]]:
    """In each connected group the first opening with each other one, and a name for the passage."""
    known, used = [], dict[str, int]()
    for first, *others in found.networks():
        for other in others:
            name = f"{position(first)} to {position(other)}"
            used[name] = used.get(name, 0) + 1
            if used[name] > 1:
                name += f" ({used[name]})"
            known.append((name, first, other))
    return known


def _passage(name: str, inlet: Opening, outlet: Opening, clear: float | None) -> str:
    narrower = 2.0 * min(inlet.mouth.inscribed_radius, outlet.mouth.inscribed_radius)
    asked = _two_digits(ASKED * (narrower if clear is None else clear))
    of = f"the {least(clear)} mm that pass it" if clear is not None else "its narrower port"
    return (
        f"[[passage]]    # openings {inlet.number} and {outlet.number}, connected group "
        f"{inlet.network}\n"
        f"name = {json.dumps(name)}\n"
        f"inlet = {port(inlet)}\n"
        f"outlet = {port(outlet)}\n"
        f"min_clear_diameter = {asked:g}    # mm; to be edited: {ASKED:g} times {of}\n"
    )


def _diameter(one: Opening) -> float:
    """Exact where the part's file tells, else of equal area."""
    return one.diameter_mm if one.exact_radius is None else 2.0 * one.exact_radius


def port(one: Opening) -> str:
    """An inline table that means an opening."""
    return f"{{ {', '.join(port_keys(one))} }}"


def port_keys(one: Opening) -> tuple[str, str, str]:
    """Keys and values of a table that means an opening."""
    return (
        f"centre = {_numbers(one.mouth.centre, 3)}",
        f"radius = {round(0.5 * _diameter(one), 4)}",
        f"normal = {_numbers(one.normal, 6)}",
    )


def position(one: Opening) -> str:
    """Where an opening lies: the side that it faces most, and its other two coordinates."""
    axis = int(np.argmax(np.abs(one.normal)))
    side = SIDES[axis][int(one.normal[axis] > 0.0)]
    rest = [f"{'xyz'[k]}{_short(one.mouth.centre[k])}" for k in range(3) if k != axis]
    return " ".join([side, *rest])


def _faces(one: Opening) -> str:
    axis = int(np.argmax(np.abs(one.normal)))
    sign = "+" if one.normal[axis] > 0.0 else "-"
    if abs(one.normal[axis]) > 0.9999:
        return f"{sign}{'xyz'[axis]}"
    return "({:.2f}, {:.2f}, {:.2f})".format(*(np.round(one.normal, 2) + 0.0))


def _short(value: float) -> str:
    return f"{round(float(value), 1) + 0.0:g}"


def _numbers(values: Sequence[float] | Any, digits: int) -> str:
    return "[" + ", ".join(str(round(float(v), digits) + 0.0) for v in values) + "]"


def _two_digits(value: float) -> float:
    """Rounded down to two digits."""
    step = 10.0 ** (math.floor(math.log10(value)) - 1)
    return math.floor(value / step) * step


def _place(values: Any) -> Point:
    x, y, z = (float(v) + 0.0 for v in values)
    return x, y, z
