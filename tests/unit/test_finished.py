"""The finished shape in what is left: boxes and cylinders moved and lifted, in closed form."""

import math
from dataclasses import replace

import make
import manifold3d as m3
import numpy as np
import pytest
import shapely
import shapes
from matplotlib.figure import Figure

from clearance.case.read import read_case
from clearance.drawing.finished import finished_outline
from clearance.drawing.level import level_section
from clearance.drawing.level_parts import LevelSection
from clearance.errors import CaseError, PartError
from clearance.figures import style
from clearance.figures.areas import draw_level, key_of
from clearance.finished.flat import taken_for_built
from clearance.finished.left import left_of
from clearance.finished.metal import Faces, stock
from clearance.finished.shape import shape_of
from clearance.finished.told import finished_result
from clearance.geometry import sections
from clearance.geometry.planes import Plane
from clearance.predicted.slabs import Event
from clearance.report.full import text as full
from clearance.report.headline import headline
from clearance.report.short import text as short
from clearance.verdict.prepared import prepare
from clearance.verdict.solids import triangles_of
from clearance.verdict.standing import moves
from clearance.view.scene import finished_bodies

SIDE, CUT, WIDE, HIGH = 20.0, 10.0, 19.0, 19.2
BLOCK = shapes.block((0, 0, 0), (SIDE, SIDE, SIDE))
ALL_ROUND = shapes.block((0.5, 0.5, 0.5), (19.5, 19.5, HIGH))
"""Stock: 0.5 mm on the sides and the foot, 0.8 mm on the top."""
STILL = (0.0, 0.0, 0.0)
OFF = 1e-4
"""Single precision of corners, and by how much solids are let into each other."""


def event(layers=0, rise=0.0, shift=(0.0, 0.0)):
    """One that goes on at CUT; what it melts besides is no stock."""
    slices = tuple(0.05 + 0.1 * k for k in range(layers))
    return Event(0, CUT, slices, 0.1, False, 0.0, rise, shift)


def left(shape, nominal, *events, by=STILL):
    faces = Faces.of(nominal, 0.02)
    return stock(shape, left_of(nominal, events), faces, np.asarray(by, float), moves(events))


@pytest.mark.parametrize(
    ("change", "by", "least", "lacking"),
    [
        (event(), STILL, 0.5, 0.0),
        (event(3, 0.3), STILL, 0.5, 0.0),  # the top gains, nothing loses
        (event(8, 0.8), (0, 0, 0.8), 0.5, 0.0),  # clamped above: the foot's 0.5 mm are 1.3
        (event(0, -0.9), STILL, -0.1, WIDE * WIDE),  # nine layers left out: the top has 0.8 mm
        (event(0, -0.9), (0, 0, -0.9), -0.4, WIDE * WIDE),  # clamped above: the foot has 0.5 mm
        (event(shift=(0.3, 0.0)), STILL, 0.2, 0.0),
        (event(shift=(0.7, 0.1)), STILL, -0.2, WIDE * (HIGH - CUT)),  # a side, above the cut
        (event(shift=(0.7, 0.1)), (0.7, 0.1, 0), -0.2, WIDE * (CUT - 0.5)),  # the other, below
        (
            event(shift=(0.7, 0.8)),
            STILL,
            -0.3,
            (2 * WIDE - 0.5) * (HIGH - CUT),
        ),  # both have metal under
    ],
)
def test_a_box_within_a_box(change, by, least, lacking):
    """By hand."""
    found = left(ALL_ROUND, BLOCK, change, by=by)
    assert found.least_mm == pytest.approx(least, abs=OFF)
    assert found.lacking_mm2 == pytest.approx(lacking, rel=1e-3)


ROUND = m3.Manifold.cylinder(SIDE, 10.0, circular_segments=720)
TURNED = m3.Manifold.cylinder(SIDE, 9.6, circular_segments=720)
FACET = 10.0 * (1.0 - math.cos(math.pi / 720))


@pytest.mark.parametrize("aside", [0.0, 0.25, 0.7])
def test_a_cylinder_within_a_cylinder(aside):
    """Radii R and r, axes d apart: least stock R - r - d.

    The shape stands out where its point at angle t is farther than R from the other axis:
    r2 + d2 - 2 r d cos(t) > R2.
    """
    found = left(TURNED, ROUND, event(shift=(aside, 0.0)))
    assert found.least_mm == pytest.approx(10.0 - 9.6 - aside, abs=FACET + OFF)
    if aside < 0.4:
        assert found.lacking_mm2 == 0.0
    else:
        first = math.acos((9.6**2 + aside**2 - 100.0) / (2.0 * 9.6 * aside))
        area = 2.0 * (math.pi - first) * 9.6 * (SIDE - CUT)
        assert found.lacking_mm2 == pytest.approx(area, rel=0.005)


def test_sections_agree_with_the_booleans():
    """A second opinion that shares no code with the solids: exact sections, just under the top."""
    change, boss = event(shift=(0.6, -0.2)), shapes.block((4, 6, 8), (9, 12, SIDE))
    base = shapes.block((0, 0, 0), (SIDE, SIDE, 8))
    nominal = base + boss
    shape = base + shapes.block((4.25, 6.25, 8), (8.75, 11.75, 19.5))
    found = left(shape, nominal, change)
    assert found.least_mm == pytest.approx(0.25 - 0.6, abs=OFF)
    z = 15.0
    asked = sections.metal(shapes.soup(shape), Plane.level(z))
    there = sections.metal(shapes.soup(nominal), Plane.level(z))
    there = shapely.affinity.translate(there, 0.6, -0.2)
    lacks = asked.difference(there)
    assert lacks.area == pytest.approx(5.5 * 0.35, abs=1e-3)
    edge = lacks.area / -found.least_mm
    assert found.lacking_mm2 == pytest.approx(edge * (19.5 - CUT), rel=1e-3)


def bored(radius):
    return shapes.bore([10, 10, -1], [10, 10, 21], radius)


def test_a_bore_that_stepped_aside_is_no_lack_of_stock_but_a_machined_one_can_lack():
    """The bore as built goes with its half of the part; a finished one, 0.25 mm a side, cannot."""
    change = event(shift=(0.4, 0.0))
    nominal = BLOCK - bored(3.0)
    assert left(ALL_ROUND - bored(3.0), nominal, change).least_mm == pytest.approx(0.1, abs=OFF)
    found = left(ALL_ROUND - bored(3.25), nominal, change)
    assert found.least_mm == pytest.approx(-0.15, abs=0.01)


def test_a_boss_that_stepped_off_its_shape_lacks_all_of_it():
    """A pin of 2 x 2 mm stands 5 mm aside: under the finished pin is no metal at any depth."""
    base = shapes.block((0, 0, 0), (SIDE, SIDE, CUT))
    nominal = shapes.block((0, 0, 9), (2, 2, SIDE)) + base
    shape = shapes.block((0.5, 0.5, 0.5), (1.5, 1.5, HIGH))
    found = left(shape, nominal, event(shift=(5.0, 0.0)))
    assert found.least_mm < -3.0
    assert found.lacking_mm2 > 8.0


@pytest.mark.parametrize(("aside", "least", "area"), [(1.5, -0.5, 1.0), (0.5, 1.0, 0.0)])
def test_a_machined_end_that_no_metal_lies_under_lacks_though_its_sides_are_as_built(
    aside, least, area
):
    """A pin 1 mm thick whose end alone is machined: 1 mm of stock, or none where it stepped off.

    Then its far edge lies 1.5 - 1 = 0.5 mm before the pin, its end's edge on that side nearer.
    """
    base = shapes.block((0, 0, 0), (SIDE, SIDE, 8))
    nominal = base + shapes.block((9, 9, 8), (10, 10, SIDE))
    shape = base + shapes.block((9, 9, 8), (10, 10, SIDE - 1))
    found = left(shape, nominal, event(shift=(aside, 0.0)))
    assert found.lacking_mm2 == pytest.approx(area, rel=1e-3)
    if area:
        assert found.least_mm <= least  # as far as its corners are from any metal
    else:
        assert found.least_mm == pytest.approx(least, abs=OFF)


def test_faces_as_built_have_no_stock():
    """The top alone is machined: what steps aside below it takes nothing from it."""
    flat = shapes.block((0, 0, 0), (SIDE, SIDE, 19.5))
    assert left(flat, BLOCK, event(shift=(0.7, 0.1))).least_mm == pytest.approx(0.5, abs=OFF)
    assert left(BLOCK, BLOCK, event(shift=(0.7, 0.1))).least_mm is None


def test_a_face_that_is_machined_in_part():
    """A pad of 4 x 4 mm is faced flush with the top around it: only under the pad is stock."""
    pad = shapes.block((8, 8, 19), (12, 12, 20.3))
    found = left(BLOCK, BLOCK + pad)
    assert found.least_mm == pytest.approx(0.3, abs=OFF)


# ---- built against it --------------------------------------------------------------------------


def grooved(deep):
    """The block with V-grooves across its top, through both sides: flanks at 60 degrees."""
    wide = deep / math.tan(math.radians(60))
    found = BLOCK
    for x in (4.0, 9.0, 14.0):
        section = m3.CrossSection([[(x - wide, SIDE), (x, SIDE - deep), (x + wide, SIDE)]])
        found -= m3.Manifold.extrude(section, 30).rotate((90, 0, 0)).translate((0, 25, 0))
    return found


@pytest.mark.parametrize("aside", [0.0, 0.5])
def test_steep_grooves_that_sink_under_a_machined_top_lack(aside):
    """Valleys 0.1 mm above the top sink by 0.9: 0.8 mm lack, though no flank looks its way."""
    flat = shapes.block((0, 0, 0), (SIDE, SIDE, 18.4))
    found = left(flat, grooved(1.5), event(rise=-0.9, shift=(aside, 0.0)))
    assert found.least_mm == pytest.approx(-0.8, abs=OFF)


def tee(top):
    """A boss with a fin of 1 mm, on a base."""
    boss, fin = shapes.block((7, 2, 7), (13, 8, top)), shapes.block((9.5, 7, 7), (10.5, 18, top))
    return shapes.block((0, 0, 0), (SIDE, SIDE, 8)) + boss + fin


@pytest.mark.parametrize(("aside", "least"), [(0.6, 1.0), (1.5, -1.0)])
def test_a_fin_that_stepped_off_its_machined_top_lacks_though_its_boss_does_not(aside, least):
    """Nearest to the fin's far edge the metal is 0.5 mm off, 1.5 at the near one."""
    found = left(tee(19), tee(20), event(shift=(aside, 0.0)))
    if least > 0.0:
        assert found.least_mm == pytest.approx(least, abs=OFF)
    else:
        assert found.least_mm <= least
        assert found.lacking_mm2 == pytest.approx(10.0, rel=0.1)


def test_stock_that_no_face_of_the_metal_looks_the_way_of():
    """An octahedron in the block: corners 0.5 mm from the sides, normals at 54.7 degrees."""
    tips = 9.5 * np.concatenate([np.eye(3), -np.eye(3)]) + 10.0
    shape = m3.Manifold.hull_points(tips)
    assert left(shape, BLOCK).least_mm == pytest.approx(0.5, abs=OFF)
    found = left(shape, BLOCK, event(rise=-0.7))
    assert found.least_mm == pytest.approx(-0.2 * math.sqrt(3.0), abs=OFF)


@pytest.mark.parametrize("change", [event(rise=-0.8), event(shift=(0.5, 0.0))])
def test_no_stock_at_all_is_none(change):
    """The metal's face and the finished one are one plane: the sides' 0.5 mm are not the least."""
    assert left(ALL_ROUND, BLOCK, change).least_mm == pytest.approx(0.0, abs=OFF)


@pytest.mark.parametrize("at", [(2, 9), (2, 2), (15, 4)])
def test_a_small_pad_anywhere_on_a_face_as_built_is_machined(at):
    """1.3 mm are on it; where it sinks by 2, 0.7 mm lack."""
    x, y = at
    nominal = BLOCK + shapes.block((x, y, 19), (x + 2, y + 2, 21.3))
    assert left(BLOCK, nominal).least_mm == pytest.approx(1.3, abs=OFF)
    assert left(BLOCK, nominal, event(rise=-2.0)).least_mm == pytest.approx(-0.7, abs=OFF)


def test_a_top_faced_through_a_chamfer_keeps_its_stock():
    """A chamfer of 1 mm at 45 degrees, as built: 0.3 mm off the top leave 0.3, aside or not."""
    low = [(x, y, z) for x in (0, SIDE) for y in (0, SIDE) for z in (0, 19)]
    high = [(x, y, SIDE) for x in (1, 19) for y in (1, 19)]
    nominal = m3.Manifold.hull_points(np.array(low + high, float))
    shape = nominal.trim_by_plane((0, 0, -1), -19.7)
    for change in (event(), event(shift=(0.2, 0.0))):
        assert left(shape, nominal, change).least_mm == pytest.approx(0.3, abs=OFF)


SHOULDER = shapes.block((0, 0, 0), (SIDE, SIDE, 10.5)) + shapes.block((5, 5, 0), (15, 15, SIDE))


def shouldered(high):
    low = shapes.block((0.5, 0.5, 0.5), (19.5, 19.5, high))
    return low + shapes.block((5.5, 5.5, 5), (14.5, 14.5, 18))


def test_a_shoulder_that_was_never_built_is_no_stock():
    """Five stray layers at 10, then ten were left out: the shoulder ends at 10, not at 10.5."""
    found = left(shouldered(10.3), SHOULDER, event(5, -0.5))
    assert found.least_mm == pytest.approx(-0.3, abs=OFF)


@pytest.mark.parametrize(
    ("height", "spread", "least"),
    [(15.05, 0.0, -0.3), (0.05, 0.0, 0.2), (0.05, 0.1, -0.3)],
)
def test_a_shoulder_whose_layers_were_not_melted_is_no_stock(height, spread, least):
    """Five stray layers at 10 in place of its last ones: it ends at 10 where they have no metal.

    The tower's layers have none over it, the foot's have, and then it ends at 10.5 as drawn;
    where they may lie a layer higher or lower, it surely ends at 10 alone.
    """
    slices = tuple(height + 0.1 * k for k in range(5))
    lost = replace(event(), slices=slices, spread=spread, sure=True)
    assert left(shouldered(10.3), SHOULDER, lost).least_mm == pytest.approx(least, abs=OFF)


def test_stray_layers_within_a_body_leave_its_stock():
    """Metal below and above: the gap is told as a joint."""
    lost = replace(event(), slices=(25.0, 25.1))
    assert left(ALL_ROUND, BLOCK, lost).least_mm == pytest.approx(0.5, abs=OFF)


# ---- from the case to the words ----------------------------------------------------------------


def checked(folder, *strays, shape=None, part=None):
    shape = shape or ALL_ROUND - bored(3.0)
    keys = {"finished": "machined.stl", **(part or {})}
    way = make.passage([10, 10, 0], [10, 10, SIDE], 3.0, 5.0)
    meshes = {"machined": shape}
    solid = BLOCK - bored(3.0)
    return make.checked(folder, solid, way, strays, meshes=meshes, part=keys, pitch=0.5)


def test_the_two_datums_and_what_has_moved(tmp_path):
    """Grown by 0.3 mm and aside by 0.7: the side lacks 0.2 mm either way (by hand)."""
    found = checked(tmp_path, make.sheet(CUT, resume="layer", resume_shift=[0.7, 0.0]))
    told = found.finished
    assert (told.inside, told.datum) == ("no", None)
    assert told.nominal_stock_mm == pytest.approx(0.5, abs=OFF)
    below, above = told.by_datum
    assert below.stock_low_mm == pytest.approx(-0.2, abs=OFF)
    assert above.stock_low_mm == pytest.approx(-0.2, abs=OFF)
    piece, port = below.moved
    assert port.name == "a outlet"
    assert port.low_mm == piece.high_mm == pytest.approx((0.7, 0.0, 0.3), abs=1e-5)
    assert piece.height_mm == pytest.approx(CUT)
    assert [one.name for one in above.moved][1:] == ["a inlet"]
    assert above.moved[1].low_mm == pytest.approx((-0.7, 0.0, -0.3), abs=1e-5)
    assert found.exit_status == 3
    said = "the finished shape is not inside the metal"
    assert said in headline(found).sentence
    assert said in " ".join(short(found).splitlines()[:3])
    assert "NOT inside the metal: up to 0.20 mm lack" in full(found, 200)
    assert "the responsible engineer decides" in full(found, 200)
    known = prepare(read_case(tmp_path / "case.toml"))
    for height, rest in ((5.0, "No stray metal at z = 5 mm"), (CUT + 0.1, "at z = 10.1 mm")):
        title = level_section(known, found.passages, height, finished=found.finished).title
        assert rest in title
        assert title.endswith(said)
        assert "all " not in title


def test_datums_that_differ_are_not_told_until_one_is_chosen(tmp_path):
    """0.9 mm left out: clamped below the top lacks 0.1; with 1 mm under it the foot does not."""
    event = {"height": CUT, "layers": 1, "next_layer": 110, "penetration": 0.0}
    shape = shapes.block((0.5, 0.5, 1.0), (19.5, 19.5, HIGH)) - bored(3.0)
    found = checked(tmp_path / "both", event, shape=shape)
    assert [one.inside for one in found.finished.by_datum] == ["no", "yes"]
    assert found.finished.inside == "undetermined"
    assert "cannot be told" in headline(found).sentence
    chosen = {"finished_datum": "above"}
    found = checked(tmp_path / "one", event, shape=shape, part=chosen)
    assert found.finished.inside == "yes"
    assert "inside the metal, least stock" in short(found)
    assert "finished shape" not in headline(found).sentence


def test_what_is_not_known_of_the_event_is_a_bracket(tmp_path):
    """The part went on with layer 93 or 100, and 0.8 mm are on top: 0.1 or 0.8 mm are left."""
    event = make.sheet(CUT, layers=[2, 9], resume="unknown")
    shape = shapes.block((0.5, 0.5, 0.7), (19.5, 19.5, HIGH)) - bored(3.0)
    told = checked(tmp_path, event, shape=shape).finished
    below, above = told.by_datum
    assert (below.inside, above.inside) == ("yes", "yes")
    assert below.stock_low_mm == pytest.approx(0.5, abs=OFF)


def test_a_shape_that_is_not_in_the_part_is_refused(tmp_path):
    shape = shapes.block((1, 1, 1), (19, 19, 20.4)) - bored(3.0)
    with pytest.raises(PartError, match=r"machined\.stl.*0\.4 mm.*finished_tolerance 0\.02"):
        checked(tmp_path / "out", make.sheet(CUT), shape=shape)
    keys = {"finished": "none.stl"}
    path = make.write_case(
        tmp_path / "no", BLOCK, make.passage([1, 1, 1], [2, 2, 2], 1, 1), part=keys
    )
    with pytest.raises(CaseError, match=r"\[part\] finished: .*none\.stl"):
        read_case(path)


def test_a_tolerance_wider_than_the_stock_is_refused(tmp_path):
    """The sides have 0.5 mm of stock: by 0.6 mm they would count as built and never lack any."""
    keys = {"finished": "machined.stl", "finished_tolerance": 0.6}
    meshes, way = (
        {"machined": ALL_ROUND - bored(3.0)},
        make.passage([10, 10, 0], [10, 10, SIDE], 3, 5),
    )
    path = make.write_case(
        tmp_path, BLOCK - bored(3.0), way, make.plane(CUT), part=keys, meshes=meshes, pitch=0.5
    )
    known = prepare(read_case(path))
    words = r"finished_tolerance: found 0\.6 mm.*machined\.stl.*0\.5 mm inside.*less than 0\.5"
    with pytest.raises(PartError, match=words):
        shape_of(known)


@pytest.mark.parametrize("segments", [8, 11, 16, 30])
def test_facets_of_curved_faces_are_no_flat_faces(segments):
    """One cylinder in 16 facets and in other numbers, its ends on those of the other.

    A flat of 0.04 mm on one end is told by a tolerance that chord errors ask for.
    """
    coarse = m3.Manifold.cylinder(8.0, 5.0, 5.0, 16)
    fine = m3.Manifold.cylinder(8.0, 5.0, 5.0, segments)
    faces = Faces.of(fine, 0.5)
    assert taken_for_built(triangles_of(coarse), faces, 0.5) is None
    assert taken_for_built(triangles_of(fine), Faces.of(coarse, 0.5), 0.5) is None
    shorter = coarse.trim_by_plane((0.0, 0.0, 1.0), 0.04)
    off, at = taken_for_built(triangles_of(shorter), faces, 0.5)
    assert (off, at[2]) == pytest.approx((0.04, 0.04))
    assert taken_for_built(triangles_of(shorter), faces, 0.03) is None


def test_pieces_between_two_events_are_told_too(tmp_path):
    """Each event sets the rest 0.3 mm aside and lifts it as much: clamped below, 0.3 to 0.6."""
    way, keys = make.passage([10, 10, 0], [10, 10, SIDE], 3.0, 5.0), {"finished": "machined.stl"}
    strays = [make.sheet(z, resume="layer", resume_shift=[0.3, 0.0]) for z in (6.0, 13.0)]
    meshes = {"machined": ALL_ROUND - bored(3.0)}
    path = make.write_case(
        tmp_path, BLOCK - bored(3.0), way, strays, part=keys, meshes=meshes, pitch=0.5
    )
    known = prepare(read_case(path))
    below, above = finished_result(known, shape_of(known), print).by_datum
    assert below.moved[0].low_mm == pytest.approx((0.3, 0.0, 0.3), abs=1e-5)
    assert below.moved[0].high_mm == pytest.approx((0.6, 0.0, 0.6), abs=1e-5)
    assert above.moved[0].low_mm == pytest.approx((-0.6, 0.0, -0.6), abs=1e-5)
    assert above.moved[0].high_mm == pytest.approx((-0.3, 0.0, -0.3), abs=1e-5)
    assert below.stock_low_mm == pytest.approx(-0.1, abs=OFF)


def test_a_cavity_that_the_shape_fills_is_outside_the_part(tmp_path):
    """All of its surface is the nominal part's; a ball of 2 mm has V / A = 0.67 mm."""
    solid = BLOCK - bored(3.0) - m3.Manifold.sphere(2.0, 32).translate((4, 4, 5))
    way, keys = make.passage([10, 10, 0], [10, 10, SIDE], 3.0, 5.0), {"finished": "machined.stl"}
    meshes = {"machined": ALL_ROUND - bored(3.0)}
    path = make.write_case(tmp_path, solid, way, part=keys, meshes=meshes, pitch=0.5)
    with pytest.raises(PartError, match=r"stands out of the nominal part by 0\.6"):
        shape_of(prepare(read_case(path)))


def test_a_shape_in_another_unit_is_refused(tmp_path):
    """In inches it would lie deep in the metal, with ten times the stock."""
    shape = shapes.block((0, 0, 0), (2, 2, 2))
    way, keys = make.passage([10, 10, 0], [10, 10, SIDE], 3.0, 5.0), {"finished": "machined.stl"}
    solid, meshes = BLOCK - bored(3.0), {"machined": shape}
    path = make.write_case(tmp_path, solid, way, part=keys, meshes=meshes, pitch=0.5)
    with pytest.raises(PartError, match=r"2 x 2 x 2 mm, smaller than the part 10 times"):
        shape_of(prepare(read_case(path)))


def test_the_outline_stands_in_the_section_and_the_shape_in_the_page(tmp_path):
    """Clamped above it goes aside with the upper part, below not (by hand)."""
    event = make.sheet(CUT, resume="layer", resume_shift=[0.7, 0.0])
    for datum, low in (("below", 0.5), ("above", 1.2)):
        keys = {"finished": "machined.stl", "finished_datum": datum}
        path = make.write_case(
            tmp_path / datum,
            BLOCK - bored(3.0),
            make.passage([10, 10, 0], [10, 10, SIDE], 3.0, 5.0),
            event,
            meshes={"machined": ALL_ROUND - bored(3.0)},
            part=keys,
            pitch=0.5,
        )
        known = prepare(read_case(path))
        after = known.whole.predict(known.unknowns.variants[0].events)
        area, words = finished_outline(known, after, 12.0)
        assert area.bounds == pytest.approx((low, 0.5, low + WIDE, 19.5), abs=1e-5)
        about = ("", area, shapely.Polygon(), shapely.Polygon(), (), None, (), ())
        section = LevelSection(*about, finished=area, finished_words=words)
        assert key_of(section)[-1] == (style.FINISHED, f"finished shape, clamped {datum}")
        axes = draw_level(Figure().add_subplot(), section)
        assert "finished" in {artist.get_gid() for artist in axes.get_children()}
        bodies = list(finished_bodies(known, after))
        assert [body.when for body in bodies] == (
            ["both"] if datum == "below" else ["drawn", "left"]
        )
        assert bodies[0].triangles[..., 0].min() == pytest.approx(0.5)
        assert bodies[-1].triangles[..., 0].min() == pytest.approx(low, abs=1e-5)
