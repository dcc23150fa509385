"""Facts behind the disposition sheet: the event's numbers, files, settings, method.

In: a case, what was prepared of it, its result. Out: `Fact`s and sentences. Where a number
comes from (log, measured, assumed, computed, case) stands beside it.
"""

from __future__ import annotations

import re
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import Any

from clearance.case.read import Case
from clearance.case.stray_tables import StrayTable
from clearance.report.happened import resumed
from clearance.report.joints import Joint, joint_share
from clearance.result import PassageResult, Result, Scenario
from clearance.verdict.numbers import rounded_down, rounded_up
from clearance.verdict.prepared import Checked

METHOD = (
    "Metal is where the winding number of the closed nominal mesh is at least 1; lengths are mm.",
    "A stray sheet is the exact section of the part at the height of each wrong layer, laid where "
    "the machine stood; penetration has the first one's outline.",
    "What lies above is lifted and moved sideways as the event says; within the sheet powder that "
    "the wrong slice left is metal for passages and void for leaks.",
    "Blocked: inlet and outlet lie apart in a graph of columns from which only what is surely "
    "metal is taken out; a crossing is sealed if no circle of the smallest opening that counts "
    "fits its section.",
    "Low end of a clear diameter: exact least distance to the surface along a route that was found "
    "and widened, twice.",
    "High end: the largest circle in exact sections that every wider route has to pass.",
    "Open area: exact polygons at every face of the sheet, the smallest; open fraction: the "
    "smallest ratio to the nominal section of the same height.",
    "Drills: the straight line of greatest clear radius from each opening to the sheet, by branch "
    "and bound with exact distances; flute, length to diameter, holder and point are limits.",
    "Every plan is checked again on the part less the drilled bores; state and diameter after come "
    "from that run only.",
    "What is not known of the event is computed as variants; what the resolution cannot tell is "
    "undetermined. The recommendation follows a table of rules (docs/method.md).",
)
"""Ten lines."""


@dataclass(frozen=True)
class Fact:
    """A number or word, and where it comes from."""

    what: str
    value: str
    source: str


# ---- the event ---------------------------------------------------------------------------------


EVENT_HEADS = (
    "event", "bottom above the platform, mm", "layers", "first wrong layer", "resumed",
    "lateral offset, mm", "penetration, mm", "platform", "joint that is left",
)  # fmt: skip


def event_facts(case: Case, found: Sequence[Joint] = ()) -> tuple[tuple[Fact, ...], ...]:
    """Every number of each stray sheet, whether from a log, measured or assumed; its joint."""
    if not case.stray:
        return ((Fact("stray", "none", "the nominal part was checked"),),)
    shares = {joint.stray: f"{joint_share(joint.share)} of it" for joint in found}
    return tuple(
        (
            *_stray_facts(case, number, stray),
            Fact(EVENT_HEADS[-1], shares.get(number, NONE), "computed" if number in shares else ""),
        )
        for number, stray in enumerate(case.stray)
    )


def _stray_facts(case: Case, number: int, stray: StrayTable) -> tuple[Fact, ...]:
    facts = [Fact(EVENT_HEADS[0], f"{number + 1}", stray.shape)]
    for (key, value), what in zip(_numbers(stray), EVENT_HEADS[1:-2], strict=True):
        assumed = _is_assumed(case, number, key, stray)
        # A log tells layers and heights; how deep the melt went comes from elsewhere.
        given = "case file" if key == "penetration" else stray.source
        source = "" if value == NONE else "assumed" if assumed else given
        facts.append(Fact(what, value, source))
    z = case.part.platform_z
    where = Fact(EVENT_HEADS[-2], "lowest point", "assumed")
    return (*facts, where if z is None else Fact(EVENT_HEADS[-2], f"z {z:g} mm", "case file"))


NONE = "–"


def _numbers(stray: StrayTable) -> Iterator[tuple[str, str]]:
    """Keys and values, in the order of the heads; a dash where a key does not apply."""
    if stray.mesh is not None:
        yield "mesh", f"mesh {stray.mesh.name}"
        for key in ("layers", "from_layer", "resume", "resume_shift", "penetration"):
            yield key, NONE
        return
    spread = f" ± {stray.height_uncertainty:g}" if stray.height_uncertainty else ""
    yield "height", f"{stray.height:g}{spread}"
    yield "layers", _span(stray.layers_low, stray.layers_high)
    sliced = stray.layers_high > 0 and stray.shape == "layer"
    yield "from_layer", f"{stray.from_layer}" if sliced else NONE
    yield "resume" if stray.next_layer is None else "next_layer", resumed(stray)
    x, y = stray.resume_shift
    yield "resume_shift", f"x {x + 0.0:g}, y {y + 0.0:g}"
    span = _span(stray.penetration_low, stray.penetration_high)
    yield "penetration", span if stray.layers_high else NONE


def _span(low: float, high: float) -> str:
    return f"{low:g}" if low == high else f"{low:g} to {high:g}"


def _is_assumed(case: Case, number: int, key: str, stray: StrayTable) -> bool:
    """Whether the case file is silent on a key of a stray sheet."""
    if key == "penetration":
        return stray.penetration_assumed
    mine = re.compile(rf"(\[\[stray\]\] number {number + 1}|\[melted\]):")
    said = [text for text in case.assumptions if mine.search(text)]
    if key == "resume_shift" and any("nothing is moved sideways" in text for text in said):
        return True
    return any(re.search(rf": {key} is not given", text) for text in said)


# ---- what it was computed from -----------------------------------------------------------------


def files(result: Result) -> tuple[tuple[str, str], ...]:
    """Names of the input files with the SHA-256 of their bytes."""
    known = () if result.inputs is None else result.inputs.files
    return tuple((one.file, one.sha256) for one in known)


def settings(checked: Checked) -> tuple[Fact, ...]:
    """What the computation was set to."""
    case = checked.case
    part, drilling, flow = case.part, case.drilling, case.flow
    given: list[tuple[str, Any]] = [
        ("triangles of the part", f"{len(checked.bodies.part)}"),
        ("column spacing", f"{checked.pitch_mm:g} mm"),
        ("smallest opening that counts", f"{case.grid.smallest_way:g} mm"),
        ("layer thickness", f"{part.layer_thickness:g} mm"),
        ("build allowance", f"{part.build_allowance:g} mm"),
        ("mesh tolerance", f"{part.mesh_tolerance:g} mm"),
    ]
    if part.density_g_cm3 is not None:
        given.append(("density", f"{part.density_g_cm3:g} g/cm3"))
    given += [
        ("drill series", ", ".join(drilling.series) or "none"),
        ("own drills", ", ".join(f"{d.diameter:g} mm" for d in drilling.drills) or "none"),
        ("point of the drills", f"{drilling.point_angle:g} deg"),
        ("electrodes", ", ".join(f"{d.diameter:g} mm" for d in drilling.electrodes) or "none"),
        ("wall that may be cut", f"{drilling.wall_allowance:g} mm"),
        ("wall that must stay", _or_unknown(drilling.min_wall)),
        ("length to diameter at most", f"{drilling.max_length_to_diameter:g}"),
        ("holder", f"{drilling.holder_diameter:g} mm"),
    ]
    if flow is not None:
        given.append(
            (
                "flow",
                f"{flow.rate:g} L/min, {flow.density:g} kg/m3, {flow.viscosity:g} Pa s",
            )
        )
    return tuple(Fact(what, value, "case") for what, value in given)


def _or_unknown(value: float | None) -> str:
    return "not known" if value is None else f"{value:g} mm"


# ---- flow --------------------------------------------------------------------------------------

LEAST_COEFFICIENT = 0.005
"""Smaller ones are rounding."""


def flow_lines(passage: PassageResult) -> tuple[str, ...]:
    """Pressure losses of a passage in one sentence; nothing without a flow."""
    flow = passage.flow
    if flow is None:
        return ()
    stages = (
        (flow["nominal"], "nominal"),
        (flow["predicted"], "predicted"),
        (flow["after_rework"], "after rework"),
    )
    said = [f"{word} {_loss(stage)}" for stage, word in stages if stage is not None]
    return (f"pressure loss at {flow['rate_l_min']:g} L/min: {', '.join(said)}",)


def _loss(stage: Scenario) -> str:
    low, high = stage["low_kpa"], stage["high_kpa"]
    if low is None or high is None:
        return stage["said"] or "without limit"
    shown = rounded_down(low, 1), rounded_up(high, 1)
    return f"{shown[0]} kPa" if shown[0] == shown[1] else f"{shown[0]} to {shown[1]} kPa"


def coefficients(result: Result) -> tuple[str, ...]:
    """Loss coefficients of the crossings, with the form used where a flow is given."""
    said: list[str] = []
    taken: list[str] = []
    for passage in result.passages:
        for n, crossing in enumerate(passage.crossings, 1):
            found = crossing.loss_coefficient
            if found is not None and found >= LEAST_COEFFICIENT:
                said.append(
                    f"{passage.name}, crossing {n}: loss coefficient {found:.2f} on the mean "
                    "velocity in the passage"
                )
        if passage.flow is None:
            continue
        for one in passage.flow["predicted"]["restrictions"]:
            if (one["loss_coefficient"] or 0.0) >= LEAST_COEFFICIENT:
                note = f"; {one['note']}" if one["note"] else ""
                said.append(f"{passage.name}: form: {one['form']}{note}")
        taken += passage.flow["assumptions"]
    if taken:
        said.append(f"flow: {'; '.join(dict.fromkeys(taken))}")
    return tuple(dict.fromkeys(said))
