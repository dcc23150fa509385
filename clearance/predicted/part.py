"""The predicted part in a window: runs, exact sections and exact surfaces from one slab table.

In: the nominal bodies, a box around the void of interest, a pitch, and the
events. Out: `Predicted`, from which passages are judged. Nothing is kept of the
part outside the window, except that sections are right to the window's rim.
"""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from typing import Any, Final

import numpy as np
from numpy.typing import NDArray

from clearance.columns.cast import Columns, Grid, Runs, cast, unite
from clearance.columns.possible import (
    Places,
    PossibleVoid,
    meeting_region,
    possible_void,
    surely_metal,
)
from clearance.geometry import sections
from clearance.geometry.stretches import STRETCH, boxes_of, fixed
from clearance.kernels.compiler import kernel
from clearance.predicted.stray import (
    Casts,
    Event,
    Gate,
    Slab,
    assemble,
    bodies,
    offset,
    rounded,
    slab_at,
    slabs,
)
from clearance.system.once import once

ABOVE_MM = 1e-5
"""A section "just above" a level face is taken this much higher than the face as it is stored
(below a face: at it)."""

BAND_MARGIN_MM = 0.01
"""Triangles so near a band of heights are kept with it: more than heights are rounded by."""

Soup = NDArray[np.float32]
Events = tuple[Event, ...] | None
NOMINAL: Final = None
"""In the place of events: no event, and none of the stray metal that is given as a mesh."""


@dataclass(frozen=True, eq=False)
class Bodies:
    """Closed soups of the nominal: what the slabs of the predicted part are cut from.

    Attributes
    ----------
    part : (F, 3, 3) ndarray of float32, mm
        The nominal part.
    melted : (F, 3, 3) ndarray
        The part and all that was melted with it (support blocks, stock).
    added_by_stray : dict of int to (F, 3, 3) ndarray
        Measured or drawn stray metal (shape "mesh"), in the part's coordinates, by stray table.
    overlapping : bool
        Whether shells of `melted` overlap.
    standing : (F, 3, 3) ndarray
        What stands beside the part and may be in a drill's way.
    """

    part: Soup
    melted: Soup
    added_by_stray: dict[int, Soup]
    overlapping: bool
    standing: Soup = field(default_factory=lambda: np.empty((0, 3, 3), np.float32))
    _bands: dict[tuple[str, int], Soup] = field(default_factory=dict)
    _levels: dict[tuple[str, int], NDArray[np.float64]] = field(default_factory=dict)

    @once
    def bounds(self) -> NDArray[np.float64]:
        """(2, 3) lowest and highest corner of the part, mm."""
        return extent(self.part)

    @once
    def added(self) -> Soup | None:
        """All stray metal that is given as a mesh, in one soup."""
        return np.concatenate(list(self.added_by_stray.values())) if self.added_by_stray else None

    def near(self, body: str, z: float) -> Soup:
        """Triangles of a body that can cross height z; those of a millimetre are kept together."""
        key = (body, int(np.floor(z)))
        if key not in self._bands:
            band = Box(np.array([-np.inf, -np.inf, key[1]]), np.array([np.inf, np.inf, key[1] + 1]))
            self._bands[key] = meeting(getattr(self, body), band.grown(BAND_MARGIN_MM))
        return self._bands[key]

    def levels(self, body: str, z: float) -> NDArray[np.float64]:
        """Heights at which a body has level faces, those within a millimetre or so of `z`."""
        key = (body, int(np.floor(z)))
        if key not in self._levels:
            self._levels[key] = level_faces(self.near(body, z))
        return self._levels[key]

    @once
    def plane(self) -> Soup:
        """The part's bounding rectangle as a column of metal without end."""
        low, high = self.bounds
        return box_soup((low[0], low[1], -1e6), (high[0], high[1], 1e6))


def extent(triangles: Soup) -> NDArray[np.float64]:
    """(2, 3) lowest and highest corner of a soup, mm."""
    boxes = boxes_of(triangles).astype(np.float64)
    return np.stack([boxes[:, :3].min(0, initial=np.inf), boxes[:, 3:].max(0, initial=-np.inf)])


def same_height_mm(z: float) -> float:
    """Heights nearer than this are one: float32 tells them apart no better, mm."""
    return max(ABOVE_MM, 2.0 * float(np.spacing(np.float32(abs(z)))))


def level_faces(triangles: Soup) -> NDArray[np.float64]:
    """Heights of level triangles, rising; both ends of those that are level but for rounding."""
    z = triangles[..., 2]
    low, high = z.min(1, initial=np.inf), z.max(1, initial=-np.inf)
    far = float(np.abs(z).max(initial=0.0))
    level = (high - low) <= same_height_mm(far)
    return np.unique(np.concatenate([low[level], high[level]]).astype(np.float64))


def beside(z: float, above: bool, levels: NDArray[np.float64]) -> float:
    """Height at which to cut a body just below or just above `z`.

    A section changes at once where a level face lies at `z`, or where one is stored that was
    meant to. Anywhere else both sections are the one at `z`.
    """
    by = same_height_mm(z)
    at = levels[np.searchsorted(levels, z - by) : np.searchsorted(levels, z + by, "right")]
    if not len(at):
        return z
    return max(z, float(at[-1])) + ABOVE_MM if above else min(z, float(at[0]))


def box_soup(low: tuple[float, ...], high: tuple[float, ...]) -> Soup:
    """Twelve outward triangles of a box."""
    corner = np.array(
        [[(low, high)[n >> a & 1][a] for a in range(3)] for n in range(8)], np.float32
    )
    quads = ((0, 2, 3, 1), (4, 5, 7, 6), (0, 1, 5, 4), (2, 6, 7, 3), (0, 4, 6, 2), (1, 3, 7, 5))
    index = [t for q in quads for t in ((q[0], q[1], q[2]), (q[0], q[2], q[3]))]
    return np.ascontiguousarray(corner[index])


@dataclass(frozen=True, eq=False)
class Box:
    """A box in mm, low and high corner."""

    low: NDArray[np.float64]
    high: NDArray[np.float64]

    def grown(self, by_mm: float) -> Box:
        """Return the box with every face moved outward."""
        return Box(self.low - by_mm, self.high + by_mm)

    def holds(self, other: Box) -> bool:
        """Whether another box lies within this one."""
        return bool((self.low <= other.low).all() and (self.high >= other.high).all())

    def within(self, other: Box) -> Box:
        """Return the part of the box that lies in another."""
        return Box(np.maximum(self.low, other.low), np.minimum(self.high, other.high))

    def union(self, other: Box) -> Box:
        """Return the smallest box around both."""
        return Box(np.minimum(self.low, other.low), np.maximum(self.high, other.high))


@kernel
def _meeting(triangles, boxes, low, high):  # type: ignore[no-untyped-def]
    index = np.empty(triangles.shape[0], np.int64)
    n = 0
    for s in range(boxes.shape[0]):
        meets = True
        for a in range(3):
            if boxes[s, a] > high[a] or boxes[s, 3 + a] < low[a]:
                meets = False
        if not meets:
            continue
        for f in range(s * STRETCH, min((s + 1) * STRETCH, triangles.shape[0])):
            meets = True
            for a in range(3):
                p, q, r = triangles[f, 0, a], triangles[f, 1, a], triangles[f, 2, a]
                if min(p, q, r) > high[a] or max(p, q, r) < low[a]:
                    meets = False
                    break
            if meets:
                index[n] = f
                n += 1
    return index[:n].copy()


def meeting(triangles: Soup, box: Box) -> Soup:
    """Triangles whose bounding box meets a box."""
    boxes = boxes_of(triangles)
    if bool((boxes[:, :3] >= box.low).all() and (boxes[:, 3:] <= box.high).all()):
        return triangles
    index = _meeting(fixed(triangles), boxes, box.low, box.high)
    return triangles if len(index) == len(triangles) else triangles[index]


@dataclass(eq=False)
class Window:
    """The nominal in a box at one pitch, with its casts and sections kept for reuse.

    Attributes
    ----------
    bodies : Bodies
    box : Box
        Holds the void of interest, its walls, and all places they may move to.
    pitch_mm : float
    plugs : (P, 3, 3) ndarray of float32
        Closed prisms that close the mouths, standing outward of them.
    lids : (P, 3, 3) ndarray, optional
        Prisms that stand on the closing surfaces themselves, for sections; default: the plugs.
    parent : Window, optional
        A window around this one whose casts are taken over where they are the same.
    region : Runs, optional
        Over the columns: where the void of interest and what bounds it lie. Nothing is
        proven outside it; what leads out of it counts as leading outside.
    """

    bodies: Bodies
    box: Box
    pitch_mm: float
    plugs: Soup
    lids: Soup | None = None
    parent: Window | None = None
    region: Runs | None = None
    _casts: dict[tuple[str, tuple[float, float]], Columns] = field(default_factory=dict)
    _sure: Casts = field(default_factory=dict)
    _metal: dict[tuple[str, float], Any] = field(default_factory=dict)
    _regions: dict[tuple[str, tuple[float, float]], Soup] = field(default_factory=dict)
    _predicted: dict[Events, Predicted] = field(default_factory=dict)

    @once
    def grid(self) -> Grid:
        """Columns over the window."""
        return Grid.over(self.box.low, self.box.high, self.pitch_mm)

    @once
    def near(self) -> Soup:
        """Triangles of the part in the window, and in its region if it has one."""
        return meeting(self._in_region("part", (0.0, 0.0)), self.box)

    def _in_region(self, body: str, shift: tuple[float, float]) -> Soup:
        """Triangles of a body, moved by `shift`, that meet the window's region if it has one."""
        whole = {"part": self.bodies.part, "melted": self.bodies.melted}.get(body)
        if self.region is None or whole is None:
            return self._soups[body]
        key = (body, shift)
        if key not in self._regions:
            self._regions[key] = meeting_region(whole, self.region, self.grid, shift)
        return self._regions[key]

    @once
    def rectangle(self) -> Any:
        """The window in plan (shapely Polygon), a little within the box."""
        import shapely

        return shapely.box(*self.box.low[:2], *self.box.high[:2])

    @once
    def _soups(self) -> dict[str, Soup]:
        """Bodies, only triangles over the window in plan (a column needs all its crossings)."""
        margin = 2.0 * self.grid.pitch_mm + 1.0
        plan = Box(
            np.append(self.box.low[:2] - margin, -np.inf),
            np.append(self.box.high[:2] + margin, np.inf),
        )
        part = meeting(self.bodies.part, plan)
        same = self.bodies.melted is self.bodies.part
        soups = {
            "part": part,
            "melted": part if same else meeting(self.bodies.melted, plan),
            "plane": self.bodies.plane,
            "plugs": self.plugs,
        }
        if self.bodies.added is not None:
            soups["added"] = meeting(self.bodies.added, plan)
        return soups

    def columns(self, body: str, shift: tuple[float, float] = (0.0, 0.0)) -> Columns:
        """Cast of a body, moved by `shift` (reach: the margin of the window in plan)."""
        key = (self._alias(body), shift)
        if key not in self._casts:
            self._casts[key] = self._cast(*key)
        return self._casts[key]

    def take(self, columns: Columns) -> None:
        """Keep a cast of the part that has been made already over this window's columns."""
        self._casts["part", (0.0, 0.0)] = columns

    def _cast(self, body: str, shift: tuple[float, float]) -> Columns:
        if body == "closed":
            part, plugs = self.columns("part", shift), self.columns("plugs", shift)
            return replace(part, metal=unite(part.metal, plugs.metal))
        same = body != "plugs" or (self.parent is not None and self.plugs is self.parent.plugs)
        if same and self.parent is not None and (body, shift) in self.parent._casts:
            # Columns of one pitch stand at the same places: take what has been cast.
            cut = self.parent._casts[body, shift].within(self.grid)
            if cut is not None:
                return cut
        return cast(self._soups[body], self.grid, shift)

    def sure(self, body: str, shift: tuple[float, float] = (0.0, 0.0)) -> Runs:
        """What is surely metal of a body, per square and strip."""
        key = (self._alias(body), shift)
        if key not in self._sure:
            self._sure[key] = self._surely(*key)
        return self._sure[key]

    def _surely(self, body: str, shift: tuple[float, float]) -> Runs:
        # Plugs stand partly in metal. Taken as one soup with it, their faces there would
        # count as possible void; what is sure of either is sure of both.
        if body == "closed":
            return unite(self.sure("part", shift), self.sure("plugs", shift))
        soup = self._in_region(body, shift)
        return surely_metal(soup, self.columns(body, shift), shift, self.region)

    def _alias(self, body: str) -> str:
        """One name for bodies that are the same soup."""
        return "part" if body == "melted" and self.bodies.melted is self.bodies.part else body

    def metal(self, body: str, z: float, above: bool = False) -> Any:
        """Exact section of a body (shapely), clipped to the window.

        Just below `z`, or just above it: they differ where a level face lies at z.
        """
        return self.metal_at(body, self.beside(body, z, above))

    def beside(self, body: str, z: float, above: bool) -> float:
        """Height at which a body is cut just below or just above `z`."""
        return beside(z, above, self._levels(self._alias(body), z))

    def _levels(self, body: str, z: float) -> NDArray[np.float64]:
        """Heights of level faces near `z`."""
        if body == "closed":
            both = [self._levels("part", z), self._levels("plugs", z)]
            return np.unique(np.concatenate(both))
        return self._lid_levels if body == "plugs" else self.bodies.levels(body, z)

    @once
    def _lid_levels(self) -> NDArray[np.float64]:
        return level_faces(self.closing_lids)

    @property
    def closing_lids(self) -> Soup:
        """What closes the mouths in sections."""
        return self.plugs if self.lids is None else self.lids

    def metal_at(self, body: str, z: float) -> Any:
        """Exact section of a body (shapely) at a height as it is; of a face: just below it."""
        key = (self._alias(body), z)
        if key not in self._metal:
            section = self._section(*key)
            section.bounds  # noqa: B018 - worked out now: several threads may look at it later
            self._metal[key] = section
        return self._metal[key]

    def _section(self, body: str, z: float) -> Any:
        """Whole outlines are needed, so cut the whole body, not only its part in the window."""
        import shapely

        if body == "closed":
            return shapely.union(self.metal_at("part", z), self.metal_at("plugs", z))
        soup = self.closing_lids if body == "plugs" else self.bodies.near(body, z)
        section = sections.metal(
            soup,
            sections.Plane.level(z),
            window=self.rectangle.bounds,
            overlapping=self.bodies.overlapping or body == "plugs",
        )
        return shapely.intersection(section, self.rectangle)

    def predict(self, events: Events) -> Predicted:
        """Return the predicted part in this window; for `NOMINAL` the part as designed."""
        found = self._predicted.get(events)
        if found is None:
            # One event is looked at in several ways; of many variants only the last is kept.
            added = None if events is NOMINAL else self.bodies.added
            found = Predicted(self, events or (), added)
            kept: dict[Events, Predicted] = {
                e: p for e, p in self._predicted.items() if e is NOMINAL
            }
            self._predicted = {**kept, events: found}
        return found


@dataclass(eq=False)
class Predicted:
    """The predicted part in a window, each view of it computed when first asked for."""

    window: Window
    events: tuple[Event, ...]
    added: Soup | None

    @once
    def table(self) -> tuple[Slab, ...]:
        """Slabs of the events."""
        return slabs(self.events)

    @property
    def grid(self) -> Grid:
        """Columns over the window."""
        return self.window.grid

    def _assemble(self, part: str, sure: bool) -> Runs:
        """Runs after the table, with "part" standing for the open or the closed part."""

        def runs(body: str, shift: tuple[float, float]) -> Runs:
            name = part if body == "part" else body
            if sure:
                return self.window.sure(name, shift)
            return self.window.columns(name, shift).metal

        casts = {key: runs(*key) for key in bodies(self.table)}
        metal = assemble(self.table, casts)
        if self.added is not None:
            metal = unite(metal, runs("added", (0.0, 0.0)))
        return metal

    @once
    def melted(self) -> Runs:
        """Metal per column as it was melted, without the gaps that stayed powder."""
        table = slabs(self.events, loose=True)
        casts = {key: self.window.columns(*key).metal for key in bodies(table)}
        metal = assemble(table, casts)
        if self.added is not None:
            metal = unite(metal, self.window.columns("added").metal)
        return metal

    @once
    def metal(self) -> Runs:
        """Metal per column, mouths open."""
        return self._assemble("part", sure=False)

    @once
    def closed(self) -> Runs:
        """Metal per column, mouths plugged."""
        return self._assemble("closed", sure=False)

    @once
    def sure(self) -> Runs:
        """Sure metal per square and strip, mouths plugged."""
        return self._assemble("closed", sure=True)

    @once
    def possible(self) -> PossibleVoid:
        """Pieces of the possible void, mouths plugged."""
        return possible_void(self.sure, self.grid)

    def possible_less(self, blocks: list[Runs]) -> PossibleVoid:
        """Pieces of the possible void with further places taken out."""
        sure = self.sure
        for block in blocks:
            sure = unite(sure, block)
        return possible_void(sure, self.grid)

    @property
    def places(self) -> Places:
        """Numbering of squares and strips."""
        return Places(self.grid)

    def slab_at(self, z: float, above: bool) -> Slab:
        """Return the slab that holds z, just above or just below it."""
        return slab_at(self.table, z, above)

    def section(self, z: float, above: bool = False, plugged: bool = False) -> Any:
        """Exact metal (shapely) of the predicted part just below or just above a height."""
        import shapely

        slab = self.slab_at(z, above)
        pieces = [self.sheet(slab)]
        if slab.lift is not None:
            name = "closed" if plugged else "part"
            pieces.append(
                moved_shape(self.window.metal(name, z - slab.lift, above), rounded(slab.shift))
            )
        if self.added is not None:
            pieces.append(self.window.metal("added", z, above))
        metal = shapely.intersection(shapely.union_all(pieces), self.window.rectangle)
        return metal.difference(self.removed(sections.Plane.level(z)))

    def removed(self, plane: sections.Plane) -> Any:
        """What has been taken out of the part, in a plane (shapely): nothing, unless drilled."""
        import shapely

        return shapely.Polygon()

    def outline(self, gate: Gate) -> Any:
        """Section (shapely) that a gate makes metal, where it lies in the predicted part."""
        return moved_shape(self.window.metal(gate.body, gate.z, gate.above), rounded(gate.shift))

    def sheet(self, slab: Slab) -> Any:
        """Outline (shapely) of what the gates of a slab make metal."""
        import shapely

        return shapely.union_all([self.outline(gate) for gate in slab.gates])

    @once
    def surface(self) -> Soup:
        """Triangles of metal that hold the whole boundary of the predicted void in the window.

        Some lie inside metal, where slices and nominal overlap: they are metal too,
        so distances from the void to metal are exact all the same.
        """
        soups = [soup for piece in self._pieces() for soup in self._piece_surface(*piece)]
        return np.concatenate([*soups, self.stray])

    @once
    def stray(self) -> Soup:
        """Triangles of all stray metal in the window: sheets and measured metal."""
        soups = [
            extruded(self.sheet(slab), slab.low, slab.high) for slab in self.table if slab.gates
        ]
        if self.added is not None:
            soups.append(meeting(self.added, self.window.box))
        return np.concatenate(soups) if soups else np.empty((0, 3, 3), np.float32)

    @property
    def in_place(self) -> bool:
        """Nothing has moved: all metal is the nominal part's or stray."""
        return all(e.rise == 0.0 and e.shift == (0.0, 0.0) for e in self.events)

    @property
    def only_more(self) -> bool:
        """All metal of the nominal part is where it was, so no way is wider than nominally."""
        return self.in_place

    def bare_surface(self, box: Box, of: Soup | None = None) -> Soup:
        """Triangles of the part in a box where it stands now, without the stray sheets.

        `of`: some of the part's triangles, or others in the nominal place, instead of all.
        """
        soups = []
        whole_part = self.window.bodies.part if of is None else of
        for low, high, lift, shift in self._pieces():
            move = np.array([*rounded(shift), lift])
            near = meeting(whole_part, Box(box.low - move, box.high - move))
            whole = not np.isfinite(low) and not np.isfinite(high) and not move.any()
            soups.append(near if whole else clipped(near, low - lift, high - lift, move))
        return np.concatenate(soups)

    def metal_near(self, box: Box) -> Soup:
        """All triangles of metal in a box, those of the part far from the window's region too."""
        added = [] if self.added is None else [meeting(self.added, box)]
        return np.concatenate([meeting(self.surface, box), self.bare_surface(box), *added])

    def stray_near(self, box: Box) -> list[Soup]:
        """Closed soups of the stray metal that meets a box: sheets and measured metal."""
        soups = [
            extruded(self.sheet(slab), slab.low, slab.high)
            for slab in self.table
            if slab.gates and slab.low <= box.high[2] and slab.high >= box.low[2]
        ]
        if self.added is not None:
            soups.append(self.added)
        return [soup for soup in soups if len(meeting(soup, box))]

    def _pieces(self) -> list[tuple[float, float, float, tuple[float, float]]]:
        """Stretches of z over which the nominal part is moved in one piece."""
        pieces: list[tuple[float, float, float, tuple[float, float]]] = []
        for slab in self.table:
            if slab.lift is None:
                continue
            last = pieces[-1] if pieces else None
            if last and last[1] == slab.low and last[2:] == (slab.lift, slab.shift):
                pieces[-1] = (last[0], slab.high, *last[2:])
            else:
                pieces.append((slab.low, slab.high, slab.lift, slab.shift))
        return pieces

    def _piece_surface(
        self, low: float, high: float, lift: float, shift: tuple[float, float]
    ) -> list[Soup]:
        dx, dy = rounded(shift)
        move = np.array([dx, dy, lift])
        if move.any():
            box = Box(self.window.box.low - move, self.window.box.high - move)
            near = meeting(self.window.bodies.part, box)
        else:
            near = self.window.near
        whole = not np.isfinite(low) and not np.isfinite(high) and not move.any()
        soups = [near if whole else clipped(near, low - lift, high - lift, move)]
        if np.isfinite(low):
            soups.append(
                flat(moved_shape(self.window.metal("part", low - lift, True), (dx, dy)), low)
            )
        if np.isfinite(high):
            soups.append(flat(moved_shape(self.window.metal("part", high - lift), (dx, dy)), high))
        return soups

    def moved(self, point: NDArray[np.float64]) -> NDArray[np.float64]:
        """Place in the predicted part of a nominal point (a port's centre)."""
        return np.asarray(point, np.float64) + offset(self.events, float(point[2]))

    def offset_below(self, z: float) -> NDArray[np.float64]:
        """How far what stands just below predicted height z has moved, (3,) mm."""
        slab = self.slab_at(z, above=False)
        return np.array([*rounded(slab.shift), slab.lift or 0.0])


def moved_shape(shape: Any, shift: tuple[float, float]) -> Any:
    """A plane figure moved in plan."""
    import shapely

    if shift == (0.0, 0.0):
        return shape
    return shapely.transform(shape, lambda xy: xy + np.asarray(shift))


def flat(shape: Any, z: float) -> Soup:
    """Level triangles (T, 3, 3) that cover a polygon at height z, facing up."""
    import shapely

    pieces = [
        shapely.get_parts(shapely.constrained_delaunay_triangles(polygon))
        for polygon in shapely.get_parts(shape)
        if polygon.geom_type == "Polygon" and polygon.area > 0.0
    ]
    if not pieces:
        return np.empty((0, 3, 3), np.float32)
    triangles = shapely.orient_polygons(np.concatenate(pieces))
    rings = shapely.get_coordinates(triangles).reshape(-1, 4, 2)[:, :3]
    return _raised(rings, np.full(rings.shape[:2], z))


def walls(shape: Any, low: float, high: float) -> Soup:
    """Upright triangles (T, 3, 3) along the outlines of a polygon, facing out of it."""
    import shapely

    rings = [
        shapely.get_coordinates(ring)
        for polygon in shapely.get_parts(shapely.orient_polygons(shape))
        if polygon.geom_type == "Polygon"
        for ring in (polygon.exterior, *polygon.interiors)
    ]
    if not rings:
        return np.empty((0, 3, 3), np.float32)
    a = np.concatenate([ring[:-1] for ring in rings])
    b = np.concatenate([ring[1:] for ring in rings])
    one = np.ones(len(a))
    lower = _raised(np.stack([a, b, b], 1), np.stack([low * one, low * one, high * one], 1))
    upper = _raised(np.stack([a, b, a], 1), np.stack([low * one, high * one, high * one], 1))
    return np.concatenate([lower, upper])


def extruded(shape: Any, low: float, high: float) -> Soup:
    """Faces and walls of a polygon drawn out from `low` to `high`."""
    return np.concatenate([flat(shape, low)[:, ::-1], flat(shape, high), walls(shape, low, high)])


def _raised(xy: NDArray[np.float64], z: NDArray[np.float64]) -> Soup:
    return np.concatenate([xy, z[..., None]], axis=-1).astype(np.float32)


def clipped(triangles: Soup, low: float, high: float, move: NDArray[np.float64]) -> Soup:
    """Triangles cut off below `low` and above `high`, then moved.

    Level faces at a bound are left out: they belong to what is cut off as much as to what stays,
    so which of them bound the metal that stays only its section there tells (`flat`).
    """
    near = np.array([same_height_mm(z) if np.isfinite(z) else 0.0 for z in (low, high)])
    return _clipped(fixed(triangles), low, high, near, move)


@kernel
def _clipped(triangles, low, high, near, move):  # type: ignore[no-untyped-def]
    out = np.empty((3 * triangles.shape[0], 3, 3), np.float32)
    n = 0
    p = np.empty((5, 3), np.float64)
    q = np.empty((5, 3), np.float64)
    for f in range(triangles.shape[0]):
        at_low, at_high = True, True
        for v in range(3):
            for a in range(3):
                p[v, a] = triangles[f, v, a]
            at_low &= abs(p[v, 2] - low) <= near[0]
            at_high &= abs(p[v, 2] - high) <= near[1]
        if at_low or at_high:
            continue
        m = 3
        for side in range(2):
            bound = high if side else low
            k = 0
            for v in range(m):
                w = v + 1 if v + 1 < m else 0
                dv = bound - p[v, 2] if side else p[v, 2] - bound
                dw = bound - p[w, 2] if side else p[w, 2] - bound
                # No sliver of a wall is kept either: what is stored so near the bound is at it.
                dv = 0.0 if abs(dv) <= near[side] else dv
                dw = 0.0 if abs(dw) <= near[side] else dw
                if dv >= 0.0:
                    q[k, 0], q[k, 1], q[k, 2] = p[v, 0], p[v, 1], p[v, 2]
                    k += 1
                if (dv > 0.0 and dw < 0.0) or (dv < 0.0 and dw > 0.0):
                    t = dv / (dv - dw)
                    for a in range(2):
                        q[k, a] = p[v, a] + t * (p[w, a] - p[v, a])
                    q[k, 2] = bound
                    k += 1
            m = k
            for v in range(m):
                p[v, 0], p[v, 1], p[v, 2] = q[v, 0], q[v, 1], q[v, 2]
        for v in range(1, m - 1):
            for a in range(3):
                out[n, 0, a] = p[0, a] + move[a]
                out[n, 1, a] = p[v, a] + move[a]
                out[n, 2, a] = p[v + 1, a] + move[a]
            n += 1
    return out[:n].copy()
