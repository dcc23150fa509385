"""The joints that a resume leaves: section properties of what hangs together there.

In: the predicted part over the whole part's window. Out: a row of numbers for each joint, for
whoever judges it; it is not judged here.
"""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

import shapely

from clearance.evidence.joints import LEAST_MM2, first_on, polygons, sheet_slabs, standing
from clearance.evidence.section_properties import resumed_section
from clearance.predicted.part import Predicted
from clearance.predicted.slabs import Event
from clearance.result import JointResult, SectionProperties


def resumed_sections(predicted: Predicted) -> tuple[JointResult, ...]:
    """Section properties at every joint that the events leave in the part.

    Parameters
    ----------
    predicted : Predicted
        Over the whole part.

    Returns
    -------
    tuple of JointResult
        Two rows an event that melted stray layers, one for an event that melted none: "stray",
        "height_mm"; "nominal_area_mm2" of the section that the joint should have; "share" of it
        that surely hangs together; "gap_mm", the powder that may lie in the joint because the
        part had shrunk; and the keys of `section_properties.resumed_section` for what does.

    Notes
    -----
    At the cut that is the metal of the last good layer under the first stray slice; at the
    resumed height the metal of the next layer over all slices of the sheet. Powder that stayed
    loose in the sheet is missing from both, less what the layer above it melts again. Where
    powder may be left under the whole first layer after the stop, nothing surely hangs together.
    Metal that hangs over powder joins nothing and does not count.
    """
    rows: list[JointResult] = []
    known: dict[bytes, SectionProperties] = {}  # slices may be alike, then joints are
    for event in predicted.events:
        for height, below, on_it, gap in _joints(predicted, event):
            if below.area <= LEAST_MM2:
                continue  # the part does not reach there
            joined = polygons(shapely.intersection_all([below, *on_it]))
            if gap > 0.0:
                joined = shapely.MultiPolygon()
            outline = shapely.to_wkb(joined)
            found = known.setdefault(outline, known.get(outline) or resumed_section(joined))
            rows.append(
                {
                    "stray": event.stray,
                    "height_mm": height,
                    "nominal_area_mm2": float(below.area),
                    "share": found["metal_area_mm2"] / float(below.area),
                    "gap_mm": gap,
                    **found,
                }
            )
    return tuple(rows)


def _joints(predicted: Predicted, event: Event) -> Iterator[tuple[float, Any, list[Any], float]]:
    """Height, the section that should hang together there, what has to meet it, and the gap."""
    below = standing(predicted, event.bottom, above=False)
    sheet = sheet_slabs(predicted, event)
    if sheet:
        yield event.bottom, below, [first_on(predicted, event)], event.joint_gap
        above = standing(predicted, event.top, above=True)
        yield event.top, above, [predicted.stray_outline(slab) for slab in sheet], 0.0
        return
    yield event.top, first_on(predicted, event), [below], event.joint_gap
