"""What a drawing shows, before anything is drawn: outlines, words and numbers.

In: a prepared case and the verdicts on its passages. Out: a `LevelSection`, the
exact polygons of the predicted part at one height, sorted by what they are. How
it looks is left to `plots` and `style`.
"""

from __future__ import annotations

import hashlib
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
import shapely

import clearance
from clearance.checked import Checked
from clearance.crossings import polygonal
from clearance.errors import ClearanceError
from clearance.passages import pieces_at
from clearance.predicted import NOMINAL, Predicted, moved_shape
from clearance.report import clear_diameter
from clearance.result import CrossingResult, PassageResult, State
from clearance.stray import NONE, Slab, rounded, slabs

GRAVEST = (State.BLOCKED, State.RESTRICTED, State.UNDETERMINED, State.OPEN)
"""States, the one first that a shared void is drawn with."""
CRUMB_MM2 = 1e-3
"""Areas below this are rounding and are not drawn."""
WHOLE = 0.995
"""Share of its area above which a piece is called fully open."""
DETAIL_MARGIN = 0.35
"""Room around the crossing in the detail, as a share of its size."""


@dataclass(frozen=True, eq=False)
class Void:
    """One piece of passages in a section.

    Attributes
    ----------
    names : tuple of str
        Passages that run through it.
    state : State
        The gravest of theirs.
    nominal, open : shapely geometry, mm
        Outline of the nominal passage where it now lies, and what is open of it.
    at : (x, y), mm
        A point inside, for the label.
    label : tuple of str
        Lines of the label.
    """

    names: tuple[str, ...]
    state: State
    nominal: Any
    open: Any
    at: tuple[float, float]
    label: tuple[str, ...]

    @property
    def closed(self) -> Any:
        """What metal fills of the nominal outline."""
        return _drawn(self.nominal.difference(self.open))

    @property
    def open_fraction(self) -> float:
        """Open over nominal area in this section."""
        return float(min(self.open.area / self.nominal.area, 1.0))


@dataclass(frozen=True)
class Detail:
    """A place to be drawn larger: bounds (x0, y0, x1, y1) in mm and what is to be said of it."""

    bounds: tuple[float, float, float, float]
    title: str
    lines: tuple[str, ...]


@dataclass(frozen=True)
class Row:
    """What the sheet says of one passage."""

    name: str
    state: State
    numbers: str


@dataclass(frozen=True, eq=False)
class LevelSection:
    """A section of the predicted part at one height.

    Attributes
    ----------
    title : str
        The finding.
    metal, stray, unmelted : shapely geometry, mm
        Metal that belongs there, metal that does not, and powder that should be metal.
    voids : tuple of Void
    detail : Detail or None
        The worst crossing, if the section lies in a stray sheet.
    rows : tuple of Row
    footer : tuple of str
    """

    title: str
    metal: Any
    stray: Any
    unmelted: Any
    voids: tuple[Void, ...]
    detail: Detail | None
    rows: tuple[Row, ...]
    footer: tuple[str, ...]

    @property
    def bounds(self) -> tuple[float, float, float, float]:
        """Bounds (x0, y0, x1, y1) of all that is drawn, mm."""
        shapes = [self.metal, self.stray, self.unmelted, *(void.nominal for void in self.voids)]
        x0, y0, x1, y1 = shapely.union_all(shapes).bounds
        return x0, y0, x1, y1


@dataclass(frozen=True, eq=False)
class _Level:
    """The height at which the section is taken, and what lies there."""

    asked: float
    z: float
    slab: Slab
    strays: frozenset[int]


def level_section(
    checked: Checked, passages: Sequence[PassageResult], height_mm: float
) -> LevelSection:
    """Section of the predicted part, level, with its passages coloured by state.

    Where the case leaves several events possible, the first of them is drawn (middle
    height) and the footer says so.

    Parameters
    ----------
    checked : Checked
    passages : sequence of PassageResult
        Verdicts on the passages of the case, in its order.
    height_mm : float
        Height above the platform, as the machine stood. Within a stray sheet the section
        is taken in the middle of the layer that holds it.

    Raises
    ------
    ClearanceError
        The predicted part has no metal at that height.
    """
    predicted = checked.whole.predict(checked.unknowns.variants[0].events)
    level = _level(checked, predicted, height_mm)
    _inside(checked, predicted, height_mm)
    metal, stray, unmelted = _metals(predicted, level)
    voids = _voids(checked, predicted, level, passages)
    return LevelSection(
        _title(passages, level),
        metal,
        stray,
        unmelted,
        voids,
        _detail(voids, passages, level),
        tuple(_row(p) for p in passages),
        _footer(checked, level, height_mm),
    )


# ---- where -----------------------------------------------------------------------------------


def platform_z(checked: Checked) -> float:
    """Height of the platform in the mesh's coordinates, mm."""
    given = checked.case.part.platform_z
    return float(checked.bodies.bounds[0, 2]) if given is None else given


def _level(checked: Checked, predicted: Predicted, height_mm: float) -> _Level:
    z = platform_z(checked) + height_mm
    slab = predicted.slab_at(z, above=True)
    strays = set() if slab.stray == NONE else {slab.stray}
    for number, soup in checked.bodies.added_by_stray.items():
        if soup[..., 2].min() <= z <= soup[..., 2].max():
            strays.add(number)
    middle = z if slab.stray == NONE else 0.5 * (slab.low + slab.high)
    return _Level(z, middle, slab, frozenset(strays))


def _inside(checked: Checked, predicted: Predicted, height_mm: float) -> None:
    """Refuse a height at which there is no part."""
    low, high = (float(z) for z in checked.bodies.bounds[:, 2])
    high += float(predicted.moved(np.array([0.0, 0.0, high]))[2]) - high
    base = platform_z(checked)
    if not low <= base + height_mm <= high:
        raise ClearanceError(
            f"--at-height: found {height_mm:g}, expected {low - base:g} to {high - base:g}: the "
            "heights above the platform between which the predicted part stands"
        )


# ---- what ------------------------------------------------------------------------------------


def _metals(predicted: Predicted, level: _Level) -> tuple[Any, Any, Any]:
    """Metal that belongs at this height, stray metal, and what stayed powder."""
    taken = predicted.section(level.z)
    proper = _proper(predicted, level, "part")
    unmelted = shapely.Polygon()
    if level.slab.lift is None or level.slab.stray != NONE:
        unmelted = taken.difference(_as_melted(predicted, level))
    stray = taken.difference(proper).difference(unmelted)
    kept = taken.difference(stray).difference(unmelted)
    return _drawn(kept), _drawn(stray), _drawn(unmelted)


def _proper(predicted: Predicted, level: _Level, body: str) -> Any:
    """Section that the nominal part has here, moved as it is; at a cut, what lies below it."""
    slab = level.slab
    if slab.lift is not None:
        nominal = predicted.window.metal(body, level.z - slab.lift)
        return moved_shape(nominal, rounded(slab.shift))
    cuts = [gate for gate in slab.gates if gate.body == "part"]
    return shapely.union_all(
        [moved_shape(predicted.window.metal(body, g.z), rounded(g.shift)) for g in cuts]
    )


def _as_melted(predicted: Predicted, level: _Level) -> Any:
    """Section without the gaps that stayed powder."""
    for slab in slabs(predicted.events, loose=True):
        if slab.low <= level.z < slab.high:
            pieces = [predicted.sheet(slab)]
            if slab.lift is not None:
                pieces.append(_proper(predicted, level, "part"))
            if predicted.window.bodies.added is not None:
                pieces.append(predicted.window.metal("added", level.z))
            return shapely.union_all(pieces)
    raise AssertionError("the slabs reach from below to above everything")


def _drawn(shape: Any) -> Any:
    parts = [p for p in shapely.get_parts(polygonal(shape)) if p.area > CRUMB_MM2]
    return shapely.MultiPolygon(parts)


def _voids(
    checked: Checked, predicted: Predicted, level: _Level, passages: Sequence[PassageResult]
) -> tuple[Void, ...]:
    """Pieces of the passages in the section, in their order, then from left to right."""
    window = predicted.window
    states = {p.name: p.state for p in passages}
    owners = _owners(checked)
    void = window.rectangle.difference(predicted.section(level.z, plugged=True))
    found = []
    for piece, point in _nominal_pieces(predicted, level):
        names = tuple(name for name, owns in owners.items() if owns(point))
        if not names:
            continue
        left = _drawn(piece.intersection(void))
        state = min((states[name] for name in names), key=GRAVEST.index)
        inside = piece if left.is_empty else left
        at = shapely.get_coordinates(_largest(inside).representative_point())[0]
        label = _label(checked, level, names, state, left.area / piece.area, at)
        found.append(Void(names, state, piece, left, (float(at[0]), float(at[1])), label))
    order = list(owners)
    return tuple(sorted(found, key=lambda v: (order.index(v.names[0]), *v.at)))


def _owners(checked: Checked) -> dict[str, Callable[[Any], bool]]:
    """For every passage, whether a nominal point lies in its void."""
    void = checked.whole.predict(NOMINAL).possible
    pitch = checked.whole.grid.pitch_mm

    def test(own: set[int]) -> Callable[[Any], bool]:
        return lambda point: bool(void.pieces_at(point[None]) & own)

    return {
        p.name: test(pieces_at(void, checked.ends(p)[0], pitch) - {void.outside})
        for p in checked.case.passage
    }


def _nominal_pieces(predicted: Predicted, level: _Level) -> Iterator[tuple[Any, Any]]:
    """Pieces of nominal void where they now lie, each with a point of it in nominal place."""
    slab, window = level.slab, predicted.window
    if slab.lift is not None:
        z = level.z - slab.lift
    else:
        z = next(gate.z for gate in slab.gates if gate.body == "part")
    shift = np.array(rounded(slab.shift))
    for piece in shapely.get_parts(window.rectangle.difference(window.metal("closed", z))):
        if piece.geom_type != "Polygon" or piece.area <= CRUMB_MM2:
            continue
        x, y = shapely.get_coordinates(piece.representative_point())[0]
        yield moved_shape(piece, (float(shift[0]), float(shift[1]))), np.array([x, y, z])


def _largest(shape: Any) -> Any:
    return max(shapely.get_parts(shape), key=lambda part: part.area)


# ---- words -----------------------------------------------------------------------------------


def _label(
    checked: Checked,
    level: _Level,
    names: tuple[str, ...],
    state: State,
    share: float,
    at: Any,
) -> tuple[str, ...]:
    lines = [", ".join(names), state.value]
    if level.strays:
        lines.append(share_in_words(share))
    lines += _nearest_port(checked, names, np.array([*at, level.z]))
    return tuple(lines)


def share_in_words(share: float) -> str:
    """What is open of a piece in this section."""
    if share <= 0.0:
        return "sealed here"
    if share >= WHOLE:
        return "fully open here"
    return f"{share:.0%} open here"


def _nearest_port(checked: Checked, names: tuple[str, ...], at: Any) -> list[str]:
    """The port that is clearly the nearest, and how far it lies below or above."""
    near = []
    for name in names:
        for end in ("inlet", "outlet"):
            mouth = checked.mouths[f"{name} {end}"]
            near.append((float(np.linalg.norm(mouth.centre - at)), mouth.name, mouth))
    near.sort(key=lambda item: item[0])
    if len(near) > 1 and near[0][0] > 0.7 * near[1][0]:
        return []
    _, name, mouth = near[0]
    rise = float(at[2] - mouth.centre[2])
    place = "below" if rise > 0 else "above"
    shown = name if len(names) > 1 else name.removeprefix(f"{names[0]} ")
    if abs(rise) < 0.5 * mouth.radius:
        return [f"at {shown}"]
    return [f"{shown} {abs(rise):.1f} mm {place}"]


def _hurt(passage: PassageResult, strays: frozenset[int]) -> list[CrossingResult]:
    """Crossings with these stray sheets that leave less than they should."""
    return [
        c for c in passage.crossings if c.stray in strays and (c.sealed or c.open_fraction < WHOLE)
    ]


def _unclear(passage: PassageResult, strays: frozenset[int]) -> bool:
    """Whether it crosses one of these sheets and is undetermined.

    The event that is drawn may leave it open while another does not.
    """
    crosses = any(c.stray in strays for c in passage.crossings)
    return crosses and passage.state is State.UNDETERMINED


def _title(passages: Sequence[PassageResult], level: _Level) -> str:
    z = f"z = {_number(level.asked)} mm"
    bad = [p for p in passages if p.state is not State.OPEN]
    here = [p for p in bad if _hurt(p, level.strays) or _unclear(p, level.strays)]
    if here:
        here.sort(key=lambda p: GRAVEST.index(p.state))
        return f"{_listed(here)} at {z}"
    if level.strays:
        touched = [p for p in passages if _hurt(p, level.strays)]
        if touched:
            names = ", ".join(p.name for p in touched[:3])
            more = f" and {len(touched) - 3} more" if len(touched) > 3 else ""
            return f"{names}{more} narrowed at {z}, still open"
        return f"No passage is narrowed by the stray sheet at {z}"
    finding = f"No stray metal at {z}"
    if bad:
        return f"{finding}; elsewhere: {_listed(sorted(bad, key=lambda p: GRAVEST.index(p.state)))}"
    return f"{finding}; all passages are open"


def _listed(passages: Sequence[PassageResult]) -> str:
    named = [f"{p.name} {p.state.value}" for p in passages[:3]]
    more = f" and {len(passages) - 3} more" if len(passages) > 3 else ""
    return ", ".join(named) + more


def _detail(
    voids: tuple[Void, ...], passages: Sequence[PassageResult], level: _Level
) -> Detail | None:
    """The crossing that is left least open, larger."""
    if not level.strays or not voids:
        return None
    void = min(voids, key=lambda v: (round(v.open_fraction, 3), GRAVEST.index(v.state)))
    x0, y0, x1, y1 = void.nominal.bounds
    room = DETAIL_MARGIN * max(x1 - x0, y1 - y0)
    near = _nearest_crossing(void, passages, level.strays)
    lines: tuple[str, ...] = ()
    if near is not None:
        lines = (
            f"open area {near.open_area_mm2:.1f} of {near.nominal_area_mm2:.1f} mm²",
            "nothing passes" if near.sealed else f"at most {near.clear_diameter_mm:.2f} mm passes",
        )
    title = f"detail A: {', '.join(void.names)}, {share_in_words(void.open_fraction)}"
    return Detail((x0 - room, y0 - room, x1 + room, y1 + room), title, lines)


def _nearest_crossing(
    void: Void, passages: Sequence[PassageResult], strays: frozenset[int]
) -> CrossingResult | None:
    """The crossing of the result that this piece belongs to."""
    own = [c for p in passages if p.name in void.names for c in p.crossings if c.stray in strays]
    if not own:
        return None
    gap = [void.nominal.distance(shapely.Point(c.centre_mm[:2])) for c in own]
    return own[int(np.argmin(gap))]


def _row(passage: PassageResult) -> Row:
    shown = clear_diameter(passage.clear_diameter_mm, passage.required_mm)
    return Row(passage.name, passage.state, f"{shown} mm clear, {passage.required_mm:g} needed")


def _number(value: float) -> str:
    return f"{value:.3f}".rstrip("0").rstrip(".")


def _footer(checked: Checked, level: _Level, height_mm: float) -> tuple[str, ...]:
    where = f"level section at z = {_number(level.z)} mm in mesh coordinates"
    if level.z != level.asked:
        where += f", the middle of the layer at {_number(height_mm)} mm above the platform"
    else:
        where += f", {_number(height_mm)} mm above the platform"
    several = checked.unknowns.variants
    if len(several) > 1:
        where += f"; one of {len(several)} possible events is drawn: {several[0].said}"
    first, last = passage_footer(checked)
    return (first, where, last)


def passage_footer(checked: Checked) -> tuple[str, str]:
    """Which part, and what the figure was computed from."""
    case = checked.case
    record = case.record
    known = (
        ("drawing", record.drawing),
        ("revision", record.revision),
        ("serial", record.serial),
        ("nonconformity", record.nonconformity),
    )
    first = [f"part {case.part.name}", *(f"{key} {value}" for key, value in known if value)]
    last = (
        f"case {case.path.name}; columns {checked.pitch_mm:g} mm apart; outlines exact; "
        f"clear diameters as proven brackets; clearance {clearance.__version__}; "
        f"input {input_hash(checked)}"
    )
    return "; ".join(first), last


def input_hash(checked: Checked) -> str:
    """First 12 digits of the SHA-256 over the case's text and all triangles it refers to."""
    digest = hashlib.sha256(checked.case.text_sha256.encode())
    soups = [checked.bodies.part, checked.bodies.melted, *checked.bodies.added_by_stray.values()]
    for soup in soups:
        digest.update(np.ascontiguousarray(soup).tobytes())
    return digest.hexdigest()[:12]
