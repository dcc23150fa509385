"""Margins: how far the event may be off before a state or the recommendation changes.

In: a case that is prepared, and its result. Out: a `Margin` for the height of the first
stray sheet and, for slices of the part, for the first wrong layer and their number. States
are not monotone in any of them, so every step is checked whole, as far as is said. Of the
states alone a sweep of a few heights tells at once, where the sheet only adds metal.
"""

from __future__ import annotations

from concurrent.futures import ThreadPoolExecutor
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from clearance.case.read import Case
from clearance.case.stray_tables import StrayTable
from clearance.checking import MOST_THREADS, Examined, judge
from clearance.errors import CaseError
from clearance.predicted.slabs import Event
from clearance.result import STATES, Margin, Result, State
from clearance.sweeps.near import Near, melts_the_same
from clearance.sweeps.passage_sweep import PassageSweep
from clearance.system.processes import processors
from clearance.verdict.other_event import with_strays
from clearance.verdict.passage_check import PassageCheck
from clearance.verdict.prepared import Checked, Progress, silent

Floats = NDArray[np.float64]

STEPS, STATE_STEPS = 3, 10
"""Steps looked at each way, at most: each costs a check; the second where a sweep tells."""


def margins(checked: Checked, result: Result, progress: Progress = silent) -> tuple[Margin, ...]:
    """How far height, first wrong layer and number of layers may be off, each by itself.

    Parameters
    ----------
    checked : Checked
    result : Result
        Of the same case.

    Returns
    -------
    tuple of Margin
        Empty if the case has no stray sheet with a height.
    """
    case = checked.case
    number = _number(case)
    if number is None:
        return ()
    names = ["height"]
    if case.stray[number].shape == "layer" and case.stray[number].layers_high > 0:
        names += ["from_layer", "layers"]
    return tuple(_margin(checked, result, number, name, progress) for name in names)


def state_margins(examined: Examined) -> tuple[Margin, ...] | None:
    """How far the height may be off before a state changes, as far as sections and routes tell.

    Returns
    -------
    tuple of Margin, or None
        None where every step would be a check of its own: where the event does more than to add
        metal, some state is undetermined, or circuits are not apart in the nominal part.
    """
    checked, result = examined.checked, examined.result
    number = _number(checked.case)
    if number is None or not _only_adds(checked) or not _all_known(result):
        return None
    layer = checked.case.part.layer_thickness
    away = np.asarray(layer * np.arange(1, STATE_STEPS + 1), np.float64)
    with ThreadPoolExecutor(min(processors(), MOST_THREADS)) as pool:
        rows = list(pool.map(lambda check: _swept(check, away), examined.checks))
    sides = []
    for way in (0, 1):
        same, looked, words = 0, 0, ""
        for step in range(STATE_STEPS):
            after = [row[way][step] for row in rows]
            if any(state is State.UNDETERMINED for state in after):
                break  # not told, or there is no such height
            looked = step + 1
            words = _first_change(result, after)
            if words:
                break
            same = looked
        sides.append((same, looked, words))
    (down, looked_down, below), (up, looked_up, above) = sides
    if not looked_down and not looked_up:
        return None
    far = [round(n * layer, 9) for n in (down, up, looked_down, looked_up)]
    margin = Margin(
        stray=number,
        what="height",
        unit="mm",
        down=far[0],
        up=far[1],
        looked_down=far[2],
        looked_up=far[3],
        changes_down=below,
        changes_up=above,
        judged=STATES,
    )
    return (margin,)


def _only_adds(checked: Checked) -> bool:
    """Whether every variant is one sheet that only adds metal, at other heights too.

    With a given next_layer what lies above would be lifted there.
    """
    events = [variant.events or () for variant in checked.unknowns.variants]
    given = any(stray.next_layer is not None for stray in checked.case.stray)
    return not (checked.bodies.added_by_stray or given) and all(
        len(one) == 1 and melts_the_same(one) for one in events
    )


def _all_known(result: Result) -> bool:
    """Whether all is told; voids that are apart in the nominal part stay so with more metal."""
    return all(p.state is not State.UNDETERMINED for p in result.passages) and all(
        pair.state == pair.nominal_state == "apart" for pair in result.separate
    )


def _swept(check: PassageCheck, away: Floats) -> tuple[list[State], list[State]]:
    """States with the sheet lower, and higher, by some steps; undetermined where not told."""
    bottoms: dict[Event, list[float]] = {}
    for variant in check.checked.unknowns.variants:
        (event,) = variant.events or ()
        bottoms.setdefault(replace(event, bottom=0.0), []).append(event.bottom)
    near, found = Near(check), []
    for event, at in bottoms.items():
        heights = np.concatenate([min(at) - away[::-1], max(at) + away])
        found.append(_states(check, near, event, heights))
    together = [_one(states) for states in zip(*found, strict=True)]
    return together[: len(away)][::-1], together[len(away) :]


def _one(states: tuple[State, ...]) -> State:
    """The state over all that is not known of the event but its height."""
    return states[0] if len(set(states)) == 1 else State.UNDETERMINED


def _states(check: PassageCheck, near: Near, event: Event, heights: Floats) -> list[State]:
    """States at rising heights of the sheet's bottom; beyond the part nothing is told."""
    ground, top = check.checked.platform_z, float(check.checked.bodies.bounds[1, 2])
    there = np.flatnonzero((heights >= ground - 1e-9) & (heights < top - 1e-6))
    found = [State.UNDETERMINED] * len(heights)
    if len(there):
        swept = PassageSweep(check, near, (event,), 0, heights[there], exact=False).run()
        for n, at in zip(there.tolist(), swept, strict=True):
            found[n] = at.state
    return found


def _first_change(result: Result, after: list[State]) -> str:
    for passage, state in zip(result.passages, after, strict=True):
        if passage.state is not state:
            return f"{passage.name}: {passage.state.value} becomes {state.value}"
    return ""


def _number(case: Case) -> int | None:
    """Number of the first stray table that has a height."""
    return next((n for n, stray in enumerate(case.stray) if stray.shape != "mesh"), None)


def _margin(checked: Checked, result: Result, number: int, name: str, progress: Progress) -> Margin:
    unit = checked.case.part.layer_thickness if name == "height" else 1.0
    found: dict[int, tuple[int, int, str]] = {}
    for sign in (-1, 1):
        same, looked, words = 0, 0, ""
        for step in range(1, STEPS + 1):
            progress(f"margins: {name} {sign * step:+d}")
            varied = _varied(checked, number, name, sign * step)
            if varied is None:
                break
            looked = step
            words = _change(result, judge(varied).result)
            if words:
                break
            same = step
        found[sign] = (same, looked, words)
    (down, looked_down, below), (up, looked_up, above) = found[-1], found[1]
    return Margin(
        stray=number,
        what=name,
        unit="mm" if name == "height" else "layers",
        down=round(down * unit, 9),
        up=round(up * unit, 9),
        looked_down=round(looked_down * unit, 9),
        looked_up=round(looked_up * unit, 9),
        changes_down=below,
        changes_up=above,
    )


def _varied(checked: Checked, number: int, name: str, step: int) -> Checked | None:
    """The case with one number of one sheet off by some steps; None if there is no such case."""
    case = checked.case
    stray = _off(case, case.stray[number], name, step)
    if stray is None:
        return None
    tables = (*case.stray[:number], stray, *case.stray[number + 1 :])
    if not _in_order(tables, case.part.layer_thickness):
        return None
    # How far the event may be off is asked of what is computed, not of what was read.
    try:
        return with_strays(checked, tables)
    except CaseError:
        return None  # beyond the part's layers, for one


def _off(case: Case, stray: StrayTable, name: str, step: int) -> StrayTable | None:
    if name == "height":
        assert stray.height is not None
        height = stray.height + step * case.part.layer_thickness
        return replace(stray, height=round(height, 9)) if height >= -1e-9 else None
    if name == "from_layer":
        first = stray.from_layer + step
        return replace(stray, from_layer=first) if first >= 0 else None
    low, high = stray.layers_low + step, stray.layers_high + step
    return replace(stray, layers_low=low, layers_high=high) if low > 0 else None


def _in_order(strays: tuple[StrayTable, ...], layer: float) -> bool:
    """No sheet lies in another or below an earlier one."""
    top = -1e-9
    for stray in strays:
        if stray.height is None:
            continue
        if stray.height < top - 1e-9:
            return False
        top = stray.height + stray.layers_high * layer
    return True


def _change(before: Result, after: Result) -> str:
    """What differs between two results: a state or the recommendation; empty if none."""
    for a, b in zip(before.passages, after.passages, strict=True):
        if a.state is not b.state:
            return f"{a.name}: {a.state.value} becomes {b.state.value}"
    for one, other in zip(before.separate, after.separate, strict=True):
        if one.state != other.state:
            return f"{' and '.join(one.passages)}: {one.state} becomes {other.state}"
    if any(reading.contradicts for reading in before.readings):
        return ""  # nothing is recommended on the event as told, whatever it is
    a_word = before.disposition.recommendation if before.disposition else ""
    b_word = after.disposition.recommendation if after.disposition else ""
    return "" if a_word == b_word else f"recommendation: {a_word} becomes {b_word}"
