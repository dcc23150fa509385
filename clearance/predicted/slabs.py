"""The stray sheets: what the predicted part is made of, height by height.

In: the nominal part's runs and what is known of the event. Out: a table of
slabs that says where in z the predicted part is the nominal (lifted, shifted),
and where slices of other layers were melted; and predicted runs after it.
The same table serves columns, squares between columns, section polygons and
exact surfaces, so that they cannot disagree.
"""

from __future__ import annotations

from bisect import bisect_left, bisect_right
from dataclasses import dataclass, replace
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from clearance.columns.grid import UNIT_MM, snap_even
from clearance.columns.runs import Runs
from clearance.kernels.compiler import inner, kernel
from clearance.kernels.growing import grown_runs

NONE = -1
ROUNDING_MM = 1e-9
"""Faces of layers that lie closer are one."""


@dataclass(frozen=True)
class Event:
    """One resume, with every unknown fixed.

    Attributes
    ----------
    stray : int
        Number of the stray table in the case.
    bottom : float, mm
        Lower face of the first stray layer, in mesh coordinates as the machine stands.
    slices : tuple of float, mm
        Nominal heights whose sections were melted, lowest first; empty if none was.
    layer : float, mm
        Layer thickness.
    plane : bool
        True: the slices are the whole rectangle of the part's bounding box.
    unknown_slices : tuple of int
        Which slices lie below the part, so that what they hold is not known.
    welded : float, mm
        How far below itself, at least, a layer melts what stayed loose under it.
    joint_gap : float, mm
        Powder that may be left under the first layer after the stop, because what stood had shrunk.
    penetration : float, mm
        Deepest that the first layer of a melting reaches below itself.
    spread : float, mm
        The sheet lies anywhere from `bottom` to so much above it.
    sure : bool
        With a spread, metal is what all these sheets share; otherwise what any of them has.
    rise : float, mm
        Added by this event to the height of everything above it.
    shift : tuple of float, mm
        Added by this event to the place of the sheet and everything above it.
    """

    stray: int
    bottom: float
    slices: tuple[float, ...]
    layer: float
    plane: bool
    penetration: float
    rise: float
    shift: tuple[float, float]
    unknown_slices: tuple[int, ...] = ()
    welded: float = 0.0
    joint_gap: float = 0.0
    spread: float = 0.0
    sure: bool = False

    @property
    def lowest(self) -> float:
        """How deep its metal may reach, mm, in mesh coordinates as the machine stands."""
        return self.bottom - self.penetration

    @property
    def still(self) -> bool:
        """Whether the sheet only adds metal, and nothing moves."""
        return self.rise == 0.0 and self.shift == (0.0, 0.0)

    @property
    def top(self) -> float:
        """Upper face of the sheet, mm."""
        return self.bottom + len(self.slices) * self.layer

    @property
    def thickness(self) -> float:
        """Thickness of the stray sheet, penetration included, mm."""
        return len(self.slices) * self.layer + (self.penetration if self.slices else 0.0)

    @property
    def sheet_gap(self) -> float:
        """Thickest that powder stays loose where the part has metal and no slice has, mm."""
        return max(0.0, len(self.slices) * self.layer - self.welded)


@dataclass(frozen=True)
class Gate:
    """A section that makes a slab metal wherever it is metal itself.

    Attributes
    ----------
    body : str
        "melted": the part and what was melted with it; "part": the part;
        "plane": the bounding rectangle; "plugs": what closes the mouths.
    z : float, mm
        Nominal height of the section.
    shift : tuple of float, mm
        How far the section is moved in plan.
    above : bool
        Just above `z`, where a level face lies there; otherwise just below.
    """

    body: str
    z: float
    shift: tuple[float, float]
    above: bool = False


@dataclass(frozen=True)
class Slab:
    """A range of height in which the predicted part has one recipe.

    Metal is the nominal `body`, moved by `shift` and raised by `lift` (not at all
    if `lift` is None), together with every gate over the slab's whole height.
    """

    low: float
    high: float
    lift: float | None
    shift: tuple[float, float]
    gates: tuple[Gate, ...] = ()
    stray: int = NONE
    body: str = "part"


def slabs(events: tuple[Event, ...], loose: bool = False) -> tuple[Slab, ...]:
    """Slabs from minus to plus infinity for events in rising order of height.

    Within a sheet only the slices were melted. Where the part has metal and the
    slice has none the powder stayed loose; for passages that gap counts as metal,
    so the nominal (or, if the part above is lifted, its sections at the cut) is
    united with the slices. The first slice reaches below its face, into an earlier
    sheet too. With `loose` the gap is left out, but for what the layers above it
    surely melt again. Source: docs/method.md, "The predicted part".
    """
    table: list[Slab] = []
    low, lift, shift = -np.inf, 0.0, (0.0, 0.0)
    for event in events:
        moved = (shift[0] + event.shift[0], shift[1] + event.shift[1])
        body = "plane" if event.plane else "melted"
        gates = [Gate(body, z, moved) for z in event.slices]
        for k in event.unknown_slices:
            gates[k] = replace(gates[k], body="plane")
        deep = reaches(event)[0][0] if gates else event.bottom
        if not loose:
            table = [piece for slab in table for piece in _melted_above(slab, deep, gates[:1])]
        if event.spread > 0.0:
            table += _anywhere(event, gates, low, lift, shift)
            low = event.top + event.spread
            continue
        between = Slab(low, event.bottom, lift, shift)
        for piece in _melted_above(between, deep, gates[:1]):
            table.append(replace(piece, stray=event.stray) if piece.gates else piece)
        sheet = _loose if loose else _sheet
        table += sheet(event, gates, lift, moved)
        low, lift, shift = event.top, lift + event.rise, moved
    table.append(Slab(low, np.inf, lift, shift))
    return tuple(slab for slab in table if slab.low < slab.high)


def _melted_above(slab: Slab, deep: float, gates: list[Gate]) -> list[Slab]:
    """A slab parted at the height down to which the slice of a later sheet is melted."""
    if not gates or deep >= slab.high:
        return [slab]
    face = max(deep, slab.low)
    reached = replace(slab, low=face, gates=(*slab.gates, *gates))
    return [replace(slab, high=face), reached] if face > slab.low else [reached]


def _layers(event: Event, gates: list[Gate]) -> list[tuple[float, float, Gate]]:
    bottom, layer = event.bottom, event.layer
    return [(bottom + k * layer, bottom + (k + 1) * layer, g) for k, g in enumerate(gates)]


def _cuts(event: Event, lift: float, moved: tuple[float, float]) -> tuple[Gate, ...]:
    """Sections of the part where it ends below a sheet and where it goes on above it."""
    below = Gate("part", event.bottom - lift, moved)
    above = Gate("part", event.top - (lift + event.rise), moved, above=True)
    return below, above


def _sheet(event: Event, gates: list[Gate], lift: float, moved: tuple[float, float]) -> list[Slab]:
    """Slabs of a sheet for passages: gaps count as metal."""
    if event.rise == 0.0:
        return [Slab(a, b, lift, moved, (g,), event.stray) for a, b, g in _layers(event, gates)]
    cuts = _cuts(event, lift, moved)
    return [Slab(a, b, None, moved, (g, *cuts), event.stray) for a, b, g in _layers(event, gates)]


def reaches(event: Event) -> list[tuple[float, float]]:
    """Lower and upper end of each wrong slice; of a sheet with a spread, over all its places."""
    ends = []
    for k in range(len(event.slices)):
        low = event.bottom + k * event.layer - (event.penetration if k == 0 else 0.0)
        high = event.bottom + (k + 1) * event.layer
        ends.append((low + event.spread, high) if event.sure else (low, high + event.spread))
    return ends


def _anywhere(
    event: Event, gates: list[Gate], under: float, lift: float, shift: tuple[float, float]
) -> list[Slab]:
    """Slabs up to the top of a sheet that lies anywhere in its spread.

    What all these sheets share, or any of them has.
    """
    if not event.still:
        raise ValueError("sheets that move the part above them have no simple hull")
    top = event.top + event.spread
    ends = [(max(a, under), b, gate) for (a, b), gate in zip(reaches(event), gates, strict=True)]
    ends = [(a, b, gate) for a, b, gate in ends if a < b]
    edges = {top, *(a for a, _, _ in ends), *(b for _, b, _ in ends)}
    table = []
    for a, b in pairwise([under, *sorted(z for z in edges if z > under)]):
        here = tuple(gate for low, high, gate in ends if low <= a and b <= high)
        table.append(Slab(a, b, lift, shift, here, event.stray if here else NONE))
    return table


def _loose(event: Event, gates: list[Gate], lift: float, moved: tuple[float, float]) -> list[Slab]:
    """Slabs of a sheet as melted: every layer, the first above it too, reaches below its face."""
    layers = _layers(event, gates)
    above = Gate("part", event.top - (lift + event.rise), moved, above=True)
    melted = [(a - event.welded, b, gate) for a, b, gate in layers]
    melted.append((event.top - event.welded, np.inf, above))
    faces = [event.bottom, *(b for _, b, _ in layers)]
    lows, highs = [low for low, _, _ in melted], [high for _, high, _ in melted]  # both rise
    reached = (low for low in lows if _off_all(low, faces) > ROUNDING_MM)
    faces = sorted([*faces, *(low for low in reached if event.bottom < low < event.top)])
    table = []
    for a, b in pairwise(faces):
        z = 0.5 * (a + b)
        here = melted[bisect_right(highs, z) : bisect_left(lows, z)]
        table.append(Slab(a, b, None, moved, tuple(gate for _, _, gate in here), event.stray))
    return table


def _off_all(z: float, faces: list[float]) -> float:
    """How far a height is off the nearest of rising faces."""
    n = bisect_left(faces, z)
    return min(abs(z - face) for face in faces[max(n - 1, 0) : n + 1])


def offset(events: tuple[Event, ...], z: float) -> NDArray[np.float64]:
    """How far what is nominal at height z has moved, (3,) mm; at a cut it moves with the upper."""
    lift, shift = 0.0, (0.0, 0.0)
    for event in events:
        if z + lift >= event.bottom:
            lift += event.rise
            shift = (shift[0] + event.shift[0], shift[1] + event.shift[1])
    return np.array([*rounded(shift), lift])


def slab_at(table: tuple[Slab, ...], z: float, above: bool) -> Slab:
    """Return the slab of a table that holds z, just above or just below it."""
    for slab in table:
        if slab.low <= z < slab.high if above else slab.low < z <= slab.high:
            return slab
    return table[-1]


def pieces_of(table: tuple[Slab, ...]) -> list[tuple[float, float, float, tuple[float, float]]]:
    """Stretches of z over which the nominal part is moved in one piece: ends, lift, shift."""
    pieces: list[tuple[float, float, float, tuple[float, float]]] = []
    for slab in table:
        if slab.lift is None:
            continue
        last = pieces[-1] if pieces else None
        if last and last[1] == slab.low and last[2:] == (slab.lift, slab.shift):
            pieces[-1] = (last[0], slab.high, *last[2:])
        else:
            pieces.append((slab.low, slab.high, slab.lift, slab.shift))
    return pieces


def plugs_only(table: tuple[Slab, ...]) -> tuple[Slab, ...]:
    """Where the plugs of mouths stand in the predicted part, without part and slices."""
    shut = {
        slab: tuple(replace(g, body="plugs") for g in slab.gates if g.body == "part")
        for slab in table
    }
    return tuple(replace(slab, gates=shut[slab], body="plugs") for slab in table)


def rounded(shift: tuple[float, float]) -> tuple[float, float]:
    """A shift as columns can follow it: whole even units."""
    if shift == (0.0, 0.0):
        return shift
    return snap_even(shift[0]) * UNIT_MM, snap_even(shift[1]) * UNIT_MM


Casts = dict[tuple[str, tuple[float, float]], Runs]
"""Runs of a body ("part", "melted", "plane") by the shift at which it was cut."""


def bodies(table: tuple[Slab, ...]) -> tuple[tuple[str, tuple[float, float]], ...]:
    """Which casts `assemble` needs for a table."""
    need: list[tuple[str, tuple[float, float]]] = []
    for slab in table:
        wanted = [] if slab.lift is None else [(slab.body, rounded(slab.shift))]
        wanted += [(gate.body, rounded(gate.shift)) for gate in slab.gates]
        need += [key for key in wanted if key not in need]
    return tuple(need)


def assemble(table: tuple[Slab, ...], casts: Casts) -> Runs:
    """Predicted metal runs from nominal ones, exact in z however thin the sheet.

    Parameters
    ----------
    table : tuple of Slab
    casts : dict
        Runs for every key of ``bodies(table)``, all over the same grid.

    Returns
    -------
    Runs
        Works alike for metal of columns and for what is surely metal of a
        square or strip: a gate counts where its z lies in an interval.
    """
    keys = list(casts)
    columns = casts[keys[0]].start.shape[0] - 1
    offset = np.cumsum([0] + [casts[key].z.shape[0] for key in keys])
    start = np.stack([casts[key].start + offset[n] for n, key in enumerate(keys)])
    z = np.concatenate([casts[key].z for key in keys])
    source = np.full(len(table), NONE)
    lift = np.zeros(len(table))
    gate_start = np.zeros(len(table) + 1, np.int64)
    gate_cast: list[int] = []
    gate_z: list[float] = []
    for n, slab in enumerate(table):
        if slab.lift is not None:
            source[n] = keys.index((slab.body, rounded(slab.shift)))
            lift[n] = slab.lift
        for gate in slab.gates:
            gate_cast.append(keys.index((gate.body, rounded(gate.shift))))
            gate_z.append(gate.z)
        gate_start[n + 1] = len(gate_cast)
    bounds = np.array([(slab.low, slab.high) for slab in table])
    return Runs(
        *_assemble(
            columns,
            start,
            z,
            bounds,
            source,
            lift,
            gate_start,
            np.array(gate_cast, np.int64),
            np.array(gate_z, np.float64),
        )
    )


@inner
def _holds(start, z, c, at):  # type: ignore[no-untyped-def]
    for a in range(start[c], start[c + 1]):
        if z[a, 0] > at:
            return False
        if z[a, 1] >= at:
            return True
    return False


@kernel
def _assemble(columns, start, z, bounds, source, lift, gate_start, gate_cast, gate_z):  # type: ignore[no-untyped-def]
    slab_count = bounds.shape[0]
    out_start = np.zeros(columns + 1, np.int64)
    out = np.empty((z.shape[0] + columns + 16, 2), np.float64)
    n = 0
    for c in range(columns):
        for s in range(slab_count):
            low, high = bounds[s, 0], bounds[s, 1]
            full = False
            for g in range(gate_start[s], gate_start[s + 1]):
                cast = gate_cast[g]
                if _holds(start[cast], z, c, gate_z[g]):
                    full = True
                    break
            first, last = 0, 1
            if not full:
                if source[s] < 0:
                    continue
                first, last = start[source[s], c], start[source[s], c + 1]
            for a in range(first, last):
                if full:
                    z0, z1 = low, high
                else:
                    z0 = max(low, z[a, 0] + lift[s])
                    z1 = min(high, z[a, 1] + lift[s])
                    if z0 >= z1:
                        if z[a, 0] + lift[s] >= high:
                            break
                        continue
                if n > out_start[c] and z0 <= out[n - 1, 1]:
                    out[n - 1, 1] = max(out[n - 1, 1], z1)
                    continue
                if n == out.shape[0]:
                    out = grown_runs(out)
                out[n, 0] = z0
                out[n, 1] = z1
                n += 1
        out_start[c + 1] = n
    return out_start, out[:n].copy()
