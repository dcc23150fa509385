"""Numbers as words give them: one place for all that people read.

In: numbers in mm. Out: text. What is computed has two decimals at most, rounded outward: a low
end down, a high end up. What the user gave keeps its digits: 7 stays 7. Where two decimals would
hide on which side of a requirement a number lies, words say it. The JSON has all digits.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence

DECIMALS = 2
"""Of a computed length, at most."""
NAMEWORTHY = 0.995
"""A crossing that keeps more of its area than this counts as fully open, and is not named."""
MOST_DECIMALS = 3


def given(value: float) -> str:
    """A number that the user gave, with the digits that it was given."""
    return f"{round(value, 6) + 0.0:.10g}"


def near(value: float, decimals: int = DECIMALS) -> str:
    """The nearest with so many decimals; never minus nought."""
    return f"{value:z.{decimals}f}"


def level(heights: Iterable[float]) -> str:
    """Computed heights as one: ``z 31.10``, or from the lowest to the highest."""
    found = sorted({near(z) for z in heights}, key=float)
    return f"z {found[0]}" if found[0] == found[-1] else f"z {found[0]} to {found[-1]}"


def least(value: float, need: float | None = None) -> str:
    """A lower bound, rounded down; not below what it reaches."""
    shown = rounded_down(value, DECIMALS)
    if need is not None and float(shown) < need <= value:
        return given(need)
    return shown


def most(value: float, need: float | None = None) -> str:
    """An upper bound, rounded up; ``just under`` a requirement that it would else seem to meet."""
    shown = rounded_up(value, DECIMALS)
    if need is not None and value < need <= float(shown):
        return f"just under {given(need)}"
    return shown


def no_more(value: float, need: float | None = None) -> str:
    """An upper bound as what passes: ``at most 6.41``, or ``just under`` the requirement."""
    shown = most(value, need)
    return shown if shown.startswith("just") else f"at most {shown}"


def span(low: float, high: float, need: float | None = None) -> str:
    """A proven bracket, rounded outward, one number if both ends look the same.

    One digit of its width counts, two if the first is a 1, and two decimals at most.
    """
    if high == 0.0:
        return "0"
    if not math.isfinite(high):
        return f"at least {least(low, need)}"
    for decimals in range(min(decimals_to_tell(high - low), DECIMALS), DECIMALS + 1):
        shown = rounded_down(low, decimals), rounded_up(high, decimals)
        if need is None or same_side(shown, low, high, need):
            return shown[0] if shown[0] == shown[1] else f"{shown[0]} to {shown[1]}"
    return f"{least(low, need)} to {most(high, need)}"


def percent(share: float) -> str:
    """A share in percent, rounded down: never more than there is, and never all of less."""
    return f"{math.floor(100.0 * share + 1e-9)} %"


def decimals_to_tell(size: float) -> int:
    """Decimals that a bracket of some width supports, 0 to 3."""
    if size <= 0.0:
        return MOST_DECIMALS
    power = math.floor(math.log10(size))
    leading = size / 10.0**power
    return min(max(-power + (1 if leading < 2.0 else 0), 0), MOST_DECIMALS)


def rounded_down(value: float, decimals: int) -> str:
    """Round down, so that what is said to pass does."""
    scale = 10.0**decimals
    return f"{math.floor(value * scale + 1e-6) / scale:.{decimals}f}"


def rounded_up(value: float, decimals: int) -> str:
    """Round up, so that no more passes than is said."""
    scale = 10.0**decimals
    return f"{math.ceil(value * scale - 1e-6) / scale:.{decimals}f}"


def same_side(shown: tuple[str, str], low: float, high: float, required: float) -> bool:
    """Whether a bracket as shown lies as the bracket does to what is required."""
    low_shown, high_shown = float(shown[0]), float(shown[1])
    return (low_shown >= required) == (low >= required) and (
        (high_shown < required) == (high < required)
    )


def counted(number: int, word: str) -> str:
    """A number of things, the word with an s unless it is one."""
    return f"{number} {word}{'' if number == 1 else 's'}"


def height(value: float) -> str:
    """A height without needless zeros."""
    return f"{value:z.3f}".rstrip("0").rstrip(".")


def point(at: Sequence[float]) -> str:
    """A place, rounded to 0.01 mm."""
    x, y, z = (height(float(round(value, 2)) + 0.0) for value in at)
    return f"x {x}, y {y}, z {z}"
