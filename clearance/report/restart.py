"""The restart card in words, for the terminal and the paper.

In: a `RestartResult`. Out: lines of text.
"""

from __future__ import annotations

from clearance.result.restart import Candidate, RestartResult, RightLayer, WouldDo
from clearance.verdict.names import listed, named_all
from clearance.verdict.numbers import counted, given, most, near

READ_IT = "cannot be told by eye, read the number"
FINE = "every passage stays open; the joint is not judged"
LEAST_MM2 = 1e-6


def text(result: RestartResult) -> str:
    """The card in a few lines."""
    lines = [
        f"{result.name}: next layer {result.next_layer} counted from 0, "
        f"{result.next_layer_from_1} counted from 1; last good {result.last_good_layer} from 0, "
        f"{result.last_good_layer + 1} from 1; z {near(result.height_mm)} mm",
    ]
    lines += [f"  {right_words(one)}" for one in result.parts]
    lines.append(f"wrong layers ({counted(result.layers, 'layer')} from each)")
    for one in result.candidates:
        lines.append(f"  {one.layer} (from 1: {one.layer_from_1}): {eye_words(one, result)}")
        lines += [f"    {words}" for words in harm_words(one)]
    lines += [f"note: {said}" for said in result.notices]
    return "\n".join([*lines, result.cautions[0], result.cautions[1]]) + "\n"


def right_words(one: RightLayer) -> str:
    """What the right layer of a part looks like."""
    if one.extents_mm is None:
        return f"{one.name}: complete, nothing is melted"
    x0, y0, x1, y1 = one.extents_mm
    return (
        f"{one.name}: {near(one.area_mm2, 1)} mm2 in {counted(one.islands, 'island')}, "
        f"x {near(x0, 1)} to {near(x1, 1)}, y {near(y0, 1)} to {near(y1, 1)}"
    )


def cooled_words(result: RestartResult) -> str:
    """What cooling means for the first layer, of the part that suffers most."""
    known = [one for one in result.parts if one.shrunk_mm is not None]
    if not known:
        return (
            "cooling is not given (`cooled` in the case): if the part cooled, it stands lower, the "
            "first layer lies on more powder and may stay unmelted below; ask the process engineer"
        )
    worst = max(known, key=lambda one: one.shrunk_mm or 0.0)
    gap = worst.joint_gap_mm or 0.0
    said = f"cooled: the part stands up to {most(worst.shrunk_mm or 0.0)} mm lower"
    if gap <= 0.0:
        return f"{said}; the first layer melts through to it as far as is known"
    return (
        f"{said}; under the first layer up to {most(gap)} mm of powder may stay unmelted: the "
        "joint itself; ask the process engineer before the start"
    )


def eye_words(one: Candidate, result: RestartResult) -> str:
    """How a wrong layer differs to the eye."""
    rows = [row for row in one.parts if row.name == one.look_at]
    if not rows:
        return f"the same as the right one: {READ_IT}"
    row = rows[0]
    where = f" (look at {row.name})" if len(one.parts) > 1 else ""
    size = f"{near(row.differs_mm2, 1)} mm2 differ, up to {most(row.widest_mm)} mm wide{where}"
    if row.area_mm2 <= LEAST_MM2:
        size = f"no metal at all{where}"
    return size if one.told_by_eye else f"{size}: {READ_IT}"


def harm_words(one: Candidate) -> list[str]:
    """What it would seal, restrict or join, part by part; equal parts in one."""
    alike: dict[str, list[str]] = {}
    for row in one.parts:
        alike.setdefault(_harm(row), []).append(row.name)
    if len(one.parts) == 1:
        return list(alike)
    return [f"{named_all(names)}: {said}" for said, names in alike.items()]


def _harm(row: WouldDo) -> str:
    if row.sealed is None:
        return row.said
    said = [
        f"{verb} {named_all(names)}"
        for verb, names in (
            ("would seal", row.sealed),
            ("would restrict", row.restricted or ()),
            ("may harm, not to be told:", row.undetermined or ()),
            ("would join or may:", tuple(listed(pair) for pair in row.joined or ())),
        )
        if names
    ]
    return "; ".join(said) or FINE


def thickness_words(result: RestartResult) -> str:
    """Height, layers and how the machine counts."""
    counts = (
        "how this machine counts is not known: FROM 0 if its first layer is 0, FROM 1 if it is 1"
        if result.first_number is None
        else f"this machine counts from {result.first_number}"
    )
    return (
        f"z {near(result.height_mm)} mm above the platform, layers of "
        f"{given(result.layer_thickness_mm)} mm; {counts}"
    )
