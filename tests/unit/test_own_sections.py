"""Which voids of a level section are the passage's own. Expected places and areas are analytic."""

import make
import manifold3d as m3
import numpy as np
import pytest
import shapely
import shapes

from clearance.case.read import read_case
from clearance.passages.crossings import places_in
from clearance.verdict.passage_check import PassageCheck
from clearance.verdict.prepared import prepare


def sections(folder, solid, way):
    """Level sections of the only passage of a part."""
    checked = prepare(read_case(make.write_case(folder, solid, way, pitch=0.5)))
    check = PassageCheck(checked, checked.case.passage[0])
    return check.sections(check.window(checked.pitch_mm))


def test_a_bore_beside_it_is_not_the_passages_own(tmp_path):
    solid = shapes.block((-5, -5, 0), (12, 5, 12))
    for x in (0.0, 5.0):
        solid -= shapes.bore((x, 0, -1), (x, 0, 13), 2.0, segments=32)
    own = sections(tmp_path, solid, make.passage((0, 0, 0), (0, 0, 12), 2.0, 3.0))
    assert own.window.rectangle.contains(shapely.Point(4.0, 0.0))  # some of the other is seen
    (piece,) = own.pieces(6.0)
    assert piece.centroid.coords[0] == pytest.approx((0.0, 0.0), abs=1e-3)
    assert piece.area == pytest.approx(0.5 * 32 * 4.0 * np.sin(2 * np.pi / 32), rel=1e-3)


def test_what_a_stopper_hides_whole_is_own_behind_its_mouth_alone(tmp_path):
    """A bore square to a face at 45 degrees: just under its rim a stopper hides all of a section.

    A dent of the face at that height is hidden by none, and leads to no mouth.
    """
    solid = m3.Manifold.cube((20.0, 10.0, 10.0), True)
    solid -= shapes.bore((-11, 0, 0), (11, 0, 0), 2.0, segments=32)
    solid -= m3.Manifold.cube((0.4, 0.6, 0.4), True).translate((10, 3.5, 1.58))
    turned = solid.rotate((0, -45, 0))
    out = np.sqrt(0.5) * np.array([1.0, 0.0, 1.0])
    own = sections(tmp_path, turned, make.passage(-10 * out, 10 * out, 2.0, 3.0))
    rim = np.sqrt(0.5) * (10.0 + 2.0)
    (piece,) = own.pieces(rim - 0.3)
    assert not places_in(own.window, piece, rim - 0.3)
    # By hand: the bore's wall above, the face beside: a triangle's width of twice the depth.
    x = np.sqrt(0.5) * (10.0 - 2.0)  # of the rim
    assert piece.bounds[0] == pytest.approx(x - 0.3, abs=0.05)
    assert piece.bounds[2] == pytest.approx(x + 0.3, abs=0.05)
