"""What a twist drill needs to cut, and what it and a thin sheet stand.

In: diameters, lengths, feeds, constants of the material. Out: forces, torques, limits. Pure
numbers; docs/method.md, "Drilling in practice", has the formulas with their sources.
"""

from __future__ import annotations

import math
from typing import NamedTuple

from clearance.drilling.drills import POINT_ANGLE_DEG, point_length

INERTIA_SHARE = 0.19
"""Of a full circle's second moment of area that two flutes leave, over a whole turn of them."""
GYRATION = 0.16
"""Radius of gyration of that section over the diameter."""
TORSION = 0.022
"""Torsion modulus of that section over the cube of the diameter."""
HELD, FREE = 2.046, 0.25
"""Euler's factors: shank fixed, and the tip held sideways or free."""
POISSON = 0.3
"""Poisson's ratio of a sheet; general knowledge."""
FEEDS = ((3.2, (0.025, 0.05)), (6.4, (0.05, 0.10)), (12.7, (0.10, 0.18)))
"""Diameter up to and including, mm; feed, mm a turn: a navy's training page."""
LARGE_FEED = (0.18, 0.38)
"""The same for larger ones, from memory."""
REAMING = ((2.3, None), (4.3, 0.25), (7.1, 0.30), (22.0, 0.40))
"""Diameter up to, mm; most that a reamer takes of the diameter, mm: a cutter maker's page."""


class Cutting(NamedTuple):
    """What a drill needs in solid metal: thrust of lips and chisel edge, N; torque, N m."""

    lips_n: float
    chisel_n: float
    torque_nm: float


def cutting(diameter: float, feed: float, work_constant: float, split: bool) -> Cutting:
    """Thrust and torque of a sharp drill in solid metal, Shaw and Oxford's handbook form.

    Parameters
    ----------
    diameter : float, mm
    feed : float, mm a turn
    work_constant : float, psi
        K of the handbook's table.
    split : bool
        A split point (chisel edge 0.03 of the diameter) instead of the usual one (0.18).
    """
    a, b, j = (1.000, 1.100, 0.001) if split else (1.085, 1.355, 0.030)
    fed = feed**0.8
    return Cutting(
        0.05 * work_constant * fed * diameter**0.8 * b,
        0.007 * work_constant * diameter**2 * j,
        2.5e-5 * work_constant * fed * diameter**1.8 * a,
    )


def usual_feed(diameter: float) -> tuple[float, float]:
    """Usual feed of a drill, mm a turn, low and high."""
    return next((feed for largest, feed in FEEDS if diameter <= largest), LARGE_FEED)


def lip_share(diameter: float, thickness: float, point_angle_deg: float = POINT_ANGLE_DEG) -> float:
    """Share of the lips that a sheet of a thickness, mm, holds at once; 1 as in solid metal."""
    return min(1.0, thickness / point_length(diameter, point_angle_deg))


def torque_share(lips: float) -> float:
    """Share of the torque of the outermost part of the lips, force even along them."""
    return 1.0 - (1.0 - lips) ** 2


def slenderness(diameter: float, flute: float, held: bool) -> float:
    """Effective length over radius of gyration of a fluted length."""
    return flute / math.sqrt(HELD if held else FREE) / (GYRATION * diameter)


def slenderest(modulus: float, strength: float) -> float:
    """Slenderness up to which a column yields before it buckles; both in MPa."""
    return math.sqrt(2.0 * math.pi**2 * modulus / strength)


def buckling(
    diameter: float, flute: float, held: bool, modulus: float = 210e3, strength: float = 2000.0
) -> float:
    """Thrust at which a drill buckles, N: Euler, or Johnson's parabola where it is stout.

    Parameters
    ----------
    diameter, flute : float, mm
    held : bool
        The tip is held sideways, by a bush or by what it has cut.
    modulus, strength : float, MPa
    """
    inertia = INERTIA_SHARE * math.pi * diameter**4 / 64.0
    slender = slenderness(diameter, flute, held)
    if slender >= slenderest(modulus, strength):
        return (HELD if held else FREE) * math.pi**2 * modulus * inertia / flute**2
    area = inertia / (GYRATION * diameter) ** 2
    return area * strength * (1.0 - strength * slender**2 / (4.0 * math.pi**2 * modulus))


def longest(diameter: float, thrust: float, modulus: float) -> float:
    """Longest fluted length, mm, that stands a thrust, N, with its tip held; Euler."""
    inertia = INERTIA_SHARE * math.pi * diameter**4 / 64.0
    return math.sqrt(HELD * math.pi**2 * modulus * inertia / thrust)


def torque_limit(diameter: float, strength: float) -> float:
    """Torque at which a drill's fluted part yields, N m; strength in MPa, half of it in shear."""
    return TORSION * diameter**3 * 0.5 * strength * 1e-3


def sheet_load(thickness: float, across: float, modulus_gpa: float) -> float:
    """Load in the middle of a clamped disc that bends it by its own thickness, N.

    Parameters
    ----------
    thickness, across : float, mm
    modulus_gpa : float
    """
    stiff = modulus_gpa * 1e3 * thickness**3 / (12.0 * (1.0 - POISSON**2))
    return 16.0 * math.pi * stiff * thickness / (0.5 * across) ** 2


def reaming_allowance(diameter: float) -> float | None:
    """Most that a reamer takes of a diameter, mm; None where no table was read."""
    return next((most for largest, most in REAMING if diameter <= largest), None)


def steepest(point_angle_deg: float = POINT_ANGLE_DEG) -> float:
    """Tilt, deg, from which a point's corner meets a sheet before its tip."""
    return 90.0 - 0.5 * point_angle_deg


def uneven(diameter: float, tilt_deg: float, point_angle_deg: float = POINT_ANGLE_DEG) -> float:
    """Depth, mm, over which a drill cuts on one side only as it meets a sheet aslant."""
    point = point_length(diameter, point_angle_deg)
    return point + 0.5 * diameter * math.tan(math.radians(tilt_deg))
