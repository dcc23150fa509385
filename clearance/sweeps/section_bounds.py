"""The upper bound at one height of a sheet: sections that every way crosses, and where it can be.

In: the bounds of a passage, its nominal levels, the faces of the sheet. Out: the largest ball that
can pass at a height, at most. Source: docs/method.md, "Sweep".
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
import shapely

from clearance.geometry.planes import Plane
from clearance.passages.levels import Face
from clearance.sweeps.bounds import Bounds, Route
from clearance.sweeps.face_bounds import FaceBounds
from clearance.sweeps.looked_at import Cut
from clearance.sweeps.near import Near
from clearance.sweeps.regions import widest_mm
from clearance.sweeps.station import Station


@dataclass(eq=False)
class SectionBounds:
    """What sections prove at a height.

    Attributes
    ----------
    bounds, near, faces
        Of the passage and the event.
    moving : int
        Number of the event whose height it is.
    marks : (M,) tuple of float, mm
        Diameters, in rising order, that a bound had better be below.
    """

    bounds: Bounds
    near: Near
    faces: FaceBounds
    moving: int
    marks: tuple[float, ...]

    def high_mm(
        self,
        cut: Cut,
        height: float,
        enough: float,
        route: Route | None,
        high: float = np.inf,
    ) -> float:
        """The bound at a height; sought no more once it is `enough`. `high`: one that is known."""
        bounds = self.bounds
        high = min(high, cut.high_mm)
        if high <= enough:
            return high
        if route is not None:
            throat = bounds.throat(route, height)
            high = min(high, self._level_bound(float(throat[2]), height, enough, high))
            if high <= enough:
                return high
        face, crossing = cut.best, 0.0
        if face is not None:
            widths = {
                k: min(p.circle_mm, self._on(Plane.level(face.z), p.opening, height, enough, high))
                for k, p in enumerate(face.pieces)
                if p.circle_mm > max(enough, self.faces.smallest)
            }
            bound, _ = self.faces.bound(cut.events[self.moving], face, bounds.high, widths)
            high = min(high, bound)
            for k, piece in enumerate(face.pieces):
                width = widths.get(k, piece.circle_mm)
                crossing = max(crossing, 0.0 if width < self.faces.smallest else width)
        stations = [*bounds.mouths(height)]
        stations += [] if route is None else bounds.stations(throat)
        for station in stations:
            if high <= enough:
                return high
            # Every way crosses the station.
            anywhere = self._on(station.plane, station.polygon, height, enough, high)
            high = min(high, max(station.least_mm, anywhere))
        if high > enough and face is not None and crossing < high:
            # A way crosses the face, or stays on a side of it and crosses the stations there.
            sides = [
                self._beside(side, stations, height, enough, high) for side in self._sides(face)
            ]
            high = min(high, max([crossing, *sides]))
        if high > enough and face is not None:
            # Or it crosses the stations only in the regions that it can come to past the face.
            for station in stations:
                on = self._reached(station, cut, face, widths, (height, enough, high))
                high = min(high, max(station.least_mm, on))
        return high

    def _reached(
        self,
        station: Station,
        cut: Cut,
        face: Face,
        widths: dict[int, float],
        looked_for: tuple[float, float, float],
    ) -> float:
        """Bound of a ball whose centre is on a station, in a region that its way can come to."""

        def widest(piece: Any, below: float, above: float) -> float:
            return self._on(station.plane, piece, *looked_for, below, above)

        event = cut.events[self.moving]
        return self.faces.on_station(event, face, station, widest, widths)

    def _beside(
        self,
        side: tuple[float, float],
        stations: list[Station],
        height: float,
        enough: float,
        high: float,
    ) -> float:
        """Bound of ways that stay on a side of a face; where the passage goes farthest first."""
        for station in (*self.bounds.farthest(above=side[1] == -np.inf), *stations):
            on = self._on(station.plane, station.polygon, height, enough, high, *side)
            high = min(high, max(station.least_mm, on))
            if high <= enough:
                break
        return high

    def _on(
        self,
        plane: Plane,
        shape: Any,
        height: float,
        enough: float,
        known: float,
        below: float = np.inf,
        above: float = -np.inf,
    ) -> float:
        """Largest ball whose centre is on a plane figure, at most; `known`: no more is of use."""
        limits = (enough, known)
        return self.bounds.widest_on(plane, shape, height, limits, self.marks, below, above)

    def _level_bound(self, z: float, height: float, enough: float, high: float) -> float:
        """Bound of a level where no layer ends: the nominal sections there, and all metal near."""
        level = self.faces.cuts.nearest(z)
        if widest_mm(level, level, [], high) > 0.0:
            return high  # a way stays on one side of it
        joins, known = [], set()
        for piece in self.near.pieces(level.z):
            x, y = shapely.get_coordinates(shapely.point_on_surface(piece))[0]
            section = level.section_of(self.faces.cuts.node_at(x, y, level.z))
            if section is None:
                return high
            known.add(section)
            width = self._on(Plane.level(level.z), piece, height, enough, high)
            joins.append((section, section, 0.0 if width < self.faces.smallest else width))
        if not level.sections <= known:
            return high
        return widest_mm(level, level, joins, high)

    def _sides(self, face: Face) -> list[tuple[float, float]]:
        """Heights, at most and at least, of the sides of a face on which a way can stay."""
        level = self.faces.cuts.level(face.z)
        (inlet_below, inlet_above), (outlet_below, outlet_above) = level.ends
        sides = []
        if inlet_below & outlet_below:
            sides.append((face.z, -np.inf))
        if inlet_above & outlet_above:
            sides.append((np.inf, face.z))
        return sides
