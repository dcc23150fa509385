"""The page for the shop as data: each drilling operation, where it stops, what comes loose.

In: a case that has been examined. Out: `Shop`, or None where nothing is drilled. It judges nothing;
how it looks is left to `figures.shop`.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

from clearance.axes import plan_words
from clearance.checking import Examined
from clearance.drawing.datums import Datums, of_part
from clearance.drawing.drill_words import axis_words, set_up
from clearance.drilling.practice import worded
from clearance.report.drilling import by_electrode, forces_line, pieces_line
from clearance.result import Drilling, PassageResult, Result, Rework
from clearance.verdict.names import listed
from clearance.verdict.numbers import given, least, most, near, point

DRILL = (
    "measure the entry and the bore's direction before the drill goes in; the depth stop "
    "counts from the closing surface of the opening to the tip of a point of {angle} deg: with "
    "another point work it out anew ([drilling] point_angle)",
    "thin sheet: a point for thin sheet, little feed, no peck at break-through; the lips cut "
    "only as much as the sheet is thick, and the drill is pulled in",
)
ERODE = (
    "spark erosion: only on a part that is proven to be empty, sparks ignite powder; the hole's "
    "diameter, overcut included, and how much shorter the electrode wears, from a trial in the "
    "same metal: the depth counts from the closing surface of the opening to the hole's end, flat "
    "as of a full electrode; a tube leaves a core, which is caught; rinse out what it leaves"
)


@dataclass(frozen=True)
class Shop:
    """All of the page.

    Attributes
    ----------
    facts : tuple of (key, value)
    operations : tuple of (what, numbers, what comes loose and what to mind)
    notes : tuple of str
    """

    title: str
    facts: tuple[tuple[str, str], ...]
    operations: tuple[tuple[str, str, str], ...]
    notes: tuple[str, ...]


def shop(examined: Examined) -> Shop | None:
    """What the shop needs; None where nothing is drilled on this result."""
    result = examined.on_paper
    decided = result.disposition
    planned = [p for p in result.passages if p.rework is not None]
    if not planned or decided is None or decided.recommendation not in ("rework", "repair"):
        return None
    faces = of_part(examined.checked)
    point_deg = examined.checked.case.drilling.point_angle
    rows = [row for passage in planned for row in _rows(passage, faces, point_deg)]
    return Shop(f"for the shop: {_kinds(planned)}", _facts(examined), tuple(rows), _notes(examined))


def _kinds(planned: Sequence[PassageResult]) -> str:
    """What is done, as a heading."""
    by = set(map(by_electrode, planned))
    kinds = [word for how, word in ((False, "drilling"), (True, "spark erosion")) if how in by]
    return f"{listed(kinds)} operations" if False in by else listed(kinds)


def _rows(
    passage: PassageResult, faces: Datums, point_deg: float
) -> Iterator[tuple[str, str, str]]:
    plan = passage.rework
    assert plan is not None
    for number, one in enumerate(plan.drilling, 1):
        which = f"{passage.name}, {number} of {len(plan.drilling)}"
        what = f"{which}\n{_tool(one)}\nfrom the {one.from_}"
        yield what, "\n".join(_numbers(passage, one, faces, point_deg)), "\n".join(_mind(plan, one))


def _tool(one: Drilling) -> str:
    if one.tool == "electrode":
        return f"spark erosion, electrode for a hole of {given(one.drill_diameter_mm)} mm"
    lengths = f"flute {given(one.flute_mm)}, overall {given(one.overall_mm)}"
    return f"{given(one.drill_diameter_mm)} mm {one.series}, {lengths}"


def _numbers(
    passage: PassageResult, one: Drilling, faces: Datums, point_deg: float
) -> Iterator[str]:
    ux, uy, uz = one.direction
    yield f"entry {point(one.entry_mm)}: {faces.of(one.entry_mm)}"
    yield f"direction ({ux:z.4f}, {uy:z.4f}, {uz:z.4f}): {axis_words(one.direction, one.tool)}"
    yield set_up(one).split("; ")[0]
    end = f"the tip of {given(point_deg)} deg"
    if one.tool == "electrode":
        end = "the hole's end, its wear made up for"
    yield f"depth stop {near(one.depth_mm)} mm, entry to {end}"
    for number in dict.fromkeys((one.crossing, *one.also_clears)):
        z = passage.crossings[number].height_mm
        if abs(uz) > 1e-3:
            along = (z - one.entry_mm[2]) / uz
            yield f"crossing {number + 1}: met about {near(along, 1)} mm deep"
    yield (
        f"side clearance {least(one.wall_margin_mm)} mm, angle right to "
        f"{least(one.tilt_tolerance_deg)} deg"
    )
    if forces := forces_line(one):
        yield forces
    if one.wall_cut_mm > 0.0:
        yield f"cuts the wall by {near(one.wall_cut_mm)} mm"


def _mind(plan: Rework, one: Drilling) -> Iterator[str]:
    yield from worded(one.practice)
    if plan.why_electrode:
        yield f"an electrode, since {plan.why_electrode}"
    for found in one.pieces:
        yield pieces_line(found)


def _facts(examined: Examined) -> tuple[tuple[str, str], ...]:
    case = examined.checked.case
    least_wall = case.drilling.min_wall
    return (
        ("material", case.part.material or "not given"),
        ("powder", "proven to be empty" if case.state.emptied else "NOT proven to be empty"),
        ("wall that must stay", "not given" if least_wall is None else f"{given(least_wall)} mm"),
        ("holder", f"{given(case.drilling.holder_diameter)} mm"),
        ("axes", f"{plan_words(case.part.build_direction)}, z above the platform"),
        ("measured from", "the part's own flat faces as drawn, clear of any stray rim"),
    )


def _trapped(result: Result) -> Iterator[str]:
    """How a room that nothing leads out of is emptied; of what no plan opens, that it is not."""
    planned = {p.name for p in result.passages if p.rework is not None}
    for one in result.trapped_powder:
        mass = "" if one.mass_high_g is None else f", up to {most(one.mass_high_g)} g"
        where = f"powder trapped around {point(one.centre_mm)}{mass}: sealed, no shaking empties it"
        opening = [name for name in one.passages if name in planned]
        if opening:
            yield (
                f"{where} before drilling {listed(opening)} opens it; drilling can ignite it: only "
                "where the responsible engineer allows it, by the local rules for trapped powder; "
                "stop as soon as the point is through, turn the opening down, catch and weigh what "
                "comes, and go on when it is proven to be empty"
            )
        else:
            yield f"{where}; whether an operation opens it the work sequence says: ask before any"


def _notes(examined: Examined) -> tuple[str, ...]:
    result = examined.on_paper
    apart = "apart from that " if result.trapped_powder else ""
    angle = given(examined.checked.case.drilling.point_angle)
    drills = any(p.rework is not None and not by_electrode(p) for p in result.passages)
    erodes = any(map(by_electrode, result.passages))
    do, doing = ("drill or erode", "either") if drills and erodes else ("drill", "drilling")
    if erodes and not drills:
        do, doing = "erode", "a spark"
    return (
        *_trapped(result),
        f"{apart}{do} nothing before the part is proven to be empty of powder: {doing} can "
        "ignite it",
        "only after the decision is signed, in the order of the work sequence",
        *((said.format(angle=angle) for said in DRILL) if drills else ()),
        "put the strainer behind the passage when it is flushed, weigh what it holds, and prove by "
        "weighing that nothing is left inside; a rim that may break off needs a decision",
        *((ERODE,) if erodes else ()),
        f"straight twist drills alone were examined, and the electrodes that are given where no "
        f"drill does;{' forces are for a sharp drill;' if drills else ''} the responsible engineer "
        "decides",
    )
