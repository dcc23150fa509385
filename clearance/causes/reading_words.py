"""What was read, in a few words.

In: a reading. Out: a sentence without its full stop.
"""

from __future__ import annotations

from clearance.case.readings import ReadingTable
from clearance.readings.answer import UNITS
from clearance.verdict.numbers import given


def what_was_read(one: ReadingTable) -> str:
    """A reading in words.

    Examples
    --------
    >>> what_was_read(ReadingTable(kind="rim_top", value=31.29, u=0.03))
    'rim top 31.29 mm above the platform, u 0.03'
    >>> what_was_read(ReadingTable(kind="ball", passage="a", diameter=4.0, result="stops"))
    'ball of 4 mm through a: stops'
    """
    if one.kind == "rim_seen":
        return "a rim was seen" if one.value else "no rim was seen"
    if one.kind == "ball":
        return f"ball of {given(one.diameter or 0.0)} mm through {one.passage}: {one.result}"
    if one.kind == "pin":
        stop = "passes" if one.result == "passes" else f"stops at {given(_number(one))} mm"
        return f"pin of {given(one.diameter or 0.0)} mm into {one.port}: {stop}"
    if one.kind == "seen":
        what = "stray metal seen" if one.found else "nothing seen"
        at = f" at {given(one.height)} mm" if one.height is not None else ""
        return f"{what}{f' in {one.passage}' if one.passage else ''}{at}"
    if one.kind == "layers_logged":
        return f"{given(_number(one))} layers in the log"
    return _measured(one)


def _measured(one: ReadingTable) -> str:
    said = one.kind.replace("_", " ")
    if one.passage:
        said += f" of {one.passage}"
    if one.height is not None:
        said += f" at {given(one.height)} mm"
    said += f" {given(_number(one))} {UNITS.get(one.kind, 'mm')}"
    if one.kind in ("rim_top", "rim_bottom"):
        said += " above the platform" if one.datum == "platform" else " below the part's top"
    if one.direction is not None:
        said += f" along [{', '.join(given(x) for x in one.direction)}]"
    return said + ("" if one.u is None else f", u {given(one.u)}")


def _number(one: ReadingTable) -> float:
    return float(one.value or 0.0)
