"""A closed prism that covers a mouth from outside.

In: a `Mouth`. Out: a closed triangle soup; islands of metal in the mouth are covered too.
"""

from __future__ import annotations

import numpy as np

from clearance.geometry.cutting import Singles
from clearance.ports.mouth import Mouth


def plug(mouth: Mouth, grow_mm: float, depth_mm: float) -> Singles:
    """Return a closed prism that stands on the closing surface and covers it, outward.

    Parameters
    ----------
    mouth : Mouth
    grow_mm : float
        How far the prism stands over the mouth's outer ring, mm.
    depth_mm : float
        Its height, from the closing plane outward, mm.

    Returns
    -------
    ndarray (T, 3, 3) float32
        Closed, oriented outward; islands of metal in the mouth are covered too.
    """
    import shapely

    ring = shapely.Polygon(mouth.polygon.exterior).simplify(0.1 * grow_mm)
    grown = ring.buffer(1.05 * grow_mm, quad_segs=4).simplify(0.02 * grow_mm)
    base = shapely.orient_polygons(shapely.Polygon(grown.exterior), exterior_cw=False)
    corners = shapely.get_coordinates(base)[:-1]
    faces = shapely.get_parts(shapely.constrained_delaunay_triangles(base))
    faces = shapely.orient_polygons(faces, exterior_cw=False)
    number = {(x, y): k for k, (x, y) in enumerate(corners.tolist())}
    lid = np.array([[number[x, y] for x, y in face.exterior.coords[:3]] for face in faces])
    count = len(corners)
    here = np.arange(count)
    after = np.roll(here, -1)
    sides = np.concatenate(
        [
            np.column_stack([here, after, after + count]),
            np.column_stack([here, after + count, here + count]),
        ]
    )
    bottom = mouth.plane.to_space(corners)
    points = np.concatenate([bottom, bottom + depth_mm * mouth.plane.normal])
    indices = np.concatenate([lid[:, ::-1], lid + count, sides])
    result: Singles = points.astype(np.float32)[indices] + np.float32(0.0)
    return result
