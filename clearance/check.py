"""The check: from a case to a result, its steps in order.

In: a `Case`. Out: a `Result`. Reads the meshes; everything else is left to the
rooms above. Long work reports through `progress`, a callable that takes a
sentence; it is silent by default.
"""

from __future__ import annotations

import dataclasses
import itertools
import math
from collections.abc import Callable
from dataclasses import dataclass, field
from functools import cached_property
from typing import Literal

import numpy as np
from numba import njit
from numpy.typing import NDArray

from clearance.case import Case
from clearance.case_tables import PassageTable
from clearance.columns import Columns, Grid, Runs, around, cast, label, levels, unite
from clearance.crossings import Crossing, crossings
from clearance.errors import GridError, PartError, PortError
from clearance.loose import trapped_powder, unmelted, void_run
from clearance.part import read_part
from clearance.passages import Search, Way, moved_mouth, pieces_at, seeds, stopper
from clearance.ports import Mouth, Request, find_mouths
from clearance.predicted import Bodies, Box, Predicted, Window, extent
from clearance.result import (
    Apart,
    ClearDiameter,
    CrossingResult,
    GaugePin,
    PassageResult,
    Result,
    SeparateResult,
    State,
    Unmelted,
)
from clearance.signs import gauge_pin, signs
from clearance.stray import Event, slabs
from clearance.variants import Unknowns, Variant, variants

Progress = Callable[[str], None]


def silent(_: str) -> None:
    """Report nothing."""


CAUTIONS = (
    "The recommendation is for the responsible engineer and the applicable codes; "
    "this result does not release the part.",
    "Loose metal powder can be reactive and is harmful to breathe: remove it under the local "
    "rules before heat treatment or drilling.",
    "Drilling into trapped powder can ignite it.",
    "The resumed layer is a possible weak plane, which this program does not qualify.",
    "Parts under pressure need proof testing.",
)

PITCHES = (0.02, 0.05, 0.1, 0.2, 0.5, 1.0)
"""Default pitches: the largest that is at most a 20th of the narrowest requirement."""
MOST_DEFAULT_CELLS = 300_000_000
"""Dense cells of the part's box at the default pitch, at most: keeps windows within memory."""
REGION_CELLS = 4
"""Columns, and pitches of height, that a passage's region stands over its void."""
FINER = 3
"""Times that the pitch is halved where the answer is not clear."""


def default_pitch(case: Case, low: NDArray[np.float64], high: NDArray[np.float64]) -> float:
    """Pitch chosen from the narrowest requirement, coarser where the part is too large, mm."""
    narrowest = min(p.min_clear_diameter for p in case.passage)
    fine = max([p for p in PITCHES if p <= narrowest / 20.0 + 1e-9], default=PITCHES[0])
    volume = float(np.prod(high - low))
    fits = [p for p in PITCHES if p >= fine and volume / p**3 <= MOST_DEFAULT_CELLS]
    return fits[0] if fits else PITCHES[-1]


@dataclass(eq=False)
class Checked:
    """A case with its nominal part read and its ports found."""

    case: Case
    bodies: Bodies
    mouths: dict[str, Mouth]
    unknowns: Unknowns
    pitch_mm: float
    notices: list[str]
    _pieces: dict[tuple[Event, ...], NDArray[np.int32]] = field(default_factory=dict)

    @property
    def all_mouths(self) -> tuple[Mouth, ...]:
        """Every mouth that is closed: ports of all passages, and those named closed."""
        return tuple(self.mouths.values())

    def ends(self, passage: PassageTable) -> tuple[Mouth, Mouth]:
        """Inlet and outlet of a passage."""
        return self.mouths[f"{passage.name} inlet"], self.mouths[f"{passage.name} outlet"]

    def plugs(self, pitch_mm: float) -> NDArray[np.float32]:
        """Closed prisms over all mouths, thick and wide enough for a pitch."""
        prisms = [stopper(mouth, pitch_mm) for mouth in self.all_mouths]
        return np.concatenate(prisms) if prisms else np.empty((0, 3, 3), np.float32)

    @cached_property
    def whole(self) -> Window:
        """The whole part at the pitch of the check."""
        low, high = self.bodies.bounds
        reach = self.reach_mm
        box = Box(low - reach[0], high + reach[1]).grown(5.0 * self.pitch_mm)
        return Window(self.bodies, box, self.pitch_mm, self.plugs(self.pitch_mm))

    @cached_property
    def reach_mm(self) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
        """How far anything moves down and up the axes over all variants, (3,) and (3,) mm."""
        low, high = np.zeros(3), np.zeros(3)
        for variant in self.unknowns.variants:
            at = np.zeros(3)
            for event in variant.events:
                at = at + np.array([*event.shift, event.rise])
                low, high = np.minimum(low, at), np.maximum(high, at)
        return -low, high

    def pieces(self, events: tuple[Event, ...]) -> NDArray[np.int32]:
        """Piece of every void run, mouths plugged, over the whole part."""
        if events not in self._pieces:
            self._pieces = {e: p for e, p in self._pieces.items() if e == ()}
            self._pieces[events] = label(self.whole.predict(events).closed, self.whole.grid)
        return self._pieces[events]

    def box_of(self, mouths: tuple[Mouth, ...], events: tuple[Event, ...]) -> Box:
        """Box around the void behind some mouths, with room for its walls and moves."""
        predicted = self.whole.predict(events)
        moved = [moved_mouth(predicted, mouth) for mouth in mouths]
        wanted = self._pieces_behind(mouths, events)
        if 0 in wanted:
            return self.whole.box
        grid, metal = self.whole.grid, predicted.closed
        piece = self.pieces(events)
        first, last = _extent(piece, metal.start, metal.z, grid.ny, np.array(sorted(wanted)))
        low = np.array([grid.x_mm(int(first[0])), grid.y_mm(int(first[1])), first[2]])
        high = np.array([grid.x_mm(int(last[0])), grid.y_mm(int(last[1])), last[2]])
        for mouth in moved:
            low = np.minimum(low, mouth.centre - mouth.radius)
            high = np.maximum(high, mouth.centre + mouth.radius)
        reach = self.reach_mm
        box = Box(low - reach[0], high + reach[1]).grown(5.0 * self.pitch_mm)
        return box.within(self.whole.box)

    def _pieces_behind(self, mouths: tuple[Mouth, ...], events: tuple[Event, ...]) -> set[int]:
        """Pieces of the void just inside some mouths; 0 where it is not told from the outside."""
        predicted = self.whole.predict(events)
        found = set()
        for mouth in mouths:
            points = seeds(moved_mouth(predicted, mouth), self.pitch_mm)
            runs = (void_run(predicted.closed, self.whole.grid, point) for point in points)
            run = next((run for run in runs if run is not None), None)
            found.add(0 if run is None else int(self.pieces(events)[run]))
        return found

    def window(self, mouths: tuple[Mouth, ...], pitch_mm: float) -> Window:
        """A window around the nominal void behind some mouths, good for every variant.

        At the pitch of the check nothing is proven farther off that void than a few
        pitches, which is quicker: see `Window.region`.
        """
        whole = self.whole
        base = pitch_mm == self.pitch_mm
        window = Window(
            self.bodies,
            self.box_of(mouths, ()),
            pitch_mm,
            whole.plugs if base else self.plugs(pitch_mm),
            whole,
        )
        wanted = self._pieces_behind(mouths, ())
        if base and 0 not in wanted:
            window.region = self._region(wanted).window(whole.grid, window.grid)
        return window

    def wide_window(
        self, mouths: tuple[Mouth, ...], pitch_mm: float, events: tuple[Event, ...]
    ) -> Window:
        """A window around the void behind some mouths, wherever it leads in a predicted part."""
        box = self.box_of(mouths, ()).union(self.box_of(mouths, events))
        plugs = self.whole.plugs if pitch_mm == self.pitch_mm else self.plugs(pitch_mm)
        return Window(self.bodies, box, pitch_mm, plugs, self.whole)

    def _region(self, wanted: set[int]) -> Runs:
        """Where some nominal pieces and what bounds them can be in any variant.

        With it, over the same columns, the heights of the sections that sheets are cut from.
        """
        down, up = self.reach_mm
        aside = float(max(np.abs(down[:2]).max(), np.abs(up[:2]).max()))
        rise = float(max(down[2], up[2]))
        region = around(
            self.whole.predict(()).closed,
            self.whole.grid,
            self.pieces(()),
            wanted,
            REGION_CELLS + math.ceil(aside / self.pitch_mm),
            REGION_CELLS * self.pitch_mm + rise,
        )
        heights = {
            gate.z
            for variant in self.unknowns.variants
            for slab in slabs(variant.events)
            for gate in slab.gates
        }
        return unite(region, levels(region, sorted(heights), 0.5 * self.pitch_mm))


@njit(cache=True, nogil=True)
def _extent(piece, start, z, ny, wanted):  # type: ignore[no-untyped-def]
    """Lowest and highest i, j, z of the void runs of some pieces."""
    low = np.full(3, np.inf)
    high = np.full(3, -np.inf)
    for c in range(start.shape[0] - 1):
        for k in range(start[c + 1] - start[c] + 1):
            number = piece[start[c] + c + k]
            for w in wanted:
                if number != w:
                    continue
                z0 = z[start[c] + k - 1, 1] if k > 0 else -np.inf
                z1 = z[start[c] + k, 0] if start[c] + k < start[c + 1] else np.inf
                i, j = c // ny, c % ny
                low[0], high[0] = min(low[0], i), max(high[0], i)
                low[1], high[1] = min(low[1], j), max(high[1], j)
                low[2], high[2] = min(low[2], z0), max(high[2], z1)
    return low, high


def prepare(case: Case, pitch_mm: float | None = None, progress: Progress = silent) -> Checked:
    """Read the meshes of a case and find its ports.

    Raises
    ------
    PartError, PortError, CaseError
        A mesh or a port cannot be used.
    """
    progress(f"reading {case.part.mesh.name}")
    bodies, notices, pitch = _bodies(case, pitch_mm or case.grid.pitch, progress)
    low, high = bodies.bounds
    unknowns = variants(case, float(low[2]), float(high[2]))
    notices += unknowns.notices
    progress("finding the ports")
    mouths = _mouths(case, bodies.part)
    for mouth in mouths.values():
        notices += mouth.notices
    return Checked(case, bodies, mouths, unknowns, pitch, notices)


def _bodies(
    case: Case, given_mm: float | None, progress: Progress
) -> tuple[Bodies, list[str], float]:
    """Read all meshes and choose the pitch; columns tell whether shells face inward or overlap."""
    part = read_part(case.part.mesh, case.part.unit, shells=False)
    notices = list(part.notices)
    triangles = part.triangles
    pitch = given_mm or default_pitch(case, *extent(triangles))
    progress(f"cutting the part into columns {pitch:g} mm apart")
    columns = _coarse(triangles, pitch)
    if columns.least_winding < 0:
        from clearance.shells import face_outward

        triangles, said = face_outward(triangles)
        notices += said
        columns = _coarse(triangles, pitch)
    if columns.unclosed:
        raise PartError(
            f"{case.part.mesh}: the mesh is open along {columns.unclosed} columns; mend it first"
        )
    overlapping = columns.most_winding > 1
    if overlapping:
        notices.append("the mesh has overlapping shells; they are taken as one piece of metal")
    beside = [read_part(path, case.part.unit) for path in case.part.also_melted]
    melted = triangles
    if beside:
        melted = np.concatenate([triangles, *(p.triangles for p in beside)])
    added = {
        n: read_part(stray.mesh, case.part.unit).triangles
        for n, stray in enumerate(case.stray)
        if stray.mesh is not None
    }
    return Bodies(triangles, melted, added, overlapping or bool(beside)), notices, pitch


def _coarse(triangles: NDArray[np.float32], pitch: float) -> Columns:
    low, high = extent(triangles)
    return cast(triangles, Grid.over(low, high, pitch))


def _mouths(case: Case, triangles: NDArray[np.float32]) -> dict[str, Mouth]:
    requests = []
    for passage in case.passage:
        for end, port in (("inlet", passage.inlet), ("outlet", passage.outlet)):
            requests.append(Request(f"{passage.name} {end}", port.centre, port.radius, port.normal))
    requests += [Request(c.name, c.centre, c.radius, c.normal) for c in case.closed]
    try:
        found = find_mouths(triangles, requests)
    except PortError as fault:
        raise PortError(f"{case.path.name}: {fault}") from None
    return {request.name: mouth for request, mouth in zip(requests, found, strict=True)}


# ---- one passage ----------------------------------------------------------------------------


@dataclass(frozen=True, eq=False)
class Judged:
    """One passage in one predicted part."""

    variant: Variant
    state: State
    way: Way
    crossings: tuple[Crossing, ...]
    reasons: tuple[str, ...]
    pitch_mm: float


class PassageCheck:
    """Judges one passage of a case, in the nominal and in every predicted part."""

    def __init__(self, checked: Checked, passage: PassageTable):
        self.checked = checked
        self.passage = passage
        self.inlet, self.outlet = checked.ends(passage)
        self.required = (
            passage.min_clear_diameter
            + checked.case.part.build_allowance
            - checked.case.part.mesh_tolerance
        )
        self._windows: dict[float, Window] = {}

    def window(self, pitch_mm: float) -> Window:
        """The window of this passage at a pitch."""
        if pitch_mm not in self._windows:
            self._windows[pitch_mm] = self.checked.window((self.inlet, self.outlet), pitch_mm)
        return self._windows[pitch_mm]

    def predicted(self, events: tuple[Event, ...], pitch_mm: float) -> Predicted:
        """The predicted part around this passage; farther around if its void leads there."""
        near = self.window(pitch_mm).predict(events)
        ends = (moved_mouth(near, self.inlet), moved_mouth(near, self.outlet))
        if all(near.possible.outside not in pieces_at(near.possible, m, pitch_mm) for m in ends):
            return near
        wide = self.checked.wide_window((self.inlet, self.outlet), pitch_mm, events)
        return wide.predict(events)

    def search(self, predicted: Predicted, found: list[Crossing]) -> Search:
        """The search for ways in a predicted part."""
        return Search(
            predicted,
            self.inlet,
            self.outlet,
            self.checked.all_mouths,
            found,
            self.checked.case.grid.smallest_way,
        )

    def belongs(self, window: Window) -> Callable[[NDArray[np.float64]], bool]:
        """Whether a nominal point lies in the void that this passage runs through."""
        void = window.predict(()).possible
        own = pieces_at(void, self.inlet, window.grid.pitch_mm)
        return lambda point: bool(void.pieces_at(point[None]) & own)

    def judge(self, variant: Variant) -> Judged:
        """State of the passage under one variant, looking closer where it is not clear."""
        pitch = self.checked.pitch_mm
        best: Judged | None = None
        for _ in range(1 + FINER):
            try:
                now = self._judge_at(variant, pitch)
            except GridError:
                if best is None:
                    raise
                break
            best = now if best is None else _tighter(best, now)
            if best.state is not State.UNDETERMINED:
                break
            pitch *= 0.5
        assert best is not None
        return best

    def _judge_at(self, variant: Variant, pitch: float) -> Judged:
        predicted = self.predicted(variant.events, pitch)
        found = (
            crossings(predicted, self.belongs(predicted.window)) if _has_event(predicted) else []
        )
        search = self.search(predicted, found)
        way = search.way(enough_mm=self.required)
        failing = self._failing(found)
        if failing and not way.blocked:
            # Of several ways only one whose every crossing is open enough will do.
            other = search.way(closed=failing, enough_mm=self.required)
            state, reasons = self._state(other, found)
            if state is not State.OPEN:
                state = State.RESTRICTED if way.low_mm > 0.0 else State.UNDETERMINED
                reasons = tuple(
                    f"crossing at z {c.height_mm:.2f} mm leaves {c.open_fraction:.2f} of its area, "
                    f"{self.passage.min_open_fraction:.2f} required"
                    for c in failing
                )
        else:
            state, reasons = self._state(way, found)
        return Judged(variant, state, way, tuple(found), reasons, pitch)

    def _failing(self, found: list[Crossing]) -> tuple[Crossing, ...]:
        least = self.passage.min_open_fraction
        if least is None:
            return ()
        return tuple(c for c in found if c.open_fraction < least)

    def sealed(self, crossing: Crossing) -> bool:
        """Nothing wider than the smallest way is left open."""
        return crossing.circle_mm < self.checked.case.grid.smallest_way

    def _state(self, way: Way, found: list[Crossing]) -> tuple[State, tuple[str, ...]]:
        need = self.required
        if way.blocked:
            return State.BLOCKED, ("no way from inlet to outlet is left",)
        if way.leak:
            return State.UNDETERMINED, (
                "the void behind the ports also reaches the outside through a mouth that the case "
                "does not name; name it under [[closed]]",
            )
        sealed = [c for c in found if self.sealed(c)]
        if way.low_mm >= need:
            if self.passage.every_branch and sealed:
                return State.RESTRICTED, tuple(
                    f"every branch is required and the crossing at z {c.height_mm:.2f} mm is sealed"
                    for c in sealed
                )
            passed = tuple(
                f"the crossing at z {c.height_mm:.2f} mm is sealed, but the flow passes it by"
                for c in sealed
            )
            return State.OPEN, (
                f"a ball of {way.low_mm:.3f} mm passes, {need:.3f} mm required",
                *passed,
            )
        if way.high_mm < need and way.low_mm > 0.0:
            return State.RESTRICTED, (
                f"at most {way.high_mm:.3f} mm passes, {need:.3f} mm required",
            )
        return State.UNDETERMINED, (
            f"the clear diameter lies between {way.low_mm:.3f} and {way.high_mm:.3f} mm, "
            f"{need:.3f} mm required",
        )

    @cached_property
    def nominal(self) -> Judged:
        """The passage in the nominal part."""
        return self.judge(Variant((), ""))

    def gauge_pins(self) -> list[GaugePin]:
        """Pins for both ports, in the first variant."""
        events = self.checked.unknowns.variants[0].events
        nominal = self.search(self.predicted((), self.checked.pitch_mm), []).walls
        predicted = self.predicted(events, self.checked.pitch_mm)
        walls = self.search(predicted, []).walls
        pins = (gauge_pin(mouth, predicted, walls, nominal) for mouth in (self.inlet, self.outlet))
        return [pin for pin in pins if pin is not None]

    def result(self, progress: Progress = silent) -> PassageResult:
        """Judge the nominal and all variants and put the answers together."""
        progress(f"{self.passage.name}: nominal part")
        nominal = self.nominal
        if nominal.way.blocked:
            raise PortError(self._apart())
        several = len(self.checked.unknowns.variants) > 1
        judged = []
        for n, variant in enumerate(self.checked.unknowns.variants):
            count = f" ({n + 1} of {len(self.checked.unknowns.variants)})" if several else ""
            progress(f"{self.passage.name}: predicted part{count}")
            if not variant.events and not self.checked.bodies.added_by_stray:
                judged.append(dataclasses.replace(nominal, variant=variant))
            else:
                judged.append(self.judge(variant))
        return self._combined(nominal, judged)

    def _apart(self) -> str:
        void = self.window(self.checked.pitch_mm).predict(()).possible
        pitch = self.checked.pitch_mm
        inlet = pieces_at(void, self.inlet, pitch)
        with_inlet = [
            name
            for name, mouth in self.checked.mouths.items()
            if mouth is not self.inlet and pieces_at(void, mouth, pitch) & inlet
        ]
        near = (
            f"the inlet's void reaches {', '.join(with_inlet)}"
            if with_inlet
            else ("the inlet's void reaches no other port")
        )
        return (
            f"{self.checked.case.path.name}: [[passage]] {self.passage.name}: inlet and outlet lie "
            f"in different voids of the nominal part; {near}"
        )

    def _combined(self, nominal: Judged, judged: list[Judged]) -> PassageResult:
        first = judged[0]
        states = {j.state for j in judged}
        state = first.state if len(states) == 1 else State.UNDETERMINED
        reasons, settled = list(first.reasons), []
        if len(states) > 1:
            by_state = {s: [j.variant.said for j in judged if j.state is s] for s in sorted(states)}
            reasons = [
                f"{s.value} for {said[0]}" + (f" and {len(said) - 1} more" if said[1:] else "")
                for s, said in by_state.items()
            ]
            settled = ["settle what is not known of the event: " + _differences(judged)]
        elif state is State.UNDETERMINED:
            finest = min(j.pitch_mm for j in judged)
            settled = [
                f"--pitch {finest / 2:g}, or a requirement that lies outside "
                f"{first.way.low_mm:.3f} to {first.way.high_mm:.3f} mm"
            ]
        low = min(j.way.low_mm for j in judged)
        high = max(j.way.high_mm for j in judged)
        middle = 0.5 * (first.way.low_mm + first.way.high_mm)
        return PassageResult(
            name=self.passage.name,
            state=state,
            required_mm=self.passage.min_clear_diameter,
            clear_diameter_mm=ClearDiameter(
                0.5 * (nominal.way.low_mm + nominal.way.high_mm),
                middle,
                low,
                high,
                nominal.way.low_mm,
                nominal.way.high_mm,
            ),
            nominal_state=nominal.state,
            crossings=tuple(
                CrossingResult(
                    c.stray,
                    c.height_mm,
                    c.centre_mm,
                    c.nominal_area_mm2,
                    c.open_area_mm2,
                    c.open_fraction,
                    0.0 if self.sealed(c) else c.circle_mm,
                    self.sealed(c),
                )
                for c in first.crossings
            ),
            reasons=tuple(reasons),
            settled_by=tuple(settled),
            pitch_mm=min(j.pitch_mm for j in judged),
            throat_mm=_point(first.way.throat),
        )


def _has_event(predicted: Predicted) -> bool:
    return bool(predicted.events) or bool(predicted.window.bodies.added_by_stray)


def _point(at: NDArray[np.float64] | None) -> tuple[float, float, float] | None:
    return None if at is None else (float(at[0]), float(at[1]), float(at[2]))


def _tighter(a: Judged, b: Judged) -> Judged:
    """Of two looks at one passage the one that knows more."""
    if b.state is not State.UNDETERMINED:
        return b
    if b.way.high_mm - b.way.low_mm < a.way.high_mm - a.way.low_mm:
        return b
    return a


def _differences(judged: list[Judged]) -> str:
    """Where the state flips, as the pairs of neighbouring variants between which it does."""
    flips = [
        f"{a.state.value} at {a.variant.said}, {b.state.value} at {b.variant.said}"
        for a, b in itertools.pairwise(judged)
        if a.state is not b.state
    ]
    return "; ".join(flips[:4])


# ---- circuits that must stay apart -----------------------------------------------------------


def separate(
    checked: Checked, checks: list[PassageCheck], gaps: list[Unmelted], progress: Progress
) -> tuple[SeparateResult, ...]:
    """Judge every pair of circuits of every [[separate]] table."""
    by_name = {c.passage.name: c for c in checks}
    found = []
    for table in checked.case.separate:
        for a, b in itertools.combinations(table.passages, 2):
            progress(f"{a} and {b}: still apart?")
            found.append(_pair(checked, by_name[a], by_name[b], gaps))
    return tuple(found)


def _pair(
    checked: Checked, a: PassageCheck, b: PassageCheck, gaps: list[Unmelted]
) -> SeparateResult:
    names = (a.passage.name, b.passage.name)
    nominal, _ = _joined(checked, a, b, Variant((), ""))
    states: list[Apart] = []
    where = None
    for variant in checked.unknowns.variants:
        found, at = _joined(checked, a, b, variant)
        where = at if at is not None and where is None else where
        states.append(found)
    state: Apart = states[0] if len(set(states)) == 1 else "undetermined"
    gap = next((g for g in gaps for j in g.joins if set(names) <= set(j)), None)
    if state == "apart" and gap is not None:
        return SeparateResult(names, "undetermined", gap.where_mm, "unmelted", nominal)
    through: Literal["void"] | None = "void" if state != "apart" else None
    return SeparateResult(names, state, where, through, nominal)


def _joined(
    checked: Checked, a: PassageCheck, b: PassageCheck, variant: Variant
) -> tuple[Apart, tuple[float, float, float] | None]:
    """Whether the voids of two circuits are one, at finer pitches while that is not clear."""
    pitch = checked.pitch_mm
    ends = (a.inlet, a.outlet, b.inlet, b.outlet)
    for _ in range(1 + FINER):
        try:
            window = checked.wide_window(ends, pitch, variant.events)
            predicted = window.predict(variant.events)
            void = predicted.possible
        except GridError:
            break
        ours, theirs = (
            {mouth.name: _pieces(predicted, mouth) for mouth in (c.inlet, c.outlet)} for c in (a, b)
        )
        on_way = [_route_pieces(predicted, c) for c in (a, b)]
        common = (set.union(*ours.values()) | on_way[0]) & (set.union(*theirs.values()) | on_way[1])
        if not common:
            return "apart", None
        for mouth_a in (a.inlet, a.outlet):
            for mouth_b in (b.inlet, b.outlet):
                if not (ours[mouth_a.name] & theirs[mouth_b.name]) - {void.outside}:
                    continue
                way = Search(
                    predicted,
                    mouth_a,
                    mouth_b,
                    checked.all_mouths,
                    [],
                    checked.case.grid.smallest_way,
                ).way()
                if way.low_mm > 0.0 and not way.leak:
                    return "joined", _point(way.throat)
        pitch *= 0.5
    return "undetermined", None


def _pieces(predicted: Predicted, mouth: Mouth) -> set[int]:
    return pieces_at(predicted.possible, moved_mouth(predicted, mouth), predicted.grid.pitch_mm)


def _route_pieces(predicted: Predicted, check: PassageCheck) -> set[int]:
    """Pieces that a circuit occupies: those along its nominal way, cut off by sheets or not."""
    route = np.array([predicted.moved(p) for p in check.nominal.way.route])
    return predicted.possible.pieces_at(route) if len(route) else set()


# ---- the spine -------------------------------------------------------------------------------


def check(case: Case, pitch_mm: float | None = None, progress: Progress = silent) -> Result:
    """Check one part: every passage of a case, in the nominal and the predicted part.

    Parameters
    ----------
    case : Case
    pitch_mm : float, optional
        Pitch of the columns; default: the case's, or chosen from the requirements.
    progress : callable, optional
        Called with a sentence before each longer step.

    Raises
    ------
    ClearanceError
        What the user has to mend: a mesh, a port, an impossible event, a pitch too fine.
    """
    checked = prepare(case, pitch_mm, progress)
    checks = [PassageCheck(checked, p) for p in case.passage]
    passages = tuple(c.result(progress) for c in checks)
    progress("loose powder, and what the part would show")
    routes = {c.passage.name: c.nominal.way.route for c in checks}
    events = checked.unknowns.variants[0].events
    nominal, predicted = checked.whole.predict(()), checked.whole.predict(events)
    gaps = unmelted(predicted, routes)
    return Result(
        part=case.part.name,
        pitch_mm=checked.pitch_mm,
        passages=passages,
        separate=separate(checked, checks, gaps, progress),
        unmelted=tuple(gaps),
        trapped_powder=tuple(trapped_powder(predicted, nominal, routes, case.part.density_g_cm3)),
        signs=signs(
            predicted,
            nominal,
            case.part.density_g_cm3,
            tuple(pin for c in checks for pin in c.gauge_pins()),
        ),
        translations=case.translations,
        assumptions=case.assumptions,
        notices=tuple(dict.fromkeys((*case.notices, *checked.notices))),
        cautions=CAUTIONS,
    )
