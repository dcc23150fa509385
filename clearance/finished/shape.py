"""The finished shape of a case as a solid, and whether it lies in the nominal part.

In: the prepared case. Out: a `Shape`; a file that does not belong to the part is refused.
"""

from __future__ import annotations

from dataclasses import dataclass

import manifold3d as m3
import numpy as np

from clearance.axes import to_mesh
from clearance.errors import PartError
from clearance.finished.flat import taken_for_built
from clearance.finished.metal import Faces
from clearance.geometry.distance import closest
from clearance.geometry.soup import extent
from clearance.verdict.prepared import Checked
from clearance.verdict.solids import Floats, NotPossibleError, solid, triangles_of

UNITS_DIFFER = 8.0
"""Times that a shape is smaller than its part, along every axis, where it is in another unit."""


@dataclass(frozen=True, eq=False)
class Shape:
    """A finished shape within its nominal part.

    Attributes
    ----------
    solid, nominal : Manifold or None
        None where no clean solid can be built.
    faces : Faces or None
        The nominal part's surface.
    why : str
        Why there is no solid; else empty.
    """

    solid: m3.Manifold | None = None
    nominal: m3.Manifold | None = None
    faces: Faces | None = None
    why: str = ""


def shape_of(checked: Checked) -> Shape | None:
    """The finished shape of a case; None where it gives none.

    Raises
    ------
    PartError
        It stands out of the nominal part by more than `finished_tolerance`, or has another unit,
        or a flat machined face of it would count as built.
    """
    if checked.bodies.finished is None:
        return None
    _refuse_other_unit(checked)
    try:
        nominal = solid(checked.bodies.part, checked.bodies.overlapping)
    except NotPossibleError as fault:
        return Shape(why=f"the nominal part: {fault}")
    try:
        shape = solid(checked.bodies.finished)
    except NotPossibleError as fault:
        return Shape(why=f"the finished shape: {fault}")
    faces = Faces.of(nominal, tolerance(checked))
    _refuse_outside(checked, shape, nominal, faces)
    _refuse_wide(checked, shape, faces)
    return Shape(shape, nominal, faces)


def tolerance(checked: Checked) -> float:
    """How far the two meshes may differ where they are one face, mm."""
    return checked.case.part.finished_tolerance + checked.chord_mm


def _refuse_outside(
    checked: Checked, shape: m3.Manifold, nominal: m3.Manifold, faces: Faces
) -> None:
    """Refuse a shape that cannot be made from the nominal part."""
    out = shape - nominal
    found = _farthest(out, faces)
    if found is None or found[0] <= faces.tolerance_mm:
        return
    away, point = found
    part = checked.case.part
    name = part.finished.name if part.finished else ""
    raise PartError(
        f"{checked.case.path}: [part] finished: found {name}, which stands out of the nominal part "
        f"by {away:.3g} mm at ({_place(checked, point)}); expected a shape within it, by "
        f"finished_tolerance {faces.tolerance_mm:g} mm at most"
    )


def _refuse_wide(checked: Checked, shape: m3.Manifold, faces: Faces) -> None:
    """Refuse a tolerance by which a flat machined face would count as built."""
    part = checked.case.part
    found = taken_for_built(triangles_of(shape), faces, part.finished_tolerance)
    if found is None:
        return
    off, point = found
    name = part.finished.name if part.finished else ""
    raise PartError(
        f"{checked.case.path}: [part] finished_tolerance: found {part.finished_tolerance:g} mm, by "
        f"which a flat face of {name} that lies {off:.3g} mm inside the nominal one, at "
        f"({_place(checked, point)}), would count as built; expected less than {off:.3g}"
    )


def _place(checked: Checked, point: Floats) -> str:
    at = np.round(to_mesh(point, checked.case.part.build_direction), 2)
    return ", ".join(f"{v + 0.0:.2f}" for v in at)


def _farthest(out: m3.Manifold, faces: Faces) -> tuple[float, Floats] | None:
    """How far, about, what lies outside the nominal part is from its surface, and where."""
    if out.is_empty():
        return None
    triangles = triangles_of(out)
    points = np.concatenate([triangles.reshape(-1, 3), triangles.mean(1)])
    away = closest(faces.tree, points)[0]
    n = int(np.argmax(away))
    deepest, at = float(away[n]), points[n]
    for piece in out.decompose():
        # A cavity that the shape fills has all of its surface on the nominal part's.
        deep = piece.volume() / max(piece.surface_area(), 1e-30)
        if deep > max(deepest, faces.tolerance_mm):
            deepest, at = deep, triangles_of(piece)[0].mean(0)
    return deepest, at


def _refuse_other_unit(checked: Checked) -> None:
    """Refuse a shape that is smaller than the part by what units differ by."""
    assert checked.bodies.finished is not None
    low, high = extent(checked.bodies.finished)
    times = (checked.bodies.bounds[1] - checked.bodies.bounds[0]) / (high - low)
    if times.min() < UNITS_DIFFER:
        return
    part = checked.case.part
    name = part.finished.name if part.finished else ""
    size = " x ".join(f"{side:.4g}" for side in high - low)
    raise PartError(
        f"{checked.case.path}: [part] finished: found {name} of {size} mm, smaller than the part "
        f"{times.min():.3g} times or more along every axis; expected the unit of the part's mesh"
    )
