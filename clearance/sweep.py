"""The sweep: what every passage would be with the stray sheet at any other height.

In: a `Case`. Out: a `Sweep`, height by height what `check` would say there. All heights are
computed together: sections and regions once for all, searches where they do not settle it.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass, field, replace
from functools import partial
from itertools import pairwise
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from clearance.case import Case
from clearance.check import MOST_THREADS, processors
from clearance.checked import Checked, Progress, prepare, silent
from clearance.errors import CaseError, ClearanceError
from clearance.event import StrayTable
from clearance.passage_check import PassageCheck
from clearance.reach import Reach
from clearance.result import State
from clearance.stray import Event
from clearance.sweep_levels import Near, melts_the_same
from clearance.sweep_passage import At, PassageSweep, rows_of
from clearance.variants import Variant

Floats = NDArray[np.float64]
MOST_HEIGHTS = 100_000
"""Heights of one sweep at most."""
REACH_MM = 5.0
"""Reach is searched at least so often, and halved down to a layer where the answer changes."""
EVERY = 64
"""Heights between two words of progress."""

NOT_NEEDED, POSSIBLE, IMPOSSIBLE = "not-needed", "possible", "impossible"


@dataclass(frozen=True)
class PassageHeights:
    """One passage at every height; lists as long as the sweep's heights.

    Attributes
    ----------
    name : str
    required_mm : float
    state : tuple of State
    clear_diameter_mm, low_mm, high_mm : tuple of float
        Middle of the bracket, and the bracket that holds the true value.
    open_fraction : tuple of float
        Smallest of the passage's crossings there; 1 where it does not cross the sheet.
    reopen : tuple of str or None
        "not-needed", "possible" or "impossible"; None if it was not asked for.
    drilled_from : tuple of tuple of str
        The openings that a plan enters, where one is possible.
    openings_mm : dict
        Height above the platform of every opening of the nominal part.
    """

    name: str
    required_mm: float
    state: tuple[State, ...]
    clear_diameter_mm: tuple[float, ...]
    low_mm: tuple[float, ...]
    high_mm: tuple[float, ...]
    open_fraction: tuple[float, ...]
    reopen: tuple[str, ...] | None = None
    drilled_from: tuple[tuple[str, ...], ...] = ()
    openings_mm: dict[str, float] = field(default_factory=dict)


@dataclass(frozen=True)
class Sweep:
    """All heights of one stray sheet.

    Attributes
    ----------
    part : str
    stray : int
        Number of the stray table that moves.
    case_heights_mm : (float, float)
        Height of that sheet in the case, at least and at most.
    heights_mm : tuple of float
        Above the platform, as in [[stray]] height.
    """

    part: str
    pitch_mm: float
    stray: int
    case_heights_mm: tuple[float, float]
    heights_mm: tuple[float, ...]
    passages: tuple[PassageHeights, ...]
    notices: tuple[str, ...] = ()

    def as_json(self) -> dict[str, Any]:
        """Plain values with the keys of the contract."""
        passages = []
        for p in self.passages:
            row: dict[str, Any] = {
                "name": p.name,
                "state": [s.value for s in p.state],
                "clear_diameter_mm": [round(x, 6) for x in p.clear_diameter_mm],
                "low_mm": [round(x, 6) for x in p.low_mm],
                "high_mm": [round(x, 6) for x in p.high_mm],
                "open_fraction": [round(x, 6) for x in p.open_fraction],
            }
            if p.reopen is not None:
                row["reopen"] = list(p.reopen)
                row["drilled_from"] = [list(openings) for openings in p.drilled_from]
            passages.append(row)
        return {
            "schema": 1,
            "part": self.part,
            "pitch_mm": self.pitch_mm,
            "stray": self.stray,
            "case_height_mm": list(self.case_heights_mm),
            "heights_mm": [round(h, 6) for h in self.heights_mm],
            "passages": passages,
            "notices": list(self.notices),
        }


@dataclass(frozen=True)
class Wanted:
    """Which heights to look at, mm above the platform; None: all layers of the part."""

    first: float | None = None
    last: float | None = None
    step: float | None = None
    reach: bool = False


def sweep(
    case: Case,
    wanted: Wanted | None = None,
    pitch_mm: float | None = None,
    progress: Progress = silent,
) -> Sweep:
    """Compute the state of every passage for all heights of the first stray sheet.

    Raises
    ------
    ClearanceError
        The case has no stray sheet with a height, the range holds no height, and all
        that `check` raises.
    """
    number = moving(case)
    known = _without_uncertain_height(case, number)
    half = case.stray[number].height_uncertainty
    return swept(prepare(known, pitch_mm, progress), number, wanted or Wanted(), progress, half)


def moving(case: Case) -> int:
    """Number of the stray table that a sweep moves: the first that has a height."""
    for number, stray in enumerate(case.stray):
        if stray.shape != "mesh":
            return number
    found = "only a stray sheet of shape mesh" if case.stray else "no [[stray]]"
    raise CaseError(
        f"{case.path.name}: a sweep moves a stray sheet through all heights; found {found}, "
        "expected a [[stray]] of shape layer or plane with height and layers"
    )


def _without_uncertain_height(case: Case, number: int) -> Case:
    """The case with the height of one stray sheet fixed: the sweep goes over the heights."""
    tables: list[StrayTable] = list(case.stray)
    tables[number] = replace(tables[number], height_uncertainty=0.0)
    return replace(case, stray=tuple(tables))


def heights(checked: Checked, number: int, wanted: Wanted) -> Floats:
    """Heights to look at, mm above the platform.

    Raises
    ------
    ClearanceError
        There is none, or there are too many.
    """
    case = checked.case
    layer = wanted.step or case.part.layer_thickness
    low, high = (float(z) - platform(checked) for z in checked.bodies.bounds[:, 2])
    below, above = _room(checked, number)
    # Layers are counted from the platform; the first is that which holds the part's lowest point.
    first = wanted.first
    if first is None:
        first = max(math.floor(low / layer + 1e-6) * layer, below, 0.0)
    last = min(high - 1e-6, above) if wanted.last is None else wanted.last
    if first < below - 1e-9 or last > above + 1e-9:
        raise ClearanceError(
            f"{case.path.name}: between other stray sheets there is room for this one from "
            f"{max(below, 0.0):.3f} to {above:.3f} mm only; found {first:.3f} to {last:.3f} mm"
        )
    count = math.floor((last - first) / layer + 1e-6) + 1
    if count < 1:
        raise ClearanceError(
            f"no height lies from {first:g} to {last:g} mm; the part reaches from {low:g} to "
            f"{high:g} mm above the platform"
        )
    if count > MOST_HEIGHTS:
        raise ClearanceError(f"{count} heights are too many; give a larger --step")
    return np.asarray(np.round(first + layer * np.arange(count), 9))


def platform(checked: Checked) -> float:
    """Height of the platform in mesh coordinates, mm."""
    given = checked.case.part.platform_z
    return float(checked.bodies.bounds[0, 2]) if given is None else given


def _room(checked: Checked, number: int) -> tuple[float, float]:
    """Between which heights the sheet may lie: not in another, nor in another order."""
    below, above = -math.inf, math.inf
    for variant in checked.unknowns.variants:
        events = variant.events or ()
        own = next((n for n, e in enumerate(events) if e.stray == number), None)
        if own is None:
            continue
        z = platform(checked)
        if own > 0:
            below = max(below, events[own - 1].top - z)
        if own + 1 < len(events):
            above = min(above, events[own + 1].bottom - z - len(events[own].slices) *
                        events[own].layer)  # fmt: skip
    return below, above


def swept(
    checked: Checked,
    number: int,
    wanted: Wanted,
    progress: Progress = silent,
    half_mm: float = 0.0,
) -> Sweep:
    """Sweep a case that is prepared, the height of the moving sheet being fixed.

    `half_mm`: the height is known to within this in the case.
    """
    case = checked.case
    at = heights(checked, number, wanted)
    checks = [PassageCheck(checked, p) for p in case.passage]
    say = _Say(progress, len(at), len(checks))
    work = partial(_passage, number=number, heights_mm=at, reach=wanted.reach, say=say)
    count = min(processors(), MOST_THREADS, len(checks))
    with ThreadPoolExecutor(count) as pool:
        begun = [pool.submit(work, check) for check in checks]
        try:
            passages = tuple(one.result() for one in begun)
        except BaseException:
            say.stopped = True
            pool.shutdown(cancel_futures=True)
            raise
    height = case.stray[number].height
    assert height is not None
    several = sum(stray.shape != "mesh" for stray in case.stray) > 1
    notices = list(checked.notices)
    if several:
        notices.append(f"the sheet of stray {number} is moved; the others stay where they are")
    return Sweep(
        case.part.name,
        checked.pitch_mm,
        number,
        (height - half_mm, height + half_mm),
        tuple(float(h) for h in at),
        passages,
        tuple(dict.fromkeys(notices)),
    )


class _Say:
    """Words of progress from several threads, and the way to stop them."""

    def __init__(self, progress: Progress, heights: int, passages: int):
        self.progress, self.heights, self.passages = progress, heights, passages
        self.stopped = False

    def step(self, name: str) -> Callable[[], None]:
        """A callable for one passage, to be called once for every height or so."""
        calls = 0

        def tick() -> None:
            nonlocal calls
            if self.stopped:
                raise InterruptedError
            if calls % EVERY == 0:
                self.progress(f"{name}: {self.heights} heights")
            calls += 1

        return tick


def _passage(
    check: PassageCheck, number: int, heights_mm: Floats, reach: bool, say: _Say
) -> PassageHeights:
    """All heights of one passage, over all that is not known of the event but its height."""
    checked = check.checked
    bottoms = heights_mm + platform(checked)
    nominal = check.nominal
    if nominal.way.blocked:
        check.result()  # raises what `check` raises
    tick = say.step(check.passage.name)
    variants = checked.unknowns.variants
    moves = [not melts_the_same(variant.events or ()) for variant in variants]
    if any(moves):
        # Sections of every height count where the part is cut there: prove everywhere.
        check.window(checked.pitch_mm).region = None
    near = Near(check)
    cheap = not checked.bodies.added_by_stray
    found: list[list[At]] = []
    every: list[tuple[tuple[Event, ...], int]] = []
    for variant in variants:
        events = variant.events or ()
        own = next((n for n, e in enumerate(events) if e.stray == number), None)
        if own is None:
            continue
        every.append((events, own))
        found.append(PassageSweep(check, near, events, own, bottoms, cheap).run(tick))
    rows = [_together([at[n] for at in found]) for n in range(len(bottoms))]
    ways = None
    if reach:
        search = _Drills(check, every, bottoms, rows, tick)
        ways = search.all()
    return PassageHeights(
        check.passage.name,
        check.passage.min_clear_diameter,
        tuple(at.state for at in rows),
        tuple(0.5 * (at.low_mm + at.high_mm) for at in rows),
        tuple(at.low_mm for at in rows),
        tuple(at.high_mm for at in rows),
        tuple(at.open_fraction for at in rows),
        None if ways is None else tuple(way.answer for way in ways),
        () if ways is None else tuple(way.openings for way in ways),
        _openings(check),
    )


def _openings(check: PassageCheck) -> dict[str, float]:
    """Heights of the mouths, by the names that a plan gives them."""
    ground = platform(check.checked)
    found = {name: float(m.centre[2]) - ground for name, m in check.checked.mouths.items()}
    for name, mouth in (("inlet", check.inlet), ("outlet", check.outlet)):
        found[name] = float(mouth.centre[2]) - ground
    return found


def _together(found: list[At]) -> At:
    """One state over all that is not known is the state; otherwise it is undetermined."""
    states = {at.state for at in found}
    return At(
        found[0].state if len(states) == 1 else State.UNDETERMINED,
        min(at.low_mm for at in found),
        max(at.high_mm for at in found),
        found[0].open_fraction,
    )


@dataclass(frozen=True)
class _Way:
    """Whether a drill could reopen a passage at one height, and from which openings."""

    answer: str
    openings: tuple[str, ...] = ()


class _Drills:
    """Reach at all heights of a passage: searched at some, taken over between like ones."""

    def __init__(
        self,
        check: PassageCheck,
        variants: list[tuple[tuple[Event, ...], int]],
        bottoms: Floats,
        rows: list[At],
        tick: Callable[[], None],
    ):
        self.check, self.variants, self.tick = check, variants, tick
        self.bottoms, self.rows = bottoms, rows
        self.found: dict[int, _Way] = {}

    def all(self) -> list[_Way]:
        """An answer for every height."""
        for first, last in rows_of([at.state is not State.OPEN for at in self.rows]):
            self._row(first, last)
        return [self.found.get(n, _Way(NOT_NEEDED)) for n in range(len(self.rows))]

    def _row(self, first: int, last: int) -> None:
        """One row of heights that are not open; its ends may be near the requirement."""
        step = float(self.bottoms[last] - self.bottoms[first]) / REACH_MM
        marks = np.unique(np.linspace(first, last, max(math.ceil(step), 1) + 1).round())
        numbers = marks.astype(int).tolist()
        for n in numbers:
            self._look(n)
        for c, d in pairwise(numbers):
            self._between(c, d)

    def _between(self, a: int, b: int) -> None:
        """Halve until what lies between two heights has the answer of both."""
        if b - a < 2:
            return
        if self.found[a] == self.found[b]:
            for n in range(a + 1, b):
                self.found[n] = self.found[a]
            return
        middle = (a + b) // 2
        self._look(middle)
        self._between(a, middle)
        self._between(middle, b)

    def _look(self, n: int) -> None:
        """Search and re-check a plan as `check` does."""
        if n in self.found:
            return
        self.tick()
        self.found[n] = _Way(IMPOSSIBLE)
        if self.check.nominal.state is not State.OPEN:
            return  # drilling does not mend a design
        judged = []
        for events, own in self.variants:
            moved = replace(events[own], bottom=float(self.bottoms[n]))
            there = (*events[:own], moved, *events[own + 1 :])
            # The state is known: only the crossings are needed, so the first look is enough.
            predicted = self.check.predicted(there, self.check.checked.pitch_mm)
            judged.append(self.check.judge_in(predicted, Variant(there, "")))
        rework = Reach(self.check, judged).reached().rework
        if rework is not None:
            openings = dict.fromkeys(stroke.from_ for stroke in rework.drilling)
            self.found[n] = _Way(POSSIBLE, tuple(openings))


def runs(values: Sequence[str]) -> list[tuple[int, int, str]]:
    """First and last number and value of every row of equal values."""
    found: list[tuple[int, int, str]] = []
    for n, value in enumerate(values):
        if found and found[-1][2] == value:
            found[-1] = (found[-1][0], n, value)
        else:
            found.append((n, n, value))
    return found


def text(result: Sweep, paint: Callable[[str, str], str] = lambda word, _: word) -> str:
    """The sweep for people: per passage the rows of heights with one state."""
    h = result.heights_mm
    lines = [
        f"{result.part}, stray {result.stray} at {len(h)} heights from {h[0]:.2f} to "
        f"{h[-1]:.2f} mm above the platform, columns {result.pitch_mm:g} mm apart"
    ]
    for p in result.passages:
        lines += ["", f"{p.name}, needs {p.required_mm:.2f} mm"]
        for first, last, state in runs(p.state):
            low, high = min(p.low_mm[first : last + 1]), max(p.high_mm[first : last + 1])
            at = f"{h[first]:.2f} to {h[last]:.2f} mm" if last > first else f"{h[first]:.2f} mm"
            width = "" if high == 0.0 else f", {low:.2f} to {high:.2f} mm clear"
            drill = _drill_words(p, first, last)
            lines.append(f"  {at:>20}: {paint(state, state)}{width}{drill}")
    if result.notices:
        lines += ["", "notices", *(f"  {notice}" for notice in result.notices)]
    return "\n".join(lines) + "\n"


def _drill_words(p: PassageHeights, first: int, last: int) -> str:
    """What a row says of drilling."""
    if p.reopen is None:
        return ""
    answers = set(p.reopen[first : last + 1])
    if answers == {NOT_NEEDED}:
        return ""
    if answers == {POSSIBLE}:
        return "; a drill could reopen it"
    return "; a drill could reopen it in places" if POSSIBLE in answers else "; no drill reopens it"


def written(result: Sweep) -> str:
    """The sweep as JSON text."""
    import json

    return json.dumps(result.as_json(), allow_nan=False, ensure_ascii=False) + "\n"


def outputs(case: Case) -> list[Path]:
    """Files that an output may not overwrite."""
    strays = [stray.mesh for stray in case.stray if stray.mesh is not None]
    return [case.path, case.part.mesh, *case.part.also_melted, *strays]
