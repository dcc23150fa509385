"""What happened, in one sentence a stray sheet: numbers as given, unknowns named."""

import make
import manifold3d as m3
import pytest

from clearance.case.read import read_case
from clearance.report.happened import NONE, happened


@pytest.mark.parametrize(
    ("keys", "said"),
    [
        (
            {"layers": 3, "from_layer": 412, "next_layer": 655, "source": "log"},
            "3 wrong layers (412 to 414) at z 32.75, resumed with layer 655 (log)",
        ),
        (
            {"layers": 1, "from_layer": 7, "resume": "height", "source": "measured",
             "height_uncertainty": 0.1},
            "1 wrong layer (7) at z 32.75 ± 0.1, resumed with the layer of that height (measured)",
        ),
        (
            {"layers": [2, 3]},
            "2 to 3 wrong layers from 0 on at z 32.75, resumed in a way that is not known, both "
            "are computed (assumed)",
        ),
        (
            {"layers": 0, "next_layer": 800, "resume_shift": [0.9, 0.0], "source": "log"},
            "no wrong layer melted, the numbering jumps at z 32.75, resumed with layer 800, "
            "lateral offset x 0.9, y 0 mm (log)",
        ),
        (
            {"layers": 2, "shape": "plane", "resume": "layer"},
            "2 wrong layers over the whole cross-section (worst case) at z 32.75, resumed with the "
            "layer after the last good one (assumed)",
        ),
    ],
)  # fmt: skip
def test_what_happened_is_one_sentence(tmp_path, keys, said):
    stray = {"height": 32.75, **keys}
    block = m3.Manifold.cube((10.0, 10.0, 40.0))
    passages = [make.passage((0, 0, 0), (0, 0, 40), 2.0, 3.0)]
    path = make.write_case(tmp_path, block, passages, stray)
    assert happened(read_case(path).stray) == (said,)


def test_without_an_event_that_is_said():
    assert happened(()) == (NONE,)
