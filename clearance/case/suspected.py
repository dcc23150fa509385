"""[suspected]: which events might explain the part, as ranges, and every one of them.

In: the table as written and the stray sheets of the case. Out: a `Suspect` for each event that the
ranges hold, the event as told among them. What they would leave on the part is left to others.
"""

from __future__ import annotations

import itertools
import math
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Annotated, Any, Literal

from pydantic import AfterValidator, BeforeValidator, ConfigDict, Field

from clearance.case.kinds import (
    AnyList,
    LayerRange,
    LengthRange,
    Positive,
    Table,
    key,
    refuse,
)
from clearance.case.stray_tables import StrayTable, growth

Cause = Literal["event", "mesh"]
Way = Literal["height", "layer"]
Also = Literal["mesh", "none"]
Fault = Callable[[tuple[str, ...], str], None]
"""Takes the key of [suspected], in steps, and what was expected of it."""

MOST_SUSPECTS = 50_000
"""Events that are looked at, at most; more is refused rather than thinned out."""
WHOLE = 1e-6
"""A height so near to a whole layer, in layers, is one."""

TYPICAL_U: dict[str, tuple[float, str]] = {
    "rim_top": (0.03, "mm"),
    "rim_bottom": (0.05, "mm"),
    "rim_thickness": (0.03, "mm"),
    "rim_width": (0.05, "mm"),
    "step": (0.05, "mm"),
    "part_height": (0.03, "mm"),
    "mass": (0.005, "of the part's mass"),
    "open_area": (0.05, "of the nominal area"),
}
"""Standard uncertainty of what might be measured next, where the case is silent. Common practice
of hand tools in a workshop, no source: an assumption, said as one. Weighing: the scatter of
sister parts, as for the signs."""


def _once(values: tuple[Any, ...]) -> tuple[Any, ...]:
    if len(set(values)) != len(values):
        raise refuse("each word once")
    return values


def _u_of_known(values: dict[str, float]) -> dict[str, float]:
    for name in values:
        if name not in TYPICAL_U:
            raise refuse(f"kinds of reading among {', '.join(TYPICAL_U)}")
    return values


_Weight = Annotated[float, Field(ge=0, le=1e6)]


class SuspectedTable(Table):
    """[suspected] as written."""

    model_config = ConfigDict(json_schema_extra={"not": {"required": ["height", "after_layer"]}})

    height: LengthRange | None = key(
        "Bottom of the first stray layer above the platform, as the machine stood: every whole "
        "layer in the range; one value or `[low, high]`.",
        "mm",
        None,
        "as in the last [[stray]]",
    )
    after_layer: LayerRange | None = key(
        "Instead of height: number of the last good layer, counted from 0; one value or "
        "`[low, high]`.",
        "",
        None,
        "as in the last [[stray]]",
    )
    from_layer: LayerRange | None = key(
        "First wrong layer melted, counted from 0; one value or `[low, high]`.",
        "",
        None,
        "as in the last [[stray]]",
    )
    layers: LayerRange | None = key(
        "How many stray layers; one value or `[low, high]`.", "", None, "as in the last [[stray]]"
    )
    resume: (
        Annotated[
            tuple[Way, ...], BeforeValidator(AnyList), AfterValidator(_once), Field(min_length=1)
        ]
        | None
    ) = key(
        "What the build was resumed with: a list of `height` and `layer`.",
        "",
        None,
        "as in the last [[stray]]",
    )
    also: Annotated[tuple[Also, ...], BeforeValidator(AnyList), AfterValidator(_once)] = key(
        "Besides events: `mesh`, the file itself holds what is found and the build was right; "
        "`none`, none of the suspects (it is tested anyway, and only said to be expected).",
        "",
        (),
    )
    weights: dict[str, _Weight] | None = key(
        'Weights before anything is measured, `"resume=height" = 0.8`; of a key that is named, '
        "every value. Only with them percentages are given.",
        "",
        None,
        "every suspect weighs the same",
    )
    u_next: Annotated[dict[str, Positive], AfterValidator(_u_of_known)] = key(
        "Standard uncertainty of what might be measured next, by kind of reading, "
        "`rim_top = 0.03`; mm, g or mm2.",
        "",
        {},
    )


@dataclass(frozen=True, slots=True)
class Suspect:
    """One event that might explain the part.

    Attributes
    ----------
    cause : {"event", "mesh"}
        "mesh": the build was right and the file itself holds what is found.
    height : float, mm
        Bottom of the first stray layer above the platform, as the machine stood.
    after_layer : int or None
        Last good layer, counted from 0; None where the height is not that of a whole layer.
    from_layer, layers : int
        First wrong layer, and how many.
    resume : {"height", "layer"} or None
        None: with the [[stray]]'s own `next_layer`.
    weight : float
        Before anything is measured; those of all suspects add up to 1.
    told : bool
        It is (one of) what the [[stray]] itself says.
    """

    cause: Cause
    height: float = 0.0
    after_layer: int | None = None
    from_layer: int = 0
    layers: int = 0
    resume: Way | None = None
    weight: float = 0.0
    told: bool = False


@dataclass(frozen=True, slots=True)
class Suspected:
    """The ranges, read: which stray sheet they replace, and what they hold.

    Attributes
    ----------
    stray : int
        Number of the stray sheet that every suspect replaces.
    suspects : tuple of Suspect
    weighted : bool
        The file gives weights.
    none : bool
        The file expects that it may be none of them.
    u_next : dict
        Standard uncertainties of what might be measured next, as given.
    """

    stray: int
    suspects: tuple[Suspect, ...]
    weighted: bool
    none: bool
    u_next: Mapping[str, float]


def as_stray(told: StrayTable, suspect: Suspect) -> StrayTable:
    """The stray sheet of a suspect: that of the case with its own numbers."""
    return replace(
        told,
        height=suspect.height,
        from_layer=suspect.from_layer,
        layers_low=suspect.layers,
        layers_high=suspect.layers,
        resume=suspect.resume,
        next_layer=told.next_layer if suspect.resume is None else None,
        height_uncertainty=0.0,
    )


def read_suspected(
    table: SuspectedTable, strays: Sequence[StrayTable], layer_thickness: float, fault: Fault
) -> Suspected | None:
    """Every event that the ranges hold.

    Parameters
    ----------
    table : SuspectedTable
    strays : sequence of StrayTable
        Of the case, without fault; the last is replaced.
    layer_thickness : float, mm
    fault : callable
        Told of each key that does not fit; () for the table itself.

    Returns
    -------
    Suspected or None
        None where a fault was told.
    """
    told = strays[-1] if strays else None
    if told is None or told.height is None:
        found = "no [[stray]] at all" if told is None else 'one of shape "mesh"'
        fault((), f"a last [[stray]] with height and layers, the event as told; there is {found}")
        return None
    below: tuple[float, float] | None = (0.0, 0.0)
    for stray in strays[:-1]:
        below = growth(stray, layer_thickness, below)
    axes = _Axes(table, told, layer_thickness, below)
    faults = [*axes.faults(strays[:-1])]
    for name, expected in faults:
        fault(name, expected)
    if faults:
        return None
    found_ones = axes.suspects()
    return Suspected(
        len(strays) - 1,
        found_ones,
        table.weights is not None,
        "none" in table.also,
        dict(table.u_next),
    )


class _Axes:
    """The values of each key, those of the event as told where the table is silent."""

    def __init__(
        self,
        table: SuspectedTable,
        told: StrayTable,
        layer: float,
        grown: tuple[float, float] | None,
    ):
        self.table, self.told, self.layer = table, told, layer
        self.grown = grown[0] if grown is not None and grown[0] == grown[1] else None
        self.from_layer = _span(table.from_layer or (told.from_layer, told.from_layer))
        self.layers = _span(table.layers or (told.layers_low, told.layers_high))
        self.resume: tuple[Way | None, ...] = table.resume or self._told_resume()
        self.beyond = 0
        self.heights = self._heights()

    def _told_resume(self) -> tuple[Way | None, ...]:
        resume = self.told.resume
        if resume is None:
            return (None,)
        return ("height", "layer") if resume == "unknown" else (resume,)

    def _told_heights(self) -> list[float]:
        """Those that the [[stray]] leaves open: its own, and whole layers as far as it may lie."""
        assert self.told.height is not None
        half = self.told.height_uncertainty
        within = self._whole(self.told.height - half, self.told.height + half) if half else []
        return sorted({self.told.height, *within})

    def _heights(self) -> list[float]:
        """Heights above the platform, rising."""
        if self.table.height is not None:
            return self._whole(*self.table.height)
        if self.table.after_layer is None:
            return self._told_heights()
        base = self.grown or 0.0
        return [self._at(n + 1, base) for n in _span(self.table.after_layer)]

    def _whole(self, low: float, high: float) -> list[float]:
        base = self.grown or 0.0
        first = math.ceil((low - base) / self.layer - WHOLE)
        last = math.floor((high - base) / self.layer + WHOLE)
        self.beyond = max(0, last - max(first, 0) + 1 - MOST_SUSPECTS)  # refused, never listed
        return [self._at(n, base) for n in range(max(first, 0), last + 1 - self.beyond)]

    def _at(self, layers: int, base: float) -> float:
        return round(layers * self.layer + base, 9)

    # ---- faults ---------------------------------------------------------------------------------

    def faults(self, below: Sequence[StrayTable]) -> Iterator[tuple[tuple[str, ...], str]]:
        """Keys that do not fit the event as told, the sheets below it or one another."""
        table, told = self.table, self.told
        where = ("after_layer" if table.after_layer is not None else "height",)
        if table.height is not None and table.after_layer is not None:
            yield where, "none beside height: only one of the two"
            return
        if table.after_layer is not None and self.grown is None:
            yield where, "none, but a height: how much the part has grown below is unknown"
        if not self.heights:
            yield where, f"a range that holds a whole number of layers of {self.layer:g} mm"
        tops = [s.height + s.height_uncertainty + s.layers_high * self.layer for s in below
                if s.height is not None]  # fmt: skip
        if tops and self.heights and self.heights[0] < max(tops) - 1e-9:
            yield where, f"heights from the top of the sheet below, {max(tops):g} mm, upwards"
        if told.shape == "plane" and table.from_layer is not None:
            yield ("from_layer",), 'none, since the [[stray]] has shape = "plane"'
        if self.layers[0] == 0 and (self.resume != (None,) or len(self.layers) > 1):
            yield ("layers",), "at least 1"
        count = self.count()
        if count > MOST_SUSPECTS:
            yield (), f"at most {MOST_SUSPECTS} suspects; these ranges hold {count}"
        elif self.heights:
            yield from self._weight_faults()

    def count(self) -> int:
        """How many suspects the ranges hold, the event as told and the mesh not counted."""
        heights = len(self.heights) + self.beyond
        return heights * len(self.from_layer) * len(self.layers) * len(self.resume)

    def _values(self) -> dict[str, list[str]]:
        """Values of each key that may have weights, as they are written."""
        known: dict[str, list[str]] = {
            "from_layer": [str(n) for n in self.from_layer],
            "layers": [str(n) for n in self.layers],
            "resume": [way for way in self.resume if way is not None],
            "cause": ["event", *(["mesh"] if "mesh" in self.table.also else [])],
        }
        numbers = [self.number(h) for h in self.heights]
        if None not in numbers:
            known["after_layer"] = [str(n) for n in numbers]
        return known

    def _weight_faults(self) -> Iterator[tuple[tuple[str, ...], str]]:
        weights, known = self.table.weights or {}, self._values()
        for name in weights:
            axis, _, value = name.partition("=")
            if axis not in known:
                yield ("weights", name), f"one of {_listed(known)} before the ="
            elif value not in known[axis]:
                yield ("weights", name), f"{axis} = one of {_listed(known[axis])}"
        for axis, values in known.items():
            given = [v for v in values if f"{axis}={v}" in weights]
            if given and len(given) < len(values):
                missing = _listed([v for v in values if v not in given])
                said = f"a weight for every value of {axis}; there is none for {missing}"
                yield ("weights",), said
            elif given and not any(weights[f"{axis}={v}"] for v in given):
                yield ("weights",), f"a weight above 0 for one value of {axis}"

    # ---- suspects -------------------------------------------------------------------------------

    def number(self, height: float) -> int | None:
        """Number of the last good layer below a height; None where it is no whole layer."""
        if self.grown is None:
            return None
        layers = (height - self.grown) / self.layer
        whole = round(layers)
        return whole - 1 if abs(layers - whole) < 1e-3 and whole > 0 else None

    def suspects(self) -> tuple[Suspect, ...]:
        """Every combination, and of the event as told what the ranges do not hold."""
        ranges = set(itertools.product(self.heights, self.from_layer, self.layers, self.resume))
        told = set(
            itertools.product(
                self._told_heights(),
                (self.told.from_layer,),
                _span((self.told.layers_low, self.told.layers_high)),
                self._told_resume(),
            )
        )
        ordered = sorted(ranges | told, key=lambda one: (one[0], one[1], one[2], one[3] or ""))
        found = [
            Suspect("event", h, self.number(h), k, n, way, 0.0, (h, k, n, way) in told)
            for h, k, n, way in ordered
        ]
        if "mesh" in self.table.also:
            found.append(Suspect("mesh"))
        return self._weighted(found)

    def _weighted(self, found: list[Suspect]) -> tuple[Suspect, ...]:
        weights = self.table.weights or {}
        raw = [self._weight(one, weights) for one in found]
        if "cause=event" in weights:  # of all events together, not of each
            events = math.fsum(w for w, one in zip(raw, found, strict=True) if one.cause == "event")
            share = {"event": weights["cause=event"] / events if events else 0.0,
                     "mesh": weights.get("cause=mesh", 0.0)}  # fmt: skip
            raw = [
                w * share["event"] if one.cause == "event" else share["mesh"]
                for w, one in zip(raw, found, strict=True)
            ]
        total = math.fsum(raw)
        return tuple(replace(one, weight=w / total) for one, w in zip(found, raw, strict=True))

    def _weight(self, one: Suspect, weights: Mapping[str, float]) -> float:
        """Product of the weights of its values, each axis made to 1 on average."""
        if one.cause == "mesh":
            return 1.0
        values = {
            "after_layer": one.after_layer,
            "from_layer": one.from_layer,
            "layers": one.layers,
            "resume": one.resume,
        }
        product = 1.0
        for axis, value in values.items():
            of_axis = [w for name, w in weights.items() if name.partition("=")[0] == axis]
            if of_axis:
                mean = math.fsum(of_axis) / len(of_axis)
                product *= weights.get(f"{axis}={value}", 0.0) / mean
        return product


def _span(pair: tuple[int, int]) -> list[int]:
    return list(range(pair[0], pair[1] + 1))


def _listed(values: Sequence[str] | Mapping[str, Any]) -> str:
    shown = list(values)
    return ", ".join(shown[:8]) + (", ..." if len(shown) > 8 else "")
