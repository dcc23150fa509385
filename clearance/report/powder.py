"""Powder that is trapped, and what can be weighed, seen or tried with a ball, in words.

In: parts of a `Result`. Out: lines of text.
"""

from __future__ import annotations

from collections.abc import Sequence

from clearance.evidence.balls import in_words
from clearance.evidence.pins import held
from clearance.result import Ball, GaugePin, Signs, TrappedPowder
from clearance.verdict.names import between
from clearance.verdict.numbers import given, least, most, near, point


def _mass(low_g: float, high_g: float) -> str:
    low, high = least(low_g), most(high_g)
    return f"{low} g" if low == high else f"{low} to {high} g"


def trapped_line(found: TrappedPowder) -> str:
    """Powder without a way out, in words."""
    mass = ""
    if found.mass_low_g is not None and found.mass_high_g is not None:
        mass = f", {_mass(found.mass_low_g, found.mass_high_g)}"
    inside = f"; in {', '.join(found.passages)}" if found.passages else ""
    inside += "" if found.certain else "; in part of what is possible of the event"
    return (
        f"{near(found.volume_mm3, 1)} mm3{mass}, between {between(found.between)}, "
        f"at {point(found.centre_mm)}{inside}"
    )


CAN_IGNITE = "drilling or heat can ignite it"
MOST_VOIDS = 3
"""Voids with powder that a line names one by one."""


def powder_line(found: Sequence[TrappedPowder]) -> str:
    """All powder that is trapped, in words: how much, and where the most of it is."""
    volume = sum(t.volume_mm3 for t in found)
    low = [t.mass_low_g for t in found if t.mass_low_g is not None]
    high = [t.mass_high_g for t in found if t.mass_high_g is not None]
    mass = "mass unknown, no density"
    if len(low) == len(high) == len(found):
        mass = _mass(sum(low), sum(high))
    largest = sorted(found, key=lambda t: -t.volume_mm3)[:MOST_VOIDS]
    where = "; ".join(
        f"{f'{near(t.volume_mm3, 1)} mm3 ' if len(found) > 1 else ''}between "
        f"{between(t.between)} at {point(t.centre_mm)}"
        f"{', in ' + ', '.join(t.passages) if t.passages else ''}"
        for t in largest
    )
    more = len(found) - len(largest)
    voids = f" in {len(found)} voids" if len(found) > 1 else ""
    others = f"; and {more} smaller" if more else ""
    return f"{mass} ({near(volume, 1)} mm3){voids}, {CAN_IGNITE}: {where}{others}"


def signs_lines(signs: Signs | None, everything: bool = False) -> list[str]:
    """What can be measured on the part, a line each.

    Parameters
    ----------
    signs : Signs or None
    everything : bool
        Also pins and balls that tell nothing; else only those that tell the predicted part from
        the nominal one.
    """
    if signs is None:
        return []
    lines = [
        f"height added: {near(signs.height_added_mm)} mm",
        f"stands out of the side by {near(signs.outside_overhang_mm)} mm{_overhang(signs)}",
        f"metal added: {near(signs.volume_added_mm3, 1)} mm3{_weighed(signs)}",
    ]
    pins = [pin for pin in signs.gauge_pins if everything or pin.tells_apart]
    tested = [ball for ball in signs.balls if everything or ball.tells_apart]
    return [*lines, *map(_pin, pins), *map(_ball, tested)]


def _pin(pin: GaugePin) -> str:
    now, nominal = stop_words(pin.stops_at_mm), stop_words(pin.nominal_stops_at_mm)
    before = "as in the nominal part" if now == nominal else f"in the nominal part it {nominal}"
    aslant = f", {way}" if (way := held(pin.off_normal_deg)) else ""
    tells = "" if pin.tells_apart else "; it tells nothing"
    return f"gauge pin {near(pin.pin_diameter_mm)} mm in {pin.port}{aslant}: {now}, {before}{tells}"


def _weighed(signs: Signs) -> str:
    share = f"{near(100.0 * signs.share_of_part)} % of the part"
    if signs.mass_added_g is None:
        return f", {share}"
    mass = f", {near(signs.mass_added_g)} g, {share}"
    if signs.mass_scatter_g is None:
        return mass
    if not signs.weighing_tells:
        return f"{mass}; weighing cannot tell: good parts scatter by about {_scatter(signs)}"
    if signs.balance_resolution_g is None:
        return mass
    balance = given(signs.balance_resolution_g)
    return (
        f"{mass}; a balance that reads {balance} g tells: good parts scatter by about "
        f"{_scatter(signs)}"
    )


def _scatter(signs: Signs) -> str:
    return f"{signs.mass_scatter_g:.2g} g"


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
        tells = f"none tells the two apart, {most(ball.residual_mm)} mm at most between them"
    else:
        tells = "none tells the two apart"
    return f"bearing ball in {ball.passage}: nominally {nominal}, predicted {predicted}; {tells}"


def stop_words(depth_mm: float | None) -> str:
    """Where a gauge pin stops, in words."""
    return "goes through" if depth_mm is None else f"stops at {depth_mm:.1f} mm"
