"""The finished shape in words: whether it still lies in the metal, and what has moved.

In: a `FinishedResult`. Out: lines of text.
"""

from __future__ import annotations

from collections.abc import Iterator

from clearance.result import FinishedResult, MovedResult, StockResult
from clearance.verdict.numbers import given, least, level, most, near, point

CLAMPED = {
    "below": "clamped by what was built before the event",
    "above": "clamped by what was built after it",
}
ROUNDING_MM = 1e-5
"""Corners have single precision: what lies so little over a hundredth is no hundredth more."""
DECIDES = "the responsible engineer decides"


def finished_line(found: FinishedResult) -> str:
    """The answer in one line, with its numbers."""
    if found.why:
        return f"whether it lies in the metal cannot be told: {found.why}; {DECIDES}"
    first, *others = _counted(found)
    if all(_same(first, one) for one in others):
        how = CLAMPED[first.datum] if found.datum else "however it is clamped"
        said = f"{_stock(first)}, {how}"
    else:
        said = "; ".join(f"{_stock(one)}, {CLAMPED[one.datum]}" for one in (first, *others))
    return said if found.inside == "yes" else f"{said}; {DECIDES}"


def finished_lines(found: FinishedResult | None) -> Iterator[str]:
    """All that is known of it: nothing without one."""
    if found is None:
        return
    yield finished_line(found)
    if found.why:
        return
    nominal = found.nominal_stock_mm
    if nominal is None:
        yield "it has no machined face: all of its surface is the nominal part's"
    else:
        yield (
            f"{found.file} lies in the nominal part with {least(nominal)} mm of stock at least; "
            f"meshes may differ by {given(found.tolerance_mm)} mm where they are one face"
        )
    for one in _counted(found):
        for moved in one.moved:
            yield f"{CLAMPED[one.datum]}: {_moved(moved)}"


def finding(found: FinishedResult | None) -> str:
    """For the first sentence: empty where nothing is wrong."""
    if found is None or found.inside == "yes":
        return ""
    if found.inside == "no":
        return "the finished shape is not inside the metal"
    return "whether the finished shape is inside the metal cannot be told"


def _counted(found: FinishedResult) -> list[StockResult]:
    """By the datum that the case gives, or by both."""
    return [one for one in found.by_datum if found.datum in (None, one.datum)]


def _same(one: StockResult, other: StockResult) -> bool:
    numbers = (one.inside, one.stock_low_mm, one.stock_high_mm)
    return numbers == (other.inside, other.stock_low_mm, other.stock_high_mm) and not one.moved


def _stock(found: StockResult) -> str:
    low, high, at = found.stock_low_mm, found.stock_high_mm, found.where_mm
    if low is None or high is None or at is None:
        return "inside the metal, nothing is machined"
    if found.inside == "no":
        area = near(found.lacking_high_mm2, 1)
        return f"NOT inside the metal: up to {_lack(low)} mm lack, {area} mm2, at {point(at)}"
    number = f"least stock {least(low)} mm" if low >= 0.0 else f"up to {_lack(low)} mm may lack"
    if found.inside == "yes":
        return f"inside the metal, {number} at {point(at)}"
    return f"NOT TOLD whether it is inside the metal, {number} at {point(at)}"


def _lack(low: float) -> str:
    return most(max(-low - ROUNDING_MM, 0.0))


def _moved(moved: MovedResult) -> str:
    where = "" if moved.height_mm is None else f", from {level([moved.height_mm])}"
    ends = zip("xyz", moved.low_mm, moved.high_mm, strict=True)
    said = [f"{axis} {_range(low, high)}" for axis, low, high in ends if low or high]
    return f"{moved.name}{where} is moved by {', '.join(said)} mm"


def _range(low: float, high: float) -> str:
    ends = [f"{v:+z.2f}" for v in (low, high)]
    return ends[0] if ends[0] == ends[1] else f"{ends[0]} to {ends[1]}"
