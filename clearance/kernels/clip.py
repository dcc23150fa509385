"""Polygons cut off at a plane across an axis.

In: the vertices of a convex polygon. Out: those of what is left of it.
"""

from __future__ import annotations

from clearance.kernels.compiler import inner


@inner
def clipped_polygon(poly, n, axis, bound, side, near, out):  # type: ignore[no-untyped-def]
    """Sutherland-Hodgman clip of an n-gon above a bound (below: side -1); vertices on it stay.

    What lies within `near` of the bound is at it.
    """
    m = 0
    for a in range(n):
        b = a + 1 if a + 1 < n else 0
        da = side * (poly[a, axis] - bound)
        db = side * (poly[b, axis] - bound)
        da = 0.0 if abs(da) <= near else da
        db = 0.0 if abs(db) <= near else db
        if da >= 0.0:
            out[m, 0], out[m, 1], out[m, 2] = poly[a, 0], poly[a, 1], poly[a, 2]
            m += 1
        if (da > 0.0 and db < 0.0) or (da < 0.0 and db > 0.0):
            t = da / (da - db)
            for k in range(3):
                out[m, k] = poly[a, k] + t * (poly[b, k] - poly[a, k])
            out[m, axis] = bound
            m += 1
    return m


@inner
def clipped_between(poly, n, axis, low, high, spare, out):  # type: ignore[no-untyped-def]
    """What is left of an n-gon between two bounds; `spare` is as large as `out`."""
    m = clipped_polygon(poly, n, axis, low, 1.0, 0.0, spare)
    return clipped_polygon(spare, m, axis, high, -1.0, 0.0, out)
