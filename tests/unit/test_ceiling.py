"""The ceiling of a way: the widest of the narrowest crossings that part its ends."""

from types import SimpleNamespace

import pytest

from clearance.passages.possible_ways import PossibleWays

MOUTHS, SMALLEST = 4.0, 0.1
EITHER = {"behind inlet"}


def ceiling(widths, parting, closed=(), apart=False, outside="beyond", mouth=MOUTHS):
    """Of crossings by number; ends come apart once all of any set in `parting` are taken out."""
    looks = []

    def joined(taken):
        looks.append(taken)
        out = {one.crossing for one in taken}
        return not any(some <= out for some in parting)

    way = SimpleNamespace(
        ends=(0, 1),
        crossings=range(len(widths)),
        smallest_way_mm=SMALLEST,
        predicted=SimpleNamespace(possible=SimpleNamespace(outside=outside)),
        _mouth_mm=lambda end: mouth + end,
        _ends=lambda void: (EITHER, {"behind outlet"} if apart else {*EITHER, "more"}),
        _taken=lambda n: SimpleNamespace(crossing=n, width_mm=widths[n]),
        _joined=joined,
    )
    return *PossibleWays._ceiling(way, closed), len(looks)


@pytest.mark.parametrize(
    ("widths", "parting", "closed", "expected"),
    [
        ([1.0], [{0}], (), 1.0),
        ([1.0], [], (), MOUTHS),  # something leads past it
        ([5.0], [{0}], (), MOUTHS),
        ([0.05], [{0}], (), 0.0),  # no wider than the least that counts
        ([1.0, 2.0, 3.0], [{2}], (), 3.0),
        ([3.0, 2.0, 1.0], [{2}], (), 1.0),  # by width, whatever the order
        ([1.0, 2.0, 3.0], [{0, 1}, {2}], (), 2.0),  # two channels side by side
        ([1.0, 2.0, 3.0], [{0, 2}], (), 3.0),
        ([2.0, 2.0, 2.0, 1.0], [{0, 2}], (), 2.0),  # equal ones are out together
        ([0.0] * 11 + [2.7], [{11}], (), 2.7),
        ([0.0] * 11 + [2.7], [{4}, {11}], (), 0.0),
        ([3.0, 2.0, 1.0], [{0}], (0,), 0.0),  # what may not be used counts as shut
        ([3.0, 2.0, 1.0], [{0, 1}], (0,), 2.0),
        ([0.5, 1.0, 1.5, 2.0, 2.5, 3.0, 3.5], [{1}, {3}], (), 1.0),
        ([0.5, 1.0, 1.5, 2.0, 2.5, 3.0, 3.5], [{0, 1, 2, 3}], (), 2.0),
    ],
)
def test_the_ceiling_is_the_widest_of_the_narrowest_that_part_the_ends(
    widths, parting, closed, expected
):
    assert ceiling(widths, parting, closed)[:2] == (expected, False)


def test_a_drilled_sheet_beside_eleven_others_takes_two_looks():
    assert ceiling([0.0] * 11 + [2.7], [{11}])[2] == 2


@pytest.mark.parametrize(
    ("keys", "expected"),
    [
        ({"apart": True}, (0.0, False)),  # no void leads from one end to the other
        ({"mouth": 0.05}, (0.0, False)),
        ({"outside": "behind inlet"}, (1.0, True)),
        ({"outside": "more"}, (1.0, True)),
        ({"outside": "behind inlet", "apart": True}, (0.0, True)),
    ],
)
def test_ends_apart_and_a_void_that_leads_out_are_told(keys, expected):
    assert ceiling([1.0], [{0}], **keys)[:2] == expected
