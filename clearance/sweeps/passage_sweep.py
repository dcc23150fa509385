"""One passage at all heights of one sheet: state, bracket and open fraction.

In: a passage's check, one event with all fixed but its height, and the heights. Out: an
`At` for each height. What sections and neighbouring heights prove is taken from them; where
that does not settle a state, the height is judged as `check` judges it.
"""

from __future__ import annotations

import sys
from dataclasses import replace
from functools import partial

import numpy as np
import shapely
from numpy.typing import NDArray

from clearance.passages.fins import Told, unseen
from clearance.passages.groups import open_fraction
from clearance.passages.levels import faces, levels_of
from clearance.passages.stoppers import layer_behind
from clearance.predicted.slabs import Event
from clearance.predicted.variants import Variant
from clearance.result import State
from clearance.sweeps.bounds import Bounds, Route
from clearance.sweeps.face_bounds import FaceBounds
from clearance.sweeps.looked_at import At, Cut, rows_of
from clearance.sweeps.near import ROUNDED_MM, Near, melts_the_same, sheet_soup
from clearance.sweeps.regions import Cuts
from clearance.sweeps.section_bounds import SectionBounds
from clearance.verdict.one_variant import PassageVerdict
from clearance.verdict.passage_check import PassageCheck
from clearance.verdict.states import Bracket, Seen, state_of

WIDTH_PITCHES, WIDTH_SHARE = 4.0, 0.2
"""A bracket taken over from neighbouring heights is at most so many pitches wide, or, if that is
more, this share of what is required."""
CLEAR_PITCHES = 0.025
"""A bracket is narrowed until the requirement lies so far off it, in pitches, if it can be."""
TRIED, MORE_TRIED = 1, 3
"""Routes that are widened for one height, the widest ones; the second where that is not enough."""
NEAR_STEPS = 4
NOT_NEAR_MM = 0.02
"""The route of a height so near is tried as it is; not where the requirement is nearer than this
to its bracket, and the best route may be needed."""
FOLLOWED = 2
"""Steps in which a route is followed to the next height."""
NARROW_PITCHES = 3.0
"""Where no way is proven and none wider than this, in pitches, can be, it is `undetermined`."""
HAIR_SHARE = 0.8
"""A proven way with more than this share of the least width that counts is not looked at closer."""
NEAR_PITCHES = 1.0
"""A bracket so narrow, in pitches, that holds the requirement is `undetermined`."""
WELL_BELOW_STEPS, WELL_BELOW_MM = 2.0, 0.3
"""A bound that settles so many heights on either side as well is worth some more work; no more than
this below the requirement."""
GOOD_PITCHES, FINE_PITCHES = 1.5, 0.05
"""A bracket so narrow, in pitches, is good enough; the second where the requirement is near."""
Floats = NDArray[np.float64]


class PassageSweep:
    """The heights of one event for one passage.

    Parameters
    ----------
    check : PassageCheck
    near : Near
        Sections of the passage, shared between events.
    events : tuple of Event
        All events of a variant; the one of number `moving` moves.
    moving : int
    bottoms : (N,) ndarray, mm
        Heights of its bottom, in mesh coordinates.
    cheap : bool
        False: judge every height that the passage crosses as `check` does.
    exact : bool
        False: no height is judged so; what sections and routes do not tell stays undetermined.
    """

    def __init__(
        self,
        check: PassageCheck,
        near: Near,
        events: tuple[Event, ...],
        moving: int,
        bottoms: Floats,
        cheap: bool = True,
        exact: bool = True,
    ):
        self.check, self.near = check, near
        self.events, self.moving, self.bottoms = events, moving, bottoms
        self.need = check.required
        below = self.need - 2.0 * CLEAR_PITCHES * check.checked.pitch_mm
        step = float(np.diff(bottoms).min(initial=np.inf))
        self.marks = (below - min(2.0 * WELL_BELOW_STEPS * step, WELL_BELOW_MM), below)
        self.smallest = check.checked.case.grid.smallest_way
        self.pitch = check.checked.pitch_mm
        self.most = max(WIDTH_PITCHES * self.pitch, WIDTH_SHARE * self.need)
        self.still = melts_the_same(events)
        nominal = check.nominal
        # A nominal part that leaks, whose ways stoppers may hide, or that is not settled itself, is
        # left to `check`.
        self.cheap = (
            cheap
            and len(events) == 1
            and not nominal.way.leak
            and nominal.way.leak_at is None
            and len(nominal.way.route) > 1
            and not check.hides
        )
        self.exact = exact
        self.found: list[At | None] = [None] * len(bottoms)
        self._routes: dict[int, Route] = {}

    def at(self, n: int) -> tuple[Event, ...]:
        """The events with the moving one at a height."""
        moved = replace(self.events[self.moving], bottom=float(self.bottoms[n]))
        return (*self.events[: self.moving], moved, *self.events[self.moving + 1 :])

    def run(self) -> list[At]:
        """All heights."""
        self._cuts = self._prepared()
        self._faces = FaceBounds(self._cuts, self.smallest, self.still)
        cuts = [self._cut(n) for n in range(len(self.bottoms))]
        for n, cut in enumerate(cuts):
            self.found[n] = self._plain(cut, n)
        if self.still and self.cheap:
            self._between(cuts)
        for n, cut in enumerate(cuts):
            if self.found[n] is None:
                self.found[n] = self._exactly(n, cut)
        return [at for at in self.found if at is not None]

    # ---- what sections alone tell ---------------------------------------------------------------

    def _prepared(self) -> Cuts:
        """All nominal levels at which the part is cut, or a layer of the sheet ends."""
        heights = []
        for n in range(len(self.bottoms)):
            events = self.at(n)
            event = events[self.moving]
            heights += [*levels_of(self.near, events, self.moving), event.top - event.rise]
        grid = self.near.void.places.grid
        layers = (
            layer_behind(grid, self.check.inlet, self.pitch),
            layer_behind(grid, self.check.outlet, self.pitch),
        )
        return Cuts(self.near.void, self.near.own, layers, np.array(heights))

    def _cut(self, n: int) -> Cut:
        events = self.at(n)
        levels = faces(self.near, events, self.moving)
        crosses = any(face.pieces for face in levels)
        touched = any(face.touched for face in levels)
        fraction = open_fraction(levels, self.near.overlaps)
        free = self.check.nominal.way.high_mm
        high, best, one_sided = free, None, True
        hidden = self.cheap and self.near.hides(levels)
        if touched and self.cheap and not hidden:
            for face in levels:
                bound, free_side = self._faces.plain(events[self.moving], face, free)
                if bound < high or best is None:
                    high, best, one_sided = bound, face, free_side
        return Cut(events, levels, fraction, crosses, touched, high, best, one_sided)

    def _plain(self, cut: Cut, n: int) -> At | None:
        """What is known without any search."""
        nominal = self.check.nominal
        if cut.hidden:
            return None
        if not cut.crosses and self.cheap and not self._at_mouth(cut):
            # The sheet meets nothing of the passage, which moves as a whole if at all.
            return At(nominal.state, nominal.way.low_mm, nominal.way.high_mm, 1.0)
        if cut.touched and cut.high_mm == 0.0:
            return At(State.BLOCKED, 0.0, 0.0, cut.fraction)
        return None

    def _at_mouth(self, cut: Cut) -> bool:
        """Whether a ball that stands out of a mouth may meet the sheet beyond it."""
        event = cut.events[self.moving]
        low, high = event.lowest, event.top
        radius = 0.5 * self.check.nominal.way.high_mm
        if self.check.asked.areas:
            radius = max(radius, *(m.radius for m in self.near.mouths))
        met = self.near.met_at_mouths(cut.events, radius)
        return any(a <= high and low <= b for a, b in met)

    # ---- brackets, for a sheet that only adds metal ------------------------------------------

    def _between(self, cuts: list[Cut]) -> None:
        """Settle heights from a few that are looked at: the clear diameter changes by 2 |dh|."""
        self.bounds = Bounds(
            self.check, self.near, sheet_soup(self.near, replace(self.events[0], bottom=0.0))
        )
        self._sections = SectionBounds(self.bounds, self.near, self._faces, self.moving, self.marks)
        for first, last in rows_of([at is None for at in self.found]):
            self._row(cuts, first, last)

    def _row(self, cuts: list[Cut], first: int, last: int) -> None:
        """One row of heights that are not known."""
        if first == 0:
            self._look(cuts, first)
        if last == len(cuts) - 1:
            self._look(cuts, last)
        pairs = [(max(first - 1, 0), min(last + 1, len(cuts) - 1))]
        while pairs:
            a, b = pairs.pop()
            if b - a < 2:
                continue
            middle = (a + b) // 2
            guesses: dict[int, At] = {}
            for n in sorted(range(a + 1, b), key=lambda n: abs(n - middle)):  # the worst first
                guess = self._guess(cuts[n], n, a, b)
                if guess is None:
                    break
                guesses[n] = guess
            else:
                for n, known in guesses.items():
                    self.found[n] = known
                continue
            self._look(cuts, middle)
            pairs += [(a, middle), (middle, b)]

    def _guess(self, cut: Cut, n: int, a: int, b: int) -> At | None:
        """What two heights that are known tell of one between them."""
        if self.found[n] is not None or cut.hidden:
            return self.found[n]
        low, high = 0.0, cut.high_mm
        for other in (a, b):
            at = self.found[other]
            assert at is not None
            far = 2.0 * abs(float(self.bottoms[n] - self.bottoms[other]))
            low = max(low, at.low_mm - far)
            high = min(high, max(at.high_mm, self.smallest) + far)
        if not cut.touched:  # nothing is closed: the nominal way, but for what lies between faces
            low = max(low, self.bounds.clear_mm(self.bounds.nominal, float(self.bottoms[n])))
        if high - low > self.most or self._settled(cut, low, high) is None:
            for route in self._neighbours(n):
                low = max(low, self.bounds.clear_mm(route, float(self.bottoms[n])))
                if high - low <= self.most and self._settled(cut, low, high) is not None:
                    break
        if low > high:
            return At(State.UNDETERMINED, low, high, cut.fraction)
        if high - low > self.most:
            return None
        state = self._settled(cut, low, high)
        return None if state is None else At(state, low, high, cut.fraction)

    def _settled(self, cut: Cut, low: float, high: float) -> State | None:
        """The state, if a bracket settles it with room to spare."""
        fractions = ((cut.levels[0].z, cut.fraction),) if cut.levels else ()
        some = self.check.passage.every_branch and any(
            p.circle_mm < self.smallest for face in cut.levels for p in face.pieces
        )
        least = tuple((z, fraction, 1.0) for z, fraction in fractions)  # of channels together
        known = Seen(None if some else (), fractions, (), (), self._at_mouth(cut), least)
        event = cut.events[self.moving]
        told = [Told(event.lowest, event.top, cut.fraction < 1.0, shapely.Polygon())]
        hidden = partial(unseen, self.near, cut.events, told)
        state, _ = state_of(self.check.asked, Bracket(low, high), known, None, hidden, ROUNDED_MM)
        return None if state is State.UNDETERMINED else state

    def _look(self, cuts: list[Cut], n: int) -> None:
        """Bracket one height by a route and by surfaces that every way crosses."""
        if self.found[n] is not None:
            return
        cut, height = cuts[n], float(self.bottoms[n])
        if cut.hidden:
            self.found[n] = self._exactly(n, cut)
            return
        low, high, route = self._from_beside(cut, n, height)
        if not self._good(low, high):
            low, route = self._route(cut, n, height, TRIED)
            high = self._sections.high_mm(cut, height, self._enough(low), route)
        if not self._good(low, high):
            again, wider = self._route(cut, n, height, MORE_TRIED)
            if again > low:
                low, route = again, wider
                if not self._good(low, high):
                    high = self._sections.high_mm(cut, height, self._enough(low), route, high)
        if low < self.smallest and high >= self.smallest:
            again, wider = self._followed(cut, n, height)
            low, route = (again, wider) if again > low else (low, route)
        if route is not None:
            self._routes[n] = route
        if low > high:  # two proofs contradict each other, which is told
            self.found[n] = At(State.UNDETERMINED, low, high, cut.fraction)
            return
        state = self._settled(cut, low, high)
        # How wide a way is counts too, unless a search would have to follow a hair's width.
        hair = low < NARROW_PITCHES * self.pitch
        if state is not None and (high - low <= self.most or hair or not self.exact):
            self.found[n] = At(state, low, high, cut.fraction)
        elif self._untold(cut, low, high) and not self.bounds.covers_mouth(height):
            self.found[n] = At(State.UNDETERMINED, low, high, cut.fraction)
        else:
            self.found[n] = self._exactly(n, cut)

    def _from_beside(self, cut: Cut, n: int, height: float) -> tuple[float, float, Route | None]:
        """A bracket by the route of a height hard by as it is: pushing it anew takes longest."""
        for route in self._neighbours(n, NEAR_STEPS):
            low = self.bounds.clear_mm(route, height)
            if low < self.smallest:
                continue
            high = self._sections.high_mm(cut, height, self._enough(low), route)
            if low > self.need + NOT_NEAR_MM or high < self.need - NOT_NEAR_MM:
                return low, high, route
        return 0.0, np.inf, None

    def _untold(self, cut: Cut, low: float, high: float) -> bool:
        """Whether a closer look would hardly place what a bracket has to be compared with.

        The requirement lies in a narrow bracket; or a way is proven that is nearly as wide as the
        least that counts, and none is as wide as required; or there may be one, a hair's width at
        most, and some of every section is open: what is closed whole is soon told.
        """
        if HAIR_SHARE * self.smallest < low < self.smallest and high < self.need:
            return True  # else a wide way, through another branch, may have been missed
        if low < self.smallest:
            return high <= NARROW_PITCHES * self.pitch and cut.fraction > 0.0
        near = high - low <= NEAR_PITCHES * self.pitch
        return near and low < self.need <= high

    def _followed(self, cut: Cut, n: int, height: float) -> tuple[float, Route | None]:
        """The route of a neighbouring height, followed as the sheet moves on step by step."""
        best: tuple[float, Route | None] = (0.0, None)
        for route in self._neighbours(n):
            near = next(m for m, known in self._routes.items() if known is route)
            way = np.linspace(float(self.bottoms[near]), height, FOLLOWED + 1)[1:]
            for at in way:
                route = self.bounds.ended(self.bounds.widened(route, at, cut.high_mm), at)
                if self.bounds.clear_mm(route, at) <= 0.0:
                    break
            room = self.bounds.clear_mm(route, height)
            best = (room, route) if room > best[0] else best
        return best

    def _good(self, low: float, high: float) -> bool:
        """Whether a bracket is narrow enough."""
        return high <= self._enough(low)

    def _enough(self, low: float) -> float:
        """How large an upper bound may stay."""
        clear = CLEAR_PITCHES * self.pitch
        if low < self.need + clear:
            fine = low + FINE_PITCHES * self.pitch
            mark = next((mm for mm in self.marks if fine <= mm), fine)
            return min(low + GOOD_PITCHES * self.pitch, mark)
        return low + GOOD_PITCHES * self.pitch

    def _route(self, cut: Cut, n: int, height: float, count: int) -> tuple[float, Route | None]:
        """The best of a few routes, widened where the sheet is."""
        bounds = self.bounds
        tried = [bounds.nominal]
        low, best = bounds.clear_mm(bounds.nominal, height), bounds.nominal
        if self._good(low, min(cut.high_mm, bounds.low)):
            return low, best
        tried += self._neighbours(n)
        if cut.best is not None and not cut.one_sided:
            openings = [p.opening for p in cut.best.pieces if not p.opening.is_empty]
            led = bounds.led(height, openings) if openings else None
            tried += [] if led is None else [bounds.ended(led, height)]
        if cut.one_sided:
            for above in (False, True):
                beside = bounds.beside(height, above)
                tried.append(bounds.ended(beside, height))
        rooms = [bounds.clear_mm(route, height) for route in tried]
        for k in np.argsort(rooms)[::-1][:count]:
            if rooms[k] <= 0.0:
                break
            if rooms[k] > low:
                low, best = rooms[k], tried[k]
            if self._good(low, cut.high_mm):
                break
            route = bounds.widened(tried[k], height, min(cut.high_mm, bounds.high))
            if count > TRIED:
                route = bounds.ended(route, height)
            room = bounds.clear_mm(route, height)
            if room > low:
                low, best = room, route
            if self._good(low, cut.high_mm):
                break
        return (low, best) if low > 0.0 else (0.0, None)

    def _neighbours(self, n: int, most: int = sys.maxsize) -> list[Route]:
        """Routes of the nearest heights looked at, one on each side; the nearest first."""
        below = max((m for m in self._routes if n - most <= m < n), default=None)
        above = min((m for m in self._routes if n < m <= n + most), default=None)
        near = [m for m in (below, above) if m is not None]
        return [self._routes[m] for m in sorted(near, key=lambda m: abs(m - n))]

    # ---- as check does ------------------------------------------------------------------------

    def _exactly(self, n: int, cut: Cut) -> At:
        if not self.exact:
            return At(State.UNDETERMINED, 0.0, cut.high_mm, cut.fraction)
        judged: PassageVerdict = self.check.judge(Variant(cut.events, ""))
        way = judged.way
        if self.still and self.cheap and len(way.route) > 1:
            self._routes[n] = self.bounds.route(way.route)
        least = min((c.open_fraction for c in judged.everything), default=1.0)
        return At(judged.state, way.low_mm, way.high_mm, float(least), True)
