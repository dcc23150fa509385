"""X-rays: how much metal they pass, and what thickness a picture shows.

In: lengths of metal. Out: tubes, least lengths and angles. Pure numbers, with their sources.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

from clearance.case.materials import ALLOYS, Alloy


@dataclass(frozen=True, slots=True)
class Tube:
    """An X-ray tube with its filter, and the metal that it passes.

    Attributes
    ----------
    kv : float
        Tube voltage.
    filter : str
    passes_mm : dict of str to float
        Metal along the ray, mm, at which 2 % of the energy still arrives, by the alloy's name.
    """

    kv: float
    filter: str
    passes_mm: dict[str, float]


_NAMES = tuple(one.name for one in ALLOYS)  # 316L, alloy 718, Ti-6Al-4V, AlSi10Mg


def _tube(kv: float, filtered: str, *passes_mm: float) -> Tube:
    return Tube(kv, filtered, dict(zip(_NAMES, passes_mm, strict=True)))


# Energy-weighted transmission of 2 %, narrow beam, tungsten tube: computed with the libraries
# spekpy 2.5.4 (spectra) and xraydb 4.5.8 (attenuation, Elam's tables). A film maker's handbook
# gives more for film with lead screens and long exposure: 25 mm of steel at 150 kV, 75 at 300,
# 90 at 400: this table errs to the safe side.
TUBES = (
    _tube(160.0, "0.5 mm Cu", 13.0, 11.0, 32.0, 77.0),
    _tube(225.0, "1 mm Cu", 21.0, 19.0, 46.0, 93.0),
    _tube(320.0, "2 mm Cu", 29.0, 27.0, 60.0, 110.0),
    _tube(450.0, "3 mm Cu", 37.0, 34.0, 72.0, 124.0),
)
ALIKE = 0.1
"""An alloy that is not in the table is taken for those whose density differs by less."""


def alloys_like(name: str | None, density_g_cm3: float | None) -> tuple[str, ...]:
    """Names of the alloys in the table that a part may be taken for; empty if none is like it.

    Examples
    --------
    >>> alloys_like("IN718", None), alloys_like(None, 8.1)
    (('alloy 718 (UNS N07718)',), ('316L', 'alloy 718 (UNS N07718)'))
    """
    known = [one for one in ALLOYS if name in (one.name, *one.also)]
    if not known and density_g_cm3 is not None:
        known = [one for one in ALLOYS if _near(one, density_g_cm3)]
    return tuple(one.name for one in known)


def _near(alloy: Alloy, density_g_cm3: float) -> bool:
    return abs(alloy.density_g_cm3 / density_g_cm3 - 1.0) < ALIKE


def tube_for(alloys: Sequence[str], metal_mm: float, factor: float = 1.0) -> Tube | None:
    """The weakest tube that passes a length of metal, of the alloy that absorbs most."""
    passing = (t for t in TUBES if passes(t, alloys) * factor >= metal_mm)
    return next(passing, None)


def passes(tube: Tube, alloys: Sequence[str]) -> float:
    """Metal that a tube passes at 2 %, mm, of the alloy that absorbs most; 0 of none."""
    return min((tube.passes_mm[name] for name in alloys), default=0.0)


def least_seen(
    metal_mm: float, chord_mm: float, unsharpness_mm: float, contrast: float = 0.02
) -> float:
    """Least thickness across the ray that a picture shows, mm.

    Metal of the length c along the ray and the thickness t across it is seen if
    c min(1, t / U) >= contrast W: a slit narrower than the unsharpness U keeps its area.
    Infinite where not even a thick one would be.

    Parameters
    ----------
    metal_mm : float
        W, metal along the ray.
    chord_mm : float
        c, what is to be seen along the ray.
    unsharpness_mm : float
        U, total, at the part.
    contrast : float
        Share of W that is seen.

    Examples
    --------
    >>> round(least_seen(20.0, 1.0, 0.1), 3), round(least_seen(40.0, 8.0, 0.2), 3)
    (0.04, 0.02)
    """
    if chord_mm < contrast * metal_mm:
        return math.inf
    return contrast * metal_mm / chord_mm * unsharpness_mm if chord_mm > 0.0 else 0.0


def tilt_deg(thickness_mm: float, chord_mm: float) -> float:
    """Angle out of the layer plane at which a ray leaves the sheet within its chord, degrees.

    Examples
    --------
    >>> round(tilt_deg(0.1, 2.0), 1), round(tilt_deg(0.15, 8.0), 1)
    (2.9, 1.1)
    """
    return math.degrees(math.atan2(thickness_mm, chord_mm))


def source_mm(thickness_mm: float, chord_mm: float, distance_mm: float = 1000.0) -> float:
    """How far a point source may stand above or below the sheet, mm.

    Examples
    --------
    >>> round(source_mm(0.15, 8.0)), round(source_mm(0.15, 2.0))
    (19, 75)
    """
    return distance_mm * thickness_mm / chord_mm


KEPT = 3.0
"""A slab so many voxels thick is kept at every blur up to 1.5 voxels; computed, random phase."""
BLUR_VOXELS = 5.0
"""Voxels that the sum of grey values takes beyond a sheet on either side; no source."""


def voxel_mm(across_mm: float, pixels: int) -> float:
    """Least voxel with which a part that turns fits on the detector, mm.

    Examples
    --------
    >>> round(voxel_mm(100.0, 1800), 3)
    0.056
    """
    return across_mm / pixels


def summed_mm(voxel: float, noise: float, thickness_mm: float, area_mm2: float) -> float:
    """Standard uncertainty of a thickness weighed as a sum of grey values, mm.

    u = V noise sqrt(n) / sqrt(N): n voxels along the sum, N columns of voxels over the area.

    Examples
    --------
    >>> round(summed_mm(0.15, 0.1, 0.1, 19.63), 4)
    0.0017
    """
    along = thickness_mm / voxel + 2.0 * BLUR_VOXELS
    columns = max(area_mm2 / voxel**2, 1.0)
    return voxel * noise * math.sqrt(along / columns)
