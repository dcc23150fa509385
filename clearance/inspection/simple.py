"""Rules of the simple methods: scope, flow, weighing. Pure numbers, with their sources.

In: lengths, shares, masses. Out: what passes, what is left, what is sure.
"""

from __future__ import annotations

import math

FRICTION, ENDS = 0.04, 1.5
"""Friction factor, and coefficient of both ends, of a channel whose flow the case does not give."""
SURE = 3.0
"""Standard deviations from which a change counts as sure; common practice."""
MANY = 10
"""Reference parts with which a laboratory can be asked for a finer answer."""
ONE_SIDED = 0.95
LEAST_SISTERS = 3


def rigid_length(bore_mm: float, scope_mm: float, bend_mm: float) -> float:
    """Longest rigid length that passes a bend, mm; 0 where the scope is as thick as the bore.

    (R + D/2)^2 >= (R - D/2 + d)^2 + (l/2)^2: the inner face touches midway, the outer
    corners at the ends.

    Parameters
    ----------
    bore_mm, scope_mm : float
        D and d.
    bend_mm : float
        R of the centre line; bore_mm / 2 is a bend whose inner side is a sharp edge.

    Examples
    --------
    >>> round(rigid_length(6.0, 4.0, 20.0), 1)
    18.8
    """
    room = (bend_mm + 0.5 * bore_mm) ** 2 - (bend_mm - 0.5 * bore_mm + scope_mm) ** 2
    return 2.0 * math.sqrt(max(room, 0.0))


def flow_left(slenderness: float, coefficient: float | None) -> float:
    """Share of the flow that is left at the same pressure; 0 behind a sealed sheet.

    Parameters
    ----------
    slenderness : float
        Length over diameter of the channel.
    coefficient : float or None
        Of what the sheets leave open, on the mean velocity in the channel; None: sealed.
    """
    if coefficient is None:
        return 0.0
    base = FRICTION * slenderness + ENDS
    return math.sqrt(base / (base + coefficient))


def sure_change(repeatability: float, references: int = 1) -> float:
    """Change of flow that is sure against so many reference parts, as a share.

    Examples
    --------
    >>> round(sure_change(0.05), 2), round(sure_change(0.05, 10), 2)
    (0.21, 0.16)
    """
    return SURE * repeatability * math.sqrt(1.0 + 1.0 / references)


def sisters_factor(sisters: int) -> float:
    """One-sided 95 % limit for one part more, in standard deviations of so many sister parts.

    Student's t with one degree of freedom less, times the root of 1 + 1/N.

    Examples
    --------
    >>> [round(sisters_factor(n), 1) for n in (3, 5, 10)]
    [3.4, 2.3, 1.9]
    """
    from scipy.special import stdtrit

    return float(stdtrit(sisters - 1, ONE_SIDED)) * math.sqrt(1.0 + 1.0 / sisters)
