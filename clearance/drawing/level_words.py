"""The words of a level section: its finding, its labels, its detail, where it comes from.

In: outlines and verdicts. Out: strings, and the place that is worth a detail.
"""

from __future__ import annotations

import hashlib
from collections.abc import Iterable, Sequence
from dataclasses import replace
from typing import Any

import numpy as np
import shapely

import clearance
from clearance.drawing.level_parts import DETAIL_LETTERS, Detail, Level, Row, Void, largest
from clearance.predicted.slabs import Event
from clearance.report.headline import SEVERITY, clear_diameter, hurt
from clearance.result import CrossingResult, PassageResult, SeparateResult, State
from clearance.verdict.names import APART, named_all, sheet
from clearance.verdict.numbers import NAMEWORTHY, given, height, most, near, percent
from clearance.verdict.prepared import Checked

DETAIL_MARGIN = 0.2
"""Room around the crossing in the detail, as a share of its size."""
LONGEST_DETAIL = 4.0
"""A piece longer than this many times its width is not shown whole in the detail."""


def label_of(
    checked: Checked,
    level: Level,
    names: tuple[str, ...],
    states: Sequence[State],
    share: float,
    at: Any,
) -> tuple[str, ...]:
    """Name, state, what is open of a piece here, and its port if one is near.

    Of a void that several passages share the gravest of their states.
    """
    worst = min(states, key=SEVERITY.index)
    lines = [named_all(names), worst.value if len(set(states)) == 1 else f"at worst {worst.value}"]
    if level.strays:
        lines.append(share_in_words(share))
    lines += _nearest_port(checked, names, np.array([*at, level.z]))
    return tuple(lines)


def share_in_words(share: float) -> str:
    """What is open of a piece in this section."""
    if share <= 0.0:
        return "sealed here"
    if share >= NAMEWORTHY:
        return "fully open here"
    return f"{percent(share)} open here"


def _nearest_port(checked: Checked, names: tuple[str, ...], at: Any) -> list[str]:
    """The port that is clearly the nearest, and how far it lies below or above."""
    found = []
    for name in names:
        for end in ("inlet", "outlet"):
            mouth = checked.mouths[f"{name} {end}"]
            found.append((float(np.linalg.norm(mouth.centre - at)), mouth.name, mouth))
    found.sort(key=lambda item: item[0])
    if len(found) > 1 and found[0][0] > 0.7 * found[1][0]:
        return []
    _, name, mouth = found[0]
    rise = float(at[2] - mouth.centre[2])
    place = "below" if rise > 0 else "above"
    shown = name if len(names) > 1 else name.removeprefix(f"{names[0]} ")
    if abs(rise) < 0.5 * mouth.radius:
        return [f"at {shown}"]
    return [f"{shown} {abs(rise):.1f} mm {place}"]


def _hurt(passage: PassageResult, strays: frozenset[int]) -> list[CrossingResult]:
    """Crossings with these stray sheets that leave less than they should."""
    return [crossing for crossing in hurt(passage) if crossing.stray in strays]


def _unclear(passage: PassageResult, strays: frozenset[int]) -> bool:
    """Whether it crosses one of these sheets and is undetermined.

    The event that is drawn may leave it open while another does not.
    """
    crosses = any(c.stray in strays for c in passage.crossings)
    return crosses and passage.state is State.UNDETERMINED


def title_of(
    passages: Sequence[PassageResult],
    separate: Sequence[SeparateResult],
    level: Level,
    height_mm: float,
    finished: str = "",
) -> str:
    """The finding: circuits that are joined, passages that suffer here, or elsewhere.

    `finished`: what is wrong with the finished shape, as `report.finished.finding` has it.
    """
    z = f"z = {height(height_mm)} mm"
    apart = _not_apart(separate)
    bad = sorted(
        (p for p in passages if p.state is not State.OPEN), key=lambda p: SEVERITY.index(p.state)
    )
    also = [finished] if finished else []
    if not level.strays:
        elsewhere = ", ".join([*apart, *([_listed(bad)] if bad else [])])
        found = f"elsewhere: {elsewhere}" if elsewhere else "all passages are open"
        if also and not elsewhere:
            found = "the passages are open"
        return "; ".join([f"No stray metal at {z}", found, *also])
    return "; ".join([*apart, _finding_here(passages, bad, level, z), *also])


def _finding_here(
    passages: Sequence[PassageResult], bad: Sequence[PassageResult], level: Level, z: str
) -> str:
    """What a stray sheet at this height does to the passages."""
    here = [p for p in bad if _hurt(p, level.strays) or _unclear(p, level.strays)]
    if here:
        return f"{_listed(here)} at {z}"
    touched = [p.name for p in passages if _hurt(p, level.strays)]
    if touched:
        more = f" and {len(touched) - 3} more" if len(touched) > 3 else ""
        return f"{', '.join(touched[:3])}{more} narrowed at {z}, still open"
    return f"No passage is narrowed by the stray sheet at {z}"


def _not_apart(separate: Sequence[SeparateResult]) -> list[str]:
    """Circuits that do not stay apart, or are not known to."""
    found = [s for s in separate if s.state != "apart"]
    found.sort(key=lambda s: list(APART).index(s.state))
    said = [f"{' and '.join(s.passages)} {APART[s.state]}" for s in found[:2]]
    return said + ([f"{len(found) - 2} more pairs"] if len(found) > 2 else [])


def _listed(passages: Sequence[PassageResult]) -> str:
    named = [f"{p.name} {p.state.value}" for p in passages[:3]]
    more = f" and {len(passages) - 3} more" if len(passages) > 3 else ""
    return ", ".join(named) + more


def detail_of(
    voids: tuple[Void, ...], passages: Sequence[PassageResult], level: Level, joined: Any
) -> Detail | None:
    """The crossing that is left least open, larger; one that leads into another before that."""
    if not level.strays or not voids:
        return None
    leading = [void for void in voids if void.nominal.intersects(joined)]
    narrowed = [void for void in voids if void.open_fraction < NAMEWORTHY]
    void = min(
        leading or narrowed or voids,
        key=lambda v: (SEVERITY.index(v.state), round(v.open_fraction, 3)),
    )
    worst = _nearest_crossing(void, passages, level.strays)
    lines: tuple[str, ...] = ()
    if worst is not None:
        lines = (
            f"at its worst {worst.open_area_mm2:.1f} of {worst.nominal_area_mm2:.1f} mm2 open",
            "nothing passes"
            if worst.sealed
            else f"at most {most(worst.clear_diameter_mm)} mm passes",
        )
    if leading:
        lines = (*lines, "leads into another circuit")
    title = (
        f"detail {DETAIL_LETTERS[0]}: {named_all(void.names)}, {share_in_words(void.open_fraction)}"
    )
    return Detail(_bounds_of_detail(void, joined if leading else void.nominal), title, lines)


def _bounds_of_detail(void: Void, focus: Any) -> tuple[float, float, float, float]:
    """A square around a piece; of one that is long and slender, a stretch of it."""
    x0, y0, x1, y1 = void.nominal.bounds
    long, slender = max(x1 - x0, y1 - y0), min(x1 - x0, y1 - y0)
    if long > LONGEST_DETAIL * slender:
        inside = largest(focus.intersection(void.nominal))
        x, y = shapely.get_coordinates(inside.representative_point())[0]
        long = LONGEST_DETAIL * slender
    else:
        x, y = 0.5 * (x0 + x1), 0.5 * (y0 + y1)
    half = (0.5 + DETAIL_MARGIN) * long
    return float(x - half), float(y - half), float(x + half), float(y + half)


def _nearest_crossing(
    void: Void, passages: Sequence[PassageResult], strays: frozenset[int]
) -> CrossingResult | None:
    """The crossing of the result that this piece belongs to."""
    own = [c for p in passages if p.name in void.names for c in p.crossings if c.stray in strays]
    if not own:
        return None
    gap = [void.nominal.distance(shapely.Point(c.centre_mm[:2])) for c in own]
    return own[int(np.argmin(gap))]


def row_of(passage: PassageResult) -> Row:
    """What the sheet says of one passage."""
    shown = clear_diameter(passage.clear_diameter_mm, passage.required_mm)
    return Row(
        passage.name, passage.state, f"{shown} mm clear, {given(passage.required_mm)} required"
    )


EXACT_MM = 1e-9
"""A height of more digits than three was computed: nobody asked for it."""


def plane_of(checked: Checked, level: Level, height_mm: float, event: Event | None = None) -> str:
    """Where a section is taken, and how far the sheet there reaches; heights above the platform."""
    asked = event is None and abs(height_mm - round(height_mm, 3)) < EXACT_MM
    z = given(height_mm) if asked else near(round(level.z - checked.platform_z, 6))
    said = f"z {z} mm above the platform"
    if level.lower is not None:
        said += ", metal of either side of the step"
    elif event is not None:
        said += _layer_of(event, level.z)
    elif level.z != level.asked:
        said += ", middle of the layer there"
    return "; ".join([said, *_reaches(checked, level.strays)])


def _reaches(checked: Checked, strays: Iterable[int]) -> list[str]:
    """From where to where the sheets reach that are met, told once."""
    found, base = [], checked.platform_z
    for event in checked.unknowns.variants[0].events or ():
        if event.stray in strays and event.slices:
            top = event.bottom + len(event.slices) * event.layer
            ends = (near(round(z - base, 6)) for z in (event.lowest, top))
            found.append(f"{sheet(event.stray)} from {' to '.join(ends)}")
    return found


def footer_of(checked: Checked, plane: str) -> tuple[str, ...]:
    """Which part, which plane, and what the figure was computed from."""
    where = f"horizontal section at {plane}"
    several = checked.unknowns.variants
    if len(several) > 1:
        where += f"; one of {len(several)} possible events is drawn: {several[0].said}"
    first, *others = passage_footer(checked)
    return (first, where, *others)


def _layer_of(event: Event, z: float) -> str:
    """Which layer of a sheet is cut."""
    count = len(event.slices)
    if count < 2:
        return ""
    number = int((z - event.bottom) / event.layer) + 1
    return f", in layer {number} of {count}"


def passage_footer(checked: Checked) -> tuple[str, ...]:
    """Which part, what the figure was computed from, and whether its z is not the mesh's."""
    case = checked.case
    record = case.record
    known = (
        ("drawing", record.drawing),
        ("revision", record.revision),
        ("serial", record.serial),
        ("nonconformity", record.nonconformity),
    )
    first = [f"part {case.part.name}", *(f"{key} {value}" for key, value in known if value)]
    last = (
        f"case {case.path.name}; resolution {checked.pitch_mm:g} mm; outlines exact; "
        f"clear diameters as proven brackets; clearance {clearance.__version__}; "
        f"input {input_hash(checked)}"
    )
    return ("; ".join(first), last, *checked.frame_notice)


def input_hash(checked: Checked) -> str:
    """First 12 digits of the SHA-256 over the case's text, the event and all triangles.

    On a plate the event is the plate's and stands in no case's text.
    """
    digest = hashlib.sha256(checked.case.text_sha256.encode())
    for stray in checked.case.stray:
        digest.update(repr(replace(stray, mesh=None)).encode())  # its triangles follow
    soups = [checked.bodies.part, checked.bodies.melted, *checked.bodies.added_by_stray.values()]
    for soup in soups:
        digest.update(np.ascontiguousarray(soup).tobytes())
    return digest.hexdigest()[:12]
