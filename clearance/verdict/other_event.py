"""The same part under another event: nothing of it is read again.

In: a case made ready, and other stray sheets. Out: a `Checked` with these, which shares meshes
and mouths with it.
"""

from __future__ import annotations

from dataclasses import replace

from clearance.case.read import Case
from clearance.case.stray_tables import StrayTable
from clearance.predicted.slices_in_faces import both_sides
from clearance.predicted.variants import Unknowns, variants
from clearance.verdict.prepared import Checked


def with_strays(checked: Checked, strays: tuple[StrayTable, ...]) -> Checked:
    """The case with other stray sheets, as it would be computed: without what was read or scanned.

    Raises
    ------
    CaseError
        There is no such event, for one because its slices lie beyond the part.
    """
    varied: Case = replace(checked.case, stray=strays, reading=(), scan=None)
    unknowns = unknown_of(checked, varied)
    return Checked(
        varied,
        checked.bodies,
        checked.mouths,
        unknowns,
        checked.pitch_mm,
        [*checked.notices, *unknowns.notices],
        checked.inputs,
        checked.others,
        checked.chord_mm,
    )


def unknown_of(checked: Checked, varied: Case, alone: bool = True) -> Unknowns:
    """All that a case with other stray sheets leaves open of its events; `alone` as `variants`.

    Raises
    ------
    CaseError
        As for `with_strays`.
    """
    low, high = (float(z) for z in checked.bodies.bounds[:, 2])
    return both_sides(
        variants(varied, low, high, alone),
        lambda z: checked.bodies.levels("melted", z),
        checked.platform_z,
    )
