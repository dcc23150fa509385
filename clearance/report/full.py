"""All of a result in words, for people at a terminal.

In: a `Result`. Out: one string of lines that fit the width. It judges nothing: what is not in the
result is not in the text. The JSON has all digits.
"""

from __future__ import annotations

from collections.abc import Iterable

from clearance.report.costs import costs_lines
from clearance.report.drilling import drilling_lines
from clearance.report.finished import finished_lines
from clearance.report.grave import GAP, besides, separate_line, unmelted_line
from clearance.report.inspection import inspection_lines
from clearance.report.joints import joint_share
from clearance.report.powder import signs_lines, trapped_line
from clearance.report.readings import reading_line
from clearance.report.scan import scan_lines
from clearance.report.short import WIDTH, head, listed_block
from clearance.report.table import Paint, plain, table
from clearance.result import STATES, CrossingResult, JointResult, Margin, PassageResult, Result
from clearance.verdict.names import event as event_name
from clearance.verdict.numbers import (
    NAMEWORTHY,
    counted,
    given,
    level,
    most,
    near,
    percent,
    point,
)


def text(result: Result, width: int = WIDTH, paint: Paint = plain, event: bool = True) -> str:
    """Everything a result says, as lines for people.

    Parameters
    ----------
    result : Result
    width : int
        Columns to keep within.
    paint : callable
        Colours the words of states; they stand there in any case.
    event : bool
        Whether the case gives one at all.
    """
    decided = result.disposition
    steps = decided.order_of_work if decided else ()
    needed = decided.settled_by if decided else ()
    blocks: list[tuple[str, Iterable[str]]] = [
        ("besides the passages", map(": ".join, besides(result))),
        ("reasons", decided.reasons if decided else ()),
        ("needed to decide", needed),
        ("work sequence", (f"{n}. {step}" for n, step in enumerate(steps, 1))),
        ("drilling operations", drilling_lines(result.passages)),
        ("crossings", _crossings(result.passages)),
        ("separate circuits", map(separate_line, result.separate)),
        (f"{GAP}", map(unmelted_line, result.unmelted)),
        ("trapped powder", map(trapped_line, result.trapped_powder)),
        ("readings", map(reading_line, result.readings)),
        ("finished shape", finished_lines(result.finished)),
        ("scan", scan_lines(result)),
        ("what to look for", signs_lines(result.signs, everything=True)),
        ("which inspection could see it", inspection_lines(result)),
        ("costs", costs_lines(result.costs)),
        ("joint at the restart", map(_resumed, result.resumed_section)),
        ("second opinion", result.second_opinion),
        ("event, from the numbers given", result.translations),
        ("sensitivity to the event's data", map(margin_line, result.margins or ())),
        ("assumptions", result.assumptions),
        ("notices", result.notices),
        ("cautions", result.cautions),
        ("computation", [f"resolution {given(result.pitch_mm)} mm"]),
    ]
    found = [head(result, width, paint, event), table(result, width, paint, every=True)]
    found += [listed_block(title, items, width) for title, items in blocks]
    return "\n\n".join("\n".join(block) for block in found if block)


MARGINS = {"height": "height", "from_layer": "first wrong layer", "layers": "number of layers"}


def margin_line(margin: Margin) -> str:
    """A margin in words."""
    sides = []
    for side, looked, change in (
        ("less", margin.looked_down, margin.changes_down),
        ("more", margin.looked_up, margin.changes_up),
    ):
        unit = margin.unit
        if change:
            sides.append(f"{looked:g} {unit} {side}: {change}")
        elif looked:
            sides.append(f"up to {looked:g} {unit} {side}: no change; looked no farther")
        elif margin.judged == STATES:
            sides.append(f"{side}: not looked at")
        else:
            sides.append(f"no {side} is possible")
    only = ", states alone (--margins: all)" if margin.judged == STATES else ""
    return f"{event_name(margin.stray)}, {MARGINS[margin.what]}{only}: " + "; ".join(sides)


# ---- blocks ----------------------------------------------------------------------------------


def _crossings(passages: Iterable[PassageResult]) -> list[str]:
    lines, whole = [], 0
    for passage in passages:
        for number, crossing in enumerate(passage.crossings, 1):
            if crossing.sealed or crossing.open_fraction < NAMEWORTHY:
                lines.append(f"{passage.name}, crossing {number}: {_crossing(crossing)}")
            else:
                whole += 1
    if whole:
        more = "more " if lines else ""
        lines.append(f"{counted(whole, f'{more}crossing')} fully open")
    return lines


def _crossing(crossing: CrossingResult) -> str:
    area = f"{near(crossing.open_area_mm2, 1)} of {near(crossing.nominal_area_mm2, 1)} mm2 open"
    place = f"{event_name(crossing.stray)} at {point(crossing.centre_mm)}"
    if crossing.sealed:
        return f"{place}, sealed ({area})"
    loss = ""
    if crossing.loss_coefficient is not None:
        loss = f", loss coefficient {near(crossing.loss_coefficient)}"
    share, wide = percent(crossing.open_fraction), most(crossing.clear_diameter_mm)
    return f"{place}, {area} ({share}), at most {wide} mm passes{loss}"


def _resumed(joint: JointResult) -> str:
    said = [
        f"{level([joint['height_mm']])} mm, metal {near(joint['metal_area_mm2'], 1)} mm2 of "
        f"{near(joint['nominal_area_mm2'], 1)} ({joint_share(joint['share'])})"
    ]
    if joint["gap_mm"] > 0.0:
        said.append(f"may be unmelted, {most(joint['gap_mm'])} mm of powder left")
    said += [
        f"centre x {joint['centre_x_mm']:z.2f} y {joint['centre_y_mm']:z.2f}",
        f"Ixx {joint['Ixx_mm4']:.4g} mm4",
        f"Iyy {joint['Iyy_mm4']:.4g} mm4",
        f"Ixy {joint['Ixy_mm4']:.4g} mm4",
        f"J {joint['J_mm4']:.4g} mm4 (+/- {joint['J_uncertainty_mm4']:.1g})",
    ]
    return ", ".join(said)
