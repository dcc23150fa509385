"""What a drawing shows, before anything is drawn: outlines, words and numbers.

In: a prepared case and the verdicts on its passages. Out: a `LevelSection`, the
exact polygons of the predicted part at one height, sorted by what they are. How
it looks is left to `figures`.
"""

from __future__ import annotations

import itertools
import math
from collections.abc import Callable, Iterator, Mapping, Sequence
from typing import Any

import numpy as np
import shapely

from clearance.drawing.finished import finished_outline
from clearance.drawing.leak import leak_detail
from clearance.drawing.level_parts import (
    CRUMB_MM2,
    NOTHING,
    Level,
    LevelSection,
    Side,
    Void,
    drawn,
    largest,
)
from clearance.drawing.level_words import detail_of, footer_of, label_of, plane_of, row_of, title_of
from clearance.drawing.scan import Scan, deviations, explained, measured_outline
from clearance.errors import ClearanceError
from clearance.geometry.areas import polygonal
from clearance.geometry.planes import Plane
from clearance.geometry.soup import moved_shape
from clearance.heights import above_platform
from clearance.passages.stoppers import pieces_at
from clearance.predicted.part import NOMINAL, Predicted
from clearance.predicted.slabs import NONE, Event, Slab, rounded, slabs
from clearance.report.finished import finding
from clearance.report.headline import SEVERITY
from clearance.result import FinishedResult, PassageResult, SeparateResult
from clearance.verdict.prepared import Checked

FACE_MM = 1e-6
"""A height nearer than this to a face is meant to be that face."""


def level_section(
    checked: Checked,
    passages: Sequence[PassageResult],
    height_mm: float,
    separate: Sequence[SeparateResult] = (),
    stray: int | None = None,
    finished: FinishedResult | None = None,
    scan: Scan | None = None,
) -> LevelSection:
    """Section of the predicted part, level, with its passages coloured by state.

    Where the case leaves several events possible, the first of them is drawn (middle
    height) and the footer says so.

    Parameters
    ----------
    checked : Checked
    passages : sequence of PassageResult
        Verdicts on the passages of the case, in its order.
    height_mm : float
        Height above the platform, as the machine stood. Within a stray sheet the section
        is taken in the middle of the layer that holds it; at a height where the part is
        set aside, what is open on both sides of it is open.
    separate : sequence of SeparateResult
        Verdicts on circuits that must stay apart.
    stray : int, optional
        Number of a stray sheet to cut through, in its layer nearest to the height (never in the
        penetration under it, where all of the part is metal; at a step, on it), with what any
        of its layers left unmelted. Of a sheet given as a mesh the height is taken as it is.

    finished : FinishedResult, optional
        Of the finished shape, where the case gives one: the title does not read as if all were
        well where that is not.
    scan : Scan, optional
        To be laid on it.

    Raises
    ------
    ClearanceError
        The predicted part has no metal at that height.
    """
    predicted = checked.whole.predict(checked.unknowns.variants[0].events)
    base, event = checked.platform_z, _event(predicted, stray)
    if event is not None:
        height_mm = in_sheet(event, base + height_mm) - base
    level = _level(checked, predicted, height_mm)
    _inside(checked, predicted, height_mm)
    passages = above_platform(passages, base)  # from here on they are words
    metal, wrong, unmelted = _metals(predicted, level, event)
    if all(shape.is_empty for shape in (metal, wrong, unmelted)):
        raise ClearanceError(
            f"--at-height: found {height_mm:g}, where the predicted part is parted"
        )
    voids, joined, beneath = _voids(checked, predicted, level, passages)
    leak = leak_detail(separate, level.z, voids, beneath, (joined, unmelted))
    plane = plane_of(checked, level, height_mm, event)
    measured = measured_outline(scan, Plane.level(level.z))
    off = deviations(scan, shapely.union_all([metal, wrong, unmelted]), measured)
    outline, finished_words = finished_outline(checked, predicted, level.z)
    return LevelSection(
        title=title_of(passages, separate, level, height_mm, finding(finished)),
        metal=metal,
        stray=wrong,
        unmelted=unmelted,
        voids=voids,
        detail=leak or detail_of(voids, passages, level, joined),
        beneath=tuple(shape for _, shape in beneath),
        rows=tuple(row_of(p) for p in passages),
        footer=(*footer_of(checked, plane), *explained(scan, off)),
        plane=plane,
        joined=joined,
        step=level.lower is not None,
        finished=outline,
        finished_words=finished_words,
        measured=measured,
        measured_words="" if scan is None else f"measured, {scan.name}",
        deviations=off,
    )


# ---- where -----------------------------------------------------------------------------------


def _event(predicted: Predicted, stray: int | None) -> Event | None:
    return next((event for event in predicted.events if event.stray == stray), None)


def in_sheet(event: Event, z: float) -> float:
    """Height at which a sheet is cut that lies at, just below or just above a height.

    The middle of a layer; the sheet's lower face where the part is set aside there, or where
    nothing was melted: there what lies below and what lies above are drawn in one.
    """
    count = len(event.slices)
    number = min(max(math.floor((z - event.bottom) / event.layer + FACE_MM), 0), count - 1)
    if number < 0 or (number == 0 and event.shift != (0.0, 0.0)):
        return event.bottom
    return event.bottom + (number + 0.5) * event.layer


def _level(checked: Checked, predicted: Predicted, height_mm: float) -> Level:
    z = checked.platform_z + height_mm
    strays = {
        number
        for number, soup in checked.bodies.added_by_stray.items()
        if soup[..., 2].min() <= z <= soup[..., 2].max()
    }
    for lower, upper in itertools.pairwise(predicted.table):
        if abs(upper.low - z) < FACE_MM and _steps(lower, upper):
            strays |= {e.stray for e in predicted.events if abs(e.bottom - z) < FACE_MM}
            at = upper.low
            return Level(z, Side(at, upper, True), Side(at, lower, False), frozenset(strays))
    slab = predicted.slab_at(z, above=True)
    if slab.stray == NONE:
        # On its lowest face the part lies above only; elsewhere a face shows what lies below it.
        lowest = z - float(checked.bodies.bounds[0, 2]) < FACE_MM
        return Level(z, Side(z, slab, lowest), None, frozenset(strays))
    middle = 0.5 * (slab.low + slab.high)
    return Level(z, Side(middle, slab, False), None, frozenset({slab.stray, *strays}))


def _steps(lower: Slab, upper: Slab) -> bool:
    """Whether what lies on both sides of a face does not belong on each other."""
    leaps = not (lower.gates or upper.gates) and lower.lift != upper.lift
    return lower.shift != upper.shift or leaps


def _inside(checked: Checked, predicted: Predicted, height_mm: float) -> None:
    """Refuse a height at which there is no part."""
    low, high = (float(z) for z in checked.bodies.bounds[:, 2])
    high += float(predicted.moved(np.array([0.0, 0.0, high]))[2]) - high
    base = checked.platform_z
    if not low <= base + height_mm <= high:
        raise ClearanceError(
            f"--at-height: found {height_mm:g}, expected {low - base:g} to {high - base:g}: the "
            "heights above the platform between which the predicted part stands"
        )


# ---- what ------------------------------------------------------------------------------------


def metals_at(predicted: Predicted, z: float, stray: int) -> tuple[float, Any, Any, Any]:
    """Level section in a sheet near a height in mesh coordinates.

    Returns
    -------
    z : float, mm
        Height at which it is taken, as by `level_section`.
    metal, stray, unmelted : shapely geometry
    """
    event = _event(predicted, stray)
    z = z if event is None else in_sheet(event, z)
    side = Side(z, predicted.slab_at(z, above=True), False)
    return z, *_metals(predicted, Level(z, side, None, frozenset()), event)


def _metals(predicted: Predicted, level: Level, event: Event | None = None) -> tuple[Any, Any, Any]:
    """Metal that belongs at this height, stray metal, and what stayed powder.

    With an event the powder is what any layer of its sheet left under metal that belongs here.
    """
    taken = shapely.union_all([predicted.section(s.z, s.above) for s in level.sides])
    proper = shapely.intersection_all([_proper(predicted, side) for side in level.sides])
    unmelted = shapely.union_all([_left_loose(predicted, side) for side in level.sides])
    if event is not None:
        unmelted = loose_in(predicted, event).intersection(proper)
    # Outlines that touch along an edge leave lines, which the next overlay may not take.
    taken, proper, unmelted = (polygonal(shape) for shape in (taken, proper, unmelted))
    stray = polygonal(taken.difference(proper)).difference(unmelted)
    kept = polygonal(taken.difference(polygonal(stray))).difference(unmelted)
    return drawn(kept), drawn(stray), drawn(unmelted)


def _proper(predicted: Predicted, side: Side) -> Any:
    """Section that the nominal part has here, moved as it is; at a cut, what lies below it."""
    slab = side.slab
    if slab.lift is not None:
        nominal = predicted.window.metal("part", side.z - slab.lift, side.above)
        return moved_shape(nominal, rounded(slab.shift))
    cuts = [gate for gate in slab.gates if gate.body == "part"]
    return shapely.union_all(
        [moved_shape(predicted.window.metal("part", g.z), rounded(g.shift)) for g in cuts]
    )


def _left_loose(predicted: Predicted, side: Side) -> Any:
    """Gaps that stayed powder where the check takes metal, at any height of the slab's layer."""
    event = _event(predicted, side.slab.stray)
    if event is None:
        return NOTHING
    return loose_in(predicted, event, side.slab.low, side.slab.high)


def loose_in(
    predicted: Predicted, event: Event, low: float = -math.inf, high: float = math.inf
) -> Any:
    """What the layers of a sheet between two heights left powder, in plan."""
    return shapely.union_all(
        [
            shape
            for slab, shape in loose_plates(predicted, event)
            if slab.high > low + FACE_MM and slab.low < high - FACE_MM
        ]
    )


def loose_plates(predicted: Predicted, event: Event) -> Iterator[tuple[Slab, Any]]:
    """What a sheet left powder: slabs of height, each with the outline of the powder in it."""
    for slab in slabs(predicted.events, loose=True):
        if slab.stray != event.stray or slab.low < event.bottom - FACE_MM:
            continue
        middle = 0.5 * (slab.low + slab.high)
        melted = [predicted.stray_outline(slab)]
        if predicted.window.bodies.added is not None:
            melted.append(predicted.window.metal("added", middle))
        yield slab, predicted.section(middle).difference(shapely.union_all(melted))


def _voids(
    checked: Checked, predicted: Predicted, level: Level, passages: Sequence[PassageResult]
) -> tuple[tuple[Void, ...], Any, list[tuple[tuple[str, ...], Any]]]:
    """Pieces of the passages in the section, in their order, and where they lead into another.

    Last, at a step, the pieces below it into which they lead, with their names.
    """
    states = {p.name: p.state for p in passages}
    owners = _owners(checked)
    metal = [predicted.section(s.z, s.above, plugged=True) for s in level.sides]
    void = predicted.window.rectangle.difference(shapely.union_all(metal))
    crossed = {
        p.name: [shapely.Point(c.centre_mm[:2]) for c in p.crossings if c.stray in level.strays]
        for p in passages
    }
    below = _named_pieces(predicted, level.lower, owners, crossed) if level.lower else []
    found, joined = [], []
    for piece, names in _named_pieces(predicted, level.upper, owners, crossed):
        left = piece.intersection(void)
        if level.lower is not None:
            own = [shape for shape, theirs in below if set(names) & set(theirs)]
            others = [shape for shape, theirs in below if not set(names) & set(theirs)]
            joined.append(left.intersection(shapely.union_all(others)))
            left = left.intersection(shapely.union_all(own))
        left = drawn(left)
        names = _whose(names, piece, passages, level.strays)
        theirs = [states[name] for name in names]
        state = min(theirs, key=SEVERITY.index)
        inside = piece if left.is_empty else left
        at = shapely.get_coordinates(largest(inside).representative_point())[0]
        label = label_of(checked, level, names, theirs, left.area / piece.area, at)
        found.append(Void(names, state, piece, left, (float(at[0]), float(at[1])), label))
    order = list(owners)
    found.sort(key=lambda v: (order.index(v.names[0]), *v.at))
    leads = drawn(shapely.union_all(joined))
    into = [(names, shape) for shape, names in below if shape.intersects(leads)]
    return tuple(found), leads, into


def _whose(
    names: tuple[str, ...], piece: Any, passages: Sequence[PassageResult], strays: frozenset[int]
) -> tuple[str, ...]:
    """Of the passages of one void those that run through a piece, as far as crossings tell.

    Those that have a crossing with this sheet here; else those that have none with it.
    """
    own = {
        p.name: [shapely.Point(c.centre_mm[:2]) for c in p.crossings if c.stray in strays]
        for p in passages
        if p.name in names
    }
    here = tuple(n for n in names if any(piece.intersects(at) for at in own[n]))
    return here or tuple(n for n in names if not own[n]) or names


def _owners(checked: Checked) -> dict[str, Callable[[Any], bool]]:
    """For every passage, whether a nominal point lies in its void."""
    void = checked.whole.predict(NOMINAL).possible
    pitch = checked.whole.grid.pitch_mm

    def test(own: set[int]) -> Callable[[Any], bool]:
        return lambda point: bool(void.pieces_at(point[None]) & own)

    return {
        p.name: test(pieces_at(void, checked.ends(p)[0], pitch) - {void.outside})
        for p in checked.case.passage
    }


def _named_pieces(
    predicted: Predicted,
    side: Side,
    owners: dict[str, Callable[[Any], bool]],
    crossed: Mapping[str, Sequence[Any]],
) -> list[tuple[Any, tuple[str, ...]]]:
    """Pieces of the nominal passages where they now lie, each with its passages' names.

    A void that columns do not hold apart from the outside is told by the crossings in it.
    """
    slab, window = side.slab, predicted.window
    if slab.lift is not None:
        z = side.z - slab.lift
    else:
        z = next(gate.z for gate in slab.gates if gate.body == "part")
    void = window.rectangle.difference(window.metal("closed", z, side.above))
    found = []
    for piece in shapely.get_parts(void):
        if piece.geom_type != "Polygon" or piece.area <= CRUMB_MM2:
            continue
        x, y = shapely.get_coordinates(piece.representative_point())[0]
        names = tuple(n for n, owns in owners.items() if owns(np.array([x, y, z])))
        placed = moved_shape(piece, rounded(slab.shift))
        names = names or tuple(n for n, at in crossed.items() if any(map(placed.intersects, at)))
        if names:
            found.append((placed, names))
    return found
