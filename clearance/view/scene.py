"""What stands in the picture: bodies, names at the ports, crossings with their numbers.

In: an `Examined`. Out: `Scene`, with heights above the platform. It judges nothing.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from clearance.case.tables import DrillingTable
from clearance.checking import Examined
from clearance.drawing.sheet_rows import share
from clearance.drilling.drills import CLAMPED_DIAMETERS, point_length
from clearance.evidence.powder import gap_outline, joint_outline
from clearance.finished.told import held_by
from clearance.geometry.soup import Box, Soup, extruded
from clearance.passages.possible_ways import walls_of
from clearance.predicted.part import NOMINAL, Predicted
from clearance.report.headline import gravest_first, headline
from clearance.result import Drilling, PassageResult
from clearance.result.finished import Datum
from clearance.verdict.numbers import NAMEWORTHY, given, most
from clearance.verdict.passage_check import PassageCheck
from clearance.verdict.prepared import Checked
from clearance.view.shapes import cylinder, merged, straightened, thinned, tube

Kind = Literal["part", "passage", "stray", "gap", "powder", "drill", "holder", "finished", "scan"]
When = Literal["both", "drawn", "left"]
"""Whether a body belongs to the part as drawn, as the event left it, or to both."""

MOST_TRIANGLES = 200_000
"""Of one body in the picture: about 4 MB of the file."""
MOST_BESIDE = 60_000
"""The same of a finished shape and of a scan: with the part twice, all stay under 15 MB."""
HOLDER_MM = 30.0
"""Length of the holder that is drawn."""
LINE_MM = 0.02
"""A way's line may be so far from what was found: less than a layer."""
LEAST_RADIUS_SHARE = 0.004
"""Of the part's size: thinner tubes would not be seen."""
FREE = 0.985
"""A tube is drawn a hair thinner than its ball: else the wall it touches is hidden in streaks."""
DASHES = {"restricted": (6.0, 2.0), "blocked": (2.0, 2.0), "undetermined": (0.8, 2.0)}
"""Dash and gap of a passage's tube, in its radii, by its state: on a grey copy too they differ."""


@dataclass(frozen=True, eq=False)
class Body:
    """Something that is drawn.

    Attributes
    ----------
    name : str
        In words, as a name of the case or of what it is.
    kind : str
    when : str
    triangles : (F, 3, 3) ndarray of float32, mm
    state : str
        Of a passage; else empty.
    moved_mm : float
        How far corners were moved to thin it, at most; 0 where none was.
    """

    name: str
    kind: Kind
    when: When
    triangles: Soup
    state: str = ""
    moved_mm: float = 0.0


@dataclass(frozen=True)
class Tag:
    """A name at a place; `at` as drawn, `left` as the event left it; passages that end there."""

    words: str
    state: str
    at: tuple[float, float, float]
    left: tuple[float, float, float]
    passages: tuple[str, ...]


@dataclass(frozen=True)
class Mark:
    """A crossing that can be chosen, with its numbers."""

    passage: str
    words: str
    at: tuple[float, float, float]
    rows: tuple[tuple[str, str], ...]


@dataclass(frozen=True)
class Row:
    """A passage in the list."""

    name: str
    state: str
    lines: tuple[str, ...]


@dataclass(frozen=True, eq=False)
class Scene:
    """All that the page shows."""

    name: str
    call: str
    finding: str
    action: str
    cautions: tuple[str, ...]
    rows: tuple[Row, ...]
    bodies: tuple[Body, ...]
    tags: tuple[Tag, ...]
    marks: tuple[Mark, ...]
    low: float
    high: float
    step: float
    sheets: tuple[float, ...]


def scene(examined: Examined) -> Scene:
    """Gather what the picture of a case shows."""
    checked, result = examined.checked, examined.on_paper
    after, drawn = _after(examined), checked.whole.predict(NOMINAL)
    head = headline(result, bool(checked.case.stray))
    bodies = [_lowered(body, checked.platform_z) for body in _bodies(examined, drawn, after)]
    parts = [body.triangles[..., 2].reshape(-1) for body in bodies if body.kind == "part"]
    heights = np.concatenate(parts)
    return Scene(
        result.part,
        head.call,
        head.finding,
        head.action,
        result.cautions,
        tuple(_row(passage) for passage in gravest_first(result.passages)),
        tuple(body for body in bodies if len(body.triangles)),
        tuple(_tags(examined, after)),
        tuple(_marks(result.passages)),
        float(heights.min()),
        float(heights.max()),
        checked.case.part.layer_thickness,
        tuple(event.bottom - checked.platform_z for event in after.events),
    )


def _after(examined: Examined) -> Predicted:
    return examined.checked.whole.predict(examined.checked.unknowns.variants[0].events or ())


# ---- bodies ------------------------------------------------------------------------------------


def _bodies(examined: Examined, drawn: Predicted, after: Predicted) -> Iterator[Body]:
    part = examined.checked.bodies.part
    tools = examined.checked.case.drilling
    same = after.in_place
    yield _thin("part", "part", "both" if same else "drawn", part)
    if not same:
        yield _thin("part as the event left it", "part", "left", after.bare_surface(_everywhere()))
    yield from finished_bodies(examined.checked, after)
    if examined.scan is not None:
        yield _thin("scan", "scan", "left", examined.scan.triangles)
    yield _thin("stray metal", "stray", "left", after.stray)
    yield from _gaps(after)
    for number, void in enumerate(examined.result.trapped_powder, start=1):
        place = np.array([void.centre_mm])
        walls = walls_of(after, after.possible.pieces_at(place))
        yield _thin(f"trapped powder {number}", "powder", "left", walls)
    for check, passage in zip(examined.checks, examined.result.passages, strict=True):
        yield from _passage(check, passage, after)
        for operation in passage.rework.drilling if passage.rework else ():
            yield from _drill(operation, passage.name, tools)


def finished_bodies(checked: Checked, after: Predicted) -> Iterator[Body]:
    """The finished shape as drawn, and where it is made from the part."""
    soup = checked.bodies.finished
    if soup is not None:
        datum: Datum = checked.case.part.finished_datum or "below"
        moved = held_by(checked, after.events, datum).astype(np.float32)
        name = f"finished shape, clamped {datum}"
        if not moved.any():
            yield _thin(name, "finished", "both", soup)
            return
        yield _thin("finished shape as drawn", "finished", "drawn", soup)
        yield _thin(name, "finished", "left", soup + moved)


def _thin(name: str, kind: Kind, when: When, soup: Soup, state: str = "") -> Body:
    few, moved = thinned(
        merged(soup), MOST_BESIDE if kind in ("finished", "scan") else MOST_TRIANGLES
    )
    return Body(name, kind, when, few, state, moved * np.sqrt(3.0))


def _everywhere() -> Box:
    return Box(np.full(3, -np.inf), np.full(3, np.inf))


def _gaps(after: Predicted) -> Iterator[Body]:
    for event in after.events:
        if event.slices and event.sheet_gap > 0.0:
            low = event.top - event.sheet_gap
            gap = extruded(gap_outline(after, event), low, event.top)
            yield _thin(f"unmelted gap in sheet {event.stray + 1}", "gap", "left", gap)
        if event.joint_gap > 0.0:
            low = event.bottom - event.joint_gap
            joint = extruded(joint_outline(after, event), low, event.bottom)
            yield _thin(f"open joint under sheet {event.stray + 1}", "gap", "left", joint)


def _passage(check: PassageCheck, passage: PassageResult, after: Predicted) -> Iterator[Body]:
    route = check.nominal.way.route
    if len(route) < 2:
        return
    low, high = check.checked.bodies.bounds
    least = LEAST_RADIUS_SHARE * float(np.linalg.norm(high - low))
    radius = max(0.5 * FREE * passage.clear_diameter_mm.nominal_low, least)
    dashes = tuple(radius * part for part in DASHES.get(passage.state, ()))
    line = straightened(route, LINE_MM)
    moved = np.array([after.moved(point) for point in line])
    both = bool((moved == line).all())
    state = str(passage.state)
    soup = tube(line, radius, dashes)
    yield _thin(passage.name, "passage", "both" if both else "drawn", soup, state)
    if not both:
        yield _thin(passage.name, "passage", "left", tube(moved, radius, dashes), state)


def _drill(operation: Drilling, passage: str, tools: DrillingTable) -> Iterator[Body]:
    """The drill or electrode at its full depth, and the face of its holder."""
    entry, along = np.array(operation.entry_mm), np.array(operation.direction)
    diameter, depth = operation.drill_diameter_mm, operation.depth_mm
    point = 0.0 if operation.tool == "electrode" else point_length(diameter, tools.point_angle)
    shoulder = entry + (depth - point) * along
    face = entry - (operation.overall_mm - CLAMPED_DIAMETERS * diameter - depth) * along
    tool = cylinder(face, shoulder, 0.5 * diameter)
    if point > 0.0:
        cone = cylinder(shoulder, entry + depth * along, 0.5 * diameter, 0.0)
        tool = np.concatenate([tool, cone])
    name = f"{operation.tool} {given(diameter)} for {passage} from {operation.from_}"
    yield _thin(name, "drill", "left", tool)
    holder = cylinder(face - HOLDER_MM * along, face, 0.5 * tools.holder_diameter)
    yield _thin(f"holder of the {name}", "holder", "left", holder)


def _lowered(body: Body, platform_z: float) -> Body:
    """With heights above the platform."""
    if platform_z == 0.0 or not len(body.triangles):
        return body
    down = np.array([0.0, 0.0, platform_z])
    lowered = (body.triangles - down).astype(np.float32)
    return Body(body.name, body.kind, body.when, lowered, body.state, body.moved_mm)


# ---- words -------------------------------------------------------------------------------------


def _row(passage: PassageResult) -> Row:
    found = passage.clear_diameter_mm
    asked = f"required {given(passage.required_mm)} mm"
    got = "nothing passes" if found.high == 0.0 else f"at most {most(found.high)} mm passes"
    lines = [f"{asked}; {got}"]
    if passage.rework is not None:
        strokes = len(passage.rework.drilling)
        lines.append(f"a drill reaches it: {strokes} operation{'s' * (strokes != 1)}")
    elif passage.why_not:
        lines.append(f"no drill: {passage.why_not}")
    if passage.settled_by:
        lines.append(f"settled by: {passage.settled_by[0]}")
    return Row(passage.name, str(passage.state), tuple(lines))


def _tags(examined: Examined, after: Predicted) -> Iterator[Tag]:
    """Names at the ports, in the case's order; one for a mouth that several passages share."""
    down = np.array([0.0, 0.0, examined.checked.platform_z])
    states = {passage.name: str(passage.state) for passage in examined.result.passages}
    told: dict[int, tuple[list[str], list[str], NDArray[np.float64]]] = {}
    for check in examined.checks:
        name = check.passage.name
        for mouth, end in zip(
            examined.checked.ends(check.passage), ("inlet", "outlet"), strict=True
        ):
            names, ends, _ = told.setdefault(id(mouth), ([], [], mouth.centre))
            names.append(name)
            ends.append(f"{name} {end}")
    for names, ends, centre in told.values():
        words = ends[0] if len(ends) == 1 else f"{ends[0]} and {len(ends) - 1} more"
        their = {states[name] for name in names}
        state = their.pop() if len(their) == 1 else ""
        now = _plain(after.moved(centre) - down)
        yield Tag(words, state, _plain(centre - down), now, tuple(names))


def _marks(passages: tuple[PassageResult, ...]) -> Iterator[Mark]:
    for passage in gravest_first(passages):
        for number, one in enumerate(passage.crossings):
            whole = one.open_fraction >= NAMEWORTHY and not one.sealed
            through = "nothing" if one.sealed else f"at most {most(one.clear_diameter_mm)} mm"
            x, y, z = one.centre_mm
            yield Mark(
                passage.name,
                f"crossing {number}, sheet {one.stray + 1}",
                (float(x), float(y), float(z)),
                (
                    ("height above the platform", f"{one.height_mm:.2f} mm"),
                    ("centre x, y", f"{x:.2f}, {y:.2f} mm"),
                    ("crossing", "fully open" if whole else share(one)),
                    ("open area", f"{one.open_area_mm2:.1f} of {one.nominal_area_mm2:.1f} mm2"),
                    ("passes", through),
                ),
            )


def _plain(at: NDArray[np.float64]) -> tuple[float, float, float]:
    x, y, z = (float(value) for value in at)
    return x, y, z
