"""Alloys that the program knows by name: density, expansion, stiffness, how hard they are to cut.

In: the name in a case file. Out: an `Alloy`, or None. Pure numbers with their sources.
"""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Alloy:
    """A solid alloy.

    Attributes
    ----------
    name : str
        As sheets and texts print it.
    also : tuple of str
        Other names that a case file may give, short forms too.
    density_g_cm3 : float
    expansion_1e6_k : float
        Mean linear thermal expansion from room temperature to 100 or 200 degC, 1e-6/K.
    modulus_gpa : float
        Young's modulus.
    work_constant : (float, float)
        Constant of the handbook's formula for thrust and torque of drills, psi (`drilling.forces`).
    """

    name: str
    also: tuple[str, ...]
    density_g_cm3: float
    expansion_1e6_k: float
    modulus_gpa: float
    work_constant: tuple[float, float]


# Densities: 316L, published tables read: 7.9 (materials comparison page), 8.0 for 316
# (MeltpoolNet data), 7.95 is the middle of that spread; alloy 718, MeltpoolNet data (Akbari et al.,
# Additive Manufacturing 55 (2022) 102817); Ti-6Al-4V, general knowledge, a copy of an alloy data
# sheet gives 4.42; AlSi10Mg, general knowledge, MeltpoolNet carries 2.59, which is too low for the
# solid alloy.
# Expansion as data sheets give it, from memory: tables of EN 10088-1 (1.4404), of ASM handbooks
# (alloy 718, Ti-6Al-4V) and of EN 1706 (AlSi10Mg).
# Young's moduli and work constants from memory; that of alloy 718 is a stand-in, the handbook's
# for another nickel alloy; most aluminium has 7000.
# UNS numbers (ASTM E527, SAE HS-1086): N07718 for alloy 718, from memory.
ALLOYS = (
    Alloy("316L", (), 7.95, 16.5, 193.0, (24_000.0, 35_000.0)),
    Alloy(
        "alloy 718 (UNS N07718)",
        ("alloy 718", "IN718", "UNS N07718", "N07718"),
        8.19,
        13.0,
        200.0,
        (40_000.0, 40_000.0),
    ),
    Alloy("Ti-6Al-4V", (), 4.43, 8.8, 114.0, (18_000.0, 29_000.0)),
    Alloy("AlSi10Mg", (), 2.67, 20.5, 70.0, (7_000.0, 7_000.0)),
)


def alloy(name: str | None) -> Alloy | None:
    """The alloy of a name or short form; None for one that is not known.

    Examples
    --------
    >>> alloy("IN718").name
    'alloy 718 (UNS N07718)'
    """
    return next((one for one in ALLOYS if name in (one.name, *one.also)), None)


def known_names() -> tuple[str, ...]:
    """The names to propose, each alloy once: its short form where it has one."""
    return tuple(one.also[0] if one.also else one.name for one in ALLOYS)
