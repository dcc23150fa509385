"""What a level section consists of, as data for a figure.

In: nothing. Out: `LevelSection` and its parts: polygons in mm, words, numbers.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import shapely

from clearance.geometry.areas import polygonal
from clearance.predicted.slabs import Slab
from clearance.result import State

DETAIL_LETTERS = ("X", "Y")
"""Of the detail of a level section and of one through a drill; sections begin with A."""
CRUMB_MM2 = 1e-3
"""Areas below this are rounding and are not drawn."""
NOTHING = shapely.Polygon()


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
        return drawn(self.nominal.difference(self.open))

    @property
    def open_fraction(self) -> float:
        """Open over nominal area in this section."""
        return float(min(self.open.area / self.nominal.area, 1.0))


@dataclass(frozen=True)
class Detail:
    """A place to be drawn larger: bounds (x0, y0, x1, y1) in mm and what is to be said of it.

    What is named in it has its name and its place.
    """

    bounds: tuple[float, float, float, float]
    title: str
    lines: tuple[str, ...]
    named: tuple[tuple[str, tuple[float, float]], ...] = ()


@dataclass(frozen=True)
class Deviation:
    """How far a measured outline lies off a predicted one.

    Attributes
    ----------
    at : (x, y), mm
        On the predicted outline.
    way : (x, y)
        Of length 1, towards the measured one.
    off_mm : float
        Above 0 where metal stands out, below 0 where it lacks.
    """

    at: tuple[float, float]
    way: tuple[float, float]
    off_mm: float


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
    joined : shapely geometry, mm
        Where one passage leads across a step into another.
    step : bool
        Taken where the part is set aside: `stray` has the metal of one side only, too.
    plane : str
        Where it is taken, in words.
    finished : shapely geometry, mm
        The finished shape where it is made from the part; empty where the case gives none.
    finished_words : str
        What it is, for the key.
    beneath : tuple of shapely geometry, mm
        At a step, outlines just below it of passages that another one above leads into.
    measured : shapely geometry, mm
        Metal as a scan has it; empty without one.
    measured_words : str
        What it is, for the key.
    deviations : tuple of Deviation
        Where it lies farthest off what is predicted.
    """

    title: str
    metal: Any
    stray: Any
    unmelted: Any
    voids: tuple[Void, ...]
    detail: Detail | None
    rows: tuple[Row, ...]
    footer: tuple[str, ...]
    joined: Any = NOTHING
    step: bool = False
    plane: str = ""
    beneath: tuple[Any, ...] = ()
    finished: Any = NOTHING
    finished_words: str = ""
    measured: Any = NOTHING
    measured_words: str = ""
    deviations: tuple[Deviation, ...] = ()

    @property
    def bounds(self) -> tuple[float, float, float, float]:
        """Bounds (x0, y0, x1, y1) of all that is drawn, mm."""
        shapes = [self.metal, self.stray, self.unmelted, *(void.nominal for void in self.voids)]
        x0, y0, x1, y1 = shapely.union_all(shapes).bounds
        return x0, y0, x1, y1


@dataclass(frozen=True, eq=False)
class Side:
    """What lies just below or just above a height: its slab of the predicted part."""

    z: float
    slab: Slab
    above: bool


@dataclass(frozen=True, eq=False)
class Level:
    """The height at which the section is taken, and what lies there.

    At a step, where the part is set aside, both sides count; elsewhere one does.
    """

    asked: float
    upper: Side
    lower: Side | None
    strays: frozenset[int]

    @property
    def z(self) -> float:
        """Height of the section, in mesh coordinates, mm."""
        return self.upper.z

    @property
    def sides(self) -> tuple[Side, ...]:
        """The sides that count."""
        return (self.upper,) if self.lower is None else (self.upper, self.lower)


def drawn(shape: Any) -> Any:
    """The areas of a geometry that are worth drawing."""
    parts = [p for p in shapely.get_parts(polygonal(shape)) if p.area > CRUMB_MM2]
    return shapely.MultiPolygon(parts)


def largest(shape: Any) -> Any:
    """The largest polygon of a geometry."""
    return max(shapely.get_parts(shape), key=lambda part: part.area)
