"""A case file to start from, made of what a mesh alone tells.

In: the openings of a mesh, what passes between them, its lowest height. Out: the text of a whole
case file. What only people know (layer thickness, requirements, the event) is not made up: those
places say `"fill in"`, which `check` refuses by its line.
"""

from __future__ import annotations

import json
import shlex
from collections.abc import Iterator, Sequence
from dataclasses import dataclass

from clearance.axes import Direction
from clearance.report.openings import pairs, port, port_keys, position
from clearance.survey.openings import Opening, Openings
from clearance.verdict.numbers import counted, least

FILL_IN = "fill in"
"""Stands where a value is wanted; no number, so that nobody can check with it."""

EVENT = """\
# What is known of the event: take the # away and fill in; without it the nominal part is checked.
# [[stray]]
# source = "log"             # how it is known: log, measured or assumed
# height = 0.0               # mm above the platform: bottom of the first stray layer
# from_layer = 0             # first wrong layer melted, counted from 0
# layers = 1                 # how many; [2, 3] if only that is known
# resume = "height"          # went on with the layer that belongs there; or "layer", "unknown"
"""


@dataclass(frozen=True)
class NewCase:
    """What a new case file is made of.

    Attributes
    ----------
    name : str
        Of the part.
    mesh : str
        Path of the mesh, relative to the case file, with forward slashes.
    unit : str
        Of a mesh that carries none.
    lowest_mm : float
        Lowest height of the mesh along the build direction.
    openings : Openings
    clear_mm : sequence of float or None
        What passes each pair of `report.openings.pairs` in turn, as far as it is known.
    build_direction : (3,), optional
    item : str, optional
        Build item of a 3MF that is the part.
    """

    name: str
    mesh: str
    unit: str
    lowest_mm: float
    openings: Openings
    clear_mm: Sequence[float | None] = ()
    build_direction: Direction | None = None
    item: str | None = None

    @property
    def closed(self) -> list[Opening]:
        """Openings that no other one is connected with."""
        return [members[0] for members in self.openings.networks() if len(members) == 1]


def new_case(new: NewCase) -> str:
    """Text of the case file."""
    return "\n".join(
        [
            *_head(new),
            *_part(new),
            *_passages(new),
            *_closed(new),
            EVENT,
            "# docs/case-file.md has every other table: [drilling], [flow], [[separate]], [state]",
            "",
        ]
    )


def told(new: NewCase, file: str) -> str:
    """What was written, and what is left to do."""
    count = len(pairs(new.openings))
    wanted = "what each passage needs" if count else "a [[passage]]"
    return (
        f"{file}: {counted(count, 'passage')}, {counted(len(new.closed), 'closed opening')}\n"
        f"Fill in: the layer thickness, {wanted}, the event.\n"
        f"Then: clearance check {shlex.quote(file)}\n"
    )


def _head(new: NewCase) -> Iterator[str]:
    yield f"# Begun from {new.mesh} by `clearance openings --new-case`."
    yield f'# Fill in what says "{FILL_IN}"; `clearance check` names the lines that are left.'
    yield ""


def _part(new: NewCase) -> Iterator[str]:
    lowest = f"{round(new.lowest_mm, 3) + 0.0:.3f}"
    along = "" if new.build_direction is None else " along build_direction"
    yield "[part]"
    yield f"name = {_quoted(new.name)}"
    yield f"mesh = {_quoted(new.mesh)}"
    if new.item is not None:
        yield f"item = {_quoted(new.item)}"
    yield f"unit = {_quoted(new.unit)}    # of a mesh that carries none; a 3MF's own unit wins"
    if new.build_direction is not None:
        way = ", ".join(str(float(v)) for v in new.build_direction)
        yield f"build_direction = [{way}]    # in the mesh's frame, as all coordinates here"
    yield f"layer_thickness = {_quoted(FILL_IN)}    # mm"
    yield f"# platform_z = {lowest}    # mm; the mesh's lowest z{along}, taken as long as this is a"
    yield "#   comment; a part that stood on supports has its platform lower"
    yield ""


def _passages(new: NewCase) -> Iterator[str]:
    found = pairs(new.openings)
    if not found:
        yield "# No two openings of the mesh are connected inside: a [[passage]] has to be written."
        yield ""
        return
    yield "# What runs through. Delete what carries no fluid, such as the hole of a bolt. A group"
    yield "# of more than two connected openings has one from the first to each other one."
    clear = [*new.clear_mm, *[None] * (len(found) - len(new.clear_mm))]
    for (name, inlet, outlet), passing in zip(found, clear, strict=True):
        yield (
            f"[[passage]]    # openings {inlet.number} and {outlet.number}, connected group "
            f"{inlet.network}"
        )
        yield f"name = {_quoted(name)}"
        yield f"inlet = {port(inlet)}"
        yield f"outlet = {port(outlet)}"
        yield f"min_clear_diameter = {_quoted(FILL_IN)}    # mm; {_passing(inlet, outlet, passing)}"
        yield ""


def _passing(inlet: Opening, outlet: Opening, clear: float | None) -> str:
    if clear is not None:
        return f"a ball of {least(clear)} passes the mesh, so ask for less"
    narrower = min(inlet.clear_diameter_mm, outlet.clear_diameter_mm)
    return f"its narrower port has {least(narrower)}; what passes behind it was not measured"


def _closed(new: NewCase) -> Iterator[str]:
    if not new.closed:
        return
    yield "# Openings that no other one is connected with: blind holes. Taken as closed in use."
    for one in new.closed:
        yield f"[[closed]]     # opening {one.number}"
        yield f"name = {_quoted(f'opening {one.number}, {position(one)}')}"
        yield from port_keys(one)
        yield ""


def _quoted(text: str) -> str:
    return json.dumps(text, ensure_ascii=False).replace("\x7f", "\\u007f")
