"""After the event: which coupons count as witnesses, and what follows for parts not complete.

In: the members of a plate, and what is found of each. Out: keys `coupons` and `unfinished` of the
plate's result, and their words. It judges no part anew, and costs stand beside what is recommended.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from clearance.plates.members import Member
from clearance.result.plate import CouponSaid, PlatePart, Say, Unfinished
from clearance.verdict.names import listed
from clearance.verdict.numbers import given, near

WHOLE = 1e-6
"""Share of its metal by which a part is complete."""
WORDS: dict[str, Say] = {
    "scrap": "stop",
    "rework": "go on",
    "repair": "go on",
    "use-as-is": "go on",
    "not-affected": "go on",
}
"""What is said of a part that is not complete; of all others: decide first."""
COUPONS_SAY = (
    "a coupon that counts tells of the joint where solid metal lay under it, at its own place, "
    "height, section and heat, and only for the finish that it was tested in",
    "it cannot tell of a sheet across a passage, of powder that stayed in a joint where a part's "
    "wrong slices had no metal, nor of a part that cooled or was turned otherwise; one that breaks "
    "away from the joint says that the joint was not its weakest place, not how strong it is",
)


def coupons(members: Sequence[Member]) -> list[CouponSaid]:
    """Which test pieces hold a joint within their gauge length, with metal on both sides of it."""
    return [_coupon(one) for one in members if one.part.coupon]


def _coupon(one: Member) -> CouponSaid:
    gauge = one.part.gauge
    said: CouponSaid = {
        "name": one.part.name,
        "gauge_mm": None if gauge is None else list(gauge),
        "joints_mm": None if one.crossed_mm is None else list(one.crossed_mm),
        "held_mm": [],
        "counts": "unknown",
        "said": f"cannot be told: {one.fault.splitlines()[0]}" if one.fault else "",
    }
    if one.crossed_mm is None:
        return said
    if not one.crossed_mm:
        return {**said, "counts": "no", "said": "has no joint: does not count"}
    joints = listed([f"{given(z)}" for z in one.crossed_mm])
    if gauge is None:
        words = f"has the joint at z {joints} mm; whether it counts: gauge is not given"
        return {**said, "said": words}
    held = [z for z, top in one.joints_mm if gauge[0] < z and top < gauge[1]]
    span = f"gauge length z {given(gauge[0])} to {given(gauge[1])} mm"
    if not held:
        words = f"{span} does not hold the joint at z {joints} mm with both sides: does not count"
        return {**said, "counts": "no", "said": words}
    left = len(one.joints_mm) - len(held)
    words = f"counts: {span} holds the joint at z {listed([given(z) for z in held])} mm, both sides"
    if left:
        words += f"; {left} of {len(one.joints_mm)} joints it does not hold"
    return {**said, "counts": "yes", "held_mm": held, "said": words}


def unfinished(members: Sequence[Member], entries: Mapping[str, PlatePart]) -> list[Unfinished]:
    """Parts that were not complete at the last stop: whether to go on with them, and the money."""
    found = []
    for one in members:
        entry = entries[one.part.name]
        share = _built(one, entry)
        if one.part.coupon and one.task is None:
            continue
        if one.stop_mm is not None and share is not None and share < 1.0 - WHOLE:
            found.append(_left(one, entry, share))
    return found


def _built(one: Member, entry: PlatePart) -> float | None:
    """Share of its metal that stood at the last stop; None where that is not known."""
    whole, begun = entry["metal_mm3"], entry["metal_at_event_mm3"]
    if not one.begun:
        return 0.0
    return None if not whole or begun is None else begun / whole


def _left(one: Member, entry: PlatePart, share: float) -> Unfinished:
    say = WORDS.get(entry["recommendation"], "decide first")
    rework, rebuild = entry["rework_cost"], entry["rebuild_cost"]
    words = [f"{near(100.0 * share, 0)} % built"]
    if not one.begun:
        words = [
            f"not begun: its lowest face lies at z {given(round(one.bottom_mm or 0.0, 3))} mm; it "
            "has no joint, its supports have; wrong slices under it are loose metal in its powder"
        ]
    words.append(f"{entry['recommendation']}: {say}")
    if not one.begun and say == "stop":
        words.append("leave it out: nothing of it is lost but its place")
    if rework is not None and rebuild is not None and say == "go on":
        cheaper = "less" if rework < rebuild else "no less"
        words.append(
            f"finished and reworked {near(rework, 0)} expected, {cheaper} than a new part, "
            f"{near(rebuild, 0)}"
        )
    elif rebuild is not None:
        words.append(f"a new part {near(rebuild, 0)}")
    return {
        "name": one.part.name,
        "begun": one.begun,
        "built": share,
        "recommendation": entry["recommendation"],
        "say": say,
        "rework_cost": rework,
        "rebuild_cost": rebuild,
        "said": "; ".join(words),
    }


def alike(found: Sequence[CouponSaid] | Sequence[Unfinished]) -> list[str]:
    """What is said, with the names of all of which it is said."""
    names: dict[str, list[str]] = {}
    for one in found:
        names.setdefault(one["said"], []).append(one["name"])
    return [f"{', '.join(who)}: {said}" for said, who in names.items()]
