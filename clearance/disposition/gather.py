"""From a case and its result to what the rules of the disposition read.

In: a `Case`, a `Result` and a few words on its plans. Out: a `Known`.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

from clearance.case.powder_bed import recess, shrinkage
from clearance.disposition.known import (
    Drill,
    Known,
    Open,
    Pair,
    Passage,
    Pin,
    Plan,
    Powder,
    Rim,
    Source,
    Weighing,
    weakest,
)
from clearance.disposition.tools import not_this_way, would_do
from clearance.drilling.aslant import wanders
from clearance.drilling.strokes import in_words
from clearance.result import Drilling, FlowResult, PassageResult, Result, Rework, TrappedPowder
from clearance.verdict.numbers import NAMEWORTHY
from clearance.verdict.reading_words import contradiction

if TYPE_CHECKING:
    from clearance.case.read import Case
    from clearance.case.stray_tables import StrayTable

LEAST_RIM_MM = 0.05
"""What stands out less no caliper tells surely: common practice, no source."""


@dataclass(frozen=True, slots=True)
class Extra:
    """What the result does not carry of one passage; see `Passage` and `Plan`."""

    plan_whole_interval: bool = True
    entry_faces_platform: bool = False
    drill: Drill = "not sought"
    drill_settled_by: tuple[str, ...] = ()
    slices_unknown: bool = False


def gather(
    case: Case,
    result: Result,
    *,
    affected: bool,
    height_added_mm: tuple[float, float],
    extras: Mapping[str, Extra] | None = None,
    opened_by: Mapping[int, str] | None = None,
) -> Known:
    """What the rules need, from a case and the result of its check.

    Parameters
    ----------
    case : Case
    result : Result
        With passages (reach and flow included), separate, unmelted, trapped_powder, signs.
    affected : bool
        Stray, unmelted, shifted or lifted metal is in this part.
    height_added_mm : (float, float)
        Least and greatest growth over all that the case leaves possible.
    extras : mapping of passage name to Extra
    opened_by : mapping of the number of a trapped powder to the passage whose plan opens it
        As the re-check found; powder that is not named stays shut in.
    """
    sources = [stray.source for stray in case.stray]
    opened_by = opened_by or {}
    extras = extras or {}
    pins, balls = _pins(result), _balls(result)
    flow = case.flow
    return Known(
        passages=tuple(
            _passage(p, sources, extras.get(p.name, Extra()), pins.get(p.name), balls.get(p.name))
            for p in result.passages
        ),
        pairs=tuple(
            Pair(s.passages, s.state, s.through, s.nominal_state, weakest(sources), s.where_mm)
            for s in result.separate
        ),
        powder=tuple(
            Powder(
                p.volume_mm3,
                p.between,
                p.passages,
                opened_by.get(n, ""),
                _powder_source(p, sources),
                p.mass_g,
                p.certain,
            )
            for n, p in enumerate(result.trapped_powder)
        ),
        gaps=result.unmelted,
        affected=affected,
        event=bool(case.stray),
        on_platform=case.state.on_platform,
        emptied=case.state.emptied,
        heat_treated=case.state.heat_treated,
        wall_allowance_mm=case.drilling.wall_allowance,
        min_wall_mm=case.drilling.min_wall,
        build_allowance_mm=case.part.build_allowance,
        mesh_tolerance_mm=case.part.mesh_tolerance,
        layer_thickness_mm=case.part.layer_thickness,
        open_questions=_open_questions(case),
        height_added_mm=height_added_mm,
        rate_l_min=None if flow is None else flow.rate,
        weighing=_weighing(result),
        rim=_rim(result, case.stray),
        lower_mm=max(
            (lower(stray, case.part.layer_thickness) for stray in case.stray), default=0.0
        ),
        against=contradiction(result.readings),
    )


def _passage(
    found: PassageResult,
    sources: Sequence[str],
    extra: Extra,
    pin: Pin | None,
    ball_mm: float | None,
) -> Passage:
    flow = found.flow
    kept = None if flow is None else flow["requirement"]
    failing = [c for c in found.crossings if c.sealed]
    if not failing:
        failing = [c for c in found.crossings if c.open_fraction < 1.0]
    named = [c for c in failing if c.sealed or c.open_fraction < NAMEWORTHY]
    matter = [sources[c.stray] for c in failing if c.stray < len(sources)]
    clear = found.clear_diameter_mm
    return Passage(
        name=found.name,
        state=found.state,
        required_mm=found.required_mm,
        nominal_state=found.nominal_state,
        nominal_mm=clear.nominal,
        low_mm=clear.low,
        high_mm=clear.high,
        source=weakest(matter or sources),
        heights_mm=tuple(c.height_mm for c in named),
        narrowed=bool(named),
        crossing_found=bool(failing),
        said=found.reasons,
        settled_by=found.settled_by,
        plan=None if found.rework is None else plan_from(found.rework, extra, flow),
        why_not=found.why_not,
        entry_faces_platform=extra.entry_faces_platform,
        drill=extra.drill,
        drill_settled_by=extra.drill_settled_by,
        changes=tuple(change.words for change in found.what_would_change),
        remedies=tuple(c.words for c in found.what_would_change if not c.redesign),
        slices_unknown=extra.slices_unknown,
        flow="not given" if kept is None else kept["predicted"],
        flow_nominal="not given" if kept is None else kept["nominal"],
        loss_kpa=None if flow is None else flow["bad_end"]["high_kpa"],
        loss_low_kpa=None if flow is None else flow["good_end"]["low_kpa"],
        allowed_kpa=None if kept is None else kept["max_pressure_loss_kpa"],
        pin=pin,
        ball_mm=ball_mm,
        contradiction=found.verified_why if found.verified == "contradicts" else "",
    )


def plan_from(rework: Rework, extra: Extra, flow: FlowResult | None) -> Plan:
    """The plan as the rules read it; of several strokes the one that may take most of the wall."""
    strokes = rework.drilling
    cutting = [stroke for stroke in strokes if stroke.wall_cut_mm > 0.0]
    worst = max(cutting or strokes, key=_taken)
    after = None if flow is None else flow["after_rework"]
    kept = None if flow is None else flow["requirement"]["after_rework"]
    return Plan(
        strokes=tuple(_in_words(stroke) for stroke in strokes),
        clear_diameter_after_mm=rework.clear_diameter_after_mm,
        margin_mm=worst.wall_margin_mm,
        drill_tolerance_mm=worst.drill_tolerance_mm,
        run_out_mm=worst.run_out_mm,
        wall_cut_mm=worst.wall_cut_mm,
        wall_left_mm=rework.wall_left_mm,
        wall_least_mm=rework.wall_least_mm,
        conflicts=rework.conflicts,
        electrode=any(stroke.tool == "electrode" for stroke in strokes),
        not_this_way=not_this_way(rework),
        would_do=would_do(rework),
        flow_after=kept or "not given",
        loss_after_kpa=(None, None) if after is None else (after["low_kpa"], after["high_kpa"]),
        whole_interval=extra.plan_whole_interval,
    )


def _taken(stroke: Drilling) -> float:
    """What a stroke may take of the wall, less its margin, mm."""
    most = stroke.wall_cut_mm + stroke.drill_tolerance_mm + stroke.run_out_mm
    return most - stroke.wall_margin_mm


def _in_words(stroke: Drilling) -> str:
    aslant = wanders(stroke)
    return in_words(stroke) + (f" ({aslant})" if aslant else "")


def _powder_source(powder: TrappedPowder, sources: Sequence[str]) -> Source:
    """Source of the sheets named as "stray N"; of all of them where none is named."""
    numbers = [word.removeprefix("stray ") for word in powder.between if word.startswith("stray ")]
    named = [sources[int(n)] for n in numbers if n.isdigit() and int(n) < len(sources)]
    return weakest(named or sources)


def _pins(result: Result) -> dict[str, Pin]:
    """For each passage the pin that a sheet stops first, if one is stopped early."""
    found: dict[str, Pin] = {}
    for pin in result.signs.gauge_pins if result.signs else ():
        name = pin.port.removesuffix(" inlet").removesuffix(" outlet")
        if pin.stops_at_mm is None or not pin.tells_apart:
            continue
        if name not in found or pin.stops_at_mm < found[name].stops_at_mm:
            found[name] = Pin(
                pin.port,
                pin.pin_diameter_mm,
                pin.stops_at_mm,
                pin.nominal_stops_at_mm,
                pin.off_normal_deg,
            )
    return found


def _balls(result: Result) -> dict[str, float]:
    """For each passage the ball that tells the predicted part from the nominal one."""
    found = result.signs.balls if result.signs else ()
    return {ball.passage: ball.tells_mm for ball in found if ball.tells_mm is not None}


def _weighing(result: Result) -> Weighing | None:
    """The masses, if weighing tells the predicted part from the nominal one."""
    signs = result.signs
    if signs is None or not signs.weighing_tells:
        return None
    masses = (
        signs.mass_added_g,
        signs.part_mass_g,
        signs.balance_resolution_g,
        signs.mass_scatter_g,
    )
    known = [mass for mass in masses if mass is not None]
    return Weighing(*known) if len(known) == len(masses) else None


def _rim(result: Result, strays: Sequence[StrayTable]) -> Rim | None:
    """The rim or step that stands out of the side, if a caliper can tell it."""
    signs = result.signs
    if signs is None or signs.outside_overhang_mm < LEAST_RIM_MM:
        return None
    at, turn = signs.outside_overhang_at_mm, signs.outside_overhang_turn_deg
    if at is None or turn is None:
        return None
    faces: dict[int, set[float]] = {}
    for joint in result.resumed_section:
        faces.setdefault(joint["stray"], set()).add(joint["height_mm"])
    own = next((n for n, z in faces.items() if min(z) - 1e-6 <= at[2] <= max(z) + 1e-6), None)
    moved = [
        stray.mesh is None and (stray.layers_high == 0 or any(stray.resume_shift))
        for stray in strays
    ]
    step = any(moved) if own is None or own >= len(moved) else moved[own]
    heights = () if own is None else tuple(sorted(faces[own]))
    return Rim(signs.outside_overhang_mm, at[0], at[1], turn, heights, step)


def lower(stray: StrayTable, layer_thickness: float) -> float:
    """By how much a face may lie below its counted height: packing, and cooling if it is given."""
    if stray.mesh is not None:
        return 0.0
    shrunk = shrinkage(stray.height or 0.0, stray.cooled_high, stray.expansion_1e6_k)
    return recess(layer_thickness, stray.packing_low) + shrunk


def _open_questions(case: Case) -> tuple[Open, ...]:
    found: list[Open] = []
    for stray in case.stray:
        if stray.layers_low != stray.layers_high:
            found.append("layers")
        if stray.resume == "unknown":
            found.append("resume")
        if stray.height_uncertainty > 0.0:
            found.append("height")
        if stray.penetration_low != stray.penetration_high:
            found.append("penetration")
    return tuple(dict.fromkeys(found))
