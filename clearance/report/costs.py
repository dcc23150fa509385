"""Money and days in words.

In: the costs of a `Result`. Out: lines of text.
"""

from __future__ import annotations

from clearance.result.costs import CostsResult
from clearance.verdict.numbers import counted, given, near

BESIDE = "beside the recommendation, never in it: what is safe does not depend on cost"


def costs_lines(found: CostsResult | None) -> list[str]:
    """What is expected, what flips it; empty without costs."""
    if found is None:
        return []
    each = f"{_share(found['chance_each'])} each"
    if found["chance_each_low"] is not None:
        each += f" (at least {_share(found['chance_each_low'])} with 95 %)"
    rework = f"rework {near(found['rework_cost'], 0)} expected"
    if found["rework_cost_low_chance"] is not None:
        rework += f", {near(found['rework_cost_low_chance'], 0)} at the low chance"
    lines = [
        f"{rework}, {near(found['rework_cost_most'], 0)} if it does not end well; "
        f"new part at once {near(found['rebuild_cost'], 0)}: {found['cheaper']} is expected to "
        "cost less",
        f"{counted(found['operations'], 'drilling operation')} end well with {each}, "
        f"{_share(found['chance_all'])} together; {_even(found)}",
    ]
    if found["rework_days"] is not None and found["rebuild_days"] is not None:
        lines.append(
            f"rework {near(found['rework_days'], 1)} days expected, "
            f"{near(found['rework_days_most'] or 0.0, 1)} if it does not end well; new part "
            f"{given(found['rebuild_days'])} days"
        )
    for flip in found["flips"]:
        lines.append(f"flips at {flip['what']} {_value(flip['flips_at'])}, now "
                     f"{_value(flip['given'])}")  # fmt: skip
    return [*lines, BESIDE]


def _even(found: CostsResult) -> str:
    if found["break_even_all"] >= 1.0:
        return "no chance would make the rework cheaper"
    return (
        f"the rework costs less from {_share(found['break_even_all'])} together on, "
        f"{_share(found['break_even_each'])} each"
    )


def _share(chance: float) -> str:
    return f"{near(100.0 * chance, 0)} %"


def _value(value: float) -> str:
    return near(value, 2) if value < 10.0 else near(value, 0)
