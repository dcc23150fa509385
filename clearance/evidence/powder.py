"""Powder that stayed in the part: unmelted gaps in a sheet, and voids without a way out.

In: the predicted part over the whole part's window, and where the passages run.
Out: `Unmelted` and `TrappedPowder` for the result. What they join and how large a
void is is counted on columns, right to about their spacing; gap areas are exact.
"""

from __future__ import annotations

import math
from collections.abc import Iterable
from dataclasses import replace
from itertools import chain, combinations
from typing import Any

import numpy as np
from numpy.typing import NDArray

from clearance.case.powder_bed import PACKING
from clearance.case.read import OUTSIDE
from clearance.case.stray_tables import StrayTable
from clearance.columns.grid import Grid
from clearance.columns.runs import Runs
from clearance.columns.voids import label, run_at
from clearance.evidence.joints import first_on, standing
from clearance.kernels.compiler import kernel
from clearance.kernels.rows import greatest
from clearance.predicted.part import Predicted
from clearance.predicted.slabs import Event, assemble, bodies, slabs
from clearance.result import TrappedPowder, Unmelted
from clearance.result.passage import plain

LEAST_CELLS = 27.0
"""Voids smaller than this many pitch cubed are crumbs of the mesh, not chambers."""
GAP_MM = 1e-6
"""A gap thinner than this is rounding."""

Routes = dict[str, NDArray[np.float64]]


def unmelted(
    predicted: Predicted, routes: Routes, others: Iterable[tuple[Event, ...]] = ()
) -> list[Unmelted]:
    """Gaps of loose powder that an event may leave in the metal, over all that is possible of it.

    Of what leaves a gap at one place of the event, area and thickness are the greatest, and what
    it joins is what it joins in any case; `where_mm` is in the first case that joins, or the first.

    Parameters
    ----------
    predicted : Predicted
        Over the whole part.
    routes : dict of str to (N, 3) ndarray, mm
        Points on each passage's way, in nominal place.
    others : iterable of tuple of Event
        What else the case leaves possible, see `variants.variants`.
    """
    found: dict[tuple[int, bool], Unmelted] = {}
    rest = (Predicted(predicted.window, events, predicted.added) for events in others)
    for one in chain((predicted,), rest):
        for gap in gaps(one, routes):
            known = found.get((gap.stray, gap.joint))
            found[gap.stray, gap.joint] = gap if known is None else _either(known, gap)
    return [found[key] for key in sorted(found)]


def _either(one: Unmelted, other: Unmelted) -> Unmelted:
    return replace(
        one,
        area_mm2=max(one.area_mm2, other.area_mm2),
        thickness_mm=max(one.thickness_mm, other.thickness_mm),
        joins=tuple(sorted({*one.joins, *other.joins})),
        where_mm=one.where_mm if one.joins or not other.joins else other.where_mm,
    )


def gaps(predicted: Predicted, routes: Routes) -> list[Unmelted]:
    """Gaps of loose powder that one event may leave in the metal, as thick as they can be.

    Within a sheet where the part has metal and the slices have none, and in the joint under the
    first layer after the stop where the part had shrunk.

    Parameters
    ----------
    predicted : Predicted
        Over the whole part.
    routes : dict of str to (N, 3) ndarray, mm
        Points on each passage's way, in nominal place.
    """
    if all(max(event.sheet_gap, event.joint_gap) <= GAP_MM for event in predicted.events):
        return []
    found = []
    piece = label(predicted.closed, predicted.grid)
    owners = _owners(predicted, predicted.closed, piece, routes)
    for event in predicted.events:
        if event.slices and event.sheet_gap > GAP_MM:
            gap = _gap(predicted, event)
            if gap.any():
                # Powder packs lower than the counted face: where that melts nothing surely, the
                # metal that hangs over a void may not be welded to the wall beside it.
                low = event.bottom - (0.0 if event.welded > 0.0 else event.penetration)
                reach = (low, event.top)
                joins, where = _joins(predicted, gap, reach, piece, owners)
                area = float(gap_outline(predicted, event).area)
                found.append(Unmelted(event.stray, area, event.sheet_gap, joins, where))
        if event.joint_gap > GAP_MM:
            gap = _open_joint(predicted, event)
            if gap.any():
                deep = event.penetration if event.slices else 0.0
                reach = (event.bottom - max(deep, event.joint_gap), event.bottom)
                joins, where = _joins(predicted, gap, reach, piece, owners)
                area = float(joint_outline(predicted, event).area)
                found.append(Unmelted(event.stray, area, event.joint_gap, joins, where, True))
    return found


def _gap(predicted: Predicted, event: Event) -> NDArray[np.bool_]:
    """Columns (nx, ny) in which the sheet holds a gap."""
    taken = _within(predicted.metal.start, predicted.metal.z, event.bottom, event.top)
    melted = _within(predicted.melted.start, predicted.melted.z, event.bottom, event.top)
    grid = predicted.grid
    return np.asarray((taken - melted > GAP_MM).reshape(grid.nx, grid.ny))


def _open_joint(predicted: Predicted, event: Event) -> NDArray[np.bool_]:
    """Columns (nx, ny) in which metal stands on both sides of the joint."""
    grid, window = predicted.grid, predicted.window
    earlier = predicted.events[: predicted.events.index(event)]
    table = slabs((*earlier, replace(event, slices=())))
    casts = {key: window.columns(*key).metal for key in bodies(table)}
    stood = assemble(table, casts)
    below = _within(stood.start, stood.z, event.bottom - event.joint_gap, event.bottom)
    metal = predicted.metal
    above = _within(metal.start, metal.z, event.bottom, event.bottom + event.layer)
    return np.asarray(((below > GAP_MM) & (above > GAP_MM)).reshape(grid.nx, grid.ny))


@kernel
def _within(start, z, low, high):  # type: ignore[no-untyped-def]
    """Length of metal of each column between two heights."""
    total = np.zeros(start.shape[0] - 1)
    for c in range(total.shape[0]):
        for a in range(start[c], start[c + 1]):
            total[c] += max(0.0, min(high, z[a, 1]) - max(low, z[a, 0]))
    return total


def _joins(
    predicted: Predicted,
    gap: NDArray[np.bool_],
    reach: tuple[float, float],
    piece: NDArray[np.int32],
    owners: dict[int, str],
) -> tuple[tuple[tuple[str, str], ...], tuple[float, float, float]]:
    """What the gaps of a range of height join, and the place of one, of one that joins if any."""
    from scipy import ndimage

    grid = predicted.grid
    # A corner contact may seep: count gaps as joined over corners, the cautious side.
    eight = np.ones((3, 3), np.bool_)
    number, _ = ndimage.label(gap, eight)
    joins: set[tuple[str, str]] = set()
    middle = 0.5 * (reach[0] + reach[1])
    where = _middle(grid, number == 1, middle)
    for n, box in enumerate(ndimage.find_objects(number), start=1):
        grown = tuple(slice(max(s.start - 1, 0), s.stop + 1) for s in box)
        inside = number[grown] == n
        rim = ndimage.binary_dilation(inside, eight)
        i, j = np.nonzero(rim)
        columns = (i + grown[0].start) * grid.ny + (j + grown[1].start)
        touched = _touching(predicted.closed.start, predicted.closed.z, piece, columns, *reach)
        names = sorted({owners[p] for p in touched.tolist() if p in owners})
        pairs = set(combinations(names, 2))
        if pairs - joins:
            where = _middle(grid, number == n, middle)
        joins |= pairs
    return tuple(sorted(joins)), where


def joint_outline(predicted: Predicted, event: Event) -> Any:
    """Figure (shapely) of what should hang together under the first layer after the stop; exact."""
    return standing(predicted, event.bottom, above=False).intersection(first_on(predicted, event))


def gap_outline(predicted: Predicted, event: Event) -> Any:
    """Figure (shapely) of all gaps of a sheet in plan, from exact sections of its layers.

    Each layer is cut at both faces and in its middle: where walls lean the greatest section is at
    a face, and the joint there, which is counted from it, misses as much.
    """
    import shapely

    gaps = []
    for slab in predicted.table:
        if slab.stray == event.stray and slab.low >= event.bottom:
            slices = [predicted.outline(gate) for gate in slab.gates if gate.body != "part"]
            melted = shapely.union_all(slices)
            found = [predicted.section(0.5 * (slab.low + slab.high))]
            if slab.lift is not None or predicted.added is not None:  # else all heights are alike
                found += [predicted.section(slab.low, above=True), predicted.section(slab.high)]
            gaps += [metal.difference(melted) for metal in found]
    return shapely.union_all(gaps)


@kernel
def _touching(start, z, piece, columns, low, high):  # type: ignore[no-untyped-def]
    """Pieces of the void runs of some columns that meet a range of height (faces included)."""
    found = np.zeros(greatest(piece) + 1, np.bool_)
    for c in columns:
        for k in range(start[c + 1] - start[c] + 1):
            z0 = z[start[c] + k - 1, 1] if k > 0 else -np.inf
            z1 = z[start[c] + k, 0] if start[c] + k < start[c + 1] else np.inf
            if z0 <= high and z1 >= low:
                found[piece[start[c] + c + k]] = True
    return np.flatnonzero(found)


def _middle(grid: Grid, mask: NDArray[np.bool_], z: float) -> tuple[float, float, float]:
    """The place of a mask that is deepest inside it, as a point of it."""
    i, j = np.nonzero(mask)
    x, y = grid.x_mm(i), grid.y_mm(j)
    n = int(np.argmin((x - x.mean()) ** 2 + (y - y.mean()) ** 2))
    return float(x[n]), float(y[n]), float(z)


def _owners(
    predicted: Predicted, metal: Runs, piece: NDArray[np.int32], routes: Routes
) -> dict[int, str]:
    """Whose void each piece is: a passage's, or the outside (piece 0)."""
    owners: dict[int, str] = {}
    for name, route in routes.items():
        for point in route:
            run = run_at(metal, predicted.grid, predicted.moved(point))
            if run is not None:
                owners.setdefault(int(piece[run]), name)
    owners[0] = OUTSIDE
    return owners


def packing_over(strays: Iterable[StrayTable]) -> tuple[float, float]:
    """Least and most that the powder bed packs at, over all that is said of the events."""
    known = [(stray.packing_low, stray.packing_high) for stray in strays]
    return min(low for low, _ in known or [PACKING]), max(high for _, high in known or [PACKING])


def trapped_powder(
    predicted: Predicted,
    nominal: Predicted,
    routes: Routes,
    density_g_cm3: float | None,
    packing: tuple[float, float] = PACKING,
) -> list[TrappedPowder]:
    """Voids of the predicted part that no way leads out of, with every mouth open.

    A void that is closed in the nominal part already is listed as such. The mass lies between
    those at the two ends of `packing`.
    """
    grid, metal = predicted.grid, predicted.metal
    piece = label(metal, grid)
    count = int(piece.max()) + 1
    total, middle = _volumes(piece, metal.start, metal.z, grid.ny, count)
    before = label(nominal.metal, grid)
    found = []
    for n in range(1, count):
        if total[n] < LEAST_CELLS * grid.pitch_mm:
            continue
        strays = _bounding(predicted, piece, n)
        between = [f"stray {s}" for s in strays]
        if not between:
            between = ["nominal"] if _closed_before(predicted, nominal, before, middle[n]) else []
        if not between:
            continue
        if len(between) == 1 and strays:
            between.append("part")
        volume = float(total[n]) * grid.pitch_mm**2
        solid = None if density_g_cm3 is None else volume * density_g_cm3 * 1e-3
        place = np.array(
            [
                grid.x_mm(int(middle[n, 0])),
                grid.y_mm(int(middle[n, 1])),
                middle[n, 2],
            ]
        )
        passages = tuple(
            name for name, route in routes.items() if _runs_in(predicted, piece, n, route)
        )
        found.append(
            TrappedPowder(
                volume,
                None if solid is None else solid * packing[1],
                tuple(between),
                plain(place),
                passages,
                None if solid is None else solid * packing[0],
                None if solid is None else solid * packing[1],
            )
        )
    return found


def trapped_over(
    predicted: Predicted,
    nominal: Predicted,
    routes: Routes,
    density_g_cm3: float | None,
    packing: tuple[float, float],
    others: Iterable[tuple[Event, ...]],
) -> list[TrappedPowder]:
    """Voids without a way out, over all that is possible of an event; see `trapped_powder`.

    Parameters
    ----------
    others : iterable of tuple of Event
        What else the case leaves possible, see `variants.variants`.
    """
    known = (nominal, routes, density_g_cm3, packing)
    found = trapped_powder(predicted, *known)
    times, cases = [1] * len(found), 1
    for events in others:
        cases += 1
        rest = trapped_powder(Predicted(predicted.window, events, predicted.added), *known)
        for n, one in enumerate(found):
            alike = [p for p in rest if (p.between, p.passages) == (one.between, one.passages)]
            if not alike:
                continue
            nearest = min(alike, key=lambda p: math.dist(p.centre_mm, one.centre_mm))
            rest.remove(nearest)
            found[n] = _larger(one, nearest)
            times[n] += 1
        found += rest
        times += [1] * len(rest)
    return [replace(one, certain=n == cases) for one, n in zip(found, times, strict=True)]


def _larger(one: TrappedPowder, other: TrappedPowder) -> TrappedPowder:
    """The larger of two readings of one void, with the mass of both."""
    large, small = (one, other) if one.volume_mm3 >= other.volume_mm3 else (other, one)
    return replace(large, mass_low_g=small.mass_low_g)


def _runs_in(
    predicted: Predicted, piece: NDArray[np.int32], n: int, route: NDArray[np.float64]
) -> bool:
    runs = (run_at(predicted.metal, predicted.grid, predicted.moved(p)) for p in route)
    return any(run is not None and piece[run] == n for run in runs)


@kernel
def _volumes(piece, start, z, ny, count):  # type: ignore[no-untyped-def]
    """Total run length per piece, and the middle of its longest run as (i, j, z)."""
    total = np.zeros(count)
    longest = np.zeros(count)
    middle = np.zeros((count, 3))
    for c in range(start.shape[0] - 1):
        for k in range(start[c] + 1, start[c + 1]):
            length = z[k, 0] - z[k - 1, 1]
            n = piece[k + c]
            total[n] += length
            if length > longest[n]:
                longest[n] = length
                middle[n, 0] = c // ny
                middle[n, 1] = c % ny
                middle[n, 2] = 0.5 * (z[k, 0] + z[k - 1, 1])
    return total, middle


def _bounding(predicted: Predicted, piece: NDArray[np.int32], n: int) -> list[int]:
    """Strays whose faces bound a piece from above or below."""
    ends = _ends(piece, predicted.metal.start, predicted.metal.z, n)
    found = set()
    for event in predicted.events:
        faces = [event.lowest, event.bottom]
        faces += [event.bottom + (k + 1) * event.layer for k in range(len(event.slices))]
        if any((np.abs(ends - face) < 1e-9).any() for face in faces):
            found.add(event.stray)
    meshes = {} if predicted.added is None else predicted.window.bodies.added_by_stray
    for stray, soup in meshes.items():
        low, high = float(soup[..., 2].min()), float(soup[..., 2].max())
        if ((ends >= low - 1e-6) & (ends <= high + 1e-6)).any():
            found.add(stray)
    return sorted(found)


@kernel
def _ends(piece, start, z, n):  # type: ignore[no-untyped-def]
    found = []
    for c in range(start.shape[0] - 1):
        for k in range(start[c] + 1, start[c + 1]):
            if piece[k + c] == n:
                found.append(z[k - 1, 1])
                found.append(z[k, 0])
    return np.array(found)


def _closed_before(
    predicted: Predicted, nominal: Predicted, before: NDArray[np.int32], middle: NDArray[np.float64]
) -> bool:
    """Whether the void at a place of the predicted part was closed in the nominal part too."""
    grid = predicted.grid
    place = np.array([grid.x_mm(int(middle[0])), grid.y_mm(int(middle[1])), middle[2]])
    place = place - predicted.offset_below(float(place[2]))
    run = run_at(nominal.metal, grid, place)
    return run is not None and int(before[run]) != 0
