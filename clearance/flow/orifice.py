"""Loss coefficient of one restriction: a sheet that leaves part of a passage open.

In: areas, thickness, Reynolds number. Out: the coefficient on the mean velocity in the passage,
the form used, whether its range is left, and how far it may be off.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

SEALED = "sealed: nothing flows at any pressure"
THIN = 0.015
"""Thickness over hole diameter up to which a sheet counts as thin (Idelchik, diagram 4-14)."""
WIDEST = 0.6
"""Open fraction above which the published forms differ by tens of percent."""
TURBULENT = {"thin": 1e5, "thick": 1e3}
"""Least Reynolds number in the hole for which the two turbulent forms are given."""
CREEPING = 1.0
"""Reynolds number in the hole below which viscosity alone decides."""
SPREAD, SPREAD_BEYOND = 0.10, 0.30
"""How far a loss coefficient may be off, in and out of its range; see docs/method.md."""


@dataclass(frozen=True, slots=True)
class Loss:
    """Loss coefficient of one restriction.

    Attributes
    ----------
    coefficient : float or None
        On the mean velocity in the passage; None where it is sealed (infinite).
    form : str
        The form used.
    in_range : bool
        Whether the form is used within the range it is given for.
    note : str
        What range is left, and to which side the value errs; empty if none.
    spread : float
        How far a published form may be off.
    least, most : float
        The true value is taken to lie between least·(1 - spread) and most·(1 + spread), for a
        sheet of this thickness or less: at the low end the greater of the turbulent and the
        creeping part counts alone, without friction; at the high end all are added, with the
        turbulent part of a thin sheet and the viscous parts of a hole as narrow as its hydraulic
        diameter.
    """

    coefficient: float | None
    form: str
    in_range: bool = True
    note: str = ""
    spread: float = 0.0
    least: float = 0.0
    most: float = 0.0


def loss(
    open_area: float,
    nominal_area: float,
    thickness: float,
    reynolds: float | None = None,
    roughness: float = 0.0,
    hydraulic: float | None = None,
) -> Loss:
    """Loss coefficient of a sheet that leaves part of a passage open.

    The hole is taken as round and of the open area, wherever it lies and whatever its
    outline: a lens left by a sideways shift too. Viscous and turbulent parts are added:
    K = (turbulent + 12·pi/Re_hole + friction factor · l/d) / f², f being the open fraction.
    At low Reynolds numbers this is Sampson's aperture with the length term of Dagan,
    at high ones Idelchik's orifice; between the two it errs to the high side.

    Parameters
    ----------
    open_area, nominal_area : float, mm2
        Open area and area of the passage, in the same plane.
    thickness : float, mm
        Thickness of the sheet.
    reynolds : float, optional
        Of the passage: mean velocity and diameter of equal area. None: the turbulent
        limit, without friction in the hole.
    roughness : float, mm
        Of the hole's wall.
    hydraulic : float, mm, optional
        Four times the open area over the length of its outline; default: of a round hole.

    Raises
    ------
    ValueError
        An area, thickness or Reynolds number that cannot be.

    References
    ----------
    Idelchik, Handbook of Hydraulic Resistance, 3rd ed., diagrams 4-14 and 4-15 (as given in
    the documentation of the Modelica Standard Library); Sampson, Phil. Trans. A 182 (1891)
    449; Dagan, Weinbaum, Pfeffer, J. Fluid Mech. 115 (1982) 505.
    """
    if nominal_area <= 0.0 or open_area < 0.0 or thickness < 0.0:
        raise ValueError("areas and thickness of a restriction must not be negative")
    if reynolds is not None and reynolds <= 0.0:
        raise ValueError("the Reynolds number must be positive")
    if open_area == 0.0:
        return Loss(None, SEALED)
    f = open_area / nominal_area
    if f >= 1.0:
        return Loss(0.0, "nothing stands in the way")
    diameter = math.sqrt(4.0 * open_area / math.pi)
    slender = thickness / diameter
    kind = "thin" if slender <= THIN else "thick"
    turbulent = _thin_plate(f) if kind == "thin" else _thick_plate(f, slender)
    if reynolds is None:
        told = _told(turbulent / f**2, kind, f, math.inf)
        most = max(turbulent, _thin_plate(f))
        return replace(told, least=turbulent / f**2, most=most / f**2)
    in_hole = reynolds / math.sqrt(f)
    creeping = 12.0 * math.pi / in_hole
    friction = friction_factor(in_hole, roughness / diameter) * slender
    narrow = 1.0 if hydraulic is None else min(hydraulic / diameter, 1.0)
    along = friction
    if narrow < 1.0:
        # Between plates the laminar factor is half as much again as in a tube.
        factor = friction_factor(in_hole * narrow, roughness / (diameter * narrow))
        along = 1.5 * factor * slender / narrow
    # A sheet may be thinner than told: then the hole has less friction, and the jet does not
    # lay itself to its wall, which loses more.
    least = max(turbulent, creeping)
    most = max(turbulent, _thin_plate(f)) + creeping / narrow**2 + max(friction, along)
    told = _told((turbulent + creeping + friction) / f**2, kind, f, in_hole)
    return replace(told, least=least / f**2, most=most / f**2)


def _thin_plate(f: float) -> float:
    """Idelchik 3rd edition, diagram 4-14, times f²."""
    return ((1.0 - f) + 0.707 * (1.0 - f) ** 0.375) ** 2


def _thick_plate(f: float, slender: float) -> float:
    """Idelchik 3rd edition, diagram 4-15, times f², without its friction term."""
    tau = (2.4 - slender) * 10.0 ** -(0.25 + 0.535 * slender**8 / (0.05 + slender**7))
    rim = 1.0 - f
    return 0.5 * rim**0.75 + max(tau, 0.0) * rim**1.375 + rim**2


def _told(coefficient: float, kind: str, f: float, in_hole: float) -> Loss:
    """The loss with the name of its form and whether its range is left."""
    form = f"{kind} sharp plate (Idelchik)"
    notes = []
    if in_hole < CREEPING:
        form = "aperture in creeping flow (Sampson, with the length term of Dagan)"
        if f > 0.25:
            notes.append(
                f"open fraction {f:.2f}: the aperture form is for a plate much wider than "
                "its hole; the value errs to the high side"
            )
    elif in_hole < TURBULENT[kind]:
        form += " plus aperture in creeping flow (Sampson, Dagan)"
        notes.append(
            f"Reynolds number in the hole {in_hole:.3g}, the form is given from "
            f"{TURBULENT[kind]:.0e}; the sum errs to the high side"
        )
    if f > WIDEST:
        notes.append(
            f"open fraction {f:.2f}: above {WIDEST:g} published forms differ by tens of percent"
        )
    return Loss(coefficient, form, not notes, "; ".join(notes), SPREAD_BEYOND if notes else SPREAD)


def friction_factor(reynolds: float, relative_roughness: float) -> float:
    """Darcy friction factor of a tube."""
    import fluids

    return float(fluids.friction_factor(Re=reynolds, eD=relative_roughness))
