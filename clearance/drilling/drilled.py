"""The predicted part with drilled bores taken out: what a plan is re-checked on.

In: the predicted part in a window and bores. Out: `Drilled`, which answers like
any predicted part. Wherever the answer is rounded, less is taken out than the
drill takes, so that a way that is found open is open.
"""

from __future__ import annotations

import math
from collections.abc import Iterable
from dataclasses import dataclass
from itertools import pairwise
from typing import Any

import numpy as np

from clearance.columns.cast import cast
from clearance.columns.runs import Runs, intersect, subtract, unite
from clearance.columns.sure import surely_outside
from clearance.drilling import bore as bores
from clearance.drilling.bore import Bore
from clearance.drilling.hole_faces import in_space
from clearance.geometry.planes import Plane
from clearance.geometry.sight import winding_at
from clearance.geometry.soup import Box, Soup, extruded, meeting
from clearance.predicted.part import Predicted
from clearance.predicted.plane_sections import predicted_metal
from clearance.predicted.slabs import Slab, assemble, bodies, plugs_only, rounded, slabs
from clearance.system.once import once

STEP_MM, THICK_MM = 0.1, 0.5
"""What a leaning bore leaves of a sheet is told in such steps where it is thicker than this."""
UPRIGHT = 0.999
"""Upright bores, by the rise of their direction, leave the same at all heights."""


@dataclass(eq=False)
class Drilled(Predicted):
    """A predicted part less some bores (in its own coordinates).

    Attributes
    ----------
    bores : tuple of Bore
    """

    bores: tuple[Bore, ...] = ()

    @once
    def _whole(self) -> Predicted:
        return Predicted(self.window, self.events, self.added)

    @once
    def _cast(self) -> Runs:
        runs = [cast(bores.soup(bore), self.grid).metal for bore in self.bores]
        taken = runs[0]
        for more in runs[1:]:
            taken = unite(taken, more)
        return taken

    @once
    def metal(self) -> Runs:
        """Metal per column, mouths open."""
        return subtract(self._whole.metal, self._cast)

    @once
    def closed(self) -> Runs:
        """Metal per column, mouths plugged: a drill goes through a mouth, not through its plug."""
        return unite(subtract(self._whole.closed, self._cast), self._plugs(sure=False))

    @once
    def sure(self) -> Runs:
        """Sure metal per square and strip, mouths plugged."""
        metal = self._whole.sure
        for bore in self.bores:
            soup = bores.soup(bore)
            metal = intersect(metal, surely_outside(soup, cast(soup, self.grid)))
        return unite(metal, self._plugs(sure=True))

    def _plugs(self, sure: bool) -> Runs:
        table = plugs_only(slabs(self.events))
        window = self.window
        casts = {
            key: window.sure("plugs", key[1]) if sure else window.columns("plugs", key[1]).metal
            for key in bodies(table)
        }
        return assemble(table, casts)

    def removed(self, plane: Plane) -> Any:
        """What the bores take out of a plane."""
        import shapely

        return shapely.union_all([bores.section(bore, plane) for bore in self.bores])

    def removed_between(self, low: float, high: float) -> Any:
        """What each bore takes out at both heights: it has no dents, so between them too."""
        import shapely

        ends = (Plane.level(low), Plane.level(high))
        both = [
            shapely.intersection(*(bores.section(bore, end) for end in ends)) for bore in self.bores
        ]
        return shapely.union_all(both)

    def untouched(self, box: Box | None = None) -> bool:
        """Whether nothing of the part has been taken out, in a box: all bores there run in void."""
        if box is None:
            return not self.bores
        near = self.bare_surface(box)
        return all(self._in_void(bore, near, box) for bore in self.bores)

    def _in_void(self, bore: Bore, near: Soup, box: Box) -> bool:
        corners = bores.solid(bore).vertices
        if (corners.min(0) > box.high).any() or (corners.max(0) < box.low).any():
            return True
        if len(bores.meeting(near, bore)):
            return False
        # It meets no wall in the box, so that one point there tells of all.
        share = np.linspace(0.0, 1.0, 65)[:, None]
        axis = bore.start + share * (bore.tip - bore.start)
        held = axis[((axis >= box.low) & (axis <= box.high)).all(1)]
        if len(held) == 0:
            return False
        point = held[len(held) // 2]
        slab = self.slab_at(float(point[2]), above=False)
        if slab.lift is None:
            return False
        nominal = point - np.array([*rounded(slab.shift), slab.lift])
        return int(winding_at(self.window.bodies.part, nominal[None])[0]) <= 0

    @once
    def surface(self) -> Soup:
        """Triangles of metal that hold the whole boundary of the void in the window."""
        pieces = [soup for piece in self._pieces() for soup in self._piece_surface(*piece)]
        nominal = np.concatenate([*pieces, self._measured])
        left = self._outside(np.concatenate(pieces))
        cut = any(len(bores.meeting(nominal, bore)) for bore in self.bores)
        return np.concatenate([left, self.stray, *([self.walls()] if cut else [])])

    @once
    def stray(self) -> Soup:
        """What the bores leave of all stray metal in the window."""
        sheets = [
            extruded(self._left_of(slab, low, high), low, high)
            for slab in self.table
            if slab.gates
            for low, high in self._steps(slab)
        ]
        return np.concatenate([self._outside(self._measured), *sheets])

    @property
    def only_more(self) -> bool:
        """Metal of the nominal part may be gone."""
        return False

    @property
    def _measured(self) -> Soup:
        none = np.empty((0, 3, 3), np.float32)
        return none if self.added is None else meeting(self.added, self.window.box)

    def _outside(self, soup: Soup) -> Soup:
        for bore in self.bores:
            soup = bores.outside(soup, bore)
        return soup

    def metal_near(self, box: Box) -> Soup:
        """All triangles of metal in a box, those of the part far from the window's region too."""
        soup = self.bare_surface(box)
        if self.added is not None:
            soup = np.concatenate([soup, meeting(self.added, box)])
        return np.concatenate([meeting(self.surface, box), self._outside(soup)])

    def _steps(self, slab: Slab) -> Iterable[tuple[float, float]]:
        """Heights between which a sheet is taken at once: steps where a bore leans through much."""
        leans = any(abs(bore.direction[2]) < UPRIGHT for bore in self.bores)
        thick = slab.high - slab.low
        steps = math.ceil(thick / STEP_MM) if leans and thick > THICK_MM else 1
        return pairwise(np.linspace(slab.low, slab.high, steps + 1).tolist())

    def _left_of(self, slab: Slab, low: float, high: float) -> Any:
        """Outline of what the bores leave of a sheet from one height to another.

        A bore is convex: what two level sections of it share, all sections between
        them hold.
        """
        left = self.stray_outline(slab)
        for bore in self.bores:
            ends = [bores.section(bore, Plane.level(z)) for z in (low, high)]
            left = left.difference(ends[0].intersection(ends[1]))
        return left

    def walls(self) -> Soup:
        """The bores' own faces where they lie in metal."""
        walls = [np.empty((0, 3, 3), np.float32)]
        for bore in self.bores:
            for plane, face in bores.facets(bore):
                _, metal = predicted_metal(self._whole, plane, True, within=face)
                walls.append(in_space(plane, metal).astype(np.float32))
        return np.concatenate(walls)
