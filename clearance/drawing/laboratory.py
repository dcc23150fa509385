"""The page for the laboratory as data: what is to be seen, how, and where the beam goes.

In: a case that has been examined. Out: `Laboratory`, or None where nothing is to be seen. It
judges nothing; how it looks is left to `figures.laboratory`.
"""

from __future__ import annotations

import math
import re
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from itertools import groupby
from typing import Any

import numpy as np
import shapely
import shapely.affinity

from clearance.axes import plan_words
from clearance.checking import Examined
from clearance.disposition.gather import lower
from clearance.drawing.datums import Datums, of_part
from clearance.evidence.powder import gap_outline
from clearance.report.inspection import (
    METHODS,
    NEVER_OPEN,
    WORDS,
    by_target,
    run,
    stands,
    target,
)
from clearance.result import Inspection, Result
from clearance.verdict.names import listed
from clearance.verdict.numbers import counted, given, most, near

MOST_TARGETS = 12
"""Things to be seen that the page tells one by one; the JSON has all."""
ALONG = "radiograph-along"
FAR_MM = 1e5


@dataclass(frozen=True)
class Line:
    """A beam in a section: its mark, the centre that it passes, its direction from +x."""

    mark: str
    at: tuple[float, float]
    turn_deg: float


@dataclass(frozen=True, eq=False)
class Plane:
    """The layer plane at a height: metal of the part, stray metal, unmelted gaps, beams.

    Figures (shapely) in x and y of the mesh, mm.
    """

    title: str
    metal: Any
    stray: Any
    gaps: Any
    lines: tuple[Line, ...]


@dataclass(frozen=True)
class Asked:
    """A thing that is to be seen, or crossings that stand alike: rows for methods that could."""

    title: str
    rows: tuple[tuple[str, str, str], ...]


@dataclass(frozen=True, eq=False)
class Laboratory:
    """All of the page."""

    facts: tuple[tuple[str, str], ...]
    planes: tuple[Plane, ...]
    asked: tuple[Asked, ...]
    notes: tuple[str, ...]


def laboratory(examined: Examined) -> Laboratory | None:
    """What the laboratory needs to know; None where nothing is to be seen."""
    result = examined.on_paper
    if not result.inspection:
        return None
    groups = by_target(result)
    shown = [(n, said) for n, (_, said) in enumerate(groups[:MOST_TARGETS], 1)]
    more = len(groups) - len(shown)
    rest = (f"and {counted(more, 'more crossing or gap')}: --full and --json",) if more else ()
    faces = of_part(examined.checked)
    beams = _planes(examined, [(f"{mark}", said[0]) for mark, said in shown], faces)
    aim = {mark: _aim(examined, said, shown, faces) for mark, said in shown}
    tables = asked(result, shown, aim)
    return Laboratory(_facts(examined, faces), beams, tables, (*rest, *_notes(examined)))


Marked = tuple[int, list[Inspection]]
"""A thing to be seen: its number on the page, and what each method says of it."""


Aim = tuple[tuple[str, str, str], ...]
"""Rows that say how a beam is marked on the part, and what else lies on it."""


def asked(
    result: Result, shown: Sequence[Marked], aim: Mapping[int, Aim] | None = None
) -> tuple[Asked, ...]:
    """A table for each thing; crossings of a passage that stand alike share one."""
    first = aim or {}

    def alike(one: Marked) -> tuple[str | None, str]:
        first = one[1][0]
        return first.passage, f"{one[0]}" if first.gap is not None else stands(result, first)

    found = []
    for _, same in groupby(shown, alike):
        these = list(same)
        title = target(result, *(said[0] for _, said in these))
        aims = tuple(row for mark, _ in these for row in first.get(mark, ()))
        title = f"{run([mark for mark, _ in these])}: {title}"
        found.append(Asked(title, (*aims, *_rows(these))))
    return tuple(found)


def _rows(these: Sequence[Marked]) -> tuple[tuple[str, str, str], ...]:
    """What each method says; of a scan, which is one for all, what it says of the worst."""
    rows: list[tuple[str, str, str]] = []
    none = []
    for answers in zip(*(said for _, said in these), strict=True):
        name = METHODS[answers[0].method]
        if all(one.answer == "no" for one in answers):
            none.append(name)
            continue
        told: dict[tuple[str, str], list[tuple[int, Inspection]]] = {}
        for (mark, _), one in zip(these, answers, strict=True):
            scan = one.method == "tomography"
            words = re.sub(r"[\d.]+", "", one.set_up) if scan else one.set_up
            told.setdefault((one.answer, words), []).append((mark, one))
        for (answer, _), ones in told.items():
            worst = max((one for _, one in ones), key=lambda o: o.numbers.get("metal_worst_mm", 0))
            only = f"only {run([mark for mark, _ in ones])}: " if len(told) > 1 else ""
            rows.append((name, WORDS[answer], f"{only}{worst.set_up}"))
    return (*rows, ("all others", WORDS["no"], listed(none))) if none else tuple(rows)


def _aim(
    examined: Examined, said: Sequence[Inspection], shown: Sequence[Marked], faces: Datums
) -> Aim:
    """Where a beam along the layers goes, from the part's own faces, and what else it passes."""
    one = next((one for one in said if one.method == ALONG), None)
    if one is None or "direction_deg" not in one.numbers:
        return ()
    n = one.numbers
    mark = next(number for number, these in shown if these[0] is said[0])
    turn = math.radians(n["direction_deg"])
    way = f"({math.cos(turn):z.3f}, {math.sin(turn):z.3f}, 0.000)"
    at = np.array([n["x_mm"], n["y_mm"]])
    ahead, back = _to_the_outside(examined, at, n["height_mm"], turn)
    words = (
        f"{n['direction_deg']:.1f} deg from +x to +y, as a vector {way}; "
        f"{faces.height(n['height_mm'])}; through a point {faces.plan(at)}; from there "
        f"{near(ahead, 1)} mm that way to the outside, {near(back, 1)} mm the other way: the "
        "detector on the nearer side"
    )
    rows = [(f"mark beam {mark}", "", words)]
    others = _also_on(examined, one, shown)
    if others:
        also = f"passes {listed(others)} too: both shadows lie one upon the other"
        rows.append((f"beam {mark}", "", f"{also}; a second beam, turned, tells them apart"))
    above = _above(examined, one, shown)
    if above:
        also = f"passes {listed(above)} too: what it shows may be either"
        rows.append((f"upright through {mark}", "", also))
    return tuple(rows)


def _to_the_outside(
    examined: Examined, at: Any, height_mm: float, turn: float
) -> tuple[float, float]:
    """How far it is from a place to the last metal along a level beam, ahead and back, mm."""
    checked = examined.checked
    predicted = checked.whole.predict(checked.unknowns.variants[0].events)
    along = np.array([math.cos(turn), math.sin(turn)])
    beam = shapely.LineString([at - FAR_MM * along, at + FAR_MM * along])
    metal = predicted.section(height_mm + checked.platform_z)
    corners = shapely.get_coordinates(shapely.intersection(metal, beam))
    ways = (corners - at) @ along
    return max(float(ways.max(initial=0.0)), 0.0), max(float(-ways.min(initial=0.0)), 0.0)


def _figures(examined: Examined, shown: Sequence[Marked]) -> Iterator[tuple[int, Inspection, Any]]:
    """Crossings shown with their figures in plan, as they lie in the predicted part."""
    known = {check.passage.name: check for check in examined.checks}
    for mark, (first, *_) in shown:
        if first.gap is None:
            crossings = known[str(first.passage)].judged[0].crossings
            yield mark, first, crossings[first.crossing or 0].footprint


def _also_on(examined: Examined, one: Inspection, shown: Sequence[Marked]) -> list[str]:
    """Marks of other crossings of the same sheet that a level beam passes."""
    n, result = one.numbers, examined.result
    turn = math.radians(n["direction_deg"])
    along = np.array([math.cos(turn), math.sin(turn)])
    at = np.array([n["x_mm"], n["y_mm"]])
    line = shapely.LineString([at - FAR_MM * along, at + FAR_MM * along])
    return [
        f"{mark}"
        for mark, first, figure in _figures(examined, shown)
        if not _same(first, one)
        and _stray(result, first) == _stray(result, one)
        and shapely.intersects(line, figure)
    ]


def _above(examined: Examined, one: Inspection, shown: Sequence[Marked]) -> list[str]:
    """Marks of crossings of other sheets that lie over or under it."""
    at = shapely.Point(one.numbers["x_mm"], one.numbers["y_mm"])
    result = examined.result
    return [
        f"{mark}"
        for mark, first, figure in _figures(examined, shown)
        if _stray(result, first) != _stray(result, one) and shapely.intersects(figure, at)
    ]


def _same(a: Inspection, b: Inspection) -> bool:
    return (a.passage, a.crossing, a.gap) == (b.passage, b.crossing, b.gap)


def _facts(examined: Examined, faces: Datums) -> tuple[tuple[str, str], ...]:
    checked = examined.checked
    part, signs = checked.case.part, examined.result.signs
    low, high = checked.bodies.bounds
    size = " x ".join(near(float(side), 1) for side in high - low)
    mass = signs.part_mass_g if signs else None
    density = part.density_g_cm3
    return (
        ("material", part.material or "not given: state the alloy"),
        ("density", "not given" if density is None else f"{given(density)} g/cm3"),
        ("size", f"{size} mm in x, y, z"),
        ("mass", "not known" if mass is None else f"{near(mass, 0)} g as drawn"),
        ("axes", f"{plan_words(part.build_direction)}, z above the platform, layers level"),
        ("part", f"from z {near(faces.low[2])} to {near(faces.high[2])} mm"),
        ("powder", "proven to be empty" if checked.case.state.emptied else "may still hold powder"),
    )


def _planes(
    examined: Examined, seen: list[tuple[str, Inspection]], faces: Datums
) -> tuple[Plane, ...]:
    """A picture for the plane of each sheet, with all beams in it."""
    result = examined.result
    beams: dict[int, list[tuple[float, Line]]] = {}
    for mark, one in seen:
        n = one.numbers
        if one.method == ALONG and "direction_deg" in n:
            line = Line(mark, (n["x_mm"], n["y_mm"]), n["direction_deg"])
            beams.setdefault(_stray(result, one), []).append((n["height_mm"], line))
    return tuple(_plane(examined, stray, lines, faces) for stray, lines in sorted(beams.items()))


def _stray(result: Result, one: Inspection) -> int:
    if one.gap is not None:
        return result.unmelted[one.gap].stray
    return result.passage(str(one.passage)).crossings[one.crossing or 0].stray


def _plane(examined: Examined, stray: int, lines: list[tuple[float, Line]], faces: Datums) -> Plane:
    checked = examined.checked
    predicted = checked.whole.predict(checked.unknowns.variants[0].events)
    low, high = (pick(z for z, _ in lines) for pick in (min, max))  # on paper: above the platform
    z = low + checked.platform_z
    metal, slab = predicted.section(z), predicted.slab_at(z, above=False)
    own = metal
    if slab.lift is not None:
        own = shapely.affinity.translate(checked.whole.metal("part", z - slab.lift), *slab.shift)
    gaps = [
        gap_outline(predicted, event)
        for event in predicted.events
        if event.stray == stray and event.slices and event.sheet_gap > 0.0
    ]
    where = f"layer at z {near(low)}, {faces.height(low)}"
    if near(low) != near(high):
        where = f"layers at z {near(low)} to {near(high)}, the lowest drawn"
    return Plane(
        f"{where}; dashed: {'beam' if len(lines) == 1 else 'beams'} of "
        f"{listed([line.mark for _, line in lines])}",
        shapely.intersection(metal, own),
        shapely.difference(metal, own),
        shapely.union_all(gaps),
        tuple(line for _, line in lines),
    )


def _lower(examined: Examined) -> tuple[str, ...]:
    """How far below its counted height the metal may lie."""
    case = examined.checked.case
    most_mm = max((lower(one, case.part.layer_thickness) for one in case.stray), default=0.0)
    if most_mm <= 0.0:
        return ()
    return (
        f"heights are as the machine counted: metal may lie up to {most(most_mm)} mm lower, for "
        "the packing of the powder and where the part cooled; look so far below, too",
    )


def _notes(examined: Examined) -> tuple[str, ...]:
    keys = examined.checked.case.inspection
    return (
        *_lower(examined),
        f'{NEVER_OPEN}; "ask" means that only the laboratory can say',
        f"taken for the laboratory ([inspection] of the case changes them): unsharpness "
        f"{given(keys.unsharpness)} mm, {given(100.0 * keys.contrast)} % of the metal shows, "
        f"{keys.pixels} pixels, noise {given(keys.noise)}, scopes {given(keys.rigid_scope)} and "
        f"{given(keys.flexible_scope)} mm, flow test good to "
        f"{given(100.0 * keys.flow_repeatability)} %, {keys.sisters} sister parts",
        "a replica settles it: a foil as thick as predicted across a drilled plate with as much "
        "metal on the ray, shot beside the part, both ends of its thickness; ask for its picture",
        "mark the beam's direction and the height on the part; state focus, distance, duplex wire "
        "and the grey value beside the sheet in the report",
        "loose powder is about half as grey as metal: tell it from a sheet by its grey value",
        "X-rays only under the local radiation rules; loose powder can be reactive and is harmful "
        "to breathe: empty the part before it is handled, and open none of it",
        "the responsible engineer decides what follows from what is found",
    )


def bounds(plane: Plane) -> tuple[float, float, float, float]:
    """Around a plane's metal, mm."""
    both = shapely.union_all([plane.metal, plane.stray])
    x0, y0, x1, y1 = (float(v) for v in both.bounds)
    return x0, y0, x1, y1


def ends(line: Line, box: tuple[float, float, float, float]) -> Any:
    """Where a beam enters and leaves a box, (2, 2) mm."""
    turn = np.radians(line.turn_deg)
    along = np.array([np.cos(turn), np.sin(turn)])
    reach = float(np.hypot(box[2] - box[0], box[3] - box[1]))
    both = np.outer([-reach, reach], along) + np.array(line.at)
    inside = shapely.intersection(shapely.LineString(both), shapely.box(*box))
    return shapely.get_coordinates(inside)
