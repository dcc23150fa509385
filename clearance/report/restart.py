"""The restart card in words, for the terminal and the paper.

In: a `RestartResult`. Out: lines of text.
"""

from __future__ import annotations

from clearance.result.restart import Candidate, RestartResult, RightLayer, WouldDo
from clearance.verdict.names import listed, named_all
from clearance.verdict.numbers import counted, given, most, near

READ_IT = "cannot be told by eye, read the number"
FINE = "every passage stays open; the joint of old and new metal is not judged"
LEAST_MM2 = 1e-6


def text(result: RestartResult) -> str:
    """The card in a few lines."""
    lines = [f"{result.name}: {count_words(result)}"]
    for n in countings(result):
        numbers = f"next layer {result.next_layer + n}, last good {result.last_good_layer + n}"
        lines.append(f"  if it is {n}: {numbers}")
    lines += ["  another number: do not start, ask", height_words(result)]
    lines += [f"  {right_words(one)}" for one in result.parts]
    lines.append(f"wrong layers; {harm_head(result)}")
    for one in result.candidates:
        lines.append(f"  {number_words(one.layer, result)}: {eye_words(one, result)}")
        lines += [f"    {words}" for words in harm_words(one)]
    lines += [f"note: {said}" for said in result.notices]
    return "\n".join([*lines, result.cautions[0], result.cautions[1]]) + "\n"


def right_words(one: RightLayer) -> str:
    """What the right layer of a part looks like."""
    if one.extents_mm is None:
        return f"{one.name}: complete, nothing is melted"
    x0, y0, x1, y1 = one.extents_mm
    return (
        f"{one.name}: {near(one.area_mm2, 1)} mm2 in {counted(one.islands, 'piece')} "
        f"with {counted(one.holes, 'hole')}, "
        f"x {near(x0, 1)} to {near(x1, 1)}, y {near(y0, 1)} to {near(y1, 1)}"
    )


def cooled_words(result: RestartResult) -> str:
    """What cooling means for the first layer, of the part that suffers most."""
    known = [one for one in result.parts if one.shrunk_mm is not None]
    if not known:
        return (
            "How far the part cooled is not known. If it cooled, it stands lower, and powder may "
            "stay unmelted under the first layer: ask the process engineer before the start."
        )
    worst = max(known, key=lambda one: one.shrunk_mm or 0.0)
    gap = worst.joint_gap_mm or 0.0
    said = f"The part cooled and stands up to {most(worst.shrunk_mm or 0.0)} mm lower"
    if gap <= 0.0:
        return f"{said}; the first layer melts through to it as far as is known."
    return (
        f"{said}; under the first layer up to {most(gap)} mm of powder may stay unmelted: the "
        "joint itself; ask the process engineer before the start."
    )


def eye_words(one: Candidate, result: RestartResult) -> str:
    """How a wrong layer differs to the eye."""
    rows = zip(one.parts, result.parts, strict=True)
    pair = next((pair for pair in rows if pair[0].name == one.look_at), None)
    if pair is None:
        return f"the same as the right one: {READ_IT}"
    row, right = pair
    where = f" (look at {row.name})" if len(one.parts) > 1 else ""
    counts = (
        f"{_changed(row.holes, right.holes, 'hole')}, "
        f"{_changed(row.islands, right.islands, 'piece')}"
    )
    differs = f"{near(row.differs_mm2, 1)} mm2 differ, up to {most(row.widest_mm)} mm wide"
    size = f"{counts}; {differs}{where}"
    if row.area_mm2 <= LEAST_MM2:
        size = f"no metal at all{where}"
    return size if one.told_by_eye else f"{size}: {READ_IT}"


def _changed(wrong: int, right: int, word: str) -> str:
    return f"{counted(wrong, word)} (right {right})"


def harm_words(one: Candidate) -> list[str]:
    """What it would seal, restrict or join, part by part; equal parts in one."""
    alike: dict[str, list[str]] = {}
    for row in one.parts:
        alike.setdefault(_harm(row), []).append(row.name)
    if len(alike) == 1:
        return list(alike)
    return [f"{named_all(names)}: {said}" for said, names in alike.items()]


def _harm(row: WouldDo) -> str:
    if row.sealed is None:
        return row.said
    said = [
        f"{verb} {named_all(names)}"
        for verb, names in (
            ("would seal", row.sealed),
            ("would narrow", row.restricted or ()),
            ("may harm, not to be told:", row.undetermined or ()),
            ("would join or may:", tuple(listed(pair) for pair in row.joined or ())),
        )
        if names
    ]
    return "; ".join(said) or FINE


def countings(result: RestartResult) -> tuple[int, ...]:
    """Numbers that the machine may give to its first layer."""
    return (0, 1) if result.first_number is None else (result.first_number,)


def number_words(layer: int, result: RestartResult) -> str:
    """A wrong layer's number, never without its counting where that is not known."""
    if result.first_number is not None:
        return f"WRONG {layer + result.first_number}"
    return "; ".join(f"first layer is {n}: WRONG {layer + n}" for n in countings(result))


def count_words(result: RestartResult) -> str:
    """How to find out, or to make sure, how the machine counts."""
    look = "the number that the machine's screen gives to the first layer of this job"
    if result.first_number is None:
        return f"STOP: look at {look}"
    return f"look at {look}: it has to be {result.first_number}"


def height_words(result: RestartResult) -> str:
    """Height and thickness of the last good layer."""
    return (
        f"top of the last good layer {near(result.height_mm)} mm above the platform, layers of "
        f"{given(result.layer_thickness_mm)} mm"
    )


def harm_head(result: RestartResult) -> str:
    """What is said of the passages of each wrong layer."""
    return f"what {counted(result.layers, 'layer')} from there on would do to the passages"
