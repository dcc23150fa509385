"""The rows of the sheet's first page: what it says of each passage, in words for a table.

In: passages of a result, and the extents of its sheets. Out: `PassageRow`s.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from clearance.report.drilling import wall_words
from clearance.report.headline import Extents, fails, hurt, unclear
from clearance.report.readings import short_line
from clearance.result import CrossingResult, GaugePin, PassageResult, Result, Signs, State
from clearance.verdict.names import listed
from clearance.verdict.numbers import given, least, level, near, percent, span

MOST_READINGS = 6
"""Readings of a passage in its row."""
MOST_PLACES = 3
"""Equal crossings of which a row gives each place; of more it gives number and extent."""


@dataclass(frozen=True)
class PassageRow:
    """What the first sheet says of one passage.

    Attributes
    ----------
    name, state, beside, required, computed, where, after
        Who it is, how it stands, what it is connected to, what is asked and found, where it
        suffers, what rework leaves: empty where none is recommended.
    must_stop, pins : tuple of str
        Balls and pins that tell the predicted part from the nominal one before anything is cut:
        what must not pass, how deep a pin goes (and in the nominal part).
    must_pass : tuple of str
        What has to pass at the end; none where nothing can.
    measured : tuple of str
        What was read of it, and what that says; empty where it is to be written in.
    """

    name: str
    state: State
    beside: str
    required: str
    computed: str
    where: str
    after: str
    must_stop: tuple[str, ...]
    pins: tuple[str, ...]
    must_pass: tuple[str, ...]
    measured: tuple[str, ...] = ()


def row(passage: PassageResult, result: Result, sheets: Extents) -> PassageRow:
    """Nothing has to pass a part that is scrapped or not decided on, nor what nothing reopens."""
    decided = result.disposition.recommendation if result.disposition else ""
    conforms = passage.rework is not None or not (fails(passage) or unclear(passage))
    final = conforms and decided in ("rework", "repair", "use-as-is")
    signs = None if decided == "scrap" else result.signs
    return PassageRow(
        passage.name,
        passage.state,
        _joined(passage, result),
        given(passage.required_mm),
        _computed(passage),
        _where(passage, sheets),
        after(passage, decided),
        _must_stop(passage, signs),
        _pins(passage, signs),
        (f"ball {given(passage.required_mm)}",) if final else (),
        _measured(passage, result),
    )


def _measured(passage: PassageResult, result: Result) -> tuple[str, ...]:
    """What was read of a passage; all readings stand on the last pages."""
    own = [one for one in result.readings if one.passage == passage.name]
    said = [short_line(one) for one in sorted(own, key=lambda one: one.stage != "drilled")]
    more = len(said) - MOST_READINGS
    return (*said[:MOST_READINGS], *([f"{more} more: last pages"] if more > 0 else []))


def _computed(passage: PassageResult) -> str:
    found = passage.clear_diameter_mm
    return span(found.low, found.high, passage.required_mm)


def _where(passage: PassageResult, sheets: Extents) -> str:
    """Crossings that are not fully open; equal ones of a sheet together, with their extent."""
    alike: dict[tuple[int, str], list[CrossingResult]] = {}
    for crossing in hurt(passage):
        alike.setdefault((crossing.stray, share(crossing)), []).append(crossing)
    said = []
    for (stray, left), those in alike.items():
        # One sheet has its heights once, among what is wrong.
        at = level(sheets.get(stray) or [c.height_mm for c in those])
        at = "" if len(sheets) == 1 else f"{at}: "
        if len(those) <= MOST_PLACES:
            said.append(f"{at}{left} at {'; '.join(map(_xy, those))}")
            continue
        total = sum(c.stray == stray for c in passage.crossings)
        which = f"each of {total}" if len(those) == total else f"{len(those)} of {total}"
        said.append(f"{at}{which}: {left}, {around(those)}")
    return "\n".join(said) or "nothing narrowed"


def _xy(crossing: CrossingResult) -> str:
    x, y, _ = crossing.centre_mm
    return f"x\u00a0{near(x, 1)}, y\u00a0{near(y, 1)}"


def around(crossings: Sequence[CrossingResult]) -> str:
    """From where to where, in x and in y."""
    said = []
    for axis, name in enumerate("xy"):
        at = sorted(c.centre_mm[axis] for c in crossings)
        first, last = near(at[0], 1), near(at[-1], 1)
        said.append(f"{name} {first}" if first == last else f"{name} {first} to {last}")
    return ", ".join(said)


def share(crossing: CrossingResult) -> str:
    """What of a crossing is open, in words."""
    return "sealed" if crossing.sealed else f"{percent(crossing.open_fraction)} open"


def _joined(passage: PassageResult, result: Result) -> str:
    """Circuits that it runs into and must not."""
    others = [
        name
        for pair in result.separate
        if pair.state == "joined" and passage.name in pair.passages
        for name in pair.passages
        if name != passage.name
    ]
    return f"connected to {listed(others)}" if others else ""


def after(passage: PassageResult, decided: str) -> str:
    """The drills, and what they leave; nothing where no rework is recommended (yet)."""
    if decided not in ("rework", "repair"):
        return ""
    if passage.rework is None:
        return "no plan" if passage.why_not else "none needed"
    drills = " and ".join(
        f"{given(one.drill_diameter_mm)} {one.tool}, {one.from_}" for one in passage.rework.drilling
    )
    clear = least(passage.rework.clear_diameter_after_mm, passage.required_mm)
    cut = "".join(f"; {said}" for said in wall_words(passage.rework))
    clash = ", but not with another plan" if passage.rework.conflicts else ""
    return f"{drills};\n{passage.rework.state_after}, {clear}{cut}{clash}"


def _must_stop(passage: PassageResult, signs: Signs | None) -> tuple[str, ...]:
    """Balls that pass the nominal part and not the predicted one."""
    balls = [] if signs is None else [b for b in signs.balls if b.passage == passage.name]
    return tuple(f"ball {b.tells_mm:.4g}" for b in balls if b.tells_mm is not None)


def _pins(passage: PassageResult, signs: Signs | None) -> tuple[str, ...]:
    """Pins that tell the predicted part from the nominal one; the same words once."""
    ends: dict[str, list[str]] = {}
    for end in ("inlet", "outlet"):
        for pin in () if signs is None else signs.gauge_pins:
            if pin.port == f"{passage.name} {end}" and pin.tells_apart:
                ends.setdefault(_stop(pin), []).append(end)
    return tuple(words.format(" and ".join(found)) for words, found in ends.items())


def _stop(pin: GaugePin) -> str:
    now, nominal = (_depth(at) for at in (pin.stops_at_mm, pin.nominal_stops_at_mm))
    return f"ø\u00a0{given(pin.pin_diameter_mm)} {{}}: {now} ({nominal})"


def _depth(depth_mm: float | None) -> str:
    return "through" if depth_mm is None else f"{depth_mm:.1f}"
