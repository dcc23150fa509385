"""What a meeting reads first: one short sentence, then what is wrong, equal things told once."""

import dataclasses
import math

import pytest

from clearance.disposition.order_of_work import EMPTYING
from clearance.disposition.rules import CHANGE, EVENT_KNOWN, NO_DRILL, OTHER_MEANS
from clearance.report import full, short
from clearance.report.headline import crossed, headline, wrong
from clearance.result import (
    ClearDiameter,
    CrossingResult,
    DispositionResult,
    Drilling,
    PassageResult,
    Result,
    Rework,
    SeparateResult,
    State,
    TrappedPowder,
)
from clearance.verdict.names import between, listed, named_all
from clearance.verdict.numbers import given, least, level, most, near, percent, span


def crossing(height=26.0, share=1.0, stray=0):
    area = 12.0 * share
    return CrossingResult(
        stray, height, (0.0, 0.0, height), 12.0, area, share, 4.0 * share, sealed=share == 0.0
    )


def passage(name, state=State.OPEN, low=7.9, high=8.0, crossings=(), graph=(), **more):
    found = ClearDiameter(8.0, 0.5 * (low + high), low, high, 7.9, 8.0)
    return PassageResult(
        name, state, 7.0, found, State.OPEN, tuple(crossings), (), graph=graph, **more
    )


def channels(count, sealed, step=0.05):
    """Channels side by side, the first ones sealed at heights a little apart."""
    found = [crossing(26.0 + step * (n % 20), 0.0 if n < sealed else 1.0) for n in range(count)]
    graph = tuple({"crossing": n, "joins": ["inlet", "outlet"]} for n in range(count))
    state = State.BLOCKED if sealed == count else State.RESTRICTED
    return passage("core", state, 6.0, 6.1, found, graph)


def stroke():
    return Drilling(
        0, (), 7.5, "jobber", 69.0, 109.0, "inlet", (0.0, 0.0, 0.0), (0.0, 0.0, 1.0), 37.0, 5.0,
        0.25, 0.0, 0.5, 0.4, 180.0, 0.0, 0.02, 0.1,
    )  # fmt: skip


def drilled(name, strokes=1):
    plan = Rework("open", 7.4, (stroke(),) * strokes)
    return passage(name, State.BLOCKED, 0.0, 0.0, (crossing(26.0, 0.0),), rework=plan)


def decided(word, concession=False, needed=()):
    return DispositionResult(word, ("said",), concession, (), needed)


@pytest.mark.parametrize("count", [26, 80])
def test_equal_crossings_are_told_once(count):
    said = crossed(channels(80, count))
    of = "all 80" if count == 80 else f"{count} of 80"
    assert said == f"{of} channels sealed at z 26.00 to 26.95"
    assert said.count("z ") == 1


@pytest.mark.parametrize("sealed", [26, 80])
def test_an_exchanger_of_80_channels_fits_the_first_screen(sealed):
    steps = ("hold the part", "empty it; through every opening", "measure it; as given", "drill")
    said = f"core: blocked at z 26.00 mm, 7 mm required; {NO_DRILL}: the wall is in the way; {{}}"
    reason = said.format(f"{OTHER_MEANS}; {CHANGE}: a drill of 7.1 mm; {EVENT_KNOWN} (log)")
    scrap = DispositionResult("scrap", (reason, "Scrap."), False, steps, ())
    found = Result("block", 0.2, (channels(80, sealed),), disposition=scrap, cautions=("powder",))
    shown = short.text(found, 80)
    assert len(shown.splitlines()) <= short.MOST_LINES
    lines = " ".join(shown.split())
    assert shown.count("channels sealed") == 1
    assert f"7 mm required; {NO_DRILL}; {OTHER_MEANS}; {EVENT_KNOWN} (log)" in lines
    assert "2. empty it 3. measure it Take care" in lines
    assert "More: --full (4 steps)" in lines
    assert "a drill of 7.1 mm" in " ".join(full.text(found, 80).split())


def test_names_that_count_on_and_the_height_of_one_sheet_are_said_once():
    passages = tuple(drilled(f"feed-{n}") for n in (1, 2, 3))
    sheet = {"stray": 0, "height_mm": 26.2, "nominal_area_mm2": 9.0, "metal_area_mm2": 9.0,
             "share": 1.0}  # fmt: skip
    found = Result("block", 0.2, passages, resumed_section=(sheet,), disposition=decided("rework"))
    shown = short.text(found, 80)
    assert "feed-1 to feed-3  blocked" in shown
    assert shown.count("26.00 to 26.20") == 1
    assert "why (sheet at z 26.00 to 26.20)" in shown
    assert "at z 26.00 to 26.20" in short.text(found, 40)  # no table there, and no head


def test_one_height_is_said_once_and_a_way_to_and_fro_is_no_channel():
    found = [crossing(share=0.0), crossing(share=0.5), crossing()]
    graph = (
        {"crossing": 0, "joins": ["inlet", "region 0"]},
        {"crossing": 1, "joins": ["region 0", "region 1"]},
        {"crossing": 2, "joins": ["region 1", "outlet"]},
    )
    said = crossed(passage("way", State.BLOCKED, 0.0, 0.0, found, graph))
    assert said == "1 of 3 crossings sealed at z 26.00, 1 of 3 crossings 50 % open at z 26.00"


def test_a_crossing_that_is_fully_open_is_never_named():
    found = (crossing(31.35, 0.75), crossing(31.30, 0.999, stray=1))
    said = crossed(passage("bore", State.RESTRICTED, 6.0, 6.1, found))
    assert said == "75 % open at z 31.35"
    assert crossed(passage("bore", crossings=(crossing(),))) == ""


def test_a_level_sheet_has_one_extent_wherever_it_crosses():
    """Its face, its middle and the melt depth below it are heights of one and the same sheet."""
    joint = {"stray": 0, "height_mm": 31.35}
    result = Result(
        "insert", 0.2,
        (
            passage("a", State.BLOCKED, 0.0, 0.0, (crossing(31.1, 0.0),)),
            passage("b", State.RESTRICTED, 6.0, 6.1, (crossing(31.35, 0.75),)),
        ),
        resumed_section=(joint, {**joint, "height_mm": 31.2}),
    )  # fmt: skip
    assert wrong(result) == (
        "a blocked: sealed at z 31.10 to 31.35",
        "b restricted: 75 % open at z 31.10 to 31.35, 6.00 to 6.10 mm clear, 7 required",
    )


def test_equal_passages_are_told_once_and_many_are_counted():
    tubes = [dataclasses.replace(drilled("tube"), name=f"tube-{n}") for n in range(12)]
    result = Result("plenum", 0.2, (passage("feed"), *tubes))
    assert wrong(result) == ("tube-0 to tube-11 blocked: sealed at z 26.00",)
    assert wrong(dataclasses.replace(result, passages=tuple(tubes[:3]))) == (
        "tube-0, tube-1 and tube-2 blocked: sealed at z 26.00",
    )


@pytest.mark.parametrize(
    ("word", "concession", "call", "action"),
    [
        ("rework", False, "REWORK recommended", "drill tank and pilot in 3 operations"),
        (
            "repair", True, "REPAIR by concession recommended",
            "obtain the concession, then drill tank and pilot in 3 operations",
        ),
        (
            "scrap", False, "SCRAP recommended",
            "hold it, confirm the finding on the part, then mark it as scrap",
        ),
        (
            "undetermined", False, "UNDETERMINED, no recommendation yet",
            "settle 2 questions first; until then drill and heat treat nothing",
        ),
    ],
)  # fmt: skip
def test_the_recommendation_is_one_short_sentence(word, concession, call, action):
    passages = (passage("feed"), drilled("tank", 2), drilled("pilot"))
    found = Result(
        "block", 0.2, passages, disposition=decided(word, concession, ("leak test", "ball"))
    )
    head = headline(found)
    assert head.sentence == f"{call}: 2 of 3 passages do not conform"
    assert head.action == action
    many = tuple(drilled(f"a very long name of a passage, number {n}") for n in range(40))
    long = headline(dataclasses.replace(found, passages=many))
    assert max(len(long.sentence), len(long.action)) < 100


def test_what_is_grave_besides_the_passages_stands_in_the_sentence():
    joined = SeparateResult(("feed", "tank"), "joined", None, "void")
    found = Result("block", 0.2, (passage("feed"), passage("tank")), disposition=decided("scrap"))
    assert (
        "circuits are connected" in headline(dataclasses.replace(found, separate=(joined,))).finding
    )
    powder = TrappedPowder(9.0, None, ("stray 0",), (0.0, 0.0, 0.0))
    shut = headline(dataclasses.replace(found, trapped_powder=(powder,)))
    assert shut.finding == "both passages conform, powder is trapped"
    against = (passage("feed"), passage("tank", verified="contradicts", verified_why="a way"))
    contradicted = dataclasses.replace(found, passages=against)
    assert "the second opinion contradicts" in headline(contradicted).finding
    assert wrong(contradicted)[0].endswith("CONTRADICTED by the second opinion: a way")


@pytest.mark.parametrize(
    ("share", "said"),
    [
        (0.0, "a joint may be unmelted throughout"),
        (0.2213, "only 22 % of a section is fused"),
        (0.96, ""),
    ],
)
def test_a_weak_joint_stands_in_the_sentence(share, said):
    row = {"stray": 0, "height_mm": 24.0, "share": share, "nominal_area_mm2": 100.0,
           "metal_area_mm2": 100.0 * share}  # fmt: skip
    found = Result("plate", 0.2, (passage("feed"), drilled("tank")), resumed_section=(row,),
                   disposition=decided("rework"))  # fmt: skip
    assert headline(found).finding == ", ".join(
        ["1 of 2 passages does not conform", *([said] if said else [])]
    )


def test_nothing_is_said_of_an_event_that_was_not_given():
    found = Result("block", 0.2, (passage("feed"),), disposition=decided("not-affected"))
    assert headline(found).sentence == (
        "NOT AFFECTED: the passage conforms; the event left nothing in the part"
    )
    assert "event left" not in headline(found, event=False).sentence


# ---- numbers ---------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("value", "said"), [(7.0, "7"), (7.25, "7.25"), (0.125, "0.125"), (7 + 0.1 - 0.2, "6.9")]
)
def test_what_the_user_gave_keeps_its_digits(value, said):
    assert given(value) == said


@pytest.mark.parametrize(
    ("low", "high", "need", "said"),
    [
        (6.391, 6.4049, 7.0, "6.39 to 6.41"),
        (6.9912, 6.9996, 7.0, "6.99 to just under 7"),
        (6.9999, 6.99999, 7.0, "6.99 to just under 7"),
        (6.99996, 7.00004, 7.0, "6.99 to 7.01"),
        (0.1257, 0.1384, 0.125, "0.125 to 0.14"),  # 0.12 would lie below what it reaches
        (7.381, 7.548, 7.0, "7.38 to 7.55"),
        (6.2, 6.9, 5.0, "6.2 to 6.9"),
        (6.3, 6.96, 7.0, "6.30 to 6.96"),
        (4.0, 4.0, 4.0, "4.00"),
        (0.0, 0.0, 7.0, "0"),
        (5.2, math.inf, 7.0, "at least 5.20"),
    ],
)
def test_brackets_have_two_decimals_at_most_and_keep_their_side(low, high, need, said):
    assert span(low, high, need) == said


def test_bounds_are_rounded_outward_and_never_minus_nought():
    assert (least(6.9999), most(6.9911), most(6.9996, 7.0)) == ("6.99", "7.00", "just under 7")
    assert (near(-0.0004), near(-0.006), percent(0.9999)) == ("0.00", "-0.01", "99 %")
    assert level([26.951, 26.0, 26.3]) == "z 26.00 to 26.95"
    assert level([31.1, 31.1001]) == "z 31.10"
    assert listed(["a"]) == "a"


def test_names_in_a_row_and_numbers_from_one():
    tubes = [f"tube-{n}" for n in range(9, 13)]
    assert named_all([*tubes, "feed"]) == "tube-9 to tube-12 and feed"
    assert named_all(["a", "b", "c"]) == "a, b and c"
    assert named_all(["a", "b", "c", "d"]) == "a, b, c and d"
    assert between(("stray 0", "stray 11", "part")) == "stray sheet 1, stray sheet 12 and part"


@pytest.mark.parametrize("state", [State.RESTRICTED, State.OPEN])
def test_a_passage_along_the_sheet_is_not_said_to_be_sealed(state):
    lying = passage("lying", state, 4.0, 4.1, (crossing(7.0, 0.0),))
    assert crossed(lying) == "stray metal along the passage at z 7.00"
    stopped = passage("stopped", State.BLOCKED, 0.0, 0.0, (crossing(7.0, 0.0),))
    assert crossed(stopped) == "sealed at z 7.00"


def test_the_first_sentence_says_what_decides_and_what_comes_before_the_drill():
    """As somebody who reads for ten seconds asks: why scrap, a concession for what, what first?"""
    stuck = dataclasses.replace(drilled("feed"), rework=None, why_not="the holder meets the part")
    plan = drilled("tank")
    scrap = Result("block", 0.2, (stuck, plan), disposition=decided("scrap"))
    assert headline(scrap).finding.endswith("no straight drill reopens 1 of them")
    alone = dataclasses.replace(scrap, passages=(stuck,))
    assert headline(alone).finding.endswith("no straight drill reopens it")
    steps = (f"{EMPTYING} under the local rules",)
    work = dataclasses.replace(decided("repair", True), order_of_work=steps)
    cuts = dataclasses.replace(plan, rework=dataclasses.replace(plan.rework, cuts_wall=True))
    repair = Result("block", 0.2, (cuts,), disposition=work)
    assert headline(repair).action == (
        f"obtain the concession for the cut into the wall, {EMPTYING}, then drill tank in "
        "1 operation"
    )
