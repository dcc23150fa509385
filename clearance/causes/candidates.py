"""What could be measured next on this part, from eye and caliper to cutting.

In: a part that is read, and the result of one check. Out: `Candidate`s in a fixed order, the
cheapest first, each as a reading without its value. What it would tell is left to `next_one`.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from typing import Any

from clearance.case.readings import ReadingTable
from clearance.case.suspected import TYPICAL_U
from clearance.evidence.pins import READING_MM
from clearance.result import Result
from clearance.verdict.prepared import Checked

ORDER = (
    "rim_seen",
    "rim_top",
    "rim_bottom",
    "rim_width",
    "part_height",
    "step",
    "rim_thickness",
    "ball",
    "pin",
    "mass",
    "open_area",
)
"""From eye, caliper and micrometer over ball, pin and balance to cutting. What is cheap
in a workshop: common practice, no source. It is printed as it stands, and orders nothing else."""

ANY_MASS_G = (1000.0, 1000.0)
"""Two sisters of any mass: only differences between suspects count."""


@dataclass(frozen=True)
class Candidate:
    """One thing that could be measured.

    Attributes
    ----------
    reading : ReadingTable
        Without its value; of go/no-go with "yes" or "passes".
    words : str
        What and with what, for people.
    u : float or None
        Standard uncertainty in the unit of the reading; None of yes or no.
    assumed : bool
        The case does not give it.
    """

    reading: ReadingTable
    words: str
    u: float | None = None
    assumed: bool = False

    @property
    def rank(self) -> int:
        """Its place in the order of cost."""
        return ORDER.index(self.reading.kind)


def candidates(checked: Checked, result: Result, given: Mapping[str, float]) -> list[Candidate]:
    """All of them, the cheapest first.

    Parameters
    ----------
    checked : Checked
    result : Result
        Of the likeliest suspect: it says which pins enter which port, and heights of crossings.
    given : mapping
        `u_next` of the case.
    """
    found = [*_outside(checked), *_go_no_go(checked, result), *_weighed(checked)]
    found += _cut(checked, result)
    made = [_with_u(one, words, scale, given) for one, words, scale in found]
    return sorted(made, key=lambda one: one.rank)


_Raw = tuple[dict[str, Any], str, float]
"""Keys of a reading, words, and what its relative uncertainty is of."""


def _with_u(
    keys: dict[str, Any], words: str, scale: float, given: Mapping[str, float]
) -> Candidate:
    kind = keys["kind"]
    if kind not in TYPICAL_U:
        return Candidate(ReadingTable.model_validate(keys), words)
    u = given.get(kind, TYPICAL_U[kind][0] * scale)
    table = ReadingTable.model_validate({**keys, "value": 0.0, "u": u})
    return Candidate(table, words, u, kind not in given)


def _outside(checked: Checked) -> Iterator[_Raw]:
    event = len(checked.case.stray)
    rim = {"event": event}
    yield {"kind": "rim_seen", "value": True, **rim}, "look for a rim on the side, raking light", 1
    yield {"kind": "rim_top", **rim}, "height of the rim's upper face, caliper", 1
    yield {"kind": "rim_bottom", **rim}, "height of the rim's lower face, caliper", 1
    yield {"kind": "rim_width", **rim}, "how far the rim stands out, caliper", 1
    yield {"kind": "part_height"}, "height of the whole part, height gauge", 1
    yield {"kind": "rim_thickness", **rim}, "thickness of the rim, micrometer", 1
    shift = checked.case.stray[-1].resume_shift
    if any(shift):
        keys = {"kind": "step", "direction": list(shift), **rim}
        yield keys, "sideways step at the joint, height gauge", 1


def _go_no_go(checked: Checked, result: Result) -> Iterator[_Raw]:
    part = checked.case.part
    for passage in checked.case.passage:
        need = passage.min_clear_diameter + part.build_allowance - part.mesh_tolerance
        if need > 0.0:
            keys = {"kind": "ball", "passage": passage.name, "diameter": need, "result": "passes"}
            yield keys, f"ball of {need:g} mm through {passage.name}", 1
    for pin in result.signs.gauge_pins if result.signs is not None else ():
        if pin.pin_diameter_mm > 0.0 and pin.stops_at_mm is not None:
            keys = {"kind": "pin", "port": pin.port, "diameter": pin.pin_diameter_mm}
            said = f"pin of {pin.pin_diameter_mm:.1f} mm into {pin.port}: how deep"
            yield {**keys, "value": pin.stops_at_mm, "u": READING_MM}, said, 1


def _weighed(checked: Checked) -> Iterator[_Raw]:
    density = checked.case.part.density_g_cm3
    if density is None:
        return
    nominal = checked.whole.predict(()).metal
    grams = float(nominal.length_mm().sum()) * checked.pitch_mm**2 * density * 1e-3
    keys = {"kind": "mass", "sisters": list(ANY_MASS_G)}
    yield keys, "mass against sister parts of other builds, balance", grams


def _cut(checked: Checked, result: Result) -> Iterator[_Raw]:
    """Open area at the sheet of the likeliest suspect: by computed tomography, or by cutting."""
    stray = len(checked.case.stray) - 1
    for passage in result.passages:
        met = [c for c in passage.crossings if c.stray == stray]
        if met:
            worst = min(met, key=lambda c: c.open_fraction)
            height = worst.height_mm - checked.platform_z
            keys = {"kind": "open_area", "passage": passage.name, "height": height}
            said = f"open area of {passage.name} at {height:.2f} mm, tomography or cutting"
            yield keys, said, worst.nominal_area_mm2
