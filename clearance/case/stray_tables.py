"""What is known of the event: the stray sheets, as written and as the program uses them.

In: [[stray]] tables. Out: `StrayTable` objects with heights and intervals, and sentences
that say what was translated and what was assumed. What the part is, is left to others.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Literal

from pydantic import ConfigDict

from clearance.case.kinds import (
    FilePath,
    KelvinRange,
    LayerNumber,
    LayerRange,
    LengthRange,
    NotNegative,
    ShareRange,
    Shift,
    Table,
    key,
)
from clearance.case.powder_bed import PACKING, joint_gap, recess, shrinkage, welded

Shape = Literal["layer", "plane", "mesh"]
Source = Literal["log", "measured", "assumed"]
Resume = Literal["height", "layer", "unknown"]
Fault = Callable[[int, str, str], None]
"""Takes the number of the [[stray]] table (from 0), the key, and what was expected of it."""

_NOT_WITH_MESH = (
    "height after_layer from_layer layers resume next_layer resume_shift penetration packing "
    "cooled height_uncertainty"
).split()
TOUCHING_MM = 1e-9
"""Sheets whose faces agree within rounding touch; they do not overlap."""


def penetration_key() -> Any:
    """How deep the first stray layer melts; a key of [[stray]] and [melted]."""
    return key(
        "Melt depth into loose powder below the first stray layer; one value or `[low, high]`.",
        "mm",
        None,
        "[1, 2] x layer_thickness",
    )


def packing_key() -> Any:
    """How dense the powder lies; a key of [[stray]] and [melted]."""
    return key(
        "Density of the powder bed over that of the solid; one value or `[low, high]`.",
        "",
        None,
        "[0.45, 0.6]",
    )


def cooled_key() -> Any:
    """How far the part cooled during the stop; a key of [[stray]] and [melted]."""
    return key(
        "By how much what stood had cooled when the build was resumed; one value or `[low, high]`. "
        "The first layer then lies on more powder, and the joint itself may be unmelted.",
        "K",
        None,
        "not looked at",
    )


class StrayKeys(Table):
    """[[stray]] as written; `layers` and `penetration` are ranges already."""

    model_config = ConfigDict(
        json_schema_extra={
            "oneOf": [
                {"required": ["height", "layers"]},
                {"required": ["after_layer", "layers"]},
                {"required": ["mesh"]},
            ],
            "not": {"required": ["resume", "next_layer"]},
        }
    )

    shape: Shape = key(
        "Shape of the sheet: `layer`, slices of the part; `plane`, the whole cross-section of its "
        "bounding box; `mesh`, a closed mesh of the stray metal.",
        default="layer",
    )
    source: Source = key("How the event is known: `log`, `measured` or `assumed`.", "", "assumed")
    height: NotNegative | None = key(
        "Bottom of the first stray layer above the platform, as the machine stood.",
        "mm",
        None,
        "required, or after_layer",
    )
    after_layer: LayerNumber | None = key(
        "Instead of height: number of the last good layer, counted from 0.",
        "",
        None,
        "required, or height",
    )
    from_layer: LayerNumber = key(
        "First wrong layer melted, counted from 0; for shape `layer` only.", "", 0
    )
    layers: LayerRange | None = key(
        "How many stray layers; `[2, 3]` if only that is known; 0 only with next_layer, for a "
        "jump in the numbering without stray layers.",
        "",
        None,
        "required, except for mesh",
    )
    resume: Resume | None = key(
        "What the build was resumed with: `height`, the layer that belongs at the new height; "
        "`layer`, the one after the last good layer; `unknown`, both are computed.",
        "",
        None,
        "unknown",
    )
    next_layer: LayerNumber | None = key(
        "Instead of resume: number of the first layer melted after the sheet, counted from 0.",
        "",
        None,
        "none",
    )
    resume_shift: Shift = key(
        "Sideways offset of the stray sheet and of everything above it.", "mm", (0.0, 0.0)
    )
    penetration: LengthRange | None = penetration_key()
    packing: ShareRange | None = packing_key()
    cooled: KelvinRange | None = cooled_key()
    height_uncertainty: NotNegative = key("The height is known to within this, +/-.", "mm", 0.0)
    mesh: FilePath | None = key(
        "Closed mesh of the stray metal, in the part's coordinates; for shape `mesh`, which takes "
        "none of height to height_uncertainty.",
        "",
        None,
        "none",
    )


@dataclass(frozen=True, slots=True)
class StrayTable:
    """One stray sheet, ready to use.

    Attributes
    ----------
    shape, source : str
        The words of the case file.
    height : float or None, mm
        Bottom of the first stray layer above the platform, as the machine stood; None for a mesh.
    from_layer, layers_low, layers_high : int
        First wrong slice and how many, at least and at most; all 0 for a mesh. 0 layers: the
        numbering jumps at `height` and no stray layer lies there.
    resume : {"height", "layer", "unknown"} or None
        None where `next_layer` says it, and for a mesh.
    next_layer : int or None
        Layer melted first after the sheet, counted from 0.
    resume_shift : (float, float), mm
        Sideways offset of the sheet and of everything above it.
    penetration_low, penetration_high : float, mm
        Melt depth into loose powder; `penetration_assumed` if the file does not give it.
    packing_low, packing_high : float
        Density of the powder bed over the solid's; `packing_assumed` if the file is silent.
    cooled_low, cooled_high : float, K
        What stood had cooled by this; 0 and `cooled_assumed` if the file is silent.
    expansion_1e6_k : float, 1e-6/K
        Thermal expansion of the part; 0 where nothing has cooled.
    height_uncertainty : float, mm
        The height is known to within this, +/-.
    mesh : Path or None
        Mesh of the stray metal, for shape "mesh".
    """

    shape: Shape = "layer"
    source: Source = "assumed"
    height: float | None = None
    from_layer: int = 0
    layers_low: int = 0
    layers_high: int = 0
    resume: Resume | None = None
    next_layer: int | None = None
    resume_shift: tuple[float, float] = (0.0, 0.0)
    penetration_low: float = 0.0
    penetration_high: float = 0.0
    penetration_assumed: bool = False
    packing_low: float = PACKING[0]
    packing_high: float = PACKING[1]
    packing_assumed: bool = False
    cooled_low: float = 0.0
    cooled_high: float = 0.0
    cooled_assumed: bool = False
    expansion_1e6_k: float = 0.0
    height_uncertainty: float = 0.0
    mesh: Path | None = None

    def welded(self, height: float, layer_thickness: float) -> float:
        """How deep the layer above the sheet surely melts what stayed loose in it, mm."""
        return welded(*self._below(height, layer_thickness))

    def joint_gap(self, height: float, layer_thickness: float) -> float:
        """Powder that may be left under the first layer after the stop, mm."""
        return joint_gap(*self._below(height, layer_thickness))

    def _below(self, height: float, layer_thickness: float) -> tuple[float, float, float]:
        """Least melt depth; how far the solid lies below its counted face, and has shrunk; mm."""
        shrunk = shrinkage(height, self.cooled_high, self.expansion_1e6_k)
        return self.penetration_low, recess(layer_thickness, self.packing_low), shrunk

    def jump_lift(self, layers: int, layer_thickness: float) -> float | None:
        """Lift of everything above, against the nominal part, after `layers` stray layers.

        The machine stands at height + layers * t and melts there the layer `next_layer`, which
        belongs at next_layer * t. This is the whole lift, growth by earlier events included.

        Returns
        -------
        float or None, mm
            Negative where layers were skipped; None without `next_layer`.
        """
        if self.next_layer is None or self.height is None:
            return None
        return round(self.height + (layers - self.next_layer) * layer_thickness, 9)


@dataclass(frozen=True, slots=True)
class BuildEvent:
    """The stray sheets of a build, and what was translated and assumed to get them."""

    strays: tuple[StrayTable, ...] = ()
    translations: tuple[str, ...] = ()
    assumptions: tuple[str, ...] = ()
    log_last_layer: int | None = None


def stray_faults(raw: Mapping[str, Any]) -> Iterator[tuple[str, str]]:
    """Keys of one [[stray]] table that contradict each other, and what is expected of each."""
    shape = raw.get("shape", "layer")
    if shape == "mesh":
        for name in (name for name in _NOT_WITH_MESH if name in raw):
            yield name, 'none, since shape = "mesh"'
        if "mesh" not in raw:
            yield "mesh", 'the path of a mesh, since shape = "mesh"'
        return
    if "mesh" in raw:
        yield "mesh", 'none, or shape = "mesh"'
    if "height" in raw and "after_layer" in raw:
        yield "after_layer", "none beside height: only one of the two"
    if "height" not in raw and "after_layer" not in raw:
        yield "height", "a height or an after_layer"
    if "resume" in raw and "next_layer" in raw:
        yield "next_layer", "none beside resume: only one of the two"
    if shape == "plane" and "from_layer" in raw:
        yield "from_layer", 'none, since shape = "plane" holds no slices'
    if "layers" not in raw:
        yield "layers", "the number of stray layers"
    elif "next_layer" not in raw and _least(raw["layers"]) == 0:
        yield "layers", "at least 1; 0 only with next_layer"


def _least(layers: object) -> object:
    return layers[0] if isinstance(layers, list | tuple) and layers else layers


def read_event(
    tables: Sequence[StrayKeys],
    layer_thickness: float,
    folder: Path,
    fault: Fault,
    expansion_1e6_k: float | None = None,
) -> BuildEvent:
    """Turn [[stray]] tables into stray sheets.

    Parameters
    ----------
    tables : sequence of StrayKeys
        Tables without contradiction (`stray_faults`), in the file's order.
    layer_thickness : float, mm
        Layer thickness t of the build.
    folder : Path
        Folder that paths are relative to.
    fault : callable
        Told of each table that does not fit those before it.
    expansion_1e6_k : float, optional, 1e-6/K
        Thermal expansion of the part, where it is known.
    """
    strays: list[StrayTable] = []
    said: list[str] = []
    assumed: list[str] = []
    grown: tuple[float, float] | None = (0.0, 0.0)
    for number, keys in enumerate(tables):
        name = f"[[stray]] number {number + 1}"
        height = _height(keys, layer_thickness, grown)
        if keys.after_layer is not None and height is None:
            fault(number, "after_layer", "a height: how much the part has grown below is unknown")
            grown = None
        if asks_expansion(keys.cooled) and expansion_1e6_k is None:
            fault(number, "cooled", NO_EXPANSION)
        stray = _sheet(keys, height, layer_thickness, folder, expansion_1e6_k or 0.0)
        said.extend(f"{name}: {text}" for text in _translated(keys, stray, layer_thickness, grown))
        assumed.extend(f"{name}: {text}" for text in _assumed(keys, stray))
        grown = growth(stray, layer_thickness, grown)
        strays.append(stray)
    _check_order(tables, strays, layer_thickness, fault)
    return BuildEvent(tuple(strays), tuple(said), tuple(assumed))


def _height(keys: StrayKeys, t: float, grown: tuple[float, float] | None) -> float | None:
    """Height of the machine after the last good layer, growth by earlier events included."""
    if keys.after_layer is None:
        return keys.height
    if grown is None or grown[0] != grown[1]:
        return None
    return round((keys.after_layer + 1) * t + grown[0], 9)


def _sheet(
    keys: StrayKeys, height: float | None, t: float, folder: Path, expansion_1e6_k: float
) -> StrayTable:
    if keys.mesh is not None:
        return StrayTable(shape="mesh", source=keys.source, mesh=folder / keys.mesh)
    low, high = keys.layers or (0, 0)
    resume: Resume | None = None if keys.next_layer is not None else keys.resume or "unknown"
    return StrayTable(
        shape=keys.shape,
        source=keys.source,
        height=height,
        from_layer=keys.from_layer,
        layers_low=low,
        layers_high=high,
        resume=resume,
        next_layer=keys.next_layer,
        resume_shift=keys.resume_shift,
        height_uncertainty=keys.height_uncertainty,
        **bed(keys.penetration, keys.packing, keys.cooled, t, expansion_1e6_k),
    )


NO_EXPANSION = (
    "a part whose thermal expansion is known: thermal_expansion in [part], or a material that "
    "has one"
)


def asks_expansion(cooled: tuple[float, float] | None) -> bool:
    """Whether the thermal expansion of the part must be known."""
    return cooled is not None and cooled[1] > 0.0


def bed(
    penetration: tuple[float, float] | None,
    packing: tuple[float, float] | None,
    cooled: tuple[float, float] | None,
    layer_thickness: float,
    expansion_1e6_k: float,
) -> dict[str, Any]:
    """Fields of a `StrayTable` that say how deep powder lies and is melted."""
    thin, deep = penetration or default_penetration(layer_thickness)
    loose, dense = packing or PACKING
    least, most = cooled or (0.0, 0.0)
    return {
        "penetration_low": thin,
        "penetration_high": deep,
        "penetration_assumed": penetration is None,
        "packing_low": loose,
        "packing_high": dense,
        "packing_assumed": packing is None,
        "cooled_low": least,
        "cooled_high": most,
        "cooled_assumed": cooled is None,
        "expansion_1e6_k": expansion_1e6_k if asks_expansion(cooled) else 0.0,
    }


def default_penetration(layer_thickness: float) -> tuple[float, float]:
    """Melt depth into loose powder that is assumed, mm: one to two layers.

    Source: literature collection MeltpoolNet (Akbari et al., Additive Manufacturing 55 (2022)
    102817): depth over layer thickness has a median of about 2 and a wide spread.
    """
    return layer_thickness, 2 * layer_thickness


def growth(
    stray: StrayTable, t: float, grown: tuple[float, float] | None
) -> tuple[float, float] | None:
    """Lift of what comes above the sheet, at least and at most; None where it is not known."""
    if stray.mesh is not None or (grown is None and stray.next_layer is None):
        return grown
    counts = (stray.layers_low, stray.layers_high)
    if stray.next_layer is not None:
        lifts = [stray.jump_lift(layers, t) for layers in counts]
        low, high = lifts
        return None if low is None or high is None else (low, high)
    assert grown is not None
    if stray.resume == "height":
        return grown
    least = 0 if stray.resume == "unknown" else stray.layers_low
    return round(grown[0] + least * t, 9), round(grown[1] + stray.layers_high * t, 9)


def _translated(
    keys: StrayKeys, stray: StrayTable, t: float, grown: tuple[float, float] | None
) -> Iterator[str]:
    if keys.after_layer is not None and stray.height is not None and grown is not None:
        growth = f", grown by {grown[0]:g} mm before" if grown[0] else ""
        yield (
            f"after_layer = {keys.after_layer} puts the bottom of the sheet {stray.height:g} mm "
            f"above the platform: ({keys.after_layer} + 1) x {t:g} mm{growth}"
        )
    if stray.next_layer is not None and stray.height is not None:
        yield jump_sentence(stray, t)


def jump_sentence(stray: StrayTable, layer_thickness: float) -> str:
    """Say where `next_layer` stands and how far everything above is lifted by it."""
    lifts = [stray.jump_lift(n, layer_thickness) for n in (stray.layers_low, stray.layers_high)]
    known = sorted({lift for lift in lifts if lift is not None})
    if known == [0.0]:
        moved = "what lies above keeps its height"
    elif known[-1] <= 0:
        moved = f"what lies above is lowered by {_to(-lift for lift in reversed(known))} mm"
    else:
        moved = f"what lies above is lifted by {_to(known)} mm"
    return f"next_layer = {stray.next_layer}, {moved}"


def _to(values: Iterable[float]) -> str:
    return " to ".join(f"{value + 0.0:g}" for value in values)


def _assumed(keys: StrayKeys, stray: StrayTable) -> Iterator[str]:
    """Every value that the file does not give."""
    given = keys.model_fields_set
    if "source" not in given:
        yield "source is not given: the event counts as assumed"
    if stray.shape == "mesh":
        return
    if "shape" not in given:
        yield 'shape is not given: "layer", slices of this part'
    if stray.shape == "layer" and "from_layer" not in given and stray.layers_high > 0:
        yield "from_layer is not given: the first wrong layer is layer 0"
    if keys.resume is None and keys.next_layer is None:
        yield "resume is not given: unknown, both ways are computed"
    if "resume_shift" not in given:
        yield "resume_shift is not given: nothing is moved sideways"
    if stray.penetration_assumed and (stray.layers_high > 0 or stray.cooled_high > 0.0):
        yield penetration_sentence(stray)
    yield from packing_sentences(stray)


def penetration_sentence(stray: StrayTable) -> str:
    """Say which melt depth is assumed."""
    return (
        f"penetration is not given: {stray.penetration_low:g} to {stray.penetration_high:g} mm, "
        "one to two layers"
    )


def packing_sentences(stray: StrayTable) -> Iterator[str]:
    """Say how dense the powder is taken to lie, and that the part is not taken to have shrunk."""
    if stray.packing_assumed and (stray.layers_high > 0 or stray.cooled_high > 0.0):
        yield (
            f"packing is not given: powder at {stray.packing_low:g} to {stray.packing_high:g} of "
            "solid (0.5 and 0.6 assumed, 0.38 to 0.6 reported in what Mahmoodkhani et al., Prog. "
            "Addit. Manuf. 4 (2019) 109, collect)"
        )
    if stray.cooled_assumed:
        yield "cooled is not given: nothing shrank during the stop, and the joint counts as welded"


def _check_order(
    tables: Sequence[StrayKeys], strays: Sequence[StrayTable], t: float, fault: Fault
) -> None:
    """Refuse sheets out of order, or inside another at an end of what is known of them."""
    below: float | None = None
    for number, (keys, stray) in enumerate(zip(tables, strays, strict=True)):
        if stray.height is None:
            continue
        bottom = stray.height - stray.height_uncertainty
        if below is not None and bottom < below - TOUCHING_MM:
            text = f"the top of the sheet below, {below:g} mm above the platform, or higher"
            key_name = "height" if keys.after_layer is None else "after_layer"
            fault(
                number, key_name, f"{text} (sheets rise and do not overlap, uncertainty included)"
            )
        below = stray.height + stray.height_uncertainty + stray.layers_high * t
