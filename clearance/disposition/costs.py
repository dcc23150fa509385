"""Money and days of a rework against a new part: beside the recommendation, never in it.

In: the numbers of [costs], how many drilling operations. Out: `CostsResult`. Pure numbers; nothing
is assumed that the user did not give.
"""

from __future__ import annotations

from clearance.case.tables import CostsTable
from clearance.result import Result
from clearance.result.costs import CostsResult, Flip

LOW = 0.05
"""Share below the lower limit of a chance that is counted from good ones."""


def costs(table: CostsTable | None, result: Result) -> CostsResult | None:
    """Of a result with a recommendation; None without [costs], or where nothing is drilled."""
    decided = result.disposition
    if table is None or decided is None or decided.recommendation not in ("rework", "repair"):
        return None
    count = sum(len(p.rework.drilling) for p in result.passages if p.rework is not None)
    return expected(table, count) if count else None


def expected(table: CostsTable, operations: int) -> CostsResult:
    """Expected cost and days.

    A rework costs what it and its inspection cost, and a new part where it does not end well:
    R + I + (1 - p) B, p = s^m. It costs less than a new part if p > (R + I) / B. What an
    operation that fails early saves of the rework is not counted.

    Parameters
    ----------
    table : CostsTable
    operations : int
        m, all of which have to end well.
    """
    each, low = chance_each(table)
    spent = table.rework + (table.inspection or 0.0)
    even = spent / table.rebuild

    def cost(chance: float) -> float:
        return spent + (1.0 - chance**operations) * table.rebuild

    days = most_days = None
    if table.rework_days is not None and table.rebuild_days is not None:
        days = table.rework_days + (1.0 - each**operations) * table.rebuild_days
        most_days = table.rework_days + table.rebuild_days
    rework = cost(each)
    return CostsResult(
        operations=operations,
        chance_each=each,
        chance_each_low=low,
        chance_all=each**operations,
        rework_cost=rework,
        rework_cost_low_chance=None if low is None else cost(low),
        rework_cost_most=spent + table.rebuild,
        rebuild_cost=table.rebuild,
        cheaper="rework" if rework < table.rebuild else "rebuild",
        break_even_all=even,
        break_even_each=even ** (1.0 / operations),
        rework_days=days,
        rework_days_most=most_days,
        rebuild_days=table.rebuild_days,
        flips=_flips(table, operations, each),
    )


def chance_each(table: CostsTable) -> tuple[float, float | None]:
    """That one operation ends well, and its lower limit where it is counted.

    k good of n with every chance equally likely before: mean (k + 1) / (n + 2), and the 5 %
    quantile of the beta distribution with k + 1 and n - k + 1.
    """
    if table.chance is not None:
        return table.chance, None
    from scipy.special import betaincinv

    assert table.good is not None
    assert table.of is not None
    bad = table.of - table.good
    return (table.good + 1) / (table.of + 2), float(betaincinv(table.good + 1, bad + 1, LOW))


def _flips(table: CostsTable, operations: int, each: float) -> list[Flip]:
    """Values at which both cost the same, those that are possible, the nearest share first."""
    inspection, all_well = table.inspection or 0.0, each**operations
    spent = table.rework + inspection
    found = [
        Flip(what="rework", given=table.rework, flips_at=all_well * table.rebuild - inspection),
        Flip(what="rebuild", given=table.rebuild, flips_at=spent / all_well),
        Flip(what="chance", given=each, flips_at=(spent / table.rebuild) ** (1.0 / operations)),
    ]
    if table.inspection is not None:
        at = all_well * table.rebuild - table.rework
        found.append(Flip(what="inspection", given=inspection, flips_at=at))
    possible = [
        one
        for one in found
        if one["flips_at"] > 0.0 and (one["what"] != "chance" or one["flips_at"] <= 1.0)
    ]
    return sorted(possible, key=lambda one: abs(one["flips_at"] / one["given"] - 1.0))
