"""What readings should be after an event, and how likely they are: expected numbers by hand.

The part is a block with a foot that stands out by 2 mm to +x, and a bore; or values of
references, each with its place.
"""

import math
from dataclasses import replace

import make
import numpy as np
import pytest
import shapes
from scipy import stats

from clearance.case.powder_bed import sheet_recess
from clearance.case.read import read_case
from clearance.case.readings import ReadingTable
from clearance.readings.forward import Forward
from clearance.readings.likelihood import coverage, log_likelihood, misfit, of_untold, off
from clearance.readings.prediction import Absent, Chance, Measured, Untold
from clearance.readings.sisters import with_scatter
from clearance.readings.unknowns import Unknowns
from clearance.verdict.prepared import prepare

SIDES = 64
BORE_MM2 = 0.5 * SIDES * 3.0**2 * np.sin(2 * np.pi / SIDES)
"""Of the polygon of the bore."""


def footed():
    """A block 20 x 20 x 30 with a foot 1 mm high that stands out by 2 mm to +x, and a bore.

    The bore begins above the foot's first half, so that low slices close it: radius 3 from 0.5 on,
    1 below.
    """
    solid = shapes.block((-10, -10, 0), (10, 10, 30)) + shapes.block((-10, -10, 0), (12, 10, 1))
    solid -= shapes.bore((0, 0, 0.5), (0, 0, 31), 3.0, segments=SIDES)
    return solid - shapes.bore((0, 0, -1), (0, 0, 1), 1.0, segments=SIDES)


def told(**keys):
    return ReadingTable(**keys)


def forward_of(folder, *strays, **keys):
    tables = {"part": {"density_g_cm3": 8.0, "thermal_expansion": 10.0, **keys}}
    passage = {**make.passage((0, 0, 0), (0, 0, 30), 3.0, 0.5), "inlet": make.port((0, 0, 0), 1.0)}
    path = make.write_case(folder, footed(), passage, strays, pitch=0.5, **tables)
    return Forward(prepare(read_case(path)))


@pytest.fixture(scope="module")
def rim(tmp_path_factory):
    """Three slices of 0.1 mm of the foot at 12 mm, melted exactly 0.1 mm deep into powder."""
    sheet = make.sheet(12.0, layers=3, penetration=0.1, packing=0.5)
    return forward_of(tmp_path_factory.mktemp("rim"), sheet, measured_cooled=0.0)


def events(forward):
    return forward.checked.unknowns.variants[0].events


def span(forward, **keys):
    return forward.predict(events(forward), told(**keys)).span(forward.unknowns)


# ---- by hand: the block --------------------------------------------------------------------------


def test_heights_of_a_rim_are_those_of_its_steel(rim):
    # s1 = 0.5 (0.1 + 0.1) = 0.1, s2 = 0.1, s3 = 0.1: all tops lie 0.1 below their counted face
    assert span(rim, kind="rim_top", value=12.0, u=0.1) == pytest.approx((12.2, 12.2))
    assert span(rim, kind="rim_bottom", value=12.0, u=0.1) == pytest.approx((11.9, 11.9))
    assert span(rim, kind="rim_thickness", value=0.3, u=0.1) == pytest.approx((0.3, 0.4))
    # the part's own top lies 0.1 lower than counted
    assert span(rim, kind="part_height", value=30.0, u=0.1) == pytest.approx((29.9, 29.9))
    top = dict(kind="rim_top", value=17.7, u=0.1, datum="top")
    assert span(rim, **top) == pytest.approx((17.7, 17.7))


def test_width_is_measured_towards_where_it_stands_out(rim):
    assert span(rim, kind="rim_width", value=2.0, u=0.1) == pytest.approx((2.0, 2.0))
    east, west = (1.0, 0.0), (-1.0, 0.0)
    for way, wide in ((east, 2.0), (west, 0.0)):
        found = span(rim, kind="rim_width", value=2.0, u=0.1, direction=way)
        assert found == pytest.approx((wide, wide))


def test_without_the_event_there_is_no_rim_to_measure(rim):
    for kind in ("rim_top", "rim_bottom", "rim_thickness"):
        assert isinstance(rim.nominal(told(kind=kind, value=12.0, u=0.1)), Absent)
        assert isinstance(rim.predict((), told(kind=kind, value=12.0, u=0.1)), Absent)
    assert rim.nominal(told(kind="rim_width", value=1.0, u=0.1)).low == pytest.approx(0.0)


def test_a_missing_rim_is_never_a_proof(rim):
    seen = rim.predict(events(rim), told(kind="rim_seen", value=False))
    assert seen == Chance(0.5, 0.99, False, 1.0, 1.0)
    assert seen.most / seen.told < 2.0


def test_from_the_top_a_part_that_grew_is_measured_longer(tmp_path):
    sheet = make.sheet(12.0, layers=3, penetration=0.1, packing=0.5, resume="layer")
    grown = forward_of(tmp_path, sheet, measured_cooled=0.0)
    assert span(grown, kind="part_height", value=30.0, u=0.1) == pytest.approx((30.2, 30.2))
    rim_down = dict(kind="rim_top", value=17.7, u=0.1, datum="top")
    assert span(grown, **rim_down) == pytest.approx((18.0, 18.0))
    assert span(grown, kind="rim_top", value=12.0, u=0.1) == pytest.approx((12.2, 12.2))


def test_cooling_takes_the_same_share_of_every_height(tmp_path):
    sheet = make.sheet(12.0, layers=3, penetration=0.1, packing=0.5)
    cold = forward_of(tmp_path, sheet, measured_cooled=[0.0, 100.0])  # 1e-5 x 100 K: 0.1 %
    assert span(cold, kind="rim_top", value=12.0, u=0.1) == pytest.approx((12.2 * 0.999, 12.2))
    assert span(cold, kind="part_height", value=30.0, u=0.1) == pytest.approx((29.9 * 0.999, 29.9))
    down = dict(kind="rim_top", value=17.7, u=0.1, datum="top")
    assert span(cold, **down) == pytest.approx((17.7 * 0.999, 17.7))


def test_faces_inside_the_part_are_those_of_its_steel(tmp_path):
    """Three layers on which the build went on: by hand, as REFERENCES-3 A5 has them.

    Packing 0.5, so that an ordinary recess is a layer; the steel shrinks by 10e-6 x 100 K, 0.1 %.
    """
    sheet = make.plane(8.0, 3, packing=0.5, penetration=0.1, resume="layer")
    forward = forward_of(tmp_path, sheet, measured_cooled=100.0)
    (event,) = events(forward)
    fall = 10e-6 * 100.0

    def ends(**keys):
        reading = told(value=0.0, u=0.01, **keys)
        nominal = forward.nominal(reading)
        return forward.predict((event,), reading).span(forward.unknowns), nominal

    for recesses in (0.0, 1.0):
        (low, high), nominal = ends(kind="growth", over=5.0, recesses=recesses)
        assert low == pytest.approx(0.3 - recesses * 0.1 - 5.0 * fall)
        assert high == low
        assert nominal.span(forward.unknowns)[0] == pytest.approx(-recesses * 0.1 - 5.0 * fall)
    at = {"at": (0.0, 0.0), "recesses": -1.0}
    for kind, counted in (("sheet_bottom", 7.9), ("sheet_top", 8.2)):
        (low, high), nominal = ends(kind=kind, over=4.0, **at)
        assert low == high == pytest.approx(counted + 0.1 - 4.0 * fall)
        assert isinstance(nominal, Absent)


def test_a_step_is_measured_along_its_direction(tmp_path):
    sheet = make.sheet(12.0, penetration=0.1, resume_shift=[0.3, 0.4])
    aside = forward_of(tmp_path, sheet)
    for way, wide in (((1, 0), 0.3), ((0, -2), -0.4), ((3, 4), 0.5)):
        found = span(aside, kind="step", value=0.1, u=0.1, direction=way)
        assert found == pytest.approx((wide, wide))


def test_where_a_step_is_left_nothing_is_said_of_a_rim(tmp_path):
    """A block that goes on 0.3 mm aside: no slice stands out of both parts of it."""
    sheet = make.sheet(12.0, from_layer=50, penetration=0.1, resume_shift=[0.3, 0.0])
    aside = forward_of(tmp_path, sheet)
    for kind in ("rim_top", "rim_bottom", "rim_thickness"):
        assert "step" in aside.predict(events(aside), told(kind=kind, value=12.0, u=0.1)).why
    wide = span(aside, kind="rim_width", value=0.1, u=0.1)
    assert wide == pytest.approx((0.0, 0.3), abs=1e-4)
    seen = told(kind="rim_seen", value=True)
    assert aside.predict(events(aside), seen).agrees is True
    assert aside.nominal(seen).agrees is False


def test_mass_holds_what_the_signs_say_and_needs_sisters(rim):
    mass = dict(kind="mass", value=100.0, u=0.1)
    for sisters in ((), (100.0,)):
        assert "weighing cannot tell" in rim.predict(events(rim), told(**mass, sisters=sisters)).why
    low, high = span(rim, **mass, sisters=(90.0, 110.0), stage="emptied")
    # 0.3 mm over foot and bore less its first slices' bore of 1 mm, 0.1 mm deeper at most
    over_powder = 40.0 + BORE_MM2 - BORE_MM2 / 9.0
    assert high == pytest.approx(100.0 + 8e-3 * over_powder * 0.4, abs=2e-4)
    assert low == pytest.approx(100.0 + 8e-3 * over_powder * 0.3, abs=2e-4)
    # with its powder in, as the sisters are: metal where powder would be, half as dense
    inside = span(rim, **mass, sisters=(90.0, 110.0))[0]
    assert inside == pytest.approx(100.0 + 8e-3 * over_powder * 0.3 * 0.5, abs=2e-4)


def test_where_powder_may_be_shut_in_weighing_waits_for_how_much(tmp_path):
    """A bore with two sheets across: what lies between them stays full of powder."""
    solid = shapes.block((-10, -10, 0), (10, 10, 30)) - shapes.bore((0, 0, -1), (0, 0, 31), 3.0)
    passage = make.passage((0, 0, 0), (0, 0, 30), 3.0, 0.5)
    sheets = [make.plane(z, penetration=0.1) for z in (10.0, 20.0)]
    part = {"density_g_cm3": 8.0}
    path = make.write_case(tmp_path, solid, passage, sheets, pitch=0.5, part=part)
    forward = Forward(prepare(read_case(path)))
    mass = told(kind="mass", value=100.0, u=0.1, sisters=(90.0, 110.0), stage="emptied")
    assert "traps is not known" in forward.predict(events(forward), mass).why
    assert isinstance(forward.predict(events(forward)[:1], mass), Measured)
    before = forward.predict(events(forward)[:1], mass)
    forward.trapped_g = 2.0
    after = forward.predict(events(forward)[:1], mass)
    assert after.high[0] - before.high[0] == pytest.approx(2.0)


def test_what_is_open_of_a_bore(rim):
    area = dict(kind="open_area", passage="a", value=1.0, u=0.1)
    small = BORE_MM2 / 9.0
    assert span(rim, **area, height=12.1) == pytest.approx((small, small), rel=1e-3)
    assert span(rim, **area, height=20.0) == pytest.approx((BORE_MM2, BORE_MM2), rel=1e-3)
    above = rim.predict(events(rim), told(**area, height=900.0))
    assert "no section at that height" in above.why  # a slip of the pen contradicts nothing
    seen = dict(kind="seen", passage="a", found=True)
    assert rim.predict(events(rim), told(**seen)).agrees is True
    assert rim.nominal(told(**seen)).agrees is False


def test_a_sheet_is_found_where_it_lies_now_that_the_part_is_cold(tmp_path):
    """Melted at 12.0, 1000 K ago, at 30e-6/K: it lies 0.36 mm lower, where a scan shows it."""
    sheet = make.sheet(12.0, layers=1, penetration=0.1)
    cold = forward_of(tmp_path, sheet, measured_cooled=1000.0, thermal_expansion=30.0)
    area = dict(kind="open_area", passage="a", value=1.0, u=0.1)
    small = BORE_MM2 / 9.0
    assert span(cold, **area, height=11.6) == pytest.approx((small, small), rel=1e-3)
    assert span(cold, **area, height=11.3) == pytest.approx((BORE_MM2, BORE_MM2), rel=1e-3)
    seen = told(kind="seen", height=11.6, found=True)
    assert cold.predict(events(cold), seen).agrees is True


def test_at_a_step_a_passage_is_as_wide_as_what_meets(tmp_path):
    """A bore of 6 mm that goes on 3 mm aside: a lens, and no sheet; beside it all its area."""
    step = make.sheet(12.0, layers=0, next_layer=120, resume_shift=[3.0, 0.0])
    aside = forward_of(tmp_path, step)
    aside.clear["a"] = (2.0, 2.0)
    part = aside._part(events(aside))
    assert aside.clear_mm(part, "a")[0] == 0.0  # not the same above and below: sections do not tell
    aside.clear["a"] = (6.0, 6.0)
    assert aside.clear_mm(part, "a")[1] == pytest.approx(3.0, abs=0.03)  # the lens is 6 - 3 wide
    lens = 2 * 9 * math.acos(0.5) - 1.5 * math.sqrt(36 - 9)
    area = dict(kind="open_area", passage="a", value=1.0, u=0.1, height=12.0)
    assert span(aside, **area) == pytest.approx((lens, BORE_MM2), rel=0.01)


def test_of_a_channel_that_lies_in_the_sheet_sections_tell_no_bound(tmp_path):
    """A level bore at z 10 to 14 whose floor alone a sheet reaches: the check looks closer."""
    solid = shapes.block((-8, -8, 0), (8, 8, 20))
    solid -= shapes.bore((-9, 0, 12), (9, 0, 12), 2.0)
    passage = make.passage((-8, 0, 12), (8, 0, 12), 2.0, 0.5)
    sheet = make.sheet(9.8, layers=4, penetration=0.1)
    path = make.write_case(tmp_path, solid, passage, sheet, pitch=0.5)
    forward = Forward(prepare(read_case(path)))
    forward.clear["a"] = (4.0, 4.0)
    ball = told(kind="ball", passage="a", diameter=3.9, result="stops")
    assert forward.predict(events(forward), ball).agrees is None
    assert forward.predict((), ball).agrees is False
    seen = told(kind="seen", passage="a", found=False)
    assert forward.predict(events(forward), seen).agrees is None


def test_of_stray_metal_given_as_a_mesh_sections_say_nothing(tmp_path):
    blob = {"blob": shapes.block((-2, -2, 12), (2, 2, 13))}
    passage = {**make.passage((0, 0, 0), (0, 0, 30), 3.0, 0.5), "inlet": make.port((0, 0, 0), 1.0)}
    stray = {"shape": "mesh", "mesh": "blob.stl"}
    path = make.write_case(tmp_path, footed(), passage, stray, pitch=0.5, meshes=blob)
    forward = Forward(prepare(read_case(path)))
    forward.clear["a"] = (2.0, 2.0)
    ball = told(kind="ball", passage="a", diameter=1.5, result="stops")
    assert forward.predict((), ball).agrees is None
    area = told(kind="open_area", passage="a", height=12.5, value=1.0, u=0.1)
    for reading in (area, told(kind="rim_top", value=1.0, u=0.1)):
        assert "mesh" in forward.predict((), reading).why
    seen = told(kind="seen", passage="a", found=True)
    assert forward.predict((), seen).agrees is None


def test_balls_and_pins_meet_the_sheet(rim):
    ball = dict(kind="ball", passage="a", result="stops")
    assert rim.predict(events(rim), told(**ball, diameter=2.1)).agrees is True
    for known in ((0.0, math.inf), (2.0, 2.0)):  # a narrowed way may hold what fits the hole
        rim.clear["a"] = known
        assert rim.predict(events(rim), told(**ball, diameter=1.9)).agrees is None
    assert rim.nominal(told(**ball, diameter=1.9)).agrees is False
    pin = dict(kind="pin", port="a outlet", diameter=4.0)
    for depth, agrees in ((17.7, True), (29.5, False)):
        assert rim.predict(events(rim), told(**pin, value=depth)).agrees is agrees
        assert rim.nominal(told(**pin, value=depth)).agrees is not agrees


@pytest.mark.parametrize("diameter", [6.1, 20.0])
@pytest.mark.parametrize("port", ["a outlet", "a inlet"])
def test_a_pin_wider_than_the_mouth_does_not_enter(rim, port, diameter):
    pin = dict(kind="pin", port=port, diameter=diameter)
    for depth, agrees in ((0.0, True), (17.7, False), (29.5, False)):
        assert rim.predict(events(rim), told(**pin, value=depth)).agrees is agrees
        assert rim.nominal(told(**pin, value=depth)).agrees is agrees
    assert rim.nominal(told(**pin, result="passes")).agrees is False


def test_the_log_counts_the_layers_of_this_part(rim):
    log = dict(kind="layers_logged")
    assert rim.predict(events(rim), told(**log, value=300)).agrees is True
    assert rim.predict(events(rim), told(**log, value=303)).agrees is False


@pytest.mark.parametrize(
    ("height", "slices", "predicted", "nominal"),
    [
        (11.9, ["119"], True, True),  # below the sheet: the layer that belongs there
        (12.0, ["0"], True, False),
        (12.2, ["0-4", "120"], True, False),
        (12.2, ["118-125"], False, True),
        (12.3, ["123"], True, True),  # above it: went on with the layer that belongs there
        (12.3, ["120"], False, False),
    ],
)
def test_a_photograph_shows_the_slice_that_was_melted_there(
    rim, height, slices, predicted, nominal
):
    photo = told(kind="photo", height=height, slices=slices)
    assert rim.predict(events(rim), photo).agrees is predicted
    assert rim.nominal(photo).agrees is nominal
    assert rim.predict(events(rim), photo).told == (0.98 if predicted else 0.02)


def test_a_photograph_of_a_sheet_of_unknown_slices_tells_nothing(rim):
    photo = told(kind="photo", height=12.0, slices=["0"])
    plane = tuple(replace(one, plane=True) for one in events(rim))
    assert isinstance(rim.predict(plane, photo), Untold)
    lifted = tuple(replace(one, rise=0.3) for one in events(rim))
    above = told(kind="photo", height=12.3, slices=["120"])  # it went on with layer 120
    assert rim.predict(lifted, above).agrees is True


# ---- published and closed values -----------------------------------------------------------------


@pytest.mark.parametrize(
    ("packing", "depth", "tops"),
    [
        (0.5, 100.0, (-25, 38, 94, 147)),
        (0.5, 50.0, (0, 50, 100, 150)),
        (0.6, 100.0, (-10, 56, 112, 165)),
    ],
)
def test_tops_of_sheets_over_powder(packing, depth, tops):
    """Closed values worked out apart for layers of 50 um: top above the stop's height, um."""
    found = [n * 50.0 - sheet_recess(50.0, packing, depth, n) for n in (1, 2, 3, 4)]
    assert found == pytest.approx(tops, abs=0.51)


@pytest.mark.parametrize(("count", "k"), [(1, 3.0), (5, 3.46), (20, 3.82)])
def test_a_set_is_contradicted_as_rarely_as_one(count, k):
    """scipy's normal distribution, apart: 0.27 % shared out over the set."""
    assert coverage(count) == pytest.approx(k, abs=0.005)
    alone = 2.0 * stats.norm.sf(3.0)
    assert 2.0 * stats.norm.sf(coverage(count)) * count == pytest.approx(alone)


@pytest.mark.parametrize(("count", "factor"), [(3, 3.4), (5, 2.3), (10, 1.9)])
def test_few_sisters_tell_little(count, factor):
    """t sqrt(1 + 1/N), one-sided 95 %, worked out apart: 3.4, 2.3, 1.9."""
    t = stats.t.ppf(0.95, count - 1) * math.sqrt(1.0 + 1.0 / count)
    assert t == pytest.approx(factor, abs=0.05)
    masses = list(stats.norm.rvs(size=count, random_state=1))
    reach = stats.t.isf(stats.norm.sf(3.0), count - 1) * math.sqrt(1.0 + 1.0 / count)
    assert 3.0 * with_scatter(0.0, masses) == pytest.approx(reach * np.std(masses, ddof=1))


ONE = Unknowns(np.array([0.5]), np.array([0.0]), np.array([1.0]), (0.0, 0.0), 1e-5)


def exactly(value, **keys):
    at = np.array([value])
    return Measured(at, at, **keys)


@pytest.mark.parametrize(("u", "share"), [(0.02, 0.92), (0.05, 0.40), (0.1, 0.23)])
def test_how_many_layers_a_thickness_tells(u, share):
    """Worked out apart: layers of 0.05 mm, 1 to 6 alike likely, 0.15 mm is read."""
    reading = told(kind="rim_thickness", value=0.15, u=u)
    logs = [log_likelihood([(reading, exactly(0.05 * n))], ONE) for n in range(1, 7)]
    odds = np.exp(logs)
    assert odds[2] / odds.sum() == pytest.approx(share, abs=0.005)


def test_a_range_is_as_likely_all_over():
    reading = told(kind="rim_thickness", value=0.1, u=0.02)
    low, high = 0.08, 0.3
    expected = (stats.norm.cdf((high - 0.1) / 0.02) - stats.norm.cdf((low - 0.1) / 0.02)) / 0.22
    found = log_likelihood([(reading, Measured(np.array([low]), np.array([high])))], ONE)
    assert math.exp(found) == pytest.approx(expected)
    far = log_likelihood([(reading, Measured(np.array([2.0]), np.array([2.1])))], ONE)
    assert far == pytest.approx(stats.norm.logsf(95.0) - math.log(0.1), rel=1e-3)


def test_a_shared_error_is_one_unknown():
    readings = [
        told(kind="rim_top", value=12.1, u=0.02, group="g", u_group=0.05),
        told(kind="rim_bottom", value=11.9, u=0.03, group="g", u_group=0.05),
        told(kind="part_height", value=30.1, u=0.04),
    ]
    means = [12.0, 11.85, 30.0]
    cov = np.diag([0.02**2 + 0.05**2, 0.03**2 + 0.05**2, 0.04**2])
    cov[0, 1] = cov[1, 0] = 0.05**2
    expected = stats.multivariate_normal.logpdf([12.1, 11.9, 30.1], means, cov)
    pairs = list(zip(readings, map(exactly, means), strict=True))
    assert log_likelihood(pairs, ONE) == pytest.approx(expected)
    assert misfit(pairs, ONE)[1] == 3
    assert off(readings[0], 12.0, 12.0) == pytest.approx(0.1 / math.hypot(0.02, 0.05))


def test_cooling_is_one_unknown_of_all_heights():
    """By plain integration over the cooling, apart."""
    readings = [
        told(kind="rim_top", value=99.93, u=0.02),
        told(kind="part_height", value=299.8, u=0.03),
    ]
    pairs = [(readings[0], exactly(100.0, per_kelvin=1e-3)),
             (readings[1], exactly(300.0, per_kelvin=3e-3))]  # fmt: skip
    cold = replace(ONE, kelvin=(20.0, 170.0))
    x = np.linspace(20.0, 170.0, 200_001)
    density = stats.norm.pdf(99.93, 100.0 - 1e-3 * x, 0.02)
    density *= stats.norm.pdf(299.8, 300.0 - 3e-3 * x, 0.03)
    assert math.exp(log_likelihood(pairs, cold)) == pytest.approx(density.mean(), rel=1e-4)
    square = ((99.93 - 100.0 + 1e-3 * x) / 0.02) ** 2 + ((299.8 - 300.0 + 3e-3 * x) / 0.03) ** 2
    assert misfit(pairs, cold)[0] == pytest.approx(square.min(), rel=1e-4)


def test_packing_and_melt_depth_are_integrated_once(tmp_path):
    """By a direct sum over fine steps of both, apart."""
    sheet = make.sheet(12.0, layers=2, penetration=[0.1, 0.2], packing=[0.45, 0.6])
    forward = forward_of(tmp_path, sheet, measured_cooled=0.0)
    readings = [
        told(kind="rim_top", value=12.05, u=0.03),
        told(kind="rim_bottom", value=11.83, u=0.04),
        told(kind="part_height", value=29.93, u=0.03),
    ]
    pairs = [(one, forward.predict(events(forward), one)) for one in readings]
    packing = (np.linspace(0.45, 0.6, 401)[:-1] + 0.15 / 800)[:, None]
    depth = (np.linspace(0.1, 0.2, 401)[:-1] + 0.1 / 800)[None, :]
    top = 12.2 - (1 - packing) * ((1 - packing) * (0.1 + depth) + 0.1)
    density = stats.norm.pdf(12.05, top, 0.03) * stats.norm.pdf(11.83, 12.0 - depth, 0.04)
    density = density * stats.norm.pdf(29.93, 30.0 - 0.1 * (1 - packing) / packing, 0.03)
    found = math.exp(log_likelihood(pairs, forward.unknowns))
    assert found == pytest.approx(density.mean(), rel=1e-3)


def test_a_fine_gauge_does_not_fall_between_what_is_not_known(tmp_path):
    """A lower face anywhere from 0.05 to 0.35 below 12.0, read with 5 um: 1 / 0.3 wherever it lies.

    The melt depth is even over its range, and so is the face; by hand.
    """
    sheet = make.sheet(12.0, layers=3, penetration=[0.05, 0.35], packing=0.5)
    values = np.linspace(11.70, 11.90, 9)
    read = [told(kind="rim_bottom", value=float(v), u=0.005) for v in values]
    forward = forward_of(tmp_path, sheet, measured_cooled=0.0)
    case = replace(forward.checked.case, reading=tuple(read))
    forward.unknowns = Unknowns.of(case)
    for one in read:
        pair = (one, forward.predict(events(forward), one))
        density = math.exp(log_likelihood([pair], forward.unknowns))
        assert density == pytest.approx(1.0 / 0.3, rel=0.02), one.value


def test_what_nothing_is_told_of_weighs_as_what_fits_best():
    """Whatever the unit: 20 g off by one u is as likely as what weighing cannot tell."""
    at = np.ones(1)
    unknowns = Unknowns(0.5 * at, 0.0 * at, at, (0.0, 0.0), 0.0)
    for u in (1e-3, 20.0):
        read = [told(kind="part_height", value=5.0 * u, u=u)]
        fits, off_by_one = (
            Measured(5.0 * u * at, 5.0 * u * at),
            Measured(4.0 * u * at, 4.0 * u * at),
        )
        rows = [[fits], [Untold("why")], [off_by_one], [Absent()]]
        more = of_untold(read, rows, unknowns)
        best = log_likelihood([(read[0], fits)], unknowns)
        assert more == pytest.approx([0.0, best, 0.0, 0.0])
    nothing = of_untold(read, [[Untold("why")], [Untold("why")]], unknowns)
    assert nothing.tolist() == [0.0, 0.0]


def test_what_is_not_there_cannot_have_been_measured(rim):
    reading = told(kind="rim_top", value=12.0, u=0.1)
    assert log_likelihood([(reading, rim.nominal(reading))], rim.unknowns) == -math.inf
    assert log_likelihood([(reading, Untold("no"))], ONE) == pytest.approx(0.0)
