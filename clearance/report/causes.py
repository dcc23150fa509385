"""Causes in words: the decision first, then classes, what is excluded, what to measure next.

In: a `CausesResult`. Out: lines of text that fit a width.
"""

from __future__ import annotations

from collections.abc import Sequence

from clearance.report.costs import BESIDE
from clearance.report.short import CAUTION, WIDTH
from clearance.report.table import Paint, plain, wrapped
from clearance.result.causes import (
    Box,
    CauseClass,
    CausesResult,
    Excluded,
    NextMeasurement,
    OtherCause,
    Worth,
)
from clearance.verdict.numbers import counted, given, near
from clearance.verdict.reading_words import MOST_PAIRS, READ_AGAIN

TOLD_BITS = 0.005
"""A measurement that tells less tells nothing: two decimals are printed."""
OWN = ("weights", "u_next", "[part]: measured_cooled", "[part]: no thermal")
"""Begin of what is assumed for readings and their comparison."""
MOST_CLASSES, MOST_BOXES = 6, 3
"""Classes, and boxes of one, that are told; the rest are counted. The JSON has all."""


def text(result: CausesResult, width: int = WIDTH, paint: Paint = plain) -> str:
    """What a meeting needs of the causes, as lines for people.

    Parameters
    ----------
    result : CausesResult
    width : int
        Columns to keep within.
    paint : callable
        Colours the words of recommendations; they stand there in any case.
    """
    blocks = [
        _head(result, width, paint),
        _readings(result, width),
        _classes(result, width, paint),
        _excluded(result, width),
        _next(result, width),
        _others(result.other_causes, width),
        _notices(result, width),
        wrapped(CAUTION, width),
    ]
    return "\n\n".join("\n".join(block) for block in blocks if block) + "\n"


def _head(result: CausesResult, width: int, paint: Paint) -> list[str]:
    out = sum(one.count for one in result.excluded)
    left = counted(len(result.classes), "class").replace("classs", "classes")
    lines = wrapped(
        f"{result.part}: {counted(result.suspects, 'suspect')}, "
        f"{counted(len(result.readings), 'reading')}: {out} excluded, the others are {left}",
        width,
    )
    decided = result.decision
    said = wrapped(f"Decision: {decided.said}", width, "", "  ")
    if decided.recommendation is not None:
        word = decided.recommendation
        said = [line.replace(word, paint(word, word), 1) for line in said]
    lines += said
    lines += wrapped(_apart(result), width, "", "  ")
    lines += wrapped(f"Fit: {_fit(result)}", width, "", "  ")
    if result.worth is not None:
        lines += wrapped(f"Worth of a test: {worth_words(result.worth)}", width, "", "  ")
    if not result.classes:
        return lines
    weighs = "by the weights given" if result.weighted else "every suspect weighing the same"
    return lines + wrapped(
        f"Not known of the cause: {near(result.unknown_bits, 1)} of "
        f"{near(result.unknown_bits_before, 1)} bits, {weighs}",
        width,
        "",
        "  ",
    )


def worth_words(found: Worth) -> str:
    """What is expected to be spent now, and what no measurement is worth more than."""
    if found["cost_now"] is None or found["all_known"] is None:
        return f"not told: {found['why_not']}"
    return (
        f"{found['cheapest_now']} is expected to cost least now, {near(found['cost_now'], 0)}; no "
        f"measurement is worth more than {near(found['all_known'], 0)}; {BESIDE}"
    )


def _fit(result: CausesResult) -> str:
    fit = result.none_of_these
    if not fit.readings:
        return "nothing was measured that could show a misfit"
    if fit.chi2 is None or fit.p is None:
        return "none of the suspects explains what was measured"
    said = f"chi-squared {near(fit.chi2, 1)} of {counted(fit.readings, 'measured reading')}"
    chance = f"p {_small(fit.p)}"
    verdict = "none of the suspects explains them" if fit.said else "the best suspect explains them"
    return f"{verdict} ({said}, {chance})"


def _small(p: float) -> str:
    return "below 0.0001" if p < 1e-4 else f"{p:.2g}"


def _readings(result: CausesResult, width: int) -> list[str]:
    if not result.readings:
        return []
    lines = ["Readings"]
    for one in result.readings:
        other = one.excluded_by
        apart = "" if other is None else f"; EXCLUDED by reading {other + 1}, whatever the event"
        lines += wrapped(f"{one.reading + 1}. {one.what}{apart}", width, "  ", "     ")
    return lines


def _apart(result: CausesResult) -> str:
    """Readings that exclude each other, in one line; empty if none do."""
    pairs: list[tuple[int, int]] = []
    for one in result.readings:
        if one.excluded_by is not None and (one.excluded_by, one.reading) not in pairs:
            pairs.append((one.reading, one.excluded_by))
    if not pairs:
        return ""
    listed = ", ".join(f"{a + 1} and {b + 1}" for a, b in pairs[:MOST_PAIRS])
    listed += ", and others," if len(pairs) > MOST_PAIRS else ""
    return f"Readings {listed} exclude each other, whatever the event: {READ_AGAIN}"


# ---- classes -----------------------------------------------------------------------------------


def _classes(result: CausesResult, width: int, paint: Paint) -> list[str]:
    if not result.classes:
        return []
    lines = wrapped(
        "Classes: within one no reading made tells the suspects apart. The ratio is the likelihood "
        f"over that of the best; {result.words_from}. It says how strongly the readings speak, not "
        "how probable a cause is.",
        width,
        "",
        "  ",
    )
    for n, one in enumerate(result.classes[:MOST_CLASSES], 1):
        found = wrapped(f"{n}. {class_words(one, n == 1)}", width, "  ", "     ")
        word = one.recommendation
        if word:
            found = _first_painted(found, word, paint)
        lines += found
    more = len(result.classes) - MOST_CLASSES
    if more > 0:
        looked = [one for one in result.classes[MOST_CLASSES:] if one.recommendation]
        words = sorted({one.recommendation or "" for one in looked})
        said = f", {len(looked)} of them looked at: {' or '.join(words)}" if words else ""
        lines += wrapped(f"and {more} less likely{said} (all in --json)", width, "  ", "  ")
    return lines


def _first_painted(lines: list[str], word: str, paint: Paint) -> list[str]:
    for n, line in enumerate(lines):
        if word in line:
            lines[n] = line.replace(word, paint(word, word), 1)
            break
    return lines


def class_words(one: CauseClass, first: bool) -> str:
    """A class in one sentence: its ranges, how it compares, what would be found and done."""
    compared = f"ratio {ratio_words(one.ratio)}, {one.words} against it"
    if one.words == "none":
        compared = "best" if first else "as good as the best"
    chance = "" if one.chance is None else f", {100.0 * one.chance:.1f} %"
    told = ", the event as told" if one.told else ""
    if one.states is None:
        done = "not looked at"
    else:
        states = ", ".join(f"{name} {state}" for name, state in one.states.items())
        how = how_known(one)
        done = f"{one.recommendation}{f' ({how})' if how else ''}; {states}"
    return f"{ranges_words(one.ranges)}: {compared}{chance}{told}; {done}"


def how_known(one: CauseClass) -> str:
    """How the recommendation of a class is known, if not by a check of its own."""
    if one.confirmed or one.recommendation is None:
        return ""
    return "not checked" if one.recommendation == "undetermined" else "taken over"


def ratio_words(ratio: float) -> str:
    """A likelihood ratio below 1 as one to some number.

    Examples
    --------
    >>> ratio_words(0.398), ratio_words(1.7e-4), ratio_words(0.0)
    ('1:2.51', '1:5882', 'below 1:1000000')
    """
    times = 1.0 / max(ratio, 1e-9)
    if times > 1e6:
        return "below 1:1000000"
    return f"1:{times:.3g}" if times < 1e3 else f"1:{times:.0f}"


def ranges_words(boxes: Sequence[Box]) -> str:
    """Ranges in words; of many boxes the first few."""
    said = [box_words(one) for one in boxes[:MOST_BOXES]]
    more = len(boxes) - MOST_BOXES
    if more > 0:
        said.append(f"and {more} more")
    return " | ".join(said)


def box_words(box: Box) -> str:
    """One box in words.

    Examples
    --------
    >>> box_words(Box("event", (31.2, 31.2), (623, 623), (0, 6), (3, 3), ("height",)))
    '31.2 mm (after layer 623), 3 layers from 0 to 6, resume height'
    """
    if box.cause == "mesh" or box.height_mm is None or box.layers is None:
        return "the mesh itself"
    after = "" if box.after_layer is None else f" (after layer {_span(box.after_layer)})"
    layers = f"{_span(box.layers)} layer{'' if box.layers == (1, 1) else 's'}"
    first = "" if box.from_layer is None else f" from {_span(box.from_layer)}"
    resumed = f", resume {' or '.join(box.resume)}" if box.resume else ""
    return f"{_span(box.height_mm)} mm{after}, {layers}{first}{resumed}"


def _span(ends: tuple[float, float]) -> str:
    low, high = (given(end) for end in ends)
    return low if low == high else f"{low} to {high}"


def _excluded(result: CausesResult, width: int) -> list[str]:
    if not result.excluded:
        return []
    lines = [f"Excluded, more than {near(result.k)} u off"]
    for one in result.excluded:
        lines += wrapped(_excluded_words(one), width, "  ", "     ")
    return lines


def _excluded_words(one: Excluded) -> str:
    how = (
        "they leave nothing there to measure"
        if one.off_u is None
        else f"{near(one.off_u, 1)} u off at least"
    )
    return f"{one.count} by reading {one.reading + 1} ({how}): {ranges_words(one.ranges)}"


# ---- what next ---------------------------------------------------------------------------------


def _next(result: CausesResult, width: int) -> list[str]:
    if not result.next:
        return []
    lines = wrapped(
        "What could be measured next, the cheapest first: bits it tells of the cause, and of the "
        "recommendation; * u is assumed",
        width,
        "",
        "  ",
    )
    lines.append(_columns(("cause", "decision", "")).rstrip())
    for one in result.next:
        if one.bits < TOLD_BITS:
            continue
        decides = ": decides" if one.decides else ""
        start = _columns((near(one.bits), near(one.decision_bits), ""))
        saved = "" if one.worth is None else f", worth {near(one.worth, 0)}"
        lines += wrapped(f"{one.measure}{_u(one)}{decides}{saved}", width, start, " " * len(start))
    silent = [one.measure for one in result.next if one.bits < TOLD_BITS]
    if silent:
        lines += wrapped(f"tell nothing: {'; '.join(silent)}", width, "  ", "    ")
    return lines


def _columns(cells: tuple[str, str, str]) -> str:
    return f"  {cells[0]:>5}  {cells[1]:>8}  "


def _u(one: NextMeasurement) -> str:
    if one.u is None:
        return ""
    return f", u {one.u:.3g}{'*' if one.u_assumed else ''}"


def _others(causes: Sequence[OtherCause], width: int) -> list[str]:
    lines = ["Causes that are no wrong slice"]
    together: dict[str, list[str]] = {}
    for one in causes:
        if one.excluded:
            together.setdefault(one.by, []).append(one.cause)
        else:
            lines += wrapped(f"{one.cause}: look at: {one.look_at}", width, "  ", "    ")
    for by, names in together.items():
        lines += wrapped(f"excluded: {'; '.join(names)} ({by})", width, "  ", "    ")
    return lines


def _notices(result: CausesResult, width: int) -> list[str]:
    """What was assumed for the comparison itself; what the check assumes is only counted."""
    own = [one for one in result.assumptions if one.startswith(OWN)]
    found = [("assumed", one) for one in own] + [("notice", one) for one in result.notices]
    lines = [line for kind, one in found for line in wrapped(f"{kind}: {one}", width, "", "  ")]
    others = len(result.assumptions) - len(own)
    if others:
        more = counted(others, "more assumption")
        lines += wrapped(f"and {more}, those of check (--json has all)", width, "", "  ")
    return lines
