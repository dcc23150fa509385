"""The predicted part in a window: runs, exact sections and exact surfaces from one slab table.

In: the nominal bodies, a box around the void of interest, a pitch, and the
events. Out: `Predicted`, from which passages are judged. Nothing is kept of the
part outside the window, except that sections are right to the window's rim.
"""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from functools import reduce
from threading import RLock
from typing import Any, Final

import numpy as np
from numpy.typing import NDArray

from clearance.columns.cast import Columns, cast
from clearance.columns.grid import Grid
from clearance.columns.possible import PossibleVoid, possible_void
from clearance.columns.runs import Runs, unite
from clearance.columns.sure import Places, meeting_region, surely_metal
from clearance.geometry import sections
from clearance.geometry.areas import TOUCH_MM2, polygonal
from clearance.geometry.level_faces import beside, level_faces
from clearance.geometry.planes import Plane
from clearance.geometry.soup import (
    Box,
    Soup,
    clipped,
    flat,
    meeting,
    moved_shape,
)
from clearance.ports.mouth import Mouth
from clearance.predicted.bodies import Bodies
from clearance.predicted.sheets import Sheets
from clearance.predicted.slabs import (
    Casts,
    Event,
    Gate,
    Slab,
    assemble,
    bodies,
    offset,
    pieces_of,
    rounded,
    slab_at,
    slabs,
)
from clearance.system.once import Kept, once

Events = tuple[Event, ...] | None
ROUNDED_MM = 1e-3
"""More than single precision moves a face."""
NOMINAL: Final = None
"""In the place of events: no event, and none of the stray metal that is given as a mesh."""


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
    mouths : tuple of Mouth, optional
        Those that the plugs close.
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
    mouths: tuple[Mouth, ...] | None = None
    region: Runs | None = None
    _casts: dict[tuple[str, tuple[float, float]], Columns] = field(default_factory=dict)
    _sure: Casts = field(default_factory=dict)
    _metal: dict[tuple[str, float], Any] = field(default_factory=dict)
    _stopped: dict[float, Any] = field(default_factory=dict)
    _regions: dict[tuple[str, tuple[float, float]], Soup] = field(default_factory=dict)
    _predicted: dict[Events, Predicted] = field(default_factory=dict)
    sheets: Sheets = field(default_factory=Sheets, init=False, repr=False)
    _lock: RLock = field(default_factory=RLock, repr=False)

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
        with self._lock:
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
        with self._lock:
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
        with self._lock:
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
        with self._lock:
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
            Plane.level(z),
            window=self.rectangle.bounds,
            overlapping=self.bodies.overlapping or body == "plugs",
        )
        return shapely.intersection(section, self.rectangle)

    def unstopped(self, piece: Any, z: float) -> list[Any]:
        """What of a level figure in the void no stopper covers: only there do columns tell."""
        import shapely

        with self._lock:
            if z not in self._stopped:
                self._stopped[z] = sections.metal(self.plugs, Plane.level(z), overlapping=True)
        left = shapely.difference(piece, self._stopped[z])
        return [part for part in shapely.get_parts(polygonal(left)) if part.area > TOUCH_MM2]

    def predict(self, events: Events) -> Predicted:
        """Return the predicted part in this window; for `NOMINAL` the part as designed."""
        with self._lock:
            return self._predict(events)

    def _predict(self, events: Events) -> Predicted:
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
    kept: Kept = field(default_factory=Kept, init=False)
    """What all passages of one void ask of this part: worked out for the first of them."""
    dense: Kept = field(default_factory=Kept, init=False)
    """The same of dense cells, which take much memory: only as long as somebody holds them."""

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
        taken = reduce(unite, blocks) if blocks else None  # of few runs each, unlike the metal
        return possible_void(self.sure if taken is None else unite(self.sure, taken), self.grid)

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
        pieces = [self.stray_outline(slab)]
        if slab.lift is not None:
            name = "closed" if plugged else "part"
            pieces.append(
                moved_shape(self.window.metal(name, z - slab.lift, above), rounded(slab.shift))
            )
        if self.added is not None:
            pieces.append(self.window.metal("added", z, above))
        metal = shapely.intersection(shapely.union_all(pieces), self.window.rectangle)
        return metal.difference(self.removed(Plane.level(z)))

    def removed(self, plane: Plane) -> Any:
        """What has been taken out of the part, in a plane (shapely): nothing, unless drilled."""
        import shapely

        return shapely.Polygon()

    def removed_between(self, low: float, high: float) -> Any:
        """What has been taken out at every height between two, in plan (shapely)."""
        import shapely

        return shapely.Polygon()

    def outline(self, gate: Gate) -> Any:
        """Section (shapely) that a gate makes metal, where it lies in the predicted part."""
        return moved_shape(self.window.metal(gate.body, gate.z, gate.above), rounded(gate.shift))

    def stray_outline(self, slab: Slab) -> Any:
        """Outline (shapely) of what the gates of a slab make metal."""
        return self.window.sheets.of(self.window.metal, slab.gates).outline

    def untouched(self, box: Box | None = None) -> bool:
        """Whether nothing of the part has been taken out, in a box: so it is, unless drilled."""
        return True

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
            self.window.sheets.of(self.window.metal, slab.gates).between(slab.low, slab.high)
            for slab in self.table
            if slab.gates
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

    def may_have_stray(self, low: float, high: float) -> bool:
        """Whether stray metal may lie between two heights, faces and their rounding included."""
        return self.added is not None or any(
            slab.gates and slab.low <= high + ROUNDED_MM and slab.high >= low - ROUNDED_MM
            for slab in self.table
        )

    def stray_near(self, box: Box) -> list[Soup]:
        """Closed soups of the stray metal that meets a box: sheets and measured metal."""
        soups = [
            self.window.sheets.of(self.window.metal, slab.gates).between(slab.low, slab.high)
            for slab in self.table
            if slab.gates and slab.low <= box.high[2] and slab.high >= box.low[2]
        ]
        if self.added is not None:
            soups.append(self.added)
        return [soup for soup in soups if len(meeting(soup, box))]

    def _pieces(self) -> list[tuple[float, float, float, tuple[float, float]]]:
        """Stretches of z over which the nominal part is moved in one piece."""
        return pieces_of(self.table)

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
