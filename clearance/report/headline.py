"""What a meeting reads first: the recommendation in one sentence, and what is wrong.

In: a `Result`. Out: short sentences, the same on the terminal and on the first page. It judges
nothing. Equal crossings and equal passages are told once, with their number; crossings that are
fully open are not told at all.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from types import MappingProxyType

from clearance.disposition.known import loss_words
from clearance.disposition.order_of_work import EMPTYING
from clearance.report.drilling import by_electrode
from clearance.report.finished import finding
from clearance.report.joints import joint_share, joints
from clearance.result import ClearDiameter, CrossingResult, PassageResult, Result, State
from clearance.verdict.names import MOST_NAMES, listed, named_all, runs_of_names
from clearance.verdict.numbers import NAMEWORTHY, counted, given, level, percent, span

LONGEST_NAMES = 40
"""Letters of their names; longer ones are only counted."""
WEAK_JOINT = 0.9
"""A joint of which less than this hangs together stands in the first sentence."""
SEVERITY = (State.BLOCKED, State.RESTRICTED, State.UNDETERMINED, State.OPEN)
"""States, the gravest first."""

BESIDE = (State.OPEN, State.RESTRICTED)
"""A passage in these states whose every crossing is sealed runs along the sheet."""
Extents = Mapping[int, tuple[float, float]]
"""Lowest and highest z of a stray sheet, by its number."""
NO_EXTENTS: Extents = MappingProxyType({})


@dataclass(frozen=True)
class Headline:
    """The recommendation.

    Attributes
    ----------
    word : str
        In capitals: ``REWORK``.
    call : str
        The same as a call: ``REWORK recommended``.
    finding : str
        Why, in a few words: ``2 of 3 passages do not conform``.
    action : str
        What comes next, in a few words: ``drill tank and pilot in 3 operations``.
    """

    word: str
    call: str
    finding: str
    action: str

    @property
    def sentence(self) -> str:
        """The recommendation in one sentence."""
        return f"{self.call}: {self.finding}"


def headline(result: Result, event: bool = True) -> Headline:
    """The recommendation, why, and what comes next.

    Parameters
    ----------
    result : Result
    event : bool
        Whether the case gives one at all.
    """
    decided = result.disposition
    found = _counts(result)
    if decided is None:
        return Headline("CHECKED", "CHECKED, without a recommendation", found, "")
    word = decided.recommendation.replace("-", " ").upper()
    if decided.recommendation == "undetermined":
        return Headline(word, f"{word}, no recommendation yet", found, _waiting(result))
    if decided.recommendation == "not-affected":
        call = word if event else "NO EVENT GIVEN"
        left = "the event left nothing in the part" if event else "the drawing was checked, no part"
        return Headline(call, call, f"{found}; {left}", "no work follows from this result")
    by = " by concession" if decided.concession else ""
    if decided.recommendation == "scrap":
        found = ", ".join(filter(None, (found, _out_of_reach(result))))
    return Headline(word, f"{word}{by} recommended", found, _action(result))


# ---- what is wrong, counted ------------------------------------------------------------------


def fails(passage: PassageResult) -> bool:
    """It surely misses a requirement."""
    return passage.state in (State.BLOCKED, State.RESTRICTED) or _loss(passage) == "not met"


def unclear(passage: PassageResult) -> bool:
    """Whether it meets its requirements is not known."""
    open_question = passage.state is State.UNDETERMINED or _loss(passage) == "undetermined"
    return open_question and not fails(passage)


def _loss(passage: PassageResult) -> str | None:
    return None if passage.flow is None else passage.flow["requirement"]["predicted"]


def _counts(result: Result) -> str:
    """How many passages do not conform, and what else is grave, in a few words."""
    count = len(result.passages)
    bad = sum(map(fails, result.passages))
    doubtful = sum(map(unclear, result.passages))
    said = []
    if bad:
        verb = "does" if bad == 1 else "do"
        of = "the passage" if count == 1 else f"{bad} of {counted(count, 'passage')}"
        said.append(f"{of} {verb} not conform")
    if doubtful:
        of = "the passage conforms" if count == 1 else f"{doubtful} of {count} passages conform"
        said.append(f"{doubtful} cannot be told" if bad else f"whether {of} cannot be told")
    pairs = Counter(pair.state for pair in result.separate)
    if pairs["joined"]:
        said.append("circuits are connected")
    elif pairs["undetermined"]:
        said.append("whether circuits are still apart cannot be told")
    worst = next(iter(joints(result)), None)
    if worst is not None and worst.share < WEAK_JOINT:
        little = joint_share(worst.share)
        said.append(
            "a joint may be unmelted throughout"
            if little == "none"
            else f"only {little} of a section is fused"
        )
    if out := finding(result.finished):
        said.append(out)
    if any(p.verified == "contradicts" for p in result.passages):
        said.append("the second opinion contradicts")
    if not bad and not doubtful and not pairs["joined"] and not pairs["undetermined"]:
        every = {1: "the passage conforms", 2: "both passages conform"}
        said.insert(0, every.get(count, f"all {count} passages conform"))
    if not bad and not doubtful and result.trapped_powder:
        said.append("powder is trapped")
    return ", ".join(said)


def _out_of_reach(result: Result) -> str:
    """That no drill reopens what fails: with it a passage that does not conform is no rework."""
    failing = [p for p in result.passages if fails(p)]
    stuck = sum(bool(p.why_not) and p.rework is None for p in failing)
    if not stuck:
        return ""
    which = f"{stuck} of them" if stuck < len(failing) else "it" if stuck == 1 else "them"
    return f"no straight drill reopens {which}"


# ---- what comes next ------------------------------------------------------------------------


def _action(result: Result) -> str:
    decided = result.disposition
    assert decided is not None
    if decided.recommendation == "scrap":
        return "hold it, confirm the finding on the part, then mark it as scrap"
    drilled = [p for p in result.passages if p.rework is not None]
    if decided.recommendation == "use-as-is" or not drilled:
        return "obtain the concession first" if decided.concession else "prove every passage"
    plans = [p.rework for p in drilled if p.rework is not None]
    strokes = sum(len(plan.drilling) for plan in plans)
    ways = {"drill": False, "erode": True}
    told = (
        (verb, [p.name for p in drilled if by_electrode(p) == how]) for verb, how in ways.items()
    )
    what = listed([f"{verb} {named(names)}" for verb, names in told if names])
    said = f"{what} in {counted(strokes, 'operation')}"
    if result.trapped_powder:
        said += ", by the rules for trapped powder"
    first = []
    if decided.concession:
        cut = " for the cut into the wall" if any(plan.cuts_wall for plan in plans) else ""
        first.append(f"obtain the concession{cut}")
    if any(step.startswith(EMPTYING) for step in decided.order_of_work):
        first.append(EMPTYING)
    return f"{', '.join(first)}, then {said}" if first else said


def _waiting(result: Result) -> str:
    decided = result.disposition
    assert decided is not None
    needed = len(decided.settled_by)
    first = f"settle {counted(needed, 'question')}" if needed else "settle it"
    return f"{first} first; until then drill and heat treat nothing"


def named(names: Sequence[str]) -> str:
    """Passages by their names, or their number where those are many."""
    said = named_all(names)
    few = len(names) <= MOST_NAMES or len(runs_of_names(names)) == 1
    return said if few and len(said) <= LONGEST_NAMES else counted(len(names), "passage")


# ---- what is wrong, passage by passage -------------------------------------------------------


def gravest_first(passages: Iterable[PassageResult]) -> list[PassageResult]:
    """Passages by state, then those that fail for another reason; equals in the case's order."""
    return sorted(passages, key=lambda p: (SEVERITY.index(p.state), not fails(p), not unclear(p)))


def wrong(result: Result) -> tuple[str, ...]:
    """What is wrong with the passages, a clause each, the gravest first; equal ones in one.

    What else is grave (circuits, joint, powder) `report.grave.besides` says.
    """
    alike: dict[str, list[str]] = {}
    sheets = extents(result)
    for passage in gravest_first(result.passages):
        if fails(passage) or unclear(passage) or passage.verified == "contradicts":
            alike.setdefault(fault(passage, sheets), []).append(passage.name)
    return tuple(f"{named(names)} {said}" for said, names in alike.items())


def fault(passage: PassageResult, sheets: Extents = NO_EXTENTS) -> str:
    """What is wrong with a passage, in a few words with its numbers, without its name."""
    said = [_state_words(passage, sheets)]
    if passage.nominal_state in (State.BLOCKED, State.RESTRICTED):
        said.append("in the nominal part already")
    if missed := missed_loss(passage):
        said.append(missed)
    if passage.verified == "contradicts":
        said.append(f"CONTRADICTED by the second opinion: {passage.verified_why}")
    return ", ".join(said)


def clear_diameter(found: ClearDiameter, required_mm: float | None = None) -> str:
    """Bracket in words, rounded outward, so that what is printed still holds the truth."""
    return span(found.low, found.high, required_mm)


def _state_words(passage: PassageResult, sheets: Extents) -> str:
    found, need = passage.clear_diameter_mm, passage.required_mm
    clear = f"{clear_diameter(found, need)} mm clear, {given(need)} required"
    if passage.state is State.OPEN:
        return f"wide enough ({clear})"
    said = [crossed(passage, sheets)]
    if passage.state is not State.BLOCKED:
        # Wide enough and yet not open: an open fraction or a branch is missing, or a slice.
        said += passage.reasons[:1] if found.low >= need else [clear]
    words = ", ".join(part for part in said if part)
    return f"{passage.state.value}: {words}" if words else passage.state.value


def missed_loss(passage: PassageResult) -> str:
    """That the allowed pressure loss is missed or may be, with its numbers; else empty."""
    flow = passage.flow
    if flow is None or flow["requirement"]["predicted"] not in ("not met", "undetermined"):
        return ""
    lost = loss_words(flow["good_end"]["low_kpa"], flow["bad_end"]["high_kpa"])
    return f"{lost}, {flow['requirement']['max_pressure_loss_kpa']:g} kPa allowed"


# ---- crossings, equal ones together ----------------------------------------------------------


def hurt(passage: PassageResult) -> list[CrossingResult]:
    """Crossings that are not fully open, the worst first."""
    found = [c for c in passage.crossings if c.sealed or c.open_fraction < NAMEWORTHY]
    return sorted(found, key=lambda c: (not c.sealed, c.open_fraction))


def extents(result: Result) -> Extents:
    """The lowest and the highest height of each level sheet: one for all its crossings.

    A measured sheet may lean through the whole part; it has none.
    """
    found: dict[int, list[float]] = {}
    for joint in result.resumed_section:
        found.setdefault(joint["stray"], []).append(joint["height_mm"])
    for passage in result.passages:
        for crossing in passage.crossings:
            if crossing.stray in found:
                found[crossing.stray].append(crossing.height_mm)
    return {stray: (min(heights), max(heights)) for stray, heights in found.items()}


def one_height(result: Result) -> str:
    """Heights of the only level sheet that hurts any passage; empty where there is no such one."""
    sheets = extents(result)
    failing = (p for p in result.passages if p.state is not State.OPEN)
    hurting = {c.stray for p in failing for c in hurt(p)}
    return level(sheets[next(iter(hurting))]) if len(hurting) == 1 and hurting <= {*sheets} else ""


def crossed(passage: PassageResult, sheets: Extents = NO_EXTENTS, told: bool = False) -> str:
    """Where stray metal stands in a passage: ``26 of 80 channels sealed at z 26.00 to 26.95``.

    Each sheet by itself, the sealed crossings before the narrowed ones. Empty if all crossings
    are fully open. With `extents` every passage gives the same height of one sheet; where the
    heights are told elsewhere (`told`) they are left out.
    """
    worst = hurt(passage)
    total = Counter(c.stray for c in passage.crossings)
    said = []
    for sealed in (True, False):
        for stray in dict.fromkeys(c.stray for c in worst if c.sealed is sealed):
            those = [c for c in worst if c.stray == stray and c.sealed is sealed]
            heights = sheets.get(stray) or [c.height_mm for c in those]
            at = "" if told else f" at {level(heights)}"
            said.append(f"{_together(passage, those, total[stray])}{at}")
    return ", ".join(said)


def _together(passage: PassageResult, those: Sequence[CrossingResult], total: int) -> str:
    if those[0].sealed and len(those) == total and passage.state in BESIDE:
        return "stray metal along the passage"
    what = "sealed" if those[0].sealed else f"{_shares(those)} open"
    if total == 1:
        return what
    kind = "channel" if _are_channels(passage, those[0].stray) else "crossing"
    every = "both" if total == 2 else f"all {total}"
    how_many = every if len(those) == total else f"{len(those)} of {total}"
    return f"{how_many} {kind}s {what}"


def _shares(those: Sequence[CrossingResult]) -> str:
    least, most = (percent(end(c.open_fraction for c in those)) for end in (min, max))
    return least if least == most else f"{least.removesuffix(' %')} to {most}"


def _are_channels(passage: PassageResult, stray: int) -> bool:
    """Whether the crossings of a sheet join the same two regions: channels, none behind another."""
    joined = [
        frozenset(edge["joins"])
        for edge in passage.graph
        if edge["crossing"] is not None and passage.crossings[edge["crossing"]].stray == stray
    ]
    return len(joined) > 1 and len(set(joined)) == 1
