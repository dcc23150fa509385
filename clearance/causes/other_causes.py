"""Causes that are no wrong slice: what excludes each, and what parts it from one.

In: the readings as found, and the nominal height. Out: an `OtherCause` for each. Where the physics
gives a number a reading excludes; all else is a table of what to look at. Our reading of how parts
are built, no source.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass

from clearance.case.readings import ReadingTable
from clearance.readings.likelihood import uncertainty
from clearance.result.causes import OtherCause
from clearance.verdict.numbers import least, most

CROSSING = 0.5
"""Sine of the angle from which two directions cross."""


@dataclass(frozen=True)
class Found:
    """What the readings of stage "found" say of a rim, of the height and of a step.

    Attributes
    ----------
    readings : sequence of (int, ReadingTable)
        Their numbers in the case, from 0.
    nominal_height_mm : (float, float)
        Of the whole part without an event, packing and cooling included: least and most.
    layer_mm : float
    k : float
        Standard uncertainties beyond which a reading excludes.
    """

    readings: Sequence[tuple[int, ReadingTable]]
    nominal_height_mm: tuple[float, float]
    layer_mm: float
    k: float

    def of(self, *kinds: str) -> Iterable[tuple[int, ReadingTable]]:
        """Readings of some kinds."""
        return [(n, one) for n, one in self.readings if one.kind in kinds]


Test = Callable[[Found], str]
"""Says which reading excludes a cause, with its number; empty if none does."""


def other_causes(found: Found) -> tuple[OtherCause, ...]:
    """All causes that are no wrong slice, in the order of a table."""
    told = []
    for cause, tests, look_at in CAUSES:
        by = next((words for test in tests if (words := test(found))), "")
        told.append(OtherCause(cause, bool(by), by, look_at))
    return tuple(told)


# ---- what excludes -----------------------------------------------------------------------------


def _measured_rim(found: Found) -> str:
    """A rim whose size is beyond its uncertainty is metal that stands out of the side."""
    for n, one in found.of("rim_thickness", "rim_width"):
        value, u = _number(one), uncertainty(one)
        if value > found.k * u:
            far = f"{value / u:.1f} times its u"
            return f"reading {n + 1}: a rim of {value:g} mm stands out ({far}), and it leaves none"
    for n, one in found.of("rim_top", "rim_bottom"):
        return f"reading {n + 1}: a rim was measured at {_number(one):g} mm, and it leaves none"
    return ""


def _taller(found: Found) -> str:
    """It adds no height."""
    for n, one in found.of("part_height"):
        over = _number(one) - found.nominal_height_mm[1]
        if over > found.k * uncertainty(one):
            return f"reading {n + 1}: the part is {least(over)} mm too high, and it adds no height"
    return ""


def _shorter(found: Found) -> str:
    """It takes no height away."""
    for n, one in found.of("part_height"):
        under = found.nominal_height_mm[0] - _number(one)
        if under > found.k * uncertainty(one):
            return f"reading {n + 1}: the part is {least(under)} mm too low, and it takes none away"
    return ""


def _not_a_layer_less(found: Found) -> str:
    """Skipped layers are whole ones: a part that is higher than one less has skipped none."""
    for n, one in found.of("part_height"):
        over = _number(one) - (found.nominal_height_mm[1] - found.layer_mm)
        if over > found.k * uncertainty(one):
            return (
                f"reading {n + 1}: one layer of {found.layer_mm:g} mm less would be at least "
                f"{least(over)} mm lower than was read"
            )
    return ""


def _no_step(found: Found) -> str:
    """A step shows across its direction only: two that cross must both find none that large."""
    none = []
    for n, one in found.of("step"):
        value, u = abs(_number(one)), uncertainty(one)
        if value <= found.k * u and one.direction is not None:
            none.append((n, one.direction, value + found.k * u))
    for a, (x, y), one_most in none:
        for b, (p, q), other in none:
            sizes = math.hypot(x, y) * math.hypot(p, q)
            across, along = abs(x * q - y * p) / sizes, abs(x * p + y * q) / sizes
            if b > a and across >= CROSSING:
                # The farthest corner of where two strips cross, which may lean.
                twice = 2.0 * one_most * other * along
                step = math.sqrt(one_most**2 + other**2 + twice) / across
                return f"readings {a + 1} and {b + 1}: no step above {most(step)} mm"
    return ""


def _thick_rim(found: Found) -> str:
    """A step, and a jump of a slanting wall, have no thickness: two faces are those of a sheet."""
    for n, one in found.of("rim_thickness"):
        value, u = _number(one), uncertainty(one)
        if value > found.k * u:
            return f"reading {n + 1}: the rim has two faces, {value:g} mm apart; a step has one"
    return ""


def _number(one: ReadingTable) -> float:
    return float(one.value or 0.0)


CAUSES: tuple[tuple[str, tuple[Test, ...], str], ...] = (
    (
        "the mesh itself has the sheet",
        (_measured_rim, _taller, _shorter),
        "`clearance mesh`, flat sheets; another part of this mesh at another height of the "
        "platform or from another build: the sheet follows the part, not the machine's height",
    ),
    (
        "a sideways step alone, the right layers went on",
        (_thick_rim, _no_step, _taller, _shorter),
        "a step on one side and an undercut on the other, the same on all parts; a lens instead "
        "of a sheet in the passages; no break in the numbering",
    ),
    (
        "short feed or a missed recoat",
        (_measured_rim, _taller, _shorter),
        "a dull or stepped band on all parts at one machine height, often worse on one side of "
        "the platform; lack of fusion over many layers; no sheet across voids",
    ),
    (
        "layers skipped, none melted again",
        (_thick_rim, _taller, _not_a_layer_less),
        "total height less by whole layers; slanting walls jump; the numbering breaks upward; no "
        "sheet across voids",
    ),
    (
        "a ceiling sagged, dross",
        (_measured_rim, _taller, _shorter),
        "only under level ceilings, lower face ragged, at the part's own height and not the "
        "machine's; nothing in the log",
    ),
    (
        "caked powder or debris",
        (_measured_rim, _taller, _shorter),
        "a plug and no sheet: it gives under a wire, and is less dense than metal in a tomogram; "
        "nothing on the outside, nothing in the log",
    ),
)
"""Cause, what may exclude it, what to look at. Never excluded by something that was not seen."""
