"""Water at 20 degrees Celsius, a flow of it as a case gives one, and what it loses in a tube."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

from clearance.flow import pressure_loss as losses
from clearance.flow.channel import Bend, End, Piece, Stopped

RHO, MU = 998.2, 1.002e-3
"""Density, kg/m3, and viscosity, Pa s: common practice, no source."""


@dataclass(frozen=True)
class Flow:
    density: float = RHO
    viscosity: float = MU
    rate: float = 1.0
    max_pressure_loss: float | None = None
    roughness: tuple[float, float] | None = None


def tube(
    lengths: Sequence[float],
    diameters: Sequence[float],
    roughness_mm: float = 0.0,
    bends: Sequence[Bend] = (),
) -> End:
    """Round pieces one behind the other, mm."""
    pieces = tuple(Piece.round(a, b) for a, b in zip(lengths, diameters, strict=True))
    mouths = (pieces[0].area_mm2, pieces[-1].area_mm2)
    return End(pieces, *mouths, tuple(bends), roughness_mm)


def pressure_loss(
    lengths: Sequence[float],
    diameters: Sequence[float],
    crossings: Sequence[Any],
    flow: Any,
    stopped: Stopped | None = None,
    **keys: Any,
) -> Any:
    """Of a tube that is known exactly: both ends of the bracket are the same passage."""
    end = tube(lengths, diameters, **keys)
    return losses.pressure_loss(end, end, crossings, flow, stopped or Stopped())
