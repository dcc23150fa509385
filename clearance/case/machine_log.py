"""Stray sheets from the log of what a machine melted.

In: the ranges of layers, in the order they were melted. Out: an `BuildEvent` with a stray sheet
for every break in the numbering, and sentences that say so. Reading a machine's own log
format is left to others.
"""

from __future__ import annotations

import re
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Annotated, Any, Literal

from pydantic import AfterValidator, BeforeValidator, Field, WithJsonSchema

from clearance.case.kinds import (
    LARGEST_LAYER,
    AnyList,
    KelvinRange,
    LengthRange,
    ShareRange,
    Table,
    key,
    refuse,
)
from clearance.case.stray_tables import (
    BuildEvent,
    StrayTable,
    bed,
    cooled_key,
    jump_sentence,
    packing_key,
    packing_sentences,
    penetration_key,
    penetration_sentence,
)

_RANGE = re.compile(r"\s*([0-9]+)\s*(?:-\s*([0-9]+)\s*)?")


def _layer_range(text: str) -> str:
    found = _RANGE.fullmatch(text)
    if found is None:
        raise refuse("a layer number or a range, such as '624-2399'")
    first, last = int(found[1][:20]), int((found[2] or found[1])[:20])
    if first > last:
        raise refuse("a range that rises, such as '624-2399'")
    if last > LARGEST_LAYER:
        raise refuse(f"layer numbers up to {LARGEST_LAYER}")
    return text


RangeText = Annotated[
    str,
    AfterValidator(_layer_range),
    WithJsonSchema({"type": "string", "pattern": f"^{_RANGE.pattern}$"}),
]


class MeltedTable(Table):
    """[melted] as written."""

    layers: Annotated[tuple[RangeText, ...], BeforeValidator(AnyList), Field(min_length=1)] = key(
        "Ranges of layers, in the order in which the machine melted them."
    )
    first_number: Literal[0, 1] = key("Number that the machine gives to the first layer.", "", 0)
    penetration: LengthRange | None = penetration_key()
    packing: ShareRange | None = packing_key()
    cooled: KelvinRange | None = cooled_key()


@dataclass(frozen=True, slots=True)
class _Run:
    """Layers melted one after the other without a break, counted from 0."""

    first: int
    last: int

    @property
    def count(self) -> int:
        return self.last - self.first + 1


def log_fault(ranges: Sequence[str], first_number: int) -> str | None:
    """Tell what is expected of a log whose first layer or smallest number is impossible."""
    numbers = [_ends(text) for text in ranges]
    smallest = min(first for first, _ in numbers)
    if smallest < first_number:
        return f"numbers from {first_number} on, since first_number = {first_number}"
    begin = numbers[0][0]
    if begin == first_number:
        return None
    hint = ", or first_number = 1" if (begin, first_number, smallest) == (1, 0, 1) else ""
    return f"layer {first_number} first: heights are counted from it{hint}"


def strays_from_log(
    ranges: Sequence[str],
    first_number: int,
    layer_thickness: float,
    known: Mapping[str, Any] | None = None,
) -> BuildEvent:
    """Turn the ranges of layers that a machine melted into stray sheets.

    Every break in the numbering is an event. The part itself is the chain of runs with rising
    first and last layers that begins with the first run and holds the most layers; what was
    melted between two runs of the chain is stray. Where nothing was, layers were skipped or
    repeated, and the sheet has no layers.

    Parameters
    ----------
    ranges : sequence of str
        "a-b" or "a", both ends included, in the order of melting.
    first_number : {0, 1}
        Number that the machine gives to the first layer.
    layer_thickness : float, mm
        Layer thickness t.
    known : mapping, optional
        What is known of powder, melt depth and cooling: the fields that `event.bed` gives.

    Returns
    -------
    BuildEvent
        Sheets with source "log"; heights are those of the machine: layers melted before x t.
        `log_last_layer` is the last layer of the part that the log shows, counted from 0.

    Examples
    --------
    >>> event = strays_from_log(["0-623", "0-2", "624-2399"], 0, 0.05)
    >>> [(s.height, s.from_layer, s.layers_high, s.next_layer) for s in event.strays]
    [(31.2, 0, 3, 624)]
    """
    runs = _runs(ranges, first_number)
    chain = _chain(runs)
    known = known or bed(None, None, None, layer_thickness, 0.0)
    sheet = StrayTable(source="log", **known)
    strays = tuple(_strays(runs, chain, layer_thickness, sheet))
    counted = "" if first_number == 0 else ", layers counted from 0 here"
    said = tuple(
        f"[melted], break {number}{counted}: {_sentence(stray, layer_thickness)}"
        for number, stray in enumerate(strays, start=1)
    )
    last = runs[chain[-1]].last
    assumed = [f"[melted]: {text}" for stray in strays for text in _bed_assumed(stray)]
    assumed += [f"[melted]: {text}" for text in _assumed(strays, last)]
    return BuildEvent(strays, said, tuple(dict.fromkeys(assumed)), last)


def _ends(text: str) -> tuple[int, int]:
    found = _RANGE.fullmatch(text)
    assert found is not None  # MeltedTable lets nothing else through
    return int(found[1]), int(found[2] or found[1])


def _runs(ranges: Sequence[str], first_number: int) -> list[_Run]:
    """Merge ranges that follow each other without a break."""
    runs: list[_Run] = []
    for text in ranges:
        first, last = (number - first_number for number in _ends(text))
        if runs and runs[-1].last + 1 == first:
            runs[-1] = _Run(runs[-1].first, last)
        else:
            runs.append(_Run(first, last))
    return runs


def _chain(runs: Sequence[_Run]) -> list[int]:
    """Find the runs that are the part's own.

    Longest rising chain from the first run, weighed by layers; of equal ones the one that
    goes on to the latest run, since a build is more often finished than given up.
    """
    total = [runs[0].count] + [0] * (len(runs) - 1)
    before = [-1] * len(runs)
    for j in range(1, len(runs)):
        for i in range(j):
            rises = runs[i].first < runs[j].first and runs[i].last < runs[j].last
            if total[i] and rises and total[i] + runs[j].count >= total[j]:
                total[j], before[j] = total[i] + runs[j].count, i
    end = max(range(len(runs)), key=lambda index: (total[index], index))
    chain = [end]
    while before[chain[-1]] >= 0:
        chain.append(before[chain[-1]])
    return chain[::-1]


def _strays(
    runs: Sequence[_Run], chain: Sequence[int], t: float, sheet: StrayTable
) -> Iterator[StrayTable]:
    """Yield one sheet for each stray run, and one without layers for each bare jump.

    Where what stood may have cooled, also one without layers for each way back.
    """
    melted, ends = 0, [*chain[1:], len(runs)]
    for own, end in zip(chain, ends, strict=True):
        melted += runs[own].count
        follows = runs[own].last + 1
        following = runs[end].first if end < len(runs) else None
        if end == own + 1 and following is not None:
            yield replace(sheet, height=_mm(melted, t), next_layer=following)
        for index in range(own + 1, end):
            stray, height = runs[index], _mm(melted, t)
            melted, follows = melted + stray.count, follows + stray.count
            # Between two stray runs nothing else lies: there the part is not lifted.
            last = index == end - 1
            after = following if last else follows
            yield replace(
                sheet,
                height=height,
                from_layer=stray.first,
                layers_low=stray.count,
                layers_high=stray.count,
                next_layer=after,
                resume="unknown" if after is None else None,
            )
        if end > own + 1 and following is not None and sheet.cooled_high > 0.0:
            # Back to the right layers: a stop too, for all that the log tells.
            yield replace(sheet, height=_mm(melted, t), next_layer=following)


def _mm(layers: int, t: float) -> float:
    return round(layers * t, 9)


def _sentence(stray: StrayTable, t: float) -> str:
    if stray.layers_high == 0:
        what = f"at {stray.height:g} mm the numbering jumps, no stray layer"
    else:
        last = stray.from_layer + stray.layers_high - 1
        what = f"at {stray.height:g} mm {stray.layers_high} stray layers, {stray.from_layer}-{last}"
    then = "the log ends" if stray.next_layer is None else jump_sentence(stray, t)
    return f"{what}; then {then}"


def _bed_assumed(stray: StrayTable) -> Iterator[str]:
    if stray.penetration_assumed and (stray.layers_high or stray.cooled_high):
        yield penetration_sentence(stray)
    yield from packing_sentences(stray)


def _assumed(strays: Sequence[StrayTable], last: int) -> Iterator[str]:
    yield "the platform is at height 0 and the first layer stands on it"
    if strays and strays[-1].resume == "unknown":
        yield "the log ends in a stray sheet: resume unknown, both ways are computed"
    else:
        yield f"what follows the last logged layer, {last}, follows in order"
    if strays:
        yield "the log shows no sideways shift: nothing is moved sideways"
