"""What is not known of a suspect's own event excludes nothing: expected numbers by hand.

The part is a block on a foot that stands out by 2 mm, 5 mm above the platform.
"""

import make
import numpy as np
import shapes

from clearance.case.read import read_case
from clearance.case.readings import ReadingTable
from clearance.causes.explain import explain
from clearance.causes.weighing import Scales
from clearance.verdict.prepared import prepare


def scales(folder, strays, suspected, **tables):
    solid = shapes.block((-5, -5, 5), (5, 5, 15)) + shapes.block((-5, -5, 5), (7, 5, 6))
    solid -= shapes.bore((0, 0, 4), (0, 0, 16), 2.0, segments=24)
    passage = make.passage((0, 0, 5), (0, 0, 15), 2.0, 0.5)
    path = make.write_case(folder, solid, passage, strays, pitch=0.5, suspected=suspected, **tables)
    checked = prepare(read_case(path))
    found = checked.case.suspected
    return found.suspects, Scales(checked, found.suspects, found.stray)


def test_a_slice_below_the_part_may_hold_anything(tmp_path):
    """What stood below the part is not told: it may leave a rim, so that a rim excludes it not."""
    told = make.sheet(12.0, 1, from_layer=52)
    suspects, weigh = scales(tmp_path, told, {"from_layer": [48, 60]})
    rim = ReadingTable(kind="rim_top", value=12.05, u=0.03)
    weighed = weigh.weighed([rim])
    off = {one.from_layer: float(away) for one, (away,) in zip(suspects, weighed.off, strict=True)}
    assert off[48] == off[49] == off[52] == 0.0
    assert off[60] == np.inf  # the block itself leaves none
    assert np.isfinite(weighed.log_likelihood[0])


def test_what_was_measured_and_no_suspect_leaves_is_a_misfit(tmp_path):
    """The block itself is as wide above and below: a rim that was measured is none of them."""
    rim = {"kind": "rim_top", "value": 12.05, "u": 0.03}
    told = make.sheet(12.0, 1, from_layer=62)
    _, weigh = scales(tmp_path, told, {"from_layer": [61, 62]}, reading=[rim])
    result = explain(weigh.checked)
    assert (len(result.classes), result.none_of_these.said) == (0, True)
    assert result.none_of_these.p == 0.0
    assert result.readings[0].u == 0.03


def test_what_is_open_of_a_sheet_below_is_open_of_every_suspect(tmp_path):
    """One or two layers below, on which the build went on or not: up to 0.2 mm higher, or as it is.

    The last sheet, at 12, has one layer and no growth; 10 mm less what powder packs and cools.
    """
    below = make.sheet(8.0, [1, 2], from_layer=52)
    del below["resume"]
    told = make.sheet(12.0, 1, from_layer=52)
    suspects, weigh = scales(tmp_path, [below, told], {"height": [11.9, 12.1]})
    for value, fits in ((10.15, True), (9.95, True), (10.5, False)):
        height = ReadingTable(kind="part_height", value=value, u=0.01)
        off = weigh.weighed([height]).off
        assert ((off <= 3.0) == fits).all(), value
    assert len(suspects) == 3
