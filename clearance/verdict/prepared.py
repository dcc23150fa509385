"""The case made ready: nominal meshes read, ports found, windows to look at the part through.

In: a `Case`. Out: `Checked`. The only room that reads the meshes of a case; what
is judged of them is left to others.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass, field
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from clearance.axes import to_mesh, to_platform, turn_notice
from clearance.case.pitch import chord, default_pitch
from clearance.case.read import PLATFORM_ASSUMED, Case
from clearance.case.tables import PassageTable
from clearance.columns.cast import Columns, cast
from clearance.columns.grid import Grid
from clearance.columns.runs import Runs, levels, unite
from clearance.columns.voids import around, label, runs_at_points
from clearance.errors import GridError, PartError, PortError
from clearance.geometry.soup import Box, Soup, extent
from clearance.kernels.compiler import kernel
from clearance.mesh.part import UNITS_MM, Part, read_part
from clearance.mesh.shells import face_outward
from clearance.passages.stoppers import seeds, stopper
from clearance.passages.way import moved_mouth
from clearance.ports.mouth import Mouth, Request, find_mouths
from clearance.ports.patches import Patches, patches
from clearance.predicted.bodies import Bodies
from clearance.predicted.part import NOMINAL, Events, Window
from clearance.predicted.slabs import slabs
from clearance.predicted.slices_in_faces import both_sides
from clearance.predicted.variants import Unknowns, variants
from clearance.result import Inputs
from clearance.system.once import Kept, once
from clearance.verdict.inputs import inputs_of

Progress = Callable[[str], None]


def silent(_: str) -> None:
    """Report nothing."""


MOST_CELLS = 20_000_000_000
"""Dense cells of the part's box at any pitch, at most: a cube of 100 mm at 0.037 mm."""
REGION_CELLS = 4
"""Columns, and pitches of height, that a passage's region stands over its void."""


@dataclass(frozen=True, eq=False)
class OnPlatform:
    """Another part that stands on the platform, in the axes of the part that is computed.

    Attributes
    ----------
    name : str
    box : Box
        Around it, mm.
    soup : callable
        Gives its closed triangles, (F, 3, 3) float32, mm; read where a tool comes near its box.
    """

    name: str
    box: Box
    soup: Callable[[], Soup]


@dataclass(eq=False)
class Checked:
    """A case with its nominal part read and its ports found.

    `chord_mm`: how far the triangles of a part read from STEP may lie off its surface; else 0.
    """

    case: Case
    bodies: Bodies
    mouths: dict[str, Mouth]
    unknowns: Unknowns
    pitch_mm: float
    notices: list[str]
    inputs: Inputs | None = None
    others: tuple[OnPlatform, ...] = ()
    chord_mm: float = 0.0
    _pieces: dict[Events, NDArray[np.int32]] = field(default_factory=dict)
    _windows: Kept = field(default_factory=Kept)

    @property
    def all_mouths(self) -> tuple[Mouth, ...]:
        """Every mouth that is closed: ports of all passages, and those named closed."""
        return tuple(self.mouths.values())

    @property
    def platform_z(self) -> float:
        """Height of the platform in the mesh's coordinates, mm."""
        return self.case.part.platform(float(self.bodies.bounds[0, 2]))

    @property
    def assumptions(self) -> tuple[str, ...]:
        """Those of the case, with the number that only the mesh tells."""
        lowest = f"{PLATFORM_ASSUMED}, at the mesh's lowest z, {self.platform_z:.3f} mm"
        return tuple(lowest if said == PLATFORM_ASSUMED else said for said in self.case.assumptions)

    @property
    def frame_notice(self) -> tuple[str, ...]:
        """Where places in words and pictures are not the mesh's: how they differ."""
        z, turn = self.platform_z, self.case.part.build_direction
        turned = turn_notice(turn)
        if abs(z) < 5e-4:
            return turned
        along = "" if turn is None else " along the build direction"
        return (
            *turned,
            "z in words and pictures is the height above the platform; in the JSON's numbers and "
            f"in the case file it is the mesh's{along}, whose platform is at z {z:.3f} mm: "
            f"{abs(z):.3f} mm {'more' if z > 0.0 else 'less'}",
        )

    def ends(self, passage: PassageTable) -> tuple[Mouth, Mouth]:
        """Inlet and outlet of a passage."""
        return self.mouths[f"{passage.name} inlet"], self.mouths[f"{passage.name} outlet"]

    def plugs(
        self, pitch_mm: float, sunk: bool = True, mouths: tuple[Mouth, ...] | None = None
    ) -> NDArray[np.float32]:
        """Closed prisms over mouths (default: all), thick and wide enough for a pitch."""
        chosen = self.all_mouths if mouths is None else mouths
        prisms = [stopper(mouth, pitch_mm, sunk) for mouth in chosen]
        return np.concatenate(prisms) if prisms else np.empty((0, 3, 3), np.float32)

    def _of(self, wanted: set[int]) -> tuple[Mouth, ...]:
        """Mouths of some nominal pieces; stoppers of others might stand in what lies beside."""
        if 0 in wanted:
            return self.all_mouths
        behind = [(m, self.pieces_behind((m,), NOMINAL)) for m in self.all_mouths]
        return tuple(mouth for mouth, pieces in behind if pieces & (wanted | {0}))

    @once
    def whole(self) -> Window:
        """The whole part at the pitch of the check."""
        low, high = self.bodies.bounds
        box = _roomy(Box(low, high), self.reach_mm, self.pitch_mm)
        return Window(
            self.bodies,
            box,
            self.pitch_mm,
            self.plugs(self.pitch_mm),
            self.plugs(self.pitch_mm, sunk=False),
            mouths=self.all_mouths,
        )

    @once
    def reach_mm(self) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
        """How far anything moves down and up the axes over all variants, (3,) and (3,) mm."""
        return reach_mm(self.unknowns)

    @once
    def patches(self) -> Patches:
        """The nominal part's surface, cut open along every mouth."""
        return patches(self.bodies.part, self.all_mouths)

    def pieces(self, events: Events) -> NDArray[np.int32]:
        """Piece of every void run, mouths plugged, over the whole part."""
        found = self._pieces.get(events)
        if found is None:
            found = label(self.whole.predict(events).closed, self.whole.grid)
            kept: dict[Events, NDArray[np.int32]] = {
                e: p for e, p in self._pieces.items() if e is NOMINAL
            }
            self._pieces = {**kept, events: found}
        return found

    def box_of(self, mouths: tuple[Mouth, ...], events: Events) -> Box:
        """Box around the void behind some mouths, with room for its walls and moves."""
        predicted = self.whole.predict(events)
        moved = [moved_mouth(predicted, mouth) for mouth in mouths]
        wanted = self.pieces_behind(mouths, events)
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
        box = _roomy(Box(low, high), self.reach_mm, self.pitch_mm)
        return box.within(self.whole.box)

    def pieces_behind(self, mouths: tuple[Mouth, ...], events: Events) -> set[int]:
        """Pieces of the void just inside some mouths; 0 where it is not told from the outside."""
        predicted = self.whole.predict(events)
        found = set()
        for mouth in mouths:
            points = seeds(moved_mouth(predicted, mouth), self.pitch_mm)
            runs = runs_at_points(predicted.closed, self.whole.grid, points)
            found.add(int(self.pieces(events)[runs[runs >= 0][0]]) if (runs >= 0).any() else 0)
        return found

    def window(self, mouths: tuple[Mouth, ...], pitch_mm: float) -> Window:
        """A window around the nominal void behind some mouths, good for every variant.

        At the pitch of the check nothing is proven farther off that void than a few
        pitches, which is quicker: see `Window.region`. Passages of one void share it.
        """
        wanted = self.pieces_behind(mouths, NOMINAL)
        sharing = {m for p in self.case.passage for m in self.ends(p) if self._in(m, wanted)}
        box = self.box_of((*mouths, *sorted(sharing, key=lambda m: m.name)), NOMINAL)
        key = (frozenset(wanted), pitch_mm, box.low.tobytes(), box.high.tobytes())
        return self._windows.get(key, lambda: self._window(wanted, box, pitch_mm))

    def _in(self, mouth: Mouth, wanted: set[int]) -> bool:
        return self.pieces_behind((mouth,), NOMINAL) == wanted

    def _window(self, wanted: set[int], box: Box, pitch_mm: float) -> Window:
        whole, own = self.whole, self._of(wanted)
        base = pitch_mm == self.pitch_mm
        window = Window(
            self.bodies,
            box,
            pitch_mm,
            self.plugs(pitch_mm, mouths=own),
            self.plugs(pitch_mm, sunk=False, mouths=own),
            whole,
            own,
        )
        if base and 0 not in wanted:
            window.region = self._region(wanted).window(whole.grid, window.grid)
        return window

    def wide_window(self, mouths: tuple[Mouth, ...], pitch_mm: float, events: Events) -> Window:
        """A window around the void behind some mouths, wherever it leads in a predicted part."""
        box = self.box_of(mouths, NOMINAL).union(self.box_of(mouths, events))
        lids = self.plugs(pitch_mm, sunk=False)
        plugs, mouths = self.plugs(pitch_mm), self.all_mouths
        return Window(self.bodies, box, pitch_mm, plugs, lids, self.whole, mouths)

    def _region(self, wanted: set[int]) -> Runs:
        """Where some nominal pieces and what bounds them can be in any variant.

        With it, over the same columns, the heights of the sections that sheets are cut from.
        """
        down, up = self.reach_mm
        aside = float(max(np.abs(down[:2]).max(), np.abs(up[:2]).max()))
        rise = float(max(down[2], up[2]))
        region = around(
            self.whole.predict(NOMINAL).closed,
            self.whole.grid,
            self.pieces(NOMINAL),
            wanted,
            REGION_CELLS + math.ceil(aside / self.pitch_mm),
            REGION_CELLS * self.pitch_mm + rise,
        )
        heights = {
            gate.z
            for variant in self.unknowns.variants
            for slab in slabs(variant.events or ())
            for gate in slab.gates
        }
        return unite(region, levels(region, sorted(heights), 0.5 * self.pitch_mm))


@kernel
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


def prepare(
    case: Case,
    pitch_mm: float | None = None,
    progress: Progress = silent,
    beside: NDArray[np.float32] | None = None,
    others: tuple[OnPlatform, ...] = (),
) -> Checked:
    """Read the meshes of a case and find its ports.

    Parameters
    ----------
    case, pitch_mm, progress
        As for `api.check`.
    beside : (F, 3, 3) ndarray of float32, mm, optional
        For a part of a plate: closed soup of other parts whose slices lie over it, in this
        part's coordinates; empty where there is none.
    others : tuple of OnPlatform
        Other parts that are in the way of tools as long as this one stands on its platform.

    Raises
    ------
    PartError, PortError, CaseError
        A mesh or a port cannot be used.
    """
    progress(f"reading {case.part.mesh.name}")
    inputs = inputs_of(case)
    turn = case.part.build_direction
    part = read_part(
        case.part.mesh,
        case.part.unit,
        shells=False,
        build_direction=turn,
        item=case.part.item,
        chord_mm=chord(case, pitch_mm),
    )
    notices = [*part.notices, *_tessellated(part)]
    triangles = part.triangles
    low, high = extent(triangles)
    unknowns = variants(case, float(low[2]), float(high[2]), alone=beside is None)
    pitch = pitch_mm or case.grid.pitch or default_pitch(case, low, high)
    _refuse_too_fine(case, pitch, pitch_mm is not None, high - low)
    progress(f"cutting the part into columns {pitch:g} mm apart, finding the ports")
    grid = _grid(low, high, unknowns, pitch)
    columns, mouths = _columns_and_mouths(case, triangles, grid)
    if columns.least_winding < 0:
        triangles, said = face_outward(triangles)
        notices += said
        columns, mouths = _columns_and_mouths(case, triangles, grid)
    if columns.most_winding > 1:
        notices.append("the mesh has overlapping shells; they are taken as one piece of metal")
    bodies = _bodies(case, triangles, columns.most_winding > 1, beside)
    unknowns = both_sides(
        unknowns, lambda z: bodies.levels("melted", z), case.part.platform(float(low[2]))
    )
    notices += unknowns.notices
    for mouth in mouths.values():
        notices += mouth.notices
    checked = Checked(case, bodies, mouths, unknowns, pitch, notices, inputs, others, part.chord_mm)
    checked.whole.take(columns)
    return checked


def _tessellated(part: Part) -> tuple[str, ...]:
    """What a user has to know of a part that is no mesh."""
    if not part.chord_mm:
        return ()
    off = math.ceil(1e4 * part.chord_mm - 1e-6) / 1e4
    return (
        f"{part.path.name} is tessellated: its triangles lie at most {off:g} mm off its surface "
        f"(chord error), so {2.0 * off:g} mm stand on both sides of each clear diameter's bracket",
    )


def _refuse_too_fine(case: Case, pitch: float, told: bool, size: NDArray[np.float64]) -> None:
    """Refuse a pitch that no memory is enough for, before anything is computed."""
    least = (float(np.prod(size)) / MOST_CELLS) ** (1.0 / 3.0)
    if pitch >= least:
        return
    cells = MOST_CELLS * min(least / pitch, 1e90) ** 3  # a smaller pitch would leave the numbers
    key = "--pitch" if told else "[grid] pitch"
    raise GridError(
        f"{case.path}: {key}: found {pitch:g}, which makes {cells:.1e} cells of the part's box; "
        f"expected at least {math.ceil(least * 1e4) / 1e4:g} mm here ({MOST_CELLS:.0e} cells)"
    )


def _grid(
    low: NDArray[np.float64], high: NDArray[np.float64], unknowns: Unknowns, pitch_mm: float
) -> Grid:
    """Columns over the whole part and all places it may move to."""
    box = _roomy(Box(low, high), reach_mm(unknowns), pitch_mm)
    return Grid.over(box.low, box.high, pitch_mm)


def _roomy(box: Box, reach: tuple[NDArray[np.float64], NDArray[np.float64]], pitch: float) -> Box:
    return Box(box.low - reach[0], box.high + reach[1]).grown(5.0 * pitch)


def reach_mm(unknowns: Unknowns) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """How far anything moves down and up the axes over all variants, (3,) and (3,) mm."""
    low, high = np.zeros(3), np.zeros(3)
    for variant in unknowns.variants:
        at = np.zeros(3)
        for event in variant.events or ():
            at = at + np.array([*event.shift, event.rise])
            low, high = np.minimum(low, at), np.maximum(high, at)
    return -low, high


def _columns_and_mouths(
    case: Case, triangles: NDArray[np.float32], grid: Grid
) -> tuple[Columns, dict[str, Mouth]]:
    """Cut the part into columns and find its ports, side by side: neither needs the other."""
    with ThreadPoolExecutor(1) as pool:
        casting = pool.submit(cast, triangles, grid)
        try:
            mouths = _mouths(case, triangles)
        except PortError as fault:
            _refuse_open(case, casting.result())  # an open mesh is the better reason
            hint = _other_unit(case, *extent(triangles))
            raise PortError(f"{fault}{hint}") from None
        columns = casting.result()
    _refuse_open(case, columns)
    return columns, mouths


def _other_unit(case: Case, low: NDArray[np.float64], high: NDArray[np.float64]) -> str:
    """A hint if the ports lie beside the part, and would lie on it if the mesh had another unit."""
    ports = [port for passage in case.passage for port in (passage.inlet, passage.outlet)]
    at = to_platform([port.centre for port in ports], case.part.build_direction)
    reach = np.array([port.radius for port in ports])[:, None]
    known = UNITS_MM[case.part.unit]

    def fits(scale: float) -> bool:
        return bool(np.all((at >= scale * low - reach) & (at <= scale * high + reach)))

    if fits(1.0):
        return ""
    words = [f'"{unit}"' for unit, mm in UNITS_MM.items() if fits(mm / known)]
    size = " x ".join(f"{side:.4g}" for side in high - low)
    return (
        f"; the part is {size} mm with unit {case.part.unit}: all ports would lie on it with "
        f"[part] unit = {' or '.join(words)}"
        if words
        else ""
    )


def _refuse_open(case: Case, columns: Columns) -> None:
    if columns.unclosed:
        raise PartError(
            f"{case.part.mesh}: the mesh is open along {columns.unclosed} columns; mend it first"
        )


def _bodies(
    case: Case,
    triangles: NDArray[np.float32],
    overlapping: bool,
    beside: NDArray[np.float32] | None,
) -> Bodies:
    """Read the meshes beside the part's own."""
    turn = case.part.build_direction

    def read(path: Path) -> NDArray[np.float32]:
        return read_part(path, case.part.unit, build_direction=turn).triangles

    others = [read(path) for path in case.part.also_melted]
    standing = others.copy()
    if beside is not None and len(beside):
        others.append(beside)
        standing += [beside] if case.state.on_platform else []  # other parts come off with theirs
    melted = np.concatenate([triangles, *others]) if others else triangles
    added = {n: read(stray.mesh) for n, stray in enumerate(case.stray) if stray.mesh is not None}
    none = np.empty((0, 3, 3), np.float32)
    finished = None if case.part.finished is None else read(case.part.finished)
    several, beside_it = overlapping or bool(others), np.concatenate([none, *standing])
    return Bodies(triangles, melted, added, several, beside_it, finished)


def _mouths(case: Case, triangles: NDArray[np.float32]) -> dict[str, Mouth]:
    requests = []
    for passage in case.passage:
        for end, port in (("inlet", passage.inlet), ("outlet", passage.outlet)):
            requests.append(Request(f"{passage.name} {end}", port.centre, port.radius, port.normal))
    requests += [Request(c.name, c.centre, c.radius, c.normal) for c in case.closed]
    try:
        found = find_mouths(triangles, requests, case.part.build_direction)
    except PortError as fault:
        raise PortError(f"{case.path.name}: {fault}") from None
    mouths = {request.name: mouth for request, mouth in zip(requests, found, strict=True)}
    for passage in case.passage:
        inlet, outlet = mouths[f"{passage.name} inlet"], mouths[f"{passage.name} outlet"]
        if _same(inlet, outlet):
            centre = to_mesh(inlet.centre, case.part.build_direction)
            place = ", ".join(f"{v + 0.0:.2f}" for v in np.round(centre, 2))
            raise PortError(
                f"{case.path.name}: [[passage]] {passage.name}: found one opening for inlet and "
                f"outlet, at ({place}); expected two openings"
            )
    return mouths


def _same(a: Mouth, b: Mouth) -> bool:
    """Whether two mouths are one; those of a hole in a thin plate look opposite ways."""
    off = float(np.linalg.norm(b.centre - a.centre))
    return off < 0.5 * min(a.radius, b.radius) and bool(a.plane.normal @ b.plane.normal > 0.5)
