"""What happened, a sentence for each stray sheet: the sheet's first page and the plate's say it.

In: the stray sheets of a case. Out: sentences with heights in mm above the platform, which the
page that shows them says; where the numbers come from stands at the end. What is not known is
said to be unknown.
"""

from __future__ import annotations

from collections.abc import Sequence

from clearance.case.stray_tables import StrayTable
from clearance.verdict.numbers import given

RESUMED = {
    "height": "with the layer of that height",
    "layer": "with the layer after the last good one",
    "unknown": "in a way that is not known, both are computed",
}
NONE = "no event is given: the nominal part was checked"


def happened(strays: Sequence[StrayTable]) -> tuple[str, ...]:
    """One sentence a stray sheet, in the order of the case; one that says so where there is none.

    Parameters
    ----------
    strays : sequence of StrayTable
    """
    return tuple(map(_sentence, strays)) or (NONE,)


def _sentence(stray: StrayTable) -> str:
    if stray.mesh is not None:
        return f"stray metal as the mesh {stray.mesh.name} gives it ({stray.source})"
    assert stray.height is not None  # every sheet but a mesh has one
    spread = f" ± {given(stray.height_uncertainty)}" if stray.height_uncertainty else ""
    at = f"z {given(stray.height)}{spread}"
    said = [f"{_melted(stray)} at {at}", f"resumed {resumed(stray)}"]
    x, y = stray.resume_shift
    if x or y:
        said.append(f"lateral offset x {given(x)}, y {given(y)} mm")
    return f"{', '.join(said)} ({stray.source})"


def _melted(stray: StrayTable) -> str:
    """How many wrong layers and which, as far as one number holds for them."""
    low, high = stray.layers_low, stray.layers_high
    if high == 0:
        return "no wrong layer melted, the numbering jumps"
    count = f"{low}" if low == high else f"{low} to {high}"
    words = f"{count} wrong layer{'s' if high != 1 else ''}"
    if stray.shape == "plane":
        return f"{words} over the whole cross-section (worst case)"
    first, last = stray.from_layer, stray.from_layer + high - 1
    if low != high:
        return f"{words} from {first} on"
    return f"{words} ({first})" if first == last else f"{words} ({first} to {last})"


def resumed(stray: StrayTable) -> str:
    """With what the build went on, after ``resumed``."""
    if stray.next_layer is not None:
        return f"with layer {stray.next_layer}"
    return RESUMED[stray.resume or "unknown"]
