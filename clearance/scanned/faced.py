"""The mouths of a scanned part: its rough face cut off a little, so that each has a plane rim.

In: the scan in the part's coordinates, the nominal mouths. Out: the faced scan and its mouths, or
why one has none.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace

import manifold3d as m3
import numpy as np
import shapely

from clearance.geometry.planes import Plane
from clearance.geometry.sections import metal
from clearance.geometry.soup import Soup
from clearance.passages.closings import moved
from clearance.ports.mouth import Mouth
from clearance.ports.plug import plug
from clearance.scanned.moved_mouths import Moved
from clearance.scanned.registration import ScanError
from clearance.verdict.solids import NotPossibleError, solid, triangles_of

INSIDE_MM = 2e-3
"""So far below the cut face the mouth is taken, so that it never lies in a face."""
WITHIN = 0.8
"""Share of the cut's rim within which a mouth's outline has to close."""
SHARED = 0.5
"""Share of the smaller outline that the measured and the nominal one have in common at least: with
less it may be the mouth of a passage beside it."""
LEAST_MM3 = 1e-3
"""Less metal in front of a mouth is the noise of a scan."""


@dataclass(frozen=True, eq=False)
class Faced:
    """The scan with its mouths cut plane.

    Attributes
    ----------
    triangles : (F, 3, 3) ndarray of float32, mm
        Closed.
    mouths : dict of str to Mouth
        Those that were found, by their names in the nominal part.
    why_not : dict of str to str
        Why the others were not.
    """

    triangles: Soup
    mouths: dict[str, Mouth]
    why_not: dict[str, str]


def faced(
    scan: Soup, mouths: Mapping[str, Moved], deep_mm: float, around_mm: float, off_mm: float
) -> Faced:
    """Cut the face around every mouth plane, and find the scan's own outlines there.

    Parameters
    ----------
    scan : (F, 3, 3) ndarray of float32, mm
        In the part's coordinates.
    mouths : mapping of str to Moved
        Of the nominal part, where the scan has them.
    deep_mm : float
        How far inward of the nominal closing surface the cut lies: beyond all roughness.
    around_mm : float
        How far around the rim the face is cut.
    off_mm : float
        How far a surface may lie off. A lip in what is cut away that stands farther than this over
        the outline behind it would be lost: then the mouth is not found.

    Raises
    ------
    ScanError
        The scan is no clean solid.
    """
    try:
        body = solid(scan)
    except NotPossibleError as fault:
        raise ScanError(f"{fault}: mend it") from None
    tools, inner = [], {name: _inward(one.mouth, deep_mm) for name, one in mouths.items()}
    for mouth in inner.values():
        tools.append(solid(plug(mouth, around_mm, deep_mm + mouth.radius)))
    cut = body - m3.Manifold.batch_boolean(tools, m3.OpType.Add) if tools else body
    triangles = triangles_of(cut).astype(np.float32) + np.float32(0.0)
    found, why_not = {}, {}
    for name, mouth in inner.items():
        one = _measured(triangles, mouth, around_mm)
        if not mouths[name].shown:
            why_not[name] = f"the scan does not show the face around {name} where it should be"
        elif one is None:
            why_not[name] = f"the scan shows no closed outline at {name}"
        elif _ahead(body, one, off_mm, deep_mm + mouths[name].ahead_mm):
            why_not[name] = f"metal stands in or before {name}"
        else:
            found[name] = one
    return Faced(triangles, found, why_not)


def _inward(mouth: Mouth, deep_mm: float) -> Mouth:
    """The nominal mouth, farther in along its bore."""
    lean = abs(float(mouth.axis @ mouth.plane.normal)) or 1.0
    return moved(mouth, -(deep_mm / lean) * mouth.axis)


def _ahead(body: m3.Manifold, mouth: Mouth, off_mm: float, far_mm: float) -> bool:
    """Whether metal stands in the mouth or so far before it: of the cut, or of bore beyond it.

    What stands no farther over the measured outline than a surface may be off is in the bracket.
    """
    core = mouth.polygon.buffer(-min(off_mm, 0.5 * mouth.inscribed_radius))
    inner = max(shapely.get_parts(core), key=lambda part: float(part.area))
    rod = solid(plug(replace(mouth, polygon=inner), 1e-3, far_mm))
    return float((body ^ rod).volume()) > LEAST_MM3


def _shared(one: shapely.Polygon, other: shapely.Polygon) -> float:
    """Common area of two outlines over the smaller one's."""
    least = min(one.area, other.area)
    return float(one.intersection(other).area / least) if least > 0.0 else 0.0


def _measured(triangles: Soup, mouth: Mouth, around_mm: float) -> Mouth | None:
    """The scan's own outline just below the cut; None where it does not close."""
    plane = Plane(
        mouth.plane.origin - INSIDE_MM * mouth.plane.normal,
        mouth.plane.normal,
        mouth.plane.u,
        mouth.plane.v,
    )
    room = shapely.Polygon(mouth.polygon.exterior).buffer(WITHIN * around_mm)
    void = shapely.difference(room, metal(triangles, plane, window=room.bounds))
    parts = [p for p in shapely.get_parts(void) if p.geom_type == "Polygon"]
    best = max(parts, key=lambda p: float(p.intersection(mouth.polygon).area), default=None)
    if best is None or _shared(best, mouth.polygon) < SHARED:
        return None
    if shapely.distance(best, room.exterior) < 1e-6:
        return None
    circle = shapely.maximum_inscribed_circle(best, tolerance=1e-3 * mouth.radius)
    deepest, edge = shapely.get_coordinates(circle)
    return Mouth(
        name=mouth.name,
        plane=plane,
        polygon=best,
        centre=plane.to_space(shapely.get_coordinates(best.centroid))[0],
        radius=float(np.sqrt(best.area / np.pi)),
        deepest=plane.to_space(deepest[None])[0],
        inscribed_radius=float(np.linalg.norm(edge - deepest)),
        axis=mouth.axis,
        entry=mouth.entry,
        fall=mouth.fall,
    )
