"""Every event that the case leaves possible: unknowns as a list of cases with all fixed.

In: the stray sheets as the case knows them and the extent of the part. Out: one
tuple of `Event` per combination of heights, numbers of layers and ways to
resume. One state over all of them is the state; otherwise it is undetermined.
"""

from __future__ import annotations

import itertools
from dataclasses import dataclass, replace

import numpy as np

from clearance.case.read import Case
from clearance.case.stray_tables import StrayTable
from clearance.errors import CaseError
from clearance.predicted.slabs import Event

TOUCHING_MM = 1e-4
"""A sheet no higher than this above the part lies on it: heights are rounded."""
SAME_MM = 1e-9
"""Lengths that are the same but for rounding."""
MOST_HEIGHTS = 41
"""Heights of an uncertain event that are computed at most, a layer apart if they are fewer."""
MOST_LAYERS = 10_000
"""Wrong layers in one sheet, at most: more is a slip of the pen, and costs minutes."""
MOST_VARIANTS = 512
"""Combinations of unknowns that are computed; more is refused rather than thinned out."""


@dataclass(frozen=True)
class Variant:
    """One event, everything fixed.

    Attributes
    ----------
    events : tuple of Event, or None for the nominal part
        In rising order; mesh strays are not among them (nothing is unknown of them).
    said : str
        What is fixed here that the case leaves open, in words; empty if nothing.
    """

    events: tuple[Event, ...] | None
    said: str


@dataclass(frozen=True)
class Span:
    """Events whose heights lie anywhere in an interval, all else fixed.

    Attributes
    ----------
    events : tuple of Event
        Each as it lies lowest, with its `spread`.
    said : str
        What else is fixed here that the case leaves open.
    ends : bool
        The part was complete below some of them: then they left nothing.
    rises : bool
        What is above is lifted by as much more as the sheet lies higher: `next_layer` is given.
    """

    events: tuple[Event, ...]
    said: str
    ends: bool
    rises: bool = False

    def holds(self, events: tuple[Event, ...]) -> bool:
        """Whether some events are these, at heights within the interval."""
        if len(events) != len(self.events):
            return False
        return all(
            replace(one, bottom=own.bottom, spread=own.spread) == own
            and own.bottom - SAME_MM <= one.bottom <= own.bottom + own.spread + SAME_MM
            for one, own in zip(events, self.events, strict=True)
        )

    @property
    def still(self) -> bool:
        """Whether at every height the sheets only add metal, and nothing moves."""
        return not self.rises and all(event.still for event in self.events)

    @property
    def goes_on(self) -> bool:
        """Whether the part goes on above every sheet, at every height, where it ended below it.

        Then voids that are apart in the nominal part stay apart.
        """
        return not self.rises and all(
            event.shift == (0.0, 0.0)
            and (event.rise == 0.0 or abs(event.rise - len(event.slices) * event.layer) < SAME_MM)
            for event in self.events
        )


@dataclass(frozen=True)
class Unknowns:
    """Variants, the first being the one with middle heights, and what to tell the reader.

    `spans`: where heights are uncertain, what the variants are samples of.
    """

    variants: tuple[Variant, ...]
    notices: tuple[str, ...]
    unknown_slices: bool
    spans: tuple[Span, ...] = ()

    @property
    def others(self) -> tuple[tuple[Event, ...], ...]:
        """Events of all variants but the first."""
        return tuple(variant.events or () for variant in self.variants[1:])


@dataclass(frozen=True)
class _Choice:
    height: float
    layers: int
    resume: str
    plane_for_unknown: bool
    said: tuple[str, ...]


def variants(case: Case, low_z: float, high_z: float, alone: bool = True) -> Unknowns:
    """All combinations of what the case leaves open.

    Parameters
    ----------
    case : Case
    low_z, high_z : float, mm
        Lowest and highest point of the nominal part in mesh coordinates.
    alone : bool
        False for a part of a plate: a taller part may stand beside it, so that a first
        wrong layer beyond this part's top is no error of the case.

    Raises
    ------
    CaseError
        The first wrong layer lies beyond the part, or the unknowns are too many.
    """
    platform = case.part.platform(low_z)
    layer = case.part.layer_thickness
    notices: list[str] = []
    choices: list[list[tuple[int, StrayTable, _Choice]]] = []
    unknown = False
    for number, stray in enumerate(case.stray):
        if stray.shape == "mesh":
            continue
        _check_slices(case, number, stray, platform, high_z, notices, alone)
        unclear = _unclear_slices(case, stray, platform, low_z)
        unknown = unknown or unclear
        choices.append([(number, stray, c) for c in _choices(number, stray, layer, unclear)])
    count = int(np.prod([len(c) for c in choices])) if choices else 1
    if count > MOST_VARIANTS:
        raise CaseError(
            f"{case.path.name}: [[stray]]: the unknowns leave {count} combinations, "
            f"{MOST_VARIANTS} can be computed; narrow height_uncertainty, layers or resume"
        )
    table = [
        _variant(combination, platform, layer, low_z, high_z, notices)
        for combination in itertools.product(*choices)
    ]
    spans = [
        _span(combination, platform, layer, low_z, high_z)
        for combination in itertools.product(*(_by_height(several) for several in choices))
        if any(len(same) > 1 for same in combination)
    ]
    return Unknowns(tuple(table), tuple(dict.fromkeys(notices)), unknown, tuple(spans))


_Same = list[tuple[int, StrayTable, _Choice]]


def _by_height(choices: _Same) -> list[_Same]:
    """Choices that differ in height only, together, the lowest first."""
    found: dict[tuple[int, str, bool], _Same] = {}
    for one in choices:
        c = one[2]
        found.setdefault((c.layers, c.resume, c.plane_for_unknown), []).append(one)
    return [sorted(same, key=lambda one: one[2].height) for same in found.values()]


def _span(
    combination: tuple[_Same, ...], platform: float, layer: float, low_z: float, high_z: float
) -> Span:
    """All heights of choices that differ in height only."""
    lowest, highest = tuple(c[0] for c in combination), tuple(c[-1] for c in combination)
    low = _variant(lowest, platform, layer, low_z, high_z, [])
    high = _variant(highest, platform, layer, low_z, high_z, [])
    top = {number: platform + choice.height for number, _, choice in highest}
    said = [text for c in combination for text in c[0][2].said if ": height " not in text]
    return Span(
        tuple(replace(e, spread=top[e.stray] - e.bottom) for e in low.events or ()),
        ", ".join(said),
        len(high.events or ()) < len(low.events or ()),
        any(a.rise != b.rise for a, b in zip(low.events or (), high.events or (), strict=False)),
    )


def _check_slices(
    case: Case,
    number: int,
    stray: StrayTable,
    platform: float,
    high_z: float,
    notices: list[str],
    alone: bool,
) -> None:
    name = f"[[stray]] number {number + 1}"
    if stray.layers_high > MOST_LAYERS:
        raise CaseError(
            f"{case.path.name}: {name} layers: found {stray.layers_high}, "
            f"expected at most {MOST_LAYERS} in one sheet"
        )
    if stray.shape != "layer" or stray.layers_high == 0:
        return
    last = last_layer(case, platform, high_z)
    if stray.from_layer > last and alone:
        raise CaseError(
            f"{case.path.name}: {name} from_layer: found {stray.from_layer}, "
            f"expected at most {last}, the last layer that cuts the part"
        )
    if stray.from_layer + stray.layers_high - 1 > last:
        notices.append(f"{name}: slices beyond layer {last} lie above the part and hold no metal")


def last_layer(case: Case, platform: float, high_z: float) -> int:
    """Number of the last layer that cuts the part, counted from 0."""
    return int(np.floor((high_z - platform) / case.part.layer_thickness - 0.5 + 1e-9))


def _unclear_slices(case: Case, stray: StrayTable, platform: float, low_z: float) -> bool:
    """Whether a slice lies below the part while nothing is said of what stood there."""
    if stray.shape != "layer" or case.part.also_melted or stray.layers_high == 0:
        return False
    return _slice_z(platform, case.part.layer_thickness, stray.from_layer) < low_z


def _slice_z(platform: float, layer: float, number: int) -> float:
    return platform + (number + 0.5) * layer


def _choices(number: int, stray: StrayTable, layer: float, unclear: bool) -> list[_Choice]:
    assert stray.height is not None
    heights = _heights(stray.height, stray.height_uncertainty, layer)
    layers = list(range(stray.layers_low, stray.layers_high + 1))
    resumes = ["height", "layer"] if stray.resume == "unknown" else [stray.resume or "next"]
    planes = [False, True] if unclear else [False]
    found = []
    for h, n, r, p in itertools.product(heights, layers, resumes, planes):
        said = []
        if len(heights) > 1:
            said.append(f"height {h:.3f} mm")
        if len(layers) > 1:
            said.append(f"{n} stray layer{'' if n == 1 else 's'}")
        if len(resumes) > 1:
            said.append(f'resume = "{r}"')
        if unclear:
            said.append("slices below the part full" if p else "slices below the part empty")
        prefix = f"event {number + 1}: "
        found.append(_Choice(h, n, r, p, tuple(prefix + text for text in said)))
    return found


def _heights(middle: float, half: float, layer: float) -> list[float]:
    """The middle first, then the ends and what lies between, a layer apart or closer to 41."""
    if half <= 0.0:
        return [middle]
    count = min(2 * int(np.ceil(half / layer)) + 1, MOST_HEIGHTS)
    around = np.linspace(middle - half, middle + half, max(count, 3))
    return [middle, *(float(max(h, 0.0)) for h in around if abs(h - middle) > 1e-9)]


def _variant(
    combination: tuple[tuple[int, StrayTable, _Choice], ...],
    platform: float,
    layer: float,
    low_z: float,
    high_z: float,
    notices: list[str],
) -> Variant:
    events: list[Event] = []
    said: list[str] = []
    lift = 0.0
    for number, stray, choice in combination:
        event = _event(number, stray, choice, platform, layer, low_z, lift)
        said += choice.said
        foot = event.bottom - (event.penetration if event.slices else 0.0)
        if foot > high_z + lift + (TOUCHING_MM if event.slices else 0.0):
            notices.append(
                f"event {number + 1}: the part was complete below z {event.bottom - platform:.2f} "
                "mm: it is untouched"
            )
            continue
        events.append(event)
        lift += event.rise
    return Variant(tuple(events), ", ".join(said))


def _event(
    number: int,
    stray: StrayTable,
    choice: _Choice,
    platform: float,
    layer: float,
    low_z: float,
    lift: float,
) -> Event:
    bottom = platform + choice.height
    slices = tuple(_slice_z(platform, layer, stray.from_layer + k) for k in range(choice.layers))
    unclear = tuple(k for k, z in enumerate(slices) if choice.plane_for_unknown and z < low_z)
    top = bottom + choice.layers * layer
    if choice.resume == "height":
        rise = 0.0
    elif choice.resume == "layer":
        rise = choice.layers * layer
    else:
        assert stray.next_layer is not None
        rise = top - (platform + stray.next_layer * layer) - lift
        rise = 0.0 if abs(rise) < 1e-9 else rise
    return Event(
        stray=number,
        bottom=bottom,
        slices=slices,
        layer=layer,
        plane=stray.shape == "plane",
        penetration=stray.penetration_high,
        rise=rise,
        shift=stray.resume_shift,
        unknown_slices=unclear,
        welded=stray.welded(choice.height, layer),
        joint_gap=stray.joint_gap(choice.height, layer),
    )
