"""A sweep in words: per passage the rows of heights with one state.

In: a `Sweep`. Out: lines of text that fit a width. Passages of which every row is the same are
told once.
"""

from __future__ import annotations

from clearance.report.table import Paint, plain, wrapped
from clearance.sweeps.result import NOT_NEEDED, POSSIBLE, PassageHeights, Sweep, runs
from clearance.verdict.names import event, named_all
from clearance.verdict.numbers import given, span

WIDTH = 88
"""Columns of the text where the terminal does not say otherwise."""


def text(result: Sweep, width: int = WIDTH, paint: Paint = plain) -> str:
    """The sweep for people.

    Parameters
    ----------
    result : Sweep
    width : int
        Columns to keep within.
    paint : callable
        Colours the words of states; they stand there in any case.
    """
    h = result.heights_mm
    first, last = given(h[0]), given(h[-1])
    apart = None if result.apart_mm is None else given(result.apart_mm)
    every = "" if apart is None else f", {apart} mm apart"
    over = (
        f"{len(h)} heights{every}, z {first} to {last}" if len(h) > 1 else f"one height, z {first}"
    )
    lines = wrapped(
        f"{result.part}: {event(result.stray)} moved over {over} mm above the platform, resolution "
        f"{given(result.pitch_mm)} mm",
        width,
    )
    if apart is not None and len(h) > 1:
        lines += wrapped("between these heights nothing is computed: a state there may differ "
                         "from those on both sides", width, "", "  ")  # fmt: skip
    if result.not_looked_at:
        lines += wrapped("not looked at: " + "; ".join(result.not_looked_at), width, "", "  ")
    alike: dict[tuple[str, ...], list[PassageHeights]] = {}
    for passage in result.passages:
        rows = tuple(said for _, said in _rows(passage, h))
        alike.setdefault((given(passage.required_mm), *rows), []).append(passage)
    for (required, *_), passages in alike.items():
        names = named_all([p.name for p in passages])
        lines += ["", *wrapped(f"{names}, {required} mm required", width)]
        for state, said in _rows(passages[0], h):
            found = wrapped(said, width, "  ", "    ")
            lines += _painted(found, state, paint)
    if result.notices:
        lines += ["", "notices"]
        lines += [
            line for notice in result.notices for line in wrapped(notice, width, "  ", "    ")
        ]
    return "\n".join(lines) + "\n"


def _rows(passage: PassageHeights, heights: tuple[float, ...]) -> list[tuple[str, str]]:
    """State and words of every row of heights with one state."""
    found = []
    for first, last, state in runs(passage.state):
        low = min(passage.low_mm[first : last + 1])
        high = max(passage.high_mm[first : last + 1])
        ends = dict.fromkeys(given(heights[n]) for n in (first, last))
        clear = f", {span(low, high, passage.required_mm)} mm clear" if high > 0.0 else ""
        said = f"z {' to '.join(ends)}: {state}{clear}{_drill_words(passage, first, last)}"
        found.append((state, said))
    return found


def _painted(lines: list[str], state: str, paint: Paint) -> list[str]:
    """The same with the state, which follows the first colon, coloured."""
    for n, line in enumerate(lines):
        if state in line:
            lines[n] = line.replace(state, paint(state, state), 1)
            break
    return lines


def _drill_words(p: PassageHeights, first: int, last: int) -> str:
    """What a row says of drilling."""
    if p.reopen is None:
        return ""
    answers = set(p.reopen[first : last + 1])
    if answers == {NOT_NEEDED}:
        return ""
    if answers == {POSSIBLE}:
        return "; a drill could reopen it"
    return "; a drill could reopen it in places" if POSSIBLE in answers else "; no drill reopens it"
