"""Powder that is shut in, and what can be weighed, seen or tried with a ball, in words.

In: parts of a `Result`. Out: lines of text.
"""

from __future__ import annotations

from collections.abc import Sequence

from clearance.evidence.balls import in_words
from clearance.evidence.pins import held
from clearance.result import Ball, Signs, TrappedPowder
from clearance.verdict.numbers import point, rounded_down, rounded_up


def trapped_line(found: TrappedPowder) -> str:
    """Powder without a way out, in words."""
    mass = ""
    if found.mass_low_g is not None and found.mass_high_g is not None:
        mass = f", {rounded_down(found.mass_low_g, 2)} to {rounded_up(found.mass_high_g, 2)} g"
    inside = f"; in {', '.join(found.passages)}" if found.passages else ""
    inside += "" if found.certain else "; in part of what is possible of the event"
    return (
        f"{found.volume_mm3:.1f} mm3{mass}, between {' and '.join(found.between)}, "
        f"at {point(found.centre_mm)}{inside}"
    )


CAN_IGNITE = "drilling or heat can ignite it"
MOST_VOIDS = 3
"""Voids with powder that a line names one by one."""


def powder_line(found: Sequence[TrappedPowder]) -> str:
    """All powder that is shut in, in words: how much, and where the most of it is."""
    volume = sum(t.volume_mm3 for t in found)
    low = [t.mass_low_g for t in found if t.mass_low_g is not None]
    high = [t.mass_high_g for t in found if t.mass_high_g is not None]
    mass = "mass unknown, no density"
    if len(low) == len(high) == len(found):
        mass = f"{rounded_down(sum(low), 2)} to {rounded_up(sum(high), 2)} g"
    most = sorted(found, key=lambda t: -t.volume_mm3)[:MOST_VOIDS]
    where = "; ".join(
        f"{f'{t.volume_mm3:.1f} mm3 ' if len(found) > 1 else ''}between "
        f"{' and '.join(t.between)} at {point(t.centre_mm)}"
        f"{', in ' + ', '.join(t.passages) if t.passages else ''}"
        for t in most
    )
    more = len(found) - len(most)
    voids = f" in {len(found)} voids" if len(found) > 1 else ""
    others = f"; and {more} smaller" if more else ""
    return f"{mass} ({volume:.1f} mm3){voids}, {CAN_IGNITE}: {where}{others}"


def signs_lines(signs: Signs | None) -> list[str]:
    """What can be measured on the part, a line each."""
    if signs is None:
        return []
    lines = [
        f"metal added: {signs.volume_added_mm3:.1f} mm3{_weighed(signs)}",
        f"height added: {signs.height_added_mm:.3f} mm",
        f"stands out of the side by {signs.outside_overhang_mm:.2f} mm{_overhang(signs)}",
    ]
    for pin in signs.gauge_pins:
        now, nominal = stop_words(pin.stops_at_mm), stop_words(pin.nominal_stops_at_mm)
        before = "as in the nominal part" if now == nominal else f"in the nominal part it {nominal}"
        aslant = f", {way}" if (way := held(pin.off_normal_deg)) else ""
        where = f"{pin.pin_diameter_mm:.2f} mm in {pin.port}{aslant}"
        lines.append(f"gauge pin {where}: {now}, {before}")
    return [*lines, *map(_ball, signs.balls)]


def _weighed(signs: Signs) -> str:
    share = f", {signs.share_of_part:.2%} of the part"
    if signs.mass_added_g is None:
        return share
    shown = ""
    if signs.balance_resolution_g is not None and signs.mass_scatter_g is not None:
        hidden = "more than" if signs.weighing_tells else "hidden in"
        shown = (
            f"; a balance that reads {signs.balance_resolution_g:g} g shows it, {hidden} the "
            f"scatter of good parts (about {signs.mass_scatter_g:.2g} g)"
        )
    return f", {signs.mass_added_g:.2f} g{share}{shown}"


def _overhang(signs: Signs) -> str:
    at, turn = signs.outside_overhang_at_mm, signs.outside_overhang_turn_deg
    if at is None or turn is None:
        return ""
    return f", most at {point(at)} towards {turn:.0f} deg from +x"


def _ball(ball: Ball) -> str:
    nominal, predicted = (
        "none passes" if d is None else f"{in_words(d)} passes"
        for d in (ball.passes_nominal_mm, ball.passes_predicted_mm)
    )
    if ball.tells_mm is not None:
        tells = f"{in_words(ball.tells_mm)} tells the two apart"
    elif ball.residual_mm is not None:
        tells = f"none tells the two apart, {ball.residual_mm:.2f} mm at most between them"
    else:
        tells = "none tells the two apart"
    return f"stock ball in {ball.passage}: nominally {nominal}, predicted {predicted}; {tells}"


def stop_words(depth_mm: float | None) -> str:
    """Where a gauge pin stops, in words."""
    return "goes through" if depth_mm is None else f"stops at {depth_mm:.1f} mm"
