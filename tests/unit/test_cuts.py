"""Sections of what an event left, in slanting and upright planes, against solids cut by the mesh.

The other way to the same figure: the sheet as a closed mesh, which `sections.metal` cuts; that is
compared with closed forms in test_sections.
"""

import numpy as np
import pytest
import shapely
import shapes

from clearance.drilling import bore as bores
from clearance.drilling.bore import Bore
from clearance.drilling.drilled import Drilled
from clearance.geometry import sections
from clearance.geometry.areas import GRID_MM, common, united, without
from clearance.geometry.planes import Plane
from clearance.geometry.soup import Box, extruded
from clearance.predicted.bodies import Bodies
from clearance.predicted.part import Window
from clearance.predicted.plane_sections import nominal_metal, of_plate, predicted_metal
from clearance.predicted.slabs import Event, Slab

SHEET = shapely.Point(6, -2).buffer(9, 16).difference(shapely.box(3, -4, 7, 1))
SLAB = Slab(10.0, 10.3, 0.0, (0.0, 0.0))
NEARLY_ONE_EDGE = (
    (
        "010300000001000000050000001DFAF5C1EE482640323014674BF9CD3F54FBB439C24D2640DF91131663"
        "ADA4BF1F0FF0F34D1A26401F26336437C2A5BFE80D317C7A152640224B8C5316B4CD3F1DFAF5C1EE4826"
        "40323014674BF9CD3F"
    ),
    (
        "01030000000100000005000000F9A535675F012C4055A1930100FF933F54FBB439C24D2640DD91131663"
        "ADA4BF1DFAF5C1EE482640323014674BF9CD3FF2F44AE56AFE2B404B28EB3184D3D23FF9A535675F012C"
        "4055A1930100FF933F"
    ),
)
LEANS = [1.0, 0.3, 1e-2, 1e-4, 1e-6, 0.0]


@pytest.mark.parametrize("lean", [*LEANS, *(-lean for lean in LEANS[:-1])])
def test_a_sheet_in_a_slanting_plane_is_that_of_its_mesh(lean):
    """Hardly leaning planes are the hard ones: seen from above the sheet's strip is then thin."""
    for turn in np.linspace(0.1, 6.0, 5):
        normal = [np.cos(turn), np.sin(turn), lean]
        plane = Plane.through((5.0, -1.0, 9.0), normal)
        there = of_plate(SHEET, SLAB, plane)
        known = sections.metal(extruded(SHEET, SLAB.low, SLAB.high), plane)
        assert there.is_valid
        assert there.area == pytest.approx(known.area, abs=1e-4)
        assert shapely.symmetric_difference(there, known).area < 1e-4


def test_a_plane_beside_a_sheet_holds_nothing_of_it():
    assert of_plate(SHEET, SLAB, Plane.through((50.0, 0.0, 9.0), (1.0, 0.0, 0.1))).area == 0.0
    assert of_plate(shapely.Polygon(), SLAB, Plane.through((0.0, 0.0, 9.0), (1, 0, 0.1))).area == 0


@pytest.fixture(scope="module")
def drilled():
    """A slanting bore, a sheet above which all stands aside, and a hole that cuts the wall."""
    solid = shapes.block((-10, -10, 0), (10, 10, 20)) - shapes.bore((0, 0, -1), (3, 0, 21), 2.0)
    soup = shapes.soup(solid)
    known = Bodies(soup, soup, {}, False)
    low, high = known.bounds
    window = Window(known, Box(low - 1.0, high + 1.0), 0.5, np.empty((0, 3, 3), np.float32))
    event = Event(0, 10.0, (0.05, 0.15, 0.25), 0.1, False, 0.0, 0.1, (0.3, 0.0))
    hole = Bore((0.5, 0.6, -1.0), (0.1, 0.02, 1.0), 2.1, 14.0, 0.6)
    return Drilled(window, (event,), None, (hole,))


def test_the_metal_in_a_figure_is_what_the_whole_section_holds_there(drilled):
    for plane, face in bores.facets(drilled.bores[0]):
        whole = predicted_metal(drilled._whole, plane, whole=True)[1]
        only = predicted_metal(drilled._whole, plane, True, within=face)[1]
        rounded = 2.0 * GRID_MM * face.length
        assert shapely.symmetric_difference(whole.intersection(face), only).area < rounded


def test_a_figure_that_lies_in_the_window_and_along_its_edge_is_one_of_areas(drilled):
    """An overlay of the two leaves a line beside the area; one that only touches leaves no area."""
    plane = Plane.through((0.0, -7.0, 15.0), (0.0, 1.0, 0.0))
    whole, metal = predicted_metal(drilled._whole, plane, whole=True)
    _, y0, x1, y1 = whole.bounds
    beside = shapely.box(x1, y0, x1 + 5.0, y1)
    tooth = shapely.box(x1 - 3.0, y0 + 3.0, x1 + 1.0, y0 + 5.0)
    for figure in (shapely.union(beside, tooth), beside):
        held = shapely.intersection(metal, figure).area
        assert predicted_metal(drilled._whole, plane, True, within=figure)[1].area == (
            pytest.approx(held, abs=1e-6)
        )


def test_neighbours_whose_edges_part_by_less_than_rounding_are_both_united():
    """Two edges from one point: GEOS 3.14 alone gives back the larger of these figures only."""
    a, b = (shapely.from_wkb(bytes.fromhex(figure)) for figure in NEARLY_ONE_EDGE)
    assert united([a, b]).area == pytest.approx(a.area + b.area, abs=1e-6)
    assert common(a, b).area < 1e-6
    assert without(a, b).area == pytest.approx(a.area, abs=1e-6)


STILL = ((0.0, 0.0), 0.0)


def test_a_figure_in_a_face_of_the_part_holds_the_metal_on_either_side():
    lower, upper = shapes.block((0, 0, 0), (9, 9, 4)), shapes.block((2, 2, 2), (7, 7, 9))
    hollow = shapes.block((3, 3, 1), (6, 6, 8))
    soup = np.concatenate([shapes.soup(lower - hollow), shapes.soup(upper - hollow)])
    figure = shapely.box(1, 1, 8, 8)
    for x, held in ((2.0, 3 * 7 + 4 * 5), (3.0, 3 * 7 + 4 * 5), (4.5, 3 * 7 + 4 * 5 - 3 * 7)):
        plane = Plane(
            np.array([x, 0, 0]), *(np.array(v) for v in ((1, 0, 0), (0, 1, 0), (0, 0, 1)))
        )
        assert nominal_metal(soup, plane, STILL, figure).area == pytest.approx(held, abs=1e-4)


def test_a_holes_faces_are_found_without_a_triangulation_of_the_sheets(drilled, monkeypatch):
    """A triangulation of a sheet for each face was nine tenths of a check of a plan."""
    largest = []
    real = shapely.constrained_delaunay_triangles

    def looked_at(shape, **keys):
        largest.append(np.ptp(np.reshape(shape.bounds, (2, 2)), axis=0).max())
        return real(shape, **keys)

    monkeypatch.setattr(shapely, "constrained_delaunay_triangles", looked_at)
    walls = drilled.walls()
    # A face is 14 mm long, what of it lies in metal is no longer; the sheet is 20 mm wide.
    assert len(walls) > 0
    assert max(largest) < 15.0
