"""Margins: how far the event may be off before a state or the recommendation changes.

In: a case that is prepared, and its result. Out: a `Margin` for the height of the first
stray sheet and, for slices of the part, for the first wrong layer and their number. States
are not monotone in any of them, so every step is checked whole, as far as is said.
"""

from __future__ import annotations

from dataclasses import replace

from clearance.case import Case
from clearance.check import conclude
from clearance.checked import Checked, Progress, silent
from clearance.errors import CaseError
from clearance.event import StrayTable
from clearance.result import Margin, Result
from clearance.variants import variants

STEPS = 3
"""Steps looked at each way, at most: each costs a check."""


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
    number = next((n for n, stray in enumerate(case.stray) if stray.shape != "mesh"), None)
    if number is None:
        return ()
    names = ["height"]
    if case.stray[number].shape == "layer" and case.stray[number].layers_high > 0:
        names += ["from_layer", "layers"]
    return tuple(_margin(checked, result, number, name, progress) for name in names)


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
            words = _change(result, conclude(varied))
            if words:
                break
            same = step
        found[sign] = (same, looked, words)
    (down, looked_down, below), (up, looked_up, above) = found[-1], found[1]
    return Margin(
        number,
        name,
        "mm" if name == "height" else "layers",
        round(down * unit, 9),
        round(up * unit, 9),
        round(looked_down * unit, 9),
        round(looked_up * unit, 9),
        below,
        above,
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
    varied: Case = replace(case, stray=tables)
    low, high = (float(z) for z in checked.bodies.bounds[:, 2])
    try:
        unknowns = variants(varied, low, high)
    except CaseError:
        return None  # beyond the part's layers, for one
    return Checked(
        varied,
        checked.bodies,
        checked.mouths,
        unknowns,
        checked.pitch_mm,
        [*checked.notices, *unknowns.notices],
    )


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
    a_word = before.disposition.recommendation if before.disposition else ""
    b_word = after.disposition.recommendation if after.disposition else ""
    return "" if a_word == b_word else f"recommendation: {a_word} becomes {b_word}"
