"""The finished shape in the result: stock by each datum over all that is possible, what has moved.

In: the prepared case and its finished shape. Out: `FinishedResult`.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable

import numpy as np

from clearance.finished.left import left_of
from clearance.finished.metal import Stock, stock
from clearance.finished.shape import Shape, tolerance
from clearance.predicted.slabs import Event, offset
from clearance.result import FinishedResult, MovedResult, StockResult
from clearance.result.finished import Datum, Inside
from clearance.result.passage import plain
from clearance.verdict.prepared import Checked
from clearance.verdict.solids import Floats
from clearance.verdict.standing import moves

DATUMS: tuple[Datum, ...] = ("below", "above")
MOST_LOOKED_AT = 64
"""Of the events that move the part differently so many are looked at, at most."""
STILL_MM = 1e-9

Events = tuple[Event, ...]


def finished_result(
    checked: Checked, shape: Shape | None, progress: Callable[[str], None]
) -> FinishedResult | None:
    """What is left for a finished shape; None where the case gives none."""
    part = checked.case.part
    if shape is None or part.finished is None:
        return None
    allowed, chosen = tolerance(checked), part.finished_datum
    about = (part.finished.name, chosen)
    events = _moving(checked)
    why = shape.why
    if not why and len(events) > MOST_LOOKED_AT:
        why = f"{len(events)} possible events move the part, {MOST_LOOKED_AT} are looked at at most"
    if why:
        return FinishedResult(*about, "undetermined", allowed, None, (), why)
    progress("the finished shape in the metal that is left")
    assert shape.solid is not None
    assert shape.nominal is not None
    assert shape.faces is not None
    still = np.zeros(3)
    nominal = stock(shape.solid, shape.nominal, shape.faces, still, still[None])
    found: dict[Datum, list[Stock]] = {datum: [] for datum in DATUMS}
    for one in events:
        left = left_of(shape.nominal, one)
        for datum in DATUMS:
            moved = held_by(checked, one, datum)
            found[datum].append(stock(shape.solid, left, shape.faces, moved, moves(one)))
    answers = tuple(_answer(checked, datum, found[datum], events, allowed) for datum in DATUMS)
    counted = {one.inside for one in answers if chosen in (None, one.datum)}
    inside: Inside = counted.pop() if len(counted) == 1 else "undetermined"
    return FinishedResult(*about, inside, allowed, nominal.least_mm, answers, "")


def held_by(checked: Checked, events: Events, datum: Datum) -> Floats:
    """How far a finished shape is moved that is made from the part by a datum, (3,) mm."""
    return offset(events, _top(checked)) if datum == "above" else np.zeros(3)


def _top(checked: Checked) -> float:
    return float(checked.bodies.bounds[1, 2])


def _moving(checked: Checked) -> list[Events]:
    """Events as they leave the part: what they melt beside it is no stock."""
    known: dict[object, Events] = {}
    for variant in checked.unknowns.variants:
        events = variant.events or ()
        key = tuple(_leaving(event) for event in events)
        known.setdefault(key, events)
    return list(known.values())


def _leaving(event: Event) -> object:
    """What of an event changes the metal that it leaves in the part's own place."""
    if not event.still:
        return event.bottom, event.top, event.rise, event.shift
    if event.spread and not event.sure:
        return None
    return event.bottom, event.top, event.spread, event.slices, event.unknown_slices, event.plane


def _answer(
    checked: Checked, datum: Datum, found: list[Stock], events: list[Events], allowed: float
) -> StockResult:
    numbers = [one.least_mm for one in found]
    areas = [one.lacking_mm2 for one in found]
    moved = tuple(_moved(checked, datum, events))
    known = [number for number in numbers if number is not None]
    if not known:
        return StockResult(datum, "yes", None, None, None, 0.0, 0.0, moved)
    inside = {_inside(number, allowed) for number in known}
    n = numbers.index(min(known))
    return StockResult(
        datum,
        inside.pop() if len(inside) == 1 else "undetermined",
        min(known),
        max(known),
        plain(found[n].at),
        min(areas),
        max(areas),
        moved,
    )


def _inside(least: float, allowed: float) -> Inside:
    """Within what the meshes may differ by, nothing is told."""
    if abs(least) < allowed:
        return "undetermined"
    return "yes" if least > 0.0 else "no"


# ---- what has moved ----------------------------------------------------------------------------


def _moved(checked: Checked, datum: Datum, events: list[Events]) -> Iterable[MovedResult]:
    """The other piece of the part, and every port that lies beside its place."""
    cuts = [e for one in events for e in one if not e.still]
    if cuts:
        end = min(e.bottom for e in cuts) if datum == "below" else max(e.top for e in cuts)
        name = "what was built after the event" if datum == "below" else "what was built before it"
        others = np.concatenate([_others(checked, datum, one) for one in events])
        yield from _off(others, (name, None, end))
    for mouth in checked.all_mouths:
        about = (mouth.name, plain(mouth.centre), None)
        z = float(mouth.centre[2])
        off = np.array([offset(one, z) - held_by(checked, one, datum) for one in events])
        yield from _off(off, about)


def _others(checked: Checked, datum: Datum, events: Events) -> Floats:
    """How far the pieces that the part is not clamped by are moved, (K, 3) mm."""
    pieces = moves(tuple(event for event in events if not event.still))
    others = pieces[1:] if datum == "below" else pieces[:-1]
    return (others if len(others) else pieces) - held_by(checked, events, datum)


def _off(
    off: Floats, about: tuple[str, tuple[float, float, float] | None, float | None]
) -> Iterable[MovedResult]:
    low, high = off.min(0), off.max(0)
    if (np.abs(off) > STILL_MM).any():
        yield MovedResult(*about, plain(low), plain(high))
