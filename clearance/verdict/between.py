"""Whether a state holds at every height of an interval, not only at the heights looked at.

In: spans of events and what was judged at some heights. Out: where that is not proven, in
words. Source: docs/method.md, "What is not known of the event".
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, field, replace
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from clearance.geometry.level_faces import level_faces, same_height_mm
from clearance.geometry.soup import Soup
from clearance.geometry.turns import extremes
from clearance.predicted.slabs import Event, reaches
from clearance.predicted.variants import Span
from clearance.result import State
from clearance.verdict.states import Bracketed, Required

MOST_LOOKS = 32
"""Further predicted parts that are judged for one passage and span, at most."""
FINEST_MM = 0.005
"""Intervals are not halved below this."""

Events = tuple[Event, ...]
Sample = tuple[Events, Bracketed]
Look = Callable[[Events], tuple[State, Bracketed]]
"""Judges a passage in the part that some events make: its state and bracket."""


@dataclass(frozen=True)
class Passage:
    """What is asked of a passage, and the walls and mouths around it.

    Attributes
    ----------
    required : Required
    walls : (T, 3, 3) ndarray, mm
        All metal of the nominal part that may come near the passage.
    mouths : list of (float, float)
        Lowest and highest point of each mouth, nominal, mm; those of inlet and outlet first.
    covered : callable
        Takes events, the number of one and a length, mm: whether the first wrong slice of that one
        covers all of the passage at its cut, grown by so much.
    nominal_mm : float
        Clear diameter of the nominal part, at most.
    platform_mm : float
        Height of the platform in the mesh, for words.
    """

    required: Required
    walls: Soup
    mouths: list[tuple[float, float]]
    covered: Callable[[Events, int, float], bool]
    nominal_mm: float
    platform_mm: float


@dataclass
class Between:
    """What is known of all heights together.

    Attributes
    ----------
    words : list of str
        Where the state is not proven; empty if it is.
    low_mm, high_mm : float
        Bounds of the clear diameter between the samples, where it is.
    """

    words: list[str] = field(default_factory=list)
    low_mm: float = np.inf
    high_mm: float = -np.inf

    def take(self, low_mm: float, high_mm: float) -> None:
        """Widen the bracket."""
        self.low_mm = min(self.low_mm, low_mm)
        self.high_mm = max(self.high_mm, high_mm)


def between(
    state: State,
    spans: Sequence[Span],
    samples: Sequence[Sample],
    look: Look,
    passage: Passage,
) -> Between:
    """Whether a passage has one state at all heights, not only at those looked at.

    Parameters
    ----------
    state : State
        The one that all samples have.
    spans : sequence of Span
    samples : sequence of (events, bracket)
        What was judged at single heights.
    look : callable
    passage : Passage
    """
    found = Between()
    for span in spans:
        if not any(event.spread > 0.0 for event in span.events):
            continue
        if span.still:
            left = _still(state, span, samples, look, passage, found)
        else:
            left = _moved(state, span, samples, passage, found)
        if left is not None:
            low, high = (z - passage.platform_mm for z in left)
            place = f" ({span.said})" if span.said else ""
            found.words.append(
                f"between {low:.3f} and {high:.3f} mm{place} it is not proven {state.value}: only "
                "single heights were looked at"
            )
    return found


# ---- sheets that only add metal ------------------------------------------------------------------


def _still(
    state: State,
    span: Span,
    samples: Sequence[Sample],
    look: Look,
    passage: Passage,
    found: Between,
) -> tuple[float, float] | None:
    """The first interval for which the state is not proven, mesh heights; None if it is for all."""
    # A sheet that moves by so much changes a clear diameter by twice that at most.
    high = max(way.high_mm for _, way in samples)
    high += widest_steps([events for events, _ in samples], span)
    found.take(np.inf, min(high, passage.nominal_mm))
    left, looks = [span.events], 0
    while left:
        events = left.pop()
        widest = max(range(len(events)), key=lambda n: events[n].spread)
        event = events[widest]
        if looks >= MOST_LOOKS:
            return event.bottom, event.bottom + event.spread
        # Of sheets that share no metal only the nominal part is left, which proves nothing closed.
        if state is State.OPEN or any(map(_shares_metal, events)):
            held, used = _holds(state, events, span.ends, look, passage, found)
            looks += used
            if held:
                continue
        if event.spread <= 2.0 * FINEST_MM:
            return event.bottom, event.bottom + event.spread
        left += [_with(events, widest, half) for half in reversed(_halves(event))]
    return None


def _shares_metal(event: Event) -> bool:
    """Whether there is metal that a sheet has at all its heights."""
    return any(low < high for low, high in reaches(replace(event, sure=True)))


def widest_steps(looked_at: Sequence[Events], span: Span) -> float:
    """Widest step between neighbouring heights that were looked at, over all sheets of a span."""
    total = 0.0
    for stray in (event.stray for event in span.events):
        heights = sorted({e.bottom for events in looked_at for e in events if e.stray == stray})
        total += max((b - a for a, b in pairwise(heights)), default=0.0)
    return total


def _halves(event: Event) -> list[Event]:
    half = 0.5 * event.spread
    return [replace(event, spread=half), replace(event, bottom=event.bottom + half, spread=half)]


def _with(events: Events, number: int, event: Event) -> Events:
    return (*events[:number], event, *events[number + 1 :])


def _holds(
    state: State, events: Events, ends: bool, look: Look, passage: Passage, found: Between
) -> tuple[bool, int]:
    """Whether the state is proven for all places of the sheets, and how many parts were judged.

    With all metal that any of them has the passage is as narrow as it can be, with what they
    share as wide.
    """
    if state is State.OPEN:
        narrow_state, narrow = look(events)
        if narrow_state is not State.OPEN:
            return False, 1
        found.take(narrow.low_mm, -np.inf)
        return True, 1
    if ends:  # somewhere nothing is left of the event
        return False, 0
    shared, _ = look(tuple(replace(e, sure=True) for e in events))
    if state is State.BLOCKED:
        return shared is State.BLOCKED, 1
    if shared is not State.RESTRICTED:
        return False, 1
    _, narrow = look(events)
    if narrow.low_mm < passage.required.smallest_mm:
        return False, 2
    found.take(narrow.low_mm, -np.inf)
    return True, 2


# ---- sheets with which the part above moves ------------------------------------------------------


def _moved(
    state: State,
    span: Span,
    samples: Sequence[Sample],
    passage: Passage,
    found: Between,
) -> tuple[float, float] | None:
    """As `_still`, between neighbouring samples."""
    loose = [n for n, event in enumerate(span.events) if event.spread > 0.0]
    number = loose[0]
    event = span.events[number]
    whole = (event.bottom, event.bottom + event.spread)
    if len(loose) > 1 or span.ends:
        return whole
    own = sorted(
        ((events[number], way) for events, way in samples if _same(events, span, number)),
        key=lambda one: one[0].bottom,
    )
    if not own or abs(own[0][0].bottom - whole[0]) + abs(own[-1][0].bottom - whole[1]) > 1e-9:
        return whole
    for lower, upper in pairwise(own):
        if not _pair(state, span, number, (lower, upper), passage, found):
            return lower[0].bottom, upper[0].bottom
    return None


def _same(events: Events, span: Span, number: int) -> bool:
    """Whether some events are those of a span but for the height of one."""
    if len(events) != len(span.events):
        return False
    own, other = (
        replace(one[number], bottom=0.0, spread=0.0, rise=0.0 if span.rises else one[number].rise)
        for one in (events, span.events)
    )
    rest = [n for n in range(len(events)) if n != number]
    return own == other and all(events[n] == span.events[n] for n in rest)


def _pair(
    state: State,
    span: Span,
    number: int,
    pair: tuple[tuple[Event, Bracketed], tuple[Event, Bracketed]],
    passage: Passage,
    found: Between,
) -> bool:
    """Whether the state is proven between two heights."""
    (lower, at_lower), (upper, at_upper) = pair
    required, far = passage.required, upper.bottom - lower.bottom
    lift = sum(e.rise for e in span.events[:number])
    low, high = lower.bottom - lift, upper.top - lift
    margin = same_height_mm(high)
    if any(a <= high + margin and b >= low - margin for a, b in passage.mouths):
        return False  # whether the mouth moves along is not the same at all heights
    steep = drift(passage.walls, low, high)
    if not np.isfinite(steep):
        return False
    if state is State.BLOCKED:
        # The way ends at the cut, wherever it is: all of the passage there is shut.
        parted = (passage.mouths[0][0] < low) != (passage.mouths[1][0] < low)
        at = _with(span.events, number, lower)
        return parted and passage.covered(at, number, steep * far)
    if required.every_branch or required.areas:
        return False  # what is sealed, or how much is closed, may change otherwise
    # Cuts and slices go up with the height, outlines at the cut aside with the drift; where the
    # part goes on with a layer that is given, all above goes up as well.
    by = (float(np.hypot(1.0, steep)) + 1.0) * far
    narrow = 0.5 * (at_lower.low_mm + at_upper.low_mm) - by
    wide = 0.5 * (at_lower.high_mm + at_upper.high_mm) + by
    found.take(narrow, wide)
    if state is State.OPEN:
        return narrow >= required.clear_mm
    return wide < required.clear_mm and narrow >= required.smallest_mm


def drift(walls: Soup, low: float, high: float) -> float:
    """How far outlines of sections move between two heights, mm for each mm; inf if at once.

    Outlines follow the edges between vertices. Only at level faces, and where walls begin or
    end, does a section change at once.
    """
    low, high = low - same_height_mm(low), high + same_height_mm(high)
    z = walls[..., 2]
    near = walls[(z.min(1, initial=np.inf) <= high) & (z.max(1, initial=-np.inf) >= low)]
    if not len(near):
        return 0.0
    levels = level_faces(near)
    begin, end = extremes(near)
    # Only for vertices between the two heights are all triangles given.
    sudden: NDArray[np.float64] = np.concatenate([levels, begin, end])
    if ((sudden >= low) & (sudden <= high)).any():
        return np.inf
    edge = (np.roll(near, -1, axis=1) - near).reshape(-1, 3).astype(np.float64)
    from_z = near[..., 2].reshape(-1).astype(np.float64)
    over = (np.minimum(from_z, from_z + edge[:, 2]) < high) & (
        np.maximum(from_z, from_z + edge[:, 2]) > low
    )
    rising = over & (edge[:, 2] != 0.0)
    ratio = np.linalg.norm(edge[rising, :2], axis=1) / np.abs(edge[rising, 2])
    return float(ratio.max(initial=0.0))
