"""The straight line with the most room from one plane region to another.

In: the tree of a closed soup of metal, a region where the line begins (a mouth) and one where it
ends (the footprint of a crossing). Out: the widest line, and a bound that no line exceeds. A line
is the pair (p, q) of its ends, so the search is branch and bound over products of two rectangles:
no starting points, no chance, nothing slender missed. What a drill makes of it is left to others.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, NamedTuple

import numpy as np
from numpy.typing import NDArray

from clearance.drilling import rectangles
from clearance.drilling.signed_distance import SignedDistance
from clearance.geometry import box_tree, rays, segments
from clearance.geometry.planes import Plane

if TYPE_CHECKING:
    from shapely.geometry.base import BaseGeometry

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]

BATCH = 48  # cells split per round: enough to keep the compiled loops busy
SEEDS = 5  # points tried first along each side of a region
CELLS = 200_000  # most cells looked at
PATIENCE = 600  # cells spent on the widest line even when it is known to be too narrow
WITNESSES = 96  # points of metal remembered, to rule lines out without measuring


class Region(NamedTuple):
    """Where lines may begin or end.

    Attributes
    ----------
    plane : Plane
    polygon : shapely Polygon or MultiPolygon
        In the plane's coordinates, mm; with holes and several parts if need be.
    """

    plane: Plane
    polygon: BaseGeometry


@dataclass(frozen=True, eq=False, slots=True)
class Widest:
    """The widest straight line found, and the proof that there is none much wider.

    Attributes
    ----------
    start, end : (3,) ndarray, mm
        In the two regions.
    direction : (3,) ndarray
        From start to end, of unit length.
    radius : float, mm
        Exact distance of the line (extended as asked) to the metal; 0 if every line tried
        meets metal.
    narrowest, metal : (3,) ndarray, mm
        The point of the line, and of the metal, where that distance is taken.
    bound : float, mm
        No line between the regions has more room.
    cells : int
        How many cells that took.
    """

    start: Floats
    end: Floats
    direction: Floats
    radius: float
    narrowest: Floats
    metal: Floats
    bound: float
    cells: int


def widest_line(
    tree: box_tree.Tree,
    start: Region,
    end: Region,
    *,
    enough_mm: float,
    tolerance_mm: float = 0.05,
    beyond_mm: float = 0.0,
    most_cells: int = CELLS,
    explain: bool = True,
) -> Widest:
    """Find the straight line between two regions that keeps farthest from metal.

    Parameters
    ----------
    tree : box_tree.Tree
        Metal, closed and facing outward: at least every triangle that meets the convex hull of
        the two regions, extended as asked and grown by the radius looked for.
    start, end : Region
        Their lines must not have length 0.
    enough_mm : float
        The radius that is needed. Once no line can have it, the search soon ends (the line found
        is then a good one for an explanation, `bound` still holds). Once one has it, the search
        goes on for the widest.
    tolerance_mm : float
        The line is the widest within this.
    beyond_mm : float
        How far the line goes on past its end.
    most_cells : int
        The search ends here at the latest; `bound` tells what is then still possible.
    explain : bool
        False: the search ends at once when no line can have the radius that is needed.

    Returns
    -------
    Widest

    Raises
    ------
    ValueError
        The soup or a region is empty.

    Notes
    -----
    Where p and q move by at most a and b, the point that divides p-q as t : 1 - t moves by at most
    (1 - t) a + t b; and since unit vectors satisfy |u' - u| <= |w' - w| / min(|w|, |w'|), the point
    s mm beyond q moves by at most b + s (a + b) / (|q - p| - a - b). The distance to metal,
    negative inside it, changes by no more than that. So a cell's lines have at most the distance at
    one fixed place of its middle line plus that place's shift (taken where the middle line is
    narrowest, or deepest in metal). And all lines of a cell cross the plane across the middle line
    there, within a disc: they have at most the largest distance on that disc, which settles most
    cells at once, as it does not hang on where in the disc they cross.
    """
    if len(tree.order) == 0:
        raise ValueError("there is no metal")
    search = _Search(tree, start, end, float(beyond_mm))
    search.seed(tolerance_mm)
    patience = PATIENCE if explain else 0
    return search.run(float(enough_mm), float(tolerance_mm), most_cells, patience)


class _Cells(NamedTuple):
    """Products of two rectangles (x0, y0, x1, y1, once for p and once for q) and what is known."""

    box: Floats  # (N, 8)
    bound: Floats  # (N,) no line of the cell has more room
    part: Ints  # (N,) which rectangle to split next: 0 that of p, 1 that of q

    def pick(self, index: Any) -> _Cells:
        return _Cells(self.box[index], self.bound[index], self.part[index])


class _Lines(NamedTuple):
    """Lines between points p and q, (N, ...), with their room and where it is taken."""

    p: Floats
    u: Floats
    length: Floats
    room: Floats
    at: Floats
    metal: Floats


class _Search:
    """One search: what is given, and the best line so far."""

    def __init__(self, tree: box_tree.Tree, start: Region, end: Region, beyond: float) -> None:
        self.tree = tree
        self.metal = SignedDistance(tree)
        self.planes = (start.plane, end.plane)
        self.edges = (_edges(start.polygon), _edges(end.polygon))
        self.beyond = beyond
        self.pair = np.full(4, np.nan)  # plane coordinates of the best p and q
        self.best = -1.0
        self.witnesses = np.empty((0, 3))  # points of the metal that bounded earlier lines
        self.cells = 0

    # ---- lines ----

    def lines(self, pairs: Floats) -> _Lines:
        """Exact room of the lines between pairs (N, 4) of points in plane coordinates."""
        p = self.planes[0].to_space(pairs[:, :2])
        w = self.planes[1].to_space(pairs[:, 2:]) - p
        length = np.maximum(np.linalg.norm(w, axis=1), 1e-12)
        u = w / length[:, None]
        a, b = p, p + (length + self.beyond)[:, None] * u
        room, at, metal = segments.segment_clearances(self.tree, a, b)
        room[room < segments.ROUNDING_MM] = 0.0  # touching is meeting
        return _Lines(p, u, length, room, at, metal)

    def offer(self, pairs: Floats, room: Floats) -> bool:
        """Keep the best of some lines, all within the regions, if it beats what there is."""
        n = int(np.argmax(room)) if len(room) else -1
        if n < 0 or room[n] <= self.best:
            return False
        self.best, self.pair = float(room[n]), pairs[n].copy()
        return True

    def attempt(self, pairs: Floats) -> None:
        """Offer lines within the regions, but measure only those that no witness rules out."""
        pairs = pairs[self.promise(pairs) > self.best]
        if len(pairs):
            lines = self.lines(pairs)
            fresh = lines.metal[lines.room > 0.0]
            self.witnesses = np.vstack([self.witnesses, fresh])[-WITNESSES:]
            self.offer(pairs, lines.room)

    def promise(self, pairs: Floats) -> Floats:
        """Room (N,) that the witnesses leave to lines (N, 4)."""
        p = self.planes[0].to_space(pairs[:, :2])
        w = self.planes[1].to_space(pairs[:, 2:]) - p
        length = np.maximum(np.linalg.norm(w, axis=1), 1e-12)[:, None]
        u = w / length
        offset = self.witnesses[None] - p[:, None]
        along = np.clip((offset * u[:, None]).sum(axis=2), 0.0, length + self.beyond)
        gap = np.linalg.norm(offset - along[:, :, None] * u[:, None], axis=2)
        result: Floats = gap.min(axis=1, initial=np.inf)
        return result

    def seed(self, tolerance: float) -> None:
        """Try a coarse grid of lines, and improve the best."""
        ends = []
        for edges in self.edges:
            low, high = edges[:, :2].min(axis=0), edges[:, :2].max(axis=0)
            step = (high - low) / SEEDS
            grid = np.stack(np.meshgrid(*[np.arange(SEEDS)] * 2, indexing="ij"), -1).reshape(-1, 2)
            corner = low + grid * step
            _, meets, inside = rectangles.tighten(np.hstack([corner, corner + step]), edges)
            ends.append(inside[meets])
        p, q = ends
        pairs = np.hstack([np.repeat(p, len(q), axis=0), np.tile(q, (len(p), 1))])
        for first in range(0, len(pairs), BATCH):
            self.attempt(pairs[first : first + BATCH])
        self.polish(tolerance)

    def polish(self, tolerance: float) -> None:
        """Pattern search from the best line: both ends, each end, and a tilt, many ways round."""
        if self.best <= 0.0:
            return
        spans = [np.ptp(edges[:, :2], axis=0).max() for edges in self.edges]
        step, turn = 0.25 * min(spans), 0.0
        while step > 0.1 * tolerance:
            pairs = self.pair + step * self._moves(turn)
            turn += 2.4
            pairs = pairs[
                rectangles.within(pairs[:, :2], self.edges[0])
                & rectangles.within(pairs[:, 2:], self.edges[1])
            ]
            before = self.best
            self.attempt(pairs)
            if self.best < before + 0.05 * step:
                step *= 0.5

    def _moves(self, turn: float) -> Floats:
        """Steps (32, 4) of p and q that shift the line across itself."""
        line = self.lines(self.pair[None])
        across = Plane.through(line.p[0], line.u[0])
        angle = turn + np.arange(8) * (np.pi / 4.0)
        shift = np.outer(np.cos(angle), across.u) + np.outer(np.sin(angle), across.v)
        p, q = (_slide(plane, shift, line.u[0]) for plane in self.planes)
        none = np.zeros_like(p)
        return np.hstack([np.vstack([p, none, p, p]), np.vstack([none, q, q, -q])])

    # ---- cells ----

    def run(self, enough: float, tolerance: float, most: int, patience: int) -> Widest:
        """Branch and bound, widest promise first."""
        whole = np.concatenate(
            [f(edges[:, :2], axis=0) for edges in self.edges for f in (np.min, np.max)]
        )
        pool = _Cells(whole[None], np.array([np.inf]), np.array([0]))
        pool = self.look(pool, self.goal(enough, tolerance))
        settled = self.best  # nothing dropped so far promised more than this
        while len(pool.bound):
            goal = self.goal(enough, tolerance)
            done = pool.bound <= goal
            settled = max(settled, float(pool.bound[done].max(initial=0.0)))
            pool = pool.pick(~done)
            if not len(pool.bound) or self.cells >= most:
                break
            if pool.bound.max() < enough and self.cells >= patience:
                break
            order = np.argpartition(-pool.bound, min(BATCH, len(pool.bound)) - 1)
            halves = self.halves(pool.pick(order[:BATCH]))
            found = self.best
            halves = self.look(halves, goal)
            if self.best > found + tolerance:
                self.polish(tolerance)
            rest = pool.pick(order[BATCH:])
            pool = _Cells(*(np.concatenate(pair) for pair in zip(rest, halves, strict=True)))
        bound = max(self.best, settled, float(pool.bound.max(initial=0.0)))
        line = self.lines(self.pair[None])
        end = line.p[0] + line.length[0] * line.u[0]
        return Widest(
            start=line.p[0],
            end=end,
            direction=line.u[0],
            radius=self.best,
            narrowest=line.at[0],
            metal=line.metal[0],
            bound=bound,
            cells=self.cells,
        )

    def goal(self, enough: float, tolerance: float) -> float:
        """Cells that promise no more than this are settled.

        A line that is just short of what is needed is searched more finely, so that the answer
        does not hang on the tolerance.
        """
        fine = self.best + 0.1 * tolerance
        if self.best < enough < self.best + tolerance:
            return max(np.nextafter(enough, 0.0), fine)
        return self.best + tolerance

    def halves(self, cells: _Cells) -> _Cells:
        """Split each cell in two, fit the halves to the regions, drop those that miss them."""
        both = []
        rows = np.arange(len(cells.bound))
        low = 4 * cells.part
        size = np.stack([cells.box[rows, low + 2 + k] - cells.box[rows, low + k] for k in (0, 1)])
        axis = low + np.argmax(size, axis=0)
        middle = 0.5 * (cells.box[rows, axis] + cells.box[rows, axis + 2])
        for side in (axis + 2, axis):
            box = cells.box.copy()
            box[rows, side] = middle
            both.append(box)
        box = np.concatenate(both)
        part = np.concatenate([cells.part, cells.part])
        keep = np.zeros(len(box), np.bool_)
        for k in (0, 1):
            mine = part == k
            box[mine, 4 * k : 4 * k + 4], keep[mine], _ = rectangles.tighten(
                np.ascontiguousarray(box[mine, 4 * k : 4 * k + 4]), self.edges[k]
            )
        bound = np.concatenate([cells.bound, cells.bound])
        return _Cells(box, bound, part).pick(keep)

    def look(self, cells: _Cells, goal: float) -> _Cells:
        """Bound each cell's lines by its middle line; offer the middle lines themselves."""
        self.cells += len(cells.bound)
        box = cells.box
        middle = 0.5 * np.hstack([box[:, 0:2] + box[:, 2:4], box[:, 4:6] + box[:, 6:8]])
        lines = self.lines(middle)
        reach = np.stack(
            [
                0.5 * np.linalg.norm(box[:, k + 2 : k + 4] - box[:, k : k + 2], axis=1)
                for k in (0, 4)
            ]
        )
        along, room = self.places(lines)
        spread = self.shift(lines.length, reach, along)
        bound = np.minimum(cells.bound, np.maximum(room + spread, 0.0))
        nothing = np.zeros_like(reach[0])
        by_p = self.shift(lines.length, np.stack([reach[0], nothing]), along)
        by_q = self.shift(lines.length, np.stack([nothing, reach[1]]), along)
        part = (by_q > by_p).astype(np.int64)
        open_ = np.flatnonzero(bound > goal)
        self.try_middles(middle[open_], box[open_], lines.room[open_])
        self.discs(lines, reach, along, bound, open_, goal)
        self.ends(lines, reach, along, bound, open_[bound[open_] > goal], goal)
        return _Cells(box, bound, part)

    def try_middles(self, middle: Floats, box: Floats, room: Floats) -> None:
        """Offer lines; one that begins or ends outside its region is first moved into it."""
        inside = rectangles.within(middle[:, :2], self.edges[0]) & rectangles.within(
            middle[:, 2:], self.edges[1]
        )
        self.offer(middle[inside], room[inside])
        if inside.all():
            return
        p, q = (
            rectangles.tighten(
                np.ascontiguousarray(box[~inside, 4 * k : 4 * k + 4]), self.edges[k]
            )[2]
            for k in (0, 1)
        )
        self.attempt(np.hstack([p, q]))

    def places(self, lines: _Lines) -> tuple[Floats, Floats]:
        """Where on each line to bound its cell (mm from p), and the signed room there."""
        along = np.einsum("ij,ij->i", lines.at - lines.p, lines.u)
        room = lines.room.copy()
        hit = np.flatnonzero(room == 0.0)
        if len(hit):
            a = lines.p[hit]
            total = lines.length[hit] + self.beyond
            share = rays.deep(
                self.tree.triangles, self.tree.boxes, a, total[:, None] * lines.u[hit]
            )
            some = share >= 0.0
            hit, at = hit[some], (share * total)[some]
            depth = self.metal.signed(lines.p[hit] + at[:, None] * lines.u[hit])[0]
            deep = depth < 0.0
            along[hit[deep]], room[hit[deep]] = at[deep], depth[deep]
        return along, room

    def shift(self, length: Floats, reach: Floats, along: Floats) -> Floats:
        """How far the lines of a cell can lie from the middle line at a place (see the notes)."""
        a, b = reach
        share = np.clip(along / length, 0.0, 1.0)
        beyond = np.maximum(along - length, 0.0) + np.maximum(-along, 0.0)
        return (1.0 - share) * a + share * b + beyond * self.turn(length, reach)

    def turn(self, length: Floats, reach: Floats) -> Floats:
        """Most that the direction of a cell's lines differs from the middle line's."""
        both = reach.sum(axis=0)
        return np.minimum(both / np.maximum(length - both, 1e-12), 2.0)

    def discs(
        self, lines: _Lines, reach: Floats, along: Floats, bound: Floats, which: Ints, goal: float
    ) -> None:
        """Lower bounds by the largest distance on the disc that a cell's lines cross.

        A line within `shift` of a place crosses the plane across the middle line no farther away
        than shift / cos(turn); the place is chosen so far from the ends that it does so on its way.
        """
        turn = self.turn(lines.length, reach)
        cosine = 1.0 - 0.5 * turn**2
        which = which[cosine[which] > 0.5]
        far = np.maximum(*reach) + self.beyond * turn
        margin = (far / np.maximum(cosine, 0.5) + reach.sum(axis=0))[which]
        low, high = margin, lines.length[which] + self.beyond - margin
        fits = low <= high
        which = which[fits]
        if not len(which):
            return
        at = np.clip(along[which], low[fits], high[fits])
        spread = self.shift(lines.length[which], reach[:, which], at) / cosine[which]
        centre = lines.p[which] + at[:, None] * lines.u[which]
        most = self.metal.largest_on_discs(centre, lines.u[which], spread, goal)
        bound[which] = np.minimum(bound[which], most)

    def ends(
        self, lines: _Lines, reach: Floats, along: Floats, bound: Floats, which: Ints, goal: float
    ) -> None:
        """Lower bounds of cells whose middle line is narrowest at or past one of its ends.

        The point s beyond q' is (q' + s u) + s (u' - u). The first part lies in a plane parallel to
        that of the region, within the rectangle's reach. Of the second, the part across u is at
        most s turn and the part along u at most s turn^2 / 2; seen from the plane, whose normal
        makes an angle with u, that is no more than s turn within it and s (turn sin(angle) +
        turn^2 / 2) off it.
        """
        for k in (0, 1):
            past = (along - lines.length if k else -along)[which]
            mine, past = which[past >= -1e-9], np.maximum(past[past >= -1e-9], 0.0)
            if not len(mine):
                continue
            normal = self.planes[k].normal
            lean = np.sqrt(np.maximum(1.0 - (lines.u[mine] @ normal) ** 2, 0.0))
            turn = self.turn(lines.length[mine], reach[:, mine])
            off = past * (turn * lean + 0.5 * turn**2)
            centre = lines.p[mine] + along[mine, None] * lines.u[mine]
            most = self.metal.largest_on_discs(
                centre, np.tile(normal, (len(mine), 1)), reach[k, mine] + past * turn, goal - off
            )
            bound[mine] = np.minimum(bound[mine], most + off)


def _slide(plane: Plane, shift: Floats, u: Floats) -> Floats:
    """Steps in a plane that look like `shift` (N, 3) when seen along the direction u."""
    lean = float(plane.normal @ u)
    lean = math.copysign(max(abs(lean), 0.2), lean)
    moved = shift - np.outer(shift @ plane.normal / lean, u)
    return np.stack([moved @ plane.u, moved @ plane.v], axis=1)


def _edges(polygon: BaseGeometry) -> Floats:
    """All edges (E, 4) of a polygon's rings."""
    import shapely

    rings = shapely.get_rings(shapely.get_parts(polygon))
    if len(rings) == 0:
        raise ValueError("a region without area holds no line")
    xy = [shapely.get_coordinates(ring) for ring in rings]
    return np.ascontiguousarray(np.vstack([np.hstack([ring[:-1], ring[1:]]) for ring in xy]))
