"""The plate report: what happened, the map, what to hold, a row a part, and each result's reasons.

In: a `Summary` and the results it is of. Out: the bytes of plate.pdf. Nothing is cut: what does
not fit goes on on the next page, by whole rows. Parts with one result share a section.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from dataclasses import replace
from typing import Any

import matplotlib as mpl

from clearance.figures import style
from clearance.figures.files import pdf_bytes
from clearance.figures.paper import (
    BODY_PT,
    MARGIN_IN,
    Block,
    Flow,
    Page,
    Strip,
    table,
    text_strips,
)
from clearance.plates.after import COUPONS_SAY, alike
from clearance.plates.map import SWATCH_IN, draw_key, draw_map
from clearance.plates.summary import (
    CONFORM,
    UNTOUCHED,
    Summary,
    gravest_first,
    happened,
    hold,
    stood,
)
from clearance.result.plate import CouponSaid, PlatePart
from clearance.verdict.numbers import counted, given, near, span

TITLE_PT, HEAD_PT = 15.0, 10.0
MAP_SHARE, GAP_IN, KEY_IN = 0.53, 0.3, 0.21

Read = Callable[[str], Any]
Section = tuple[str, Sequence[str]]


def pages(summary: Summary, read: Read) -> bytes:
    """Bytes of plate.pdf; the same each time.

    Parameters
    ----------
    summary : Summary
    read : callable
        Gives the result of a part by its name.
    """
    sizes: Any = {"axes.labelsize": BODY_PT, "xtick.labelsize": BODY_PT, "ytick.labelsize": BODY_PT}
    title = f"plate {summary.data['plate']}"
    with mpl.rc_context({**style.SETTINGS, **sizes}):
        report = _Report(summary, title)
        report.first()
        report.parts()
        for names in _alike(summary):
            report.result(names, read(names[0]))
        footer = f"{summary.data['program']}; it recommends and never releases a part"
        figures = report.flow.numbered(footer)
    return pdf_bytes(figures, title, report.flow.marks)


def _alike(summary: Summary) -> Iterator[list[str]]:
    """Names of the parts that share a section, the gravest first; none for those that conform."""
    groups: dict[str, list[str]] = {}
    for entry in gravest_first(summary.data["parts"]):
        if entry["recommendation"] in CONFORM or entry["result"] is None:
            continue
        groups.setdefault(summary.same[entry["name"]], []).append(entry["name"])
    yield from groups.values()


class _Report:
    """Pages as they grow."""

    def __init__(self, summary: Summary, title: str) -> None:
        self.summary = summary
        self.flow = Flow(style.A4_LANDSCAPE_IN, f"{title}; {hold(summary.data)}")
        ordered = gravest_first(summary.data["parts"])
        self.numbers = {entry["name"]: n for n, entry in enumerate(ordered, 1)}

    # ---- the first page ----------------------------------------------------------------------

    def first(self) -> None:
        """What happened, what to hold, and the map."""
        flow, data = self.flow, self.summary.data
        flow.new_page("what happened, what to hold, map")
        for strip in text_strips(
            f"plate {data['plate']}: {hold(data)}", flow.wide, TITLE_PT, bold=True
        ):
            flow.put(strip)
        flow.space(0.08)
        left = MAP_SHARE * flow.wide
        keys = list(data["counts"])
        side = min(flow.room - KEY_IN * ((len(keys) + 1) // 2) - 0.1, left)
        top = flow.top

        def draw(page: Page, top: float) -> None:
            draw_map(page, MARGIN_IN, top - side, side, self.summary, self.numbers)
            for n, word in enumerate(keys):
                at = MARGIN_IN + 0.75 + (n % 2) * 0.45 * left
                foot = top - side - KEY_IN * (n // 2 + 1)
                draw_key(page, at, foot, word)
                mark = style.MARKS[word][0]
                said = f"{mark}  {word}: {counted(data['counts'][word], 'part')}"
                page.text(at + SWATCH_IN[0] + 0.08, foot + 0.02, said, BODY_PT)

        draw(flow.pages[-1], top)
        for title, said in self._column(left + GAP_IN):
            flow.add(Block("", (_heading(title), *_listing(said, flow.wide)), name=title))

    def _column(self, indent: float) -> list[Section]:
        """Put the sections beside the map, as far as there is room; give the rest."""
        flow = self.flow
        left_over: list[Section] = []
        for title, said in _sections(self.summary):
            strips = [_heading(title, indent), *_listing(said, flow.wide, indent)]
            if left_over or sum(strip.height for strip in strips) > flow.room:
                left_over.append((title, said))
                continue
            for strip in strips:
                flow.put(strip)
            flow.space(0.1)
        flow.space(flow.room)
        return left_over

    # ---- a row a part ------------------------------------------------------------------------

    def parts(self) -> None:
        """The table, the gravest first."""
        widths = [share * self.flow.wide for share in SHARES]
        rows = [self._cells(entry) for entry in gravest_first(self.summary.data["parts"])]
        title = "parts, the gravest first"
        self.flow.new_page(title)
        for strip in text_strips(title, self.flow.wide, HEAD_PT + 2.0, bold=True):
            self.flow.put(strip)
        self.flow.space(0.05)
        self.flow.add(replace(table("", HEADS, rows, widths), name=title))
        for head, said in _follows(self.summary):
            self.flow.space(0.1)
            self.flow.add(Block("", (_heading(head), *_listing(said, self.flow.wide)), name=head))

    def _cells(self, entry: PlatePart) -> list[str]:
        x, y = entry["at_mm"]
        turn = f", turned {given(entry['turn_deg'])}°" if entry["turn_deg"] else ""
        part = stood(entry)
        built = f"{part.percent:.0f} %" if part else ""
        mark, word = style.MARKS[entry["recommendation"]][0], entry["recommendation"]
        called = f"{entry['name']} (coupon)" if entry["coupon"] else entry["name"]
        return [
            str(self.numbers[entry["name"]]), called, f"x {given(x)}, y {given(y)} mm{turn}",
            entry["serial"] or "not given", f"{mark}  {word.upper()}", built,
            entry["finding"], entry["next_step"],
        ]  # fmt: skip

    # ---- a section a result ------------------------------------------------------------------

    def result(self, names: Sequence[str], result: dict[str, Any]) -> None:
        """Reasons, passages and work for parts of one result."""
        flow = self.flow
        entry = next(e for e in self.summary.data["parts"] if e["name"] == names[0])
        title = f"{', '.join(names)}: {entry['recommendation']}"
        flow.new_page(title)
        for strip in text_strips(title, flow.wide, HEAD_PT + 2.0, bold=True):
            if flow.room < strip.height:
                flow.new_page()
            flow.put(strip)
        flow.add(Block("", tuple(text_strips(_about(entry), flow.wide, BODY_PT))))
        for head, said in _told(entry, result):
            strips = _listing(said, flow.wide)
            if flow.room < _heading(head).height + strips[0].height:
                flow.new_page()
            flow.put(_heading(head))
            flow.add(Block("", strips, name=head))


# ---- what is said ----------------------------------------------------------------------------


def _sections(summary: Summary) -> Iterator[Section]:
    """What stands beside the map, title and paragraphs."""
    data = summary.data
    yield "what happened (z in mm above the platform)", happened(data)
    free = [e["name"] for e in data["parts"] if e["recommendation"] == UNTOUCHED]
    held = [f"to hold until each is decided: {', '.join(data['hold'])}"] if data["hold"] else []
    yield (
        "what to hold",
        [*held, *([f"not affected by the event: {', '.join(free)}"] if free else [])],
    )
    coupons = [e for e in data["parts"] if e["coupon"]]
    yield "coupons", [*_joints(coupons, NO_COUPONS), *_counting(data["coupons"])]
    yield "parts", _joints([e for e in data["parts"] if not e["coupon"]], "none")
    stop = data["stop_building"]
    if stop["parts"]:
        left = f"{near(stop['metal_left_mm3'] * 1e-3, 1)} cm3"
        if stop["mass_left_g"] is not None:
            left += f", {near(stop['mass_left_g'], 0)} g"
        yield (
            "scrap that is not complete",
            [f"{', '.join(stop['parts'])}: {left} are not melted yet, and need not be"],
        )
    yield "notices", [*data["notices"], "outlines on the map are those at the height of the stop"]
    yield "cautions", data["cautions"]


NO_COUPONS = "the plate file names none ([[part]] coupon = true)"


FINISH = "costs stand beside the recommendation, never in it; hold what has to be decided first"


def _counting(found: Sequence[CouponSaid]) -> list[str]:
    """Which coupons count as witnesses, in a line; why stands behind the table."""
    names = ", ".join(one["name"] for one in found if one["counts"] == "yes")
    return [f"count as witnesses of a joint: {names}"] if names else []


def _follows(summary: Summary) -> Iterator[Section]:
    """What stands behind the table: coupons and parts that were not complete, with reasons."""
    data = summary.data
    if data["coupons"]:
        counting = any(one["counts"] == "yes" for one in data["coupons"])
        said = [*alike(data["coupons"]), *(COUPONS_SAY if counting else ())]
        yield "which coupons count, and what they can say", said
    if data["unfinished"]:
        yield "not complete at the stop: finish or stop", [*alike(data["unfinished"]), FINISH]


def _joints(entries: Sequence[PlatePart], none: str) -> list[str]:
    """Which parts go on above the event, and which do not."""
    alike: dict[tuple[float, ...] | None, list[str]] = {}
    for entry in entries:
        known = entry["crossed_mm"]
        alike.setdefault(None if known is None else tuple(known), []).append(entry["name"])
    out = []
    for heights, names in alike.items():
        if heights:
            at = " and ".join(given(height) for height in heights)
            said = f"go on above z {at} mm, where their joint lies"
        else:
            said = "not known" if heights is None else "end below the event, have no joint"
        out.append(f"{said}: {', '.join(names)}")
    return out or [none]


def _about(entry: PlatePart) -> str:
    sheet = str(entry["result"]).removesuffix(".json")
    said = [f"case {entry['case']}; sheet {sheet}.pdf"]
    if part := stood(entry):
        said.append(
            f"at the stop {near(part.height_mm)} of {near(part.of_height_mm)} mm were built, "
            f"{near(part.metal_mm3 * 1e-3, 1)} of {near(part.of_metal_mm3 * 1e-3, 1)} cm3 of metal"
        )
    return "; ".join(said)


def _told(entry: PlatePart, result: dict[str, Any]) -> list[Section]:
    decided = result["disposition"]
    needed = [text for p in result["passages"] for text in p["settled_by"]]
    told = [
        ("passages", [_passage(p) for p in result["passages"]]),
        ("reasons", entry["reasons"]),
        ("work sequence", [f"{n}. {s}" for n, s in enumerate(decided["order_of_work"], 1)]),
        ("needed to decide", decided["settled_by"] or needed),
        ("assumptions and notices", [*result["assumptions"], *result["notices"]]),
    ]
    return [(title, said) for title, said in told if said]


def _passage(passage: dict[str, Any]) -> str:
    found, need = passage["clear_diameter_mm"], passage["required_mm"]
    return (
        f"{passage['name']}: {passage['state']}, {span(found['low'], found['high'], need)} mm "
        f"clear, {given(need)} mm required"
    )


# ---- strips ----------------------------------------------------------------------------------

HEADS = ("no.", "part", "place", "serial", "recommendation", "built at\nthe stop", "reason",
         "next step")  # fmt: skip
SHARES = (0.035, 0.115, 0.13, 0.085, 0.14, 0.07, 0.25, 0.175)


def _heading(title: str, indent: float = 0.0) -> Strip:
    def draw(page: Page, top: float) -> None:
        page.text(MARGIN_IN + indent, top - 0.15, title, HEAD_PT, fontweight="bold")
        page.line(MARGIN_IN + indent, top - 0.185, page.width - MARGIN_IN, top - 0.185)

    return Strip(0.22, draw)


def _listing(said: Sequence[str], wide: float, indent: float = 0.0) -> tuple[Strip, ...]:
    strips: list[Strip] = []
    for text in said:
        if strips:  # between them only: a last one would go on on a page of its own
            strips.append(Strip(0.03, lambda page, top: None))
        strips += text_strips(text, wide, BODY_PT, indent=indent)
    return tuple(strips)
