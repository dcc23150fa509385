"""X-ray methods: a radiograph along the layers, one across them, a scan.

In: a `Target`. Out: answers with numbers and set-up.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
import shapely
from numpy.typing import NDArray

from clearance.geometry.beams import edges, extent, least_and_greatest, most_beside
from clearance.inspection.answers import Said
from clearance.inspection.rays import (
    KEPT,
    TUBES,
    Tube,
    alloys_like,
    least_seen,
    passes,
    source_mm,
    summed_mm,
    tilt_deg,
    tube_for,
    voxel_mm,
)
from clearance.inspection.simple import SURE
from clearance.inspection.sources import words
from clearance.inspection.targets import Target
from clearance.predicted.part import Predicted
from clearance.result.inspection import Answer
from clearance.verdict.numbers import least, most, near
from clearance.verdict.prepared import Checked

STEP = "no sheet lies there: what is above stands aside, which a scan or a scope can show"
POINTS = 200_000
"""Corners of triangles that are looked at together: as doubles they take little memory."""
UNKNOWN = "what the tube passes is not known for this alloy: give material or density"


@dataclass(frozen=True, eq=False)
class Shots:
    """X-ray methods for one part.

    Attributes
    ----------
    checked : Checked
    alloys : tuple of str
        What the part may be taken for.
    across_mm : float
        Diameter of the circle around the part in plan.
    """

    checked: Checked
    alloys: tuple[str, ...]
    across_mm: float

    @classmethod
    def of(cls, checked: Checked) -> Shots:
        """For a part that is read."""
        part = checked.case.part
        points = checked.bodies.part.reshape(-1, 3)[:, :2]
        around = shapely.minimum_bounding_radius(shapely.multipoints(_outermost(points)))
        return cls(checked, alloys_like(part.material, part.density_g_cm3), 2.0 * float(around))

    # ---- along the layers ----------------------------------------------------------------------

    def along(self, target: Target) -> Said:
        """A radiograph with the beam in the layer plane, in the direction with the least metal."""
        if target.is_step:
            return Said("radiograph-along", "no", {}, STEP)
        keys = self.checked.case.inspection
        centre = target.at[:2]
        best, _ = least_and_greatest(target.outline, centre)
        figure = self._seen(target)
        half = extent(figure, centre, best.turn_deg)
        worst = most_beside(target.outline, centre, best.turn_deg, half)
        chord = most_beside(edges(figure), centre, best.turn_deg, half).metal_mm
        worst_mm = max(worst.metal_mm, best.metal_mm)
        shown = least_seen(worst_mm, chord * target.contrast, keys.unsharpness, keys.contrast)
        sure, greatest = target.thickness_mm
        thick = sure if target.kind == "crossing" else greatest
        numbers = {
            "metal_least_mm": best.metal_mm,
            "direction_deg": best.turn_deg,
            "x_mm": float(centre[0]),
            "y_mm": float(centre[1]),
            "height_mm": float(target.at[2]),
            "metal_worst_mm": worst_mm,
            "chord_mm": chord,
            "thickness_mm": thick,
            "least_thickness_seen_mm": shown,
        }
        if chord > 0.0 and greatest > 0.0:
            numbers["tilt_deg"] = tilt_deg(greatest, chord)
            numbers["source_height_mm"] = source_mm(greatest, chord)
        tube, answer = self._through(best.metal_mm, worst_mm)
        if tube is not None:
            numbers["tube_kv"] = tube.kv
        if shown > greatest:
            answer = "no"
        elif shown > thick and answer == "yes":
            answer = "ask"
        return Said("radiograph-along", answer, numbers, self._along_words(target, numbers, tube))

    def _seen(self, target: Target) -> Any:
        """The figure that is to be seen: of several gaps the largest, in which the centre lies."""
        if target.kind == "crossing":
            return target.figure
        return max(shapely.get_parts(target.figure), key=lambda part: part.area)

    def _along_words(self, target: Target, n: dict[str, float], tube: Tube | None) -> str:
        z = target.at[2] - self.checked.platform_z
        path = f"{most(n['metal_least_mm'])} mm of metal through its centre"
        if n["metal_worst_mm"] > n["metal_least_mm"] + 0.1:  # else one number says both
            path += f", up to {most(n['metal_worst_mm'])} mm over its width"
        said = [
            f"beam level at z {near(z)}, along {n['direction_deg']:.1f} deg from +x: {path}",
            self._tube_words(tube, n["metal_worst_mm"], n["metal_least_mm"]),
        ]
        if n["chord_mm"] <= 0.0:
            said.append("along that line there is nothing to see of it")
            return "; ".join(said)
        what = "of stray metal" if target.kind == "crossing" else "of gap, full of powder,"
        shown = n["least_thickness_seen_mm"]
        seen = f"{most(shown)} mm" if np.isfinite(shown) else "nothing"
        low, high = target.thickness_mm
        thick = f"{least(low)} to {most(high)}" if low > 0.0 else f"at most {most(high)}"
        said.append(
            f"{near(n['chord_mm'])} mm {what} on the ray, {thick} mm thick; least thickness that "
            f"shows: {seen}"
        )
        if "source_height_mm" in n:
            said.append(
                f"at 1 m the focus within {least(n['source_height_mm'])} mm of that height "
                f"({least(n['tilt_deg'])} deg)"
            )
        if tube is not None or not self.alloys:
            metal = near(n["metal_worst_mm"], 0)
            sheet = target.kind == "crossing"  # a gap is missing metal
            replica = "over a drilled hole a foil of" if sheet else "a slot full of powder of"
            said.append(
                f"to settle it, {replica} {thick} mm in {metal} mm of the same alloy, shot beside "
                "the part"
            )
        return "; ".join(said)

    def _or_others(self, said: str, metal_mm: float, scan: bool) -> str:
        others = self._sources(metal_mm, scan)
        return f"{said}; {others}: ask" if others else said

    def _tube_words(
        self,
        tube: Tube | None,
        metal_mm: float,
        least_mm: float | None = None,
        scan: bool = False,
    ) -> str:
        if not self.alloys:
            return UNKNOWN
        strongest = TUBES[-1]
        alike = self.alloys[-1] if len(self.alloys) == 1 else f"as {' or '.join(self.alloys)}"
        if tube is None:
            limit, times = passes(strongest, self.alloys), self.checked.case.inspection.beyond_tube
            many = "twice" if times == 2.0 else f"{times:g} times"
            said = f"more than {many} the {limit:g} mm that {strongest.kv:g} kV passes ({alike})"
            return self._or_others(said, metal_mm if least_mm is None else least_mm, scan)
        limit = passes(tube, self.alloys)
        if metal_mm > limit:
            partly = "in part " if least_mm is not None and least_mm <= limit else ""
            said = f"{partly}more than the {limit:g} mm that {tube.kv:g} kV passes at 2 % ({alike})"
            return self._or_others(said, metal_mm, scan)
        return f"{tube.kv:g} kV with {tube.filter} passes {limit:g} mm at 2 % ({alike})"

    def _through(
        self, least_mm: float, worst_mm: float, scan: bool = False
    ) -> tuple[Tube | None, Answer]:
        """The tube that passes it, and what follows from the metal alone."""
        if not self.alloys:
            return None, "ask"
        enough = tube_for(self.alloys, worst_mm)
        if enough is not None:
            return enough, "yes"
        keys = self.checked.case.inspection
        perhaps = tube_for(self.alloys, least_mm, keys.beyond_tube)
        if perhaps is not None:
            return TUBES[-1], "ask"
        return None, "ask" if self._sources(least_mm, scan) else "no"

    def _sources(self, metal_mm: float, scan: bool) -> str:
        """Gamma sources and accelerators that might do where no tube does; empty if none does."""
        return words(self.checked.case.inspection.sources, metal_mm, self.alloys, scan)

    # ---- across the layers ---------------------------------------------------------------------

    def across(self, target: Target, predicted: Predicted) -> Said:
        """A radiograph with the beam along z: the sheet is met by its thickness alone."""
        if target.is_step:
            return Said("radiograph-across", "no", {}, STEP)
        if target.kind == "gap":
            return Said("radiograph-across", "no", {}, "a level gap hardly changes the metal there")
        keys = self.checked.case.inspection
        metal = _upright(predicted, target.at)
        sure, greatest = target.thickness_mm
        needed = keys.contrast * metal
        numbers = {"metal_least_mm": metal, "thickness_mm": sure, "least_thickness_seen_mm": needed}
        tube, answer = self._through(metal, metal)
        if tube is not None:
            numbers["tube_kv"] = tube.kv
        if greatest < needed:
            answer = "no"
        elif sure < needed and answer == "yes":
            answer = "ask"
        return Said(
            "radiograph-across",
            answer,
            numbers,
            f"beam along z: {most(metal)} mm of metal beside a sheet of {least(sure)} to "
            f"{most(greatest)} mm, of which {most(needed)} mm would show; "
            f"{self._tube_words(tube, metal)}",
        )

    # ---- a scan --------------------------------------------------------------------------------

    def scan(self, target: Target) -> Said:
        """A tomograph: its voxel against the thickness, and the metal on its worst ray."""
        keys = self.checked.case.inspection
        _, worst = least_and_greatest(target.outline, target.at[:2])
        figure, turn = self._seen(target), worst.turn_deg
        half = extent(figure, target.at[:2], turn)
        beside = most_beside(target.outline, target.at[:2], turn, half)
        worst_mm = max(worst.metal_mm, beside.metal_mm)
        voxel = voxel_mm(self.across_mm, keys.pixels)
        sure, greatest = target.thickness_mm
        thick = sure if target.kind == "crossing" else greatest
        u = summed_mm(voxel, keys.noise, greatest, max(float(figure.area), voxel**2))
        u /= target.contrast
        numbers = {
            "metal_worst_mm": worst_mm,
            "voxel_mm": voxel,
            "thickness_mm": thick,
            "sum_u_mm": u,
        }
        tube, answer = self._through(worst_mm, worst_mm, scan=True)
        if tube is not None:
            numbers["tube_kv"] = tube.kv
        by_sum = thick < KEPT * voxel and not target.is_step
        if target.is_step:
            answer = "no" if answer == "no" else "ask"
        elif thick < SURE * u:
            answer = "no"
        elif (by_sum or target.contrast < 1.0) and answer == "yes":
            answer = "ask"
        how = (
            "; tilt the part by 20 to 30 deg, level sheets lie in the weak plane of a scan; "
            "its worst ray is another one then, not computed"
        )
        if by_sum:
            how = (
                f"; thinner than {KEPT:g} voxels: a threshold may lose it, and an empty scan "
                f"proves nothing; ask for the sum of grey values over its height (u {most(u)} mm)"
            )
        elif target.contrast < 1.0:
            how += (
                "; powder in it is about half as grey as metal: a threshold may take it for metal"
            )
        if target.is_step:
            how = "; no sheet: compare the outline above the height with that below it"
        if self.alloys and tube is None:
            how = ""
        return Said(
            "tomography",
            answer,
            numbers,
            f"voxel {near(voxel, 3)} mm at best, part {most(self.across_mm)} mm across; worst ray "
            f"through it {most(worst_mm)} mm of metal in the layer plane; "
            f"{self._tube_words(tube, worst_mm, scan=True)}{how}",
        )


def _upright(predicted: Predicted, at: Any) -> float:
    """Metal above and below a place, mm, on the nearest column."""
    grid = predicted.grid
    i, j = grid.nearest(float(at[0]), float(at[1]))
    runs = predicted.metal.of(i * grid.ny + j)
    return float((runs[:, 1] - runs[:, 0]).sum())


def _outermost(points: NDArray[np.float32]) -> NDArray[np.float64]:
    """Points (N, 2) without those within an octagon of some of them: the hull has none of these."""
    turn = np.arange(8) * (np.pi / 4.0)
    some = points[:: len(points) // POINTS + 1].astype(np.float64)
    ring = some[(np.stack([np.cos(turn), np.sin(turn)], axis=1) @ some.T).argmax(1)]
    sides = np.roll(ring, -1, axis=0) - ring
    rights = np.stack([sides[:, 1], -sides[:, 0]], axis=1)  # out of the octagon
    # On one line they bound nothing: then all are kept.
    at = (ring * rights).sum(1)[:, None] if shapely.Polygon(ring).area > 0.0 else -np.inf
    out = [ring]
    for n in range(0, len(points), POINTS):
        few = points[n : n + POINTS].astype(np.float64)
        out.append(few[(rights @ few.T > at).any(0)])
    return np.concatenate(out)
