"""A scenario of the pressure loss, from the shares of its two ends.

In: shares in kPa, or none where nothing flows or nothing bounds them. Out: a `Scenario`, all of
whose keys are there whatever is known.
"""

from __future__ import annotations

from typing import Literal, get_args

from clearance.result import RestrictionResult, Scenario, Shares

ShareName = Literal[
    "friction_kpa", "bends_kpa", "steps_kpa", "entrance_kpa", "exit_kpa", "restrictions_kpa"
]
SHARES: tuple[ShareName, ...] = get_args(ShareName)


def scenario(
    least: Shares | None,
    greatest: Shares | None,
    restrictions: list[RestrictionResult],
    said: str,
) -> Scenario:
    """The bracket and its middle, from the shares of its ends; null where there is no end."""

    def middle(name: ShareName) -> float | None:
        if least is None or greatest is None:
            return None
        return 0.5 * (least[name] + greatest[name])

    shares = [middle(name) for name in SHARES]
    known = [share for share in shares if share is not None]
    friction, bends, steps, entrance, leaving, crossings = shares
    return {
        "pressure_loss_kpa": sum(known) if known else None,
        "low_kpa": None if least is None else _whole(least),
        "high_kpa": None if greatest is None else _whole(greatest),
        "friction_kpa": friction,
        "bends_kpa": bends,
        "steps_kpa": steps,
        "entrance_kpa": entrance,
        "exit_kpa": leaving,
        "restrictions_kpa": crossings,
        "least": least,
        "greatest": greatest,
        "restrictions": restrictions,
        "said": said,
    }


def _whole(shares: Shares) -> float:
    return sum(shares[name] for name in SHARES)
