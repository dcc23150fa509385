"""Bearing balls: which stock sizes pass a passage, and which one tells two cases apart.

In: the brackets of a passage's clear diameter. Out: `Ball`. The sizes lie in balls.csv with how
well they are known.
"""

from __future__ import annotations

import csv
import math
from collections.abc import Iterable
from functools import lru_cache
from importlib import resources

from clearance.result import Ball, ClearDiameter, PassageResult


@lru_cache(maxsize=1)
def stock() -> dict[float, str]:
    """Stock sizes, mm, the smallest first, and how a list calls them."""
    lines = resources.files(__package__).joinpath("balls.csv").read_text(encoding="utf-8")
    rows = csv.DictReader(line for line in lines.splitlines() if not line.startswith("#"))
    return dict(sorted((float(row["mm"]), row["size"]) for row in rows))


def in_words(diameter_mm: float) -> str:
    """How a sentence calls a ball.

    Examples
    --------
    >>> in_words(4.0), in_words(3.175)
    ('4 mm', '1/8 in (3.175 mm)')
    """
    mm = f"{diameter_mm:.4g} mm"
    name = stock().get(diameter_mm, mm)
    return name if name == mm else f"{name} ({mm})"


def balls(
    passages: Iterable[PassageResult], allowance_mm: float = 0.0, tolerance_mm: float = 0.0
) -> tuple[Ball, ...]:
    """Which stock balls pass each passage, nominal and predicted.

    Parameters
    ----------
    passages : iterable of PassageResult
    allowance_mm : float
        What roughness may take off a clear diameter.
    tolerance_mm : float
        What the mesh's chords may have taken off it.

    Notes
    -----
    A ball surely passes up to the low end of the bracket less the allowance, and surely does
    not above its high end plus the tolerance. Of several balls that tell the two parts apart
    the one farthest from both limits is taken, for roughness.
    """
    return tuple(_ball(p.name, p.clear_diameter_mm, allowance_mm, tolerance_mm) for p in passages)


def limits(
    low_mm: float, high_mm: float, allowance_mm: float, tolerance_mm: float
) -> tuple[float, float]:
    """Up to which diameter a ball surely passes a bracket, and above which it surely stops, mm."""
    return low_mm - allowance_mm, high_mm + (tolerance_mm if high_mm > 0.0 else 0.0)


def _ball(passage: str, clear: ClearDiameter, allowance_mm: float, tolerance_mm: float) -> Ball:
    predicted, stops = limits(clear.low, clear.high, allowance_mm, tolerance_mm)
    nominal = clear.nominal_low - allowance_mm
    telling = [d for d in stock() if stops < d <= nominal]
    best = max(telling, key=lambda d: min(d - stops, nominal - d), default=None)
    apart = abs(clear.nominal_high - clear.low)
    return Ball(
        passage=passage,
        passes_nominal_mm=_largest(nominal),
        passes_predicted_mm=_largest(predicted),
        stops_predicted_mm=min((d for d in stock() if d > stops), default=None),
        tells_apart=best is not None,
        tells_mm=best,
        residual_mm=None if best is not None or not math.isfinite(apart) else apart,
    )


def _largest(limit_mm: float) -> float | None:
    return max((d for d in stock() if d <= limit_mm), default=None)
