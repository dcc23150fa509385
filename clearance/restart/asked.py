"""What is asked of a restart card, and the parts that stand there.

In: a case or plate file, numbers. Out: `Asked`; `Standing`s with their triangles. A fault of the
user's is told before anything is computed.
"""

from __future__ import annotations

import tomllib
from collections.abc import Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import numpy as np
import shapely
import shapely.affinity

from clearance.axes import Direction
from clearance.case.kinds import LARGEST_LAYER
from clearance.case.plate import Plate, case_on_plate, read_plate
from clearance.case.read import Case, read_case
from clearance.case.stray_tables import StrayTable
from clearance.errors import CaseError, ClearanceError
from clearance.geometry.areas import polygonal
from clearance.geometry.planes import Plane
from clearance.geometry.sections import metal
from clearance.geometry.soup import Soup, extent
from clearance.mesh.part import read_part

WHOLE = 1e-3
"""A height may be off a whole number of layers by this share of one."""
SMALLEST_MM2 = 1e-6


Source = tuple[tuple[Path, ...], str, Direction | None, str | None]
"""What the triangles of a part depend on: meshes, unit, build direction, build item."""


@dataclass(frozen=True)
class Asked:
    """What is asked.

    Attributes
    ----------
    last_good : int
        Last good layer, counted from 0.
    candidates : tuple of int
        Wrong layers, counted from 0.
    layers : int
        How many of them would be melted one after another.
    eye_mm : float
    consequences : bool
        Compute what they would seal, restrict or join.
    counts_from : {0, 1} or None
        Number of the machine's first layer, where the user knows it.
    """

    last_good: int
    candidates: tuple[int, ...]
    layers: int = 3
    eye_mm: float = 1.0
    consequences: bool = True
    counts_from: int | None = None

    @property
    def right(self) -> int:
        """The layer that belongs there, counted from 0."""
        return self.last_good + 1


def asked(
    layer_mm: float,
    after_layer: int | None,
    at_height: float | None,
    candidates: Sequence[int] | None,
    layers: int = 3,
    eye_mm: float = 1.0,
    consequences: bool = True,
    counts_from: int | None = None,
) -> Asked:
    """What is asked, checked.

    Parameters
    ----------
    layer_mm : float
    after_layer : int, optional
        Last good layer, counted from 0; or `at_height`, mm above the platform.
    candidates : sequence of int, optional
        Default: 0, 1, the last good one, one too far, one too early.

    Raises
    ------
    ClearanceError
        A height that is no whole number of layers; a candidate that is the right one.
    """
    if after_layer is None:
        assert at_height is not None
        count = at_height / layer_mm
        if abs(count - round(count)) > WHOLE or round(count) < 1:
            low = max(int(count), 1)
            raise ClearanceError(
                f"--at-height: found {at_height:g}, expected the top of a layer of {layer_mm:g} mm,"
                f" such as {low * layer_mm:g} or {(low + 1) * layer_mm:g}"
            )
        after_layer = round(count) - 1
    right = after_layer + 1
    usual = (0, 1, after_layer, right + 1, after_layer - 1)
    wanted = usual if candidates is None else candidates
    if candidates is not None and right in candidates:
        raise ClearanceError(
            f"--candidates: found {right}, expected wrong layers: it is the one that belongs there"
        )
    if max((right, *wanted)) > LARGEST_LAYER:
        raise ClearanceError(
            f"found layer {float(max((right, *wanted))):g}, expected layers up to {LARGEST_LAYER}"
        )
    kept = dict.fromkeys(n for n in wanted if n >= 0 and n != right)
    return Asked(after_layer, tuple(kept), layers, eye_mm, consequences, counts_from)


@dataclass(frozen=True, eq=False)
class Standing:
    """One part as it stands on the platform.

    Attributes
    ----------
    name : str
    case : Case
        Without an event.
    at, turn
        Where the mesh's origin stands, mm, and its turn about +Z, degrees.
    solids : tuple of (F, 3, 3) ndarray, mm
        The part, then what is melted with it.
    stray : StrayTable or None
        The first event of its case or plate, of which melt depth, packing and cooling are taken.
    """

    name: str
    case: Case
    at: tuple[float, float]
    turn: float
    solids: tuple[Soup, ...]
    stray: StrayTable | None
    _known: dict[int, Any] = field(default_factory=dict)

    @property
    def layer_mm(self) -> float:
        """Layer thickness."""
        return self.case.part.layer_thickness

    @property
    def platform_z(self) -> float:
        """Height of the platform in the mesh's coordinates, mm."""
        return self.case.part.platform(float(extent(self.solids[0])[0, 2]))

    @property
    def ends_mm(self) -> tuple[float, float]:
        """Lowest and highest point of the part above the platform."""
        low, high = (float(z) for z in extent(self.solids[0])[:, 2])
        return low - self.platform_z, high - self.platform_z

    def unclear(self, number: int) -> bool:
        """Whether a layer lies below the part, and nothing is said of what stood there."""
        middle = (number + 0.5) * self.layer_mm
        return not self.case.part.also_melted and middle < self.ends_mm[0]

    def layer(self, number: int) -> Any:
        """What is melted in a layer (shapely), in the part's own axes."""
        if number not in self._known:
            z = self.platform_z + (number + 0.5) * self.layer_mm
            cuts = [metal(one, Plane.level(z), overlapping=True) for one in self.solids]
            self._known[number] = shapely.union_all(cuts)
        return self._known[number]

    def placed(self, shape: Any) -> Any:
        """A figure where the part stands on the platform."""
        turned = shapely.affinity.rotate(shape, self.turn, origin=(0.0, 0.0))
        return shapely.affinity.translate(turned, *self.at)


def is_plate(path: Path) -> bool:
    """Whether a file is a plate's: it has a table [plate]. A file that cannot be read is none."""
    try:
        with path.open("rb") as file:
            return "plate" in tomllib.load(file)
    except (OSError, ValueError):
        return False


def files(path: Path) -> tuple[Path, ...]:
    """Every file that is read: what no output may overwrite."""
    if not is_plate(path):
        return read_case(path).files
    plate = read_plate(path)
    return (path, *(one for part in plate.part for one in case_on_plate(plate, part).files))


def standing(path: Path) -> tuple[str, tuple[Standing, ...], tuple[float, float] | None]:
    """Name, parts and size of the platform (None of a single part).

    Raises
    ------
    ClearanceError
        A file is bad, or the layers of a plate's parts are not of one thickness.
    """
    if not is_plate(path):
        case = read_case(path)
        return case.part.name, (_standing(case.part.name, case, (0.0, 0.0), 0.0, {}),), None
    plate = read_plate(path)
    parts = _on_plate(plate)
    thick = sorted({part.layer_mm for part in parts})
    if len(thick) > 1:
        raise CaseError(
            f"{path}: [[part]]: found layers of {' and '.join(f'{t:g}' for t in thick)} mm, "
            "expected one layer thickness on a plate"
        )
    return plate.name, parts, plate.size


def _on_plate(plate: Plate) -> tuple[Standing, ...]:
    read: dict[Source, tuple[Soup, ...]] = {}
    return tuple(
        _standing(one.name, case_on_plate(plate, one), one.at, one.turn, read) for one in plate.part
    )


def _standing(
    name: str,
    case: Case,
    at: tuple[float, float],
    turn: float,
    read: dict[Source, tuple[Soup, ...]],
) -> Standing:
    part, up = case.part, case.part.build_direction
    source = ((part.mesh, *part.also_melted), part.unit, up, part.item)
    if source not in read:
        first = read_part(part.mesh, part.unit, build_direction=up, item=part.item)
        others = (read_part(p, part.unit, build_direction=up) for p in part.also_melted)
        read[source] = tuple(one.triangles for one in (first, *others))
    stray = next((one for one in case.stray if one.shape != "mesh"), None)
    return Standing(name, case, at, turn, read[source], stray)


def islands(shape: Any) -> int:
    """Pieces of a layer that do not hang together."""
    return sum(p.area > SMALLEST_MM2 for p in shapely.get_parts(shape))


def holes(shape: Any) -> int:
    """Holes in the pieces of a layer."""
    rings = (ring for piece in polygonal(shape).geoms for ring in piece.interiors)
    return sum(shapely.Polygon(ring).area > SMALLEST_MM2 for ring in rings)


def extents(shape: Any) -> tuple[float, float, float, float] | None:
    """Lowest x and y, highest x and y; None of nothing."""
    if shape.is_empty or not np.isfinite(shape.bounds).all():
        return None
    x0, y0, x1, y1 = (float(v) for v in shape.bounds)
    return x0, y0, x1, y1
