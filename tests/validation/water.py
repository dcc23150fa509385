"""Water at 20 degrees Celsius, and a flow of it as a case gives one."""

from __future__ import annotations

from dataclasses import dataclass

RHO, MU = 998.2, 1.002e-3
"""Density, kg/m3, and viscosity, Pa s: common practice, no source."""


@dataclass(frozen=True)
class Flow:
    density: float = RHO
    viscosity: float = MU
    rate: float = 1.0
    max_pressure_loss: float | None = None
    roughness: tuple[float, float] | None = None
