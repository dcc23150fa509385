"""A scan laid on the part: synthetic truth, blurred, noisy and turned (tests/scans.py)."""

import make
import numpy as np
import pytest
import scans
import shapes
import shared

from clearance.case.read import read_case
from clearance.errors import CaseError, PartError
from clearance.scanned import registration
from clearance.scanned.pose import AS_IT_IS, Pose, Surface, fit, sampled
from clearance.scanned.registration import ScanError, registered
from clearance.scanned.thin_sheets import thinnest_sheet
from clearance.verdict.other_event import with_strays
from clearance.verdict.prepared import prepare

LOW, HIGH = (0.0, 0.0, 0.0), (12.0, 9.0, 8.0)
SHEET, DEPTH = 4.0, 0.1
VOXEL = 0.2


def notched(points, sheet_mm=0.0, step=0.0, radius=1.5, depth=DEPTH):
    """The part: a block with a notch, which no turn and no mirror maps on itself, and a bore."""

    def as_drawn(at):
        metal = scans.block(at, LOW, HIGH)
        metal = np.maximum(metal, -scans.block(at, (9, 6, 6), (13, 10, 9)))
        return np.maximum(metal, -scans.rod(at, (4, 4, 0), (0, 0, 1), radius))

    metal = as_drawn(points)
    if step != 0.0:
        above = as_drawn(points - np.array([step, 0.0, 0.0]))
        metal = np.where(points[..., 2] < SHEET, metal, above)
    if sheet_mm > 0.0:
        z = points[..., 2]
        low = SHEET - depth  # as deep as the melt reaches below its first layer
        slab = np.maximum(low - z, z - low - sheet_mm)
        plug = np.maximum(slab, scans.rod(points, (4, 4, 0), (0, 0, 1), radius + 0.2))
        metal = np.minimum(metal, plug)
    return metal


@pytest.fixture(scope="module", autouse=True)
def fewer_points():
    """What is told by tenths of a millimetre needs a third of the points; see `every_point`."""
    with pytest.MonkeyPatch.context() as patch:
        for name in ("MORE", "MANY", "MOST") if not shared.in_full else ():
            patch.setattr(registration, name, getattr(registration, name) // 3)
        yield


@pytest.fixture
def every_point(monkeypatch):
    monkeypatch.setattr(registration, "MANY", 4000)
    monkeypatch.setattr(registration, "MOST", 20_000)


@pytest.fixture(scope="module")
def part():
    bore = shapes.bore([4, 4, -1], [4, 4, 9], 1.5)
    return shapes.block(LOW, HIGH) - bore - shapes.block([9, 6, 6], [13, 10, 9])


@pytest.fixture(scope="module")
def nominal(part):
    return shapes.soup(part)


TURN, SHIFT = scans.turned([1, 2, 3], 37.0), np.array([3.0, -2.0, 5.0])


@pytest.fixture(scope="module")
def stepped():
    return scans.scan(
        lambda p: notched(p, step=0.15), LOW, HIGH, rotation=TURN, shift=SHIFT, voxel=VOXEL
    )


def test_a_turned_scan_is_laid_on_the_part_and_its_step_measured(stepped, nominal, every_point):
    """Truth: 0.01 degree, 5 um; the step put in is 0.15 mm along x (analytic)."""
    found = registered(stepped, nominal, ((SHEET - 0.6, SHEET + 0.6),)).fit
    assert Pose(found.pose.rotation @ TURN, SHIFT).turn_deg < 0.01
    middle = np.array([6.0, 4.5, 2.0])
    np.testing.assert_allclose(found.pose.at((TURN @ middle + SHIFT)[None])[0], middle, atol=5e-3)
    np.testing.assert_allclose(-found.moves[1], [0.15, 0.0, 0.0], atol=5e-3)


def test_the_fit_needs_no_noise_to_be_exact(nominal):
    start = Pose(scans.turned([0, 0, 1], 1.0), np.array([0.1, 0.0, -0.1]))
    found = fit(Surface.of(nominal), sampled(nominal, 3000), start)
    assert found.pose.turn_deg < 1e-4
    assert found.rms_mm < 1e-5
    assert found.scale == pytest.approx(1.0, abs=1e-6)


REFUSED = {
    "mirrored": (lambda soup: (soup * [-1, 1, 1])[:, ::-1], "mirror image"),
    "1 % too large": (lambda soup: soup * 1.01, r"\+1.00 % larger than the part"),
    "in another unit": (lambda soup: soup / 25.4, "times as large"),
    "another part": (
        lambda _: shapes.soup(shapes.block([0, 0, 0], [16, 5, 4])),
        "of another part",
    ),
}


@pytest.mark.parametrize("kind", REFUSED)
def test_what_cannot_be_laid_on_the_part_is_refused(kind, nominal):
    change, words = REFUSED[kind]
    soup = np.ascontiguousarray(change(nominal), np.float32)
    placed = kind != "mirrored" and not shared.in_full  # that one tells what every way round is for
    with pytest.raises(ScanError, match=words):
        registered(soup, nominal, placed=placed)


def test_a_second_fit_as_good_is_named_or_refused():
    """A block with two equal bores fits after half a turn, and mirrored."""
    twice = shapes.two_bores(1.5, 5.0, segments=24)
    found = registered(twice, twice)
    assert any("turned by 180.0 deg" in way for way in found.also)
    for way in found.ways:  # each lays the part on itself
        assert found.nominal.off(way.at(sampled(twice, 50)))[0].max() < 0.01
    assert len(found.ways) == len(found.also)
    assert any("mirrored" in way for way in found.also)
    away = (twice @ scans.turned([1, 0, 0], 60.0).T).astype(np.float32)
    with pytest.raises(ScanError, match="ways round nearly equally well"):
        registered(away, twice)


def test_a_cut_off_scan_is_named_with_what_is_missing(part, nominal):
    half = shapes.soup(part - shapes.block([-1, -1, 5], [13, 10, 9]))
    found = registered(half, nominal, placed=True)
    assert 0.1 < found.missing < 0.5
    assert found.missing_low[2] > 5.0
    assert found.missing_high[2] == pytest.approx(8.0, abs=0.1)
    assert not found.shows(np.array([[12.0, 4.0, 7.5]])).any()


# ---- through the case file -----------------------------------------------------------------------


def case_of(folder, part, soup, layers=3, **keys):
    """The part with a sheet of two or more layers at 4 mm predicted, and a scan of it."""
    scan = {"mesh": "scan.stl", "uncertainty": 0.05, "placed": True, **keys}
    return read_case(
        make.write_case(
            folder,
            part,
            make.passage([4, 4, 0], [4, 4, 8], 1.5, 2.5),
            make.plane(SHEET, layers, penetration=0.1),
            meshes={"scan": soup},
            scan=scan,
        )
    )


def scanned(folder, part, soup, **keys):
    result = make.judged(case_of(folder, part, soup, **keys))
    return result, result.passages[0].scanned


@pytest.fixture(scope="module")
def sealed(tmp_path_factory, part):
    soup = scans.scan(lambda p: notched(p, sheet_mm=0.3), LOW, HIGH, voxel=VOXEL)
    return scanned(tmp_path_factory.mktemp("sealed"), part, soup, thinnest_shown=0.25)


def test_a_sheet_in_the_scan_blocks_the_passage_there_too(sealed):
    result, found = sealed
    assert (result.passages[0].state, found.state, found.against) == (
        "blocked",
        "blocked",
        "agrees",
    )
    assert (found.low_mm, found.high_mm) == (0.0, 0.0)
    assert found.crossings[0].open_fraction < 0.01
    assert not any(reading.contradicts for reading in result.readings)


def test_the_step_and_each_passage_are_readings(sealed):
    result, _ = sealed
    said = {reading.where: reading for reading in result.readings if reading.kind == "scan"}
    assert set(said) == {
        "offset along x above event 1",
        "offset along y above event 1",
        "growth above event 1",
        "lower face of the sheet in a, event 1",
        "upper face of the sheet in a, event 1",
        "clear diameter, a",
    }
    assert said["offset along x above event 1"].value == pytest.approx(0.0, abs=5e-3)
    assert said["offset along x above event 1"].says == "both"
    assert said["clear diameter, a"].says == "as-predicted"
    for which, z in (("lower", SHEET - DEPTH), ("upper", SHEET - DEPTH + 0.3)):
        face = said[f"{which} face of the sheet in a, event 1"]
        assert face.value == pytest.approx(z, abs=0.025)
        assert (face.says, face.nominal) == ("as-predicted", None)


@pytest.fixture(scope="module")
def clean():
    return scans.scan(notched, LOW, HIGH, voxel=VOXEL)


def test_no_sheet_in_the_scan_is_no_open_passage(tmp_path, part, clean):
    """A scan that is not known to show the thinnest sheet proves nothing open (REFERENCES B4)."""
    result, found = scanned(tmp_path, part, clean)
    assert (result.passages[0].state, found.state) == ("blocked", "undetermined")
    assert found.low_mm == 0.0
    assert found.against == "not-told"
    assert "can leave a sheet of" in found.reasons[0]
    assert result.scan.thinnest_sheet_mm > 0.1


def test_a_scan_that_would_show_the_sheet_contradicts_the_event(tmp_path, part, clean):
    """Predicted and measured stand side by side; nothing becomes more open: row 2."""
    result, found = scanned(tmp_path, part, clean, thinnest_shown=0.1)
    passage = result.passages[0]
    assert (passage.state, found.state, found.against) == ("blocked", "open", "contradicts")
    assert found.low_mm < 3.0 < found.high_mm
    assert found.low_mm > 2.75
    assert result.disposition.recommendation == "undetermined"
    assert result.disposition.rows[0] == 2
    assert "the part contradicts the event as told" in result.disposition.reasons[0]
    assert result.exit_status == 3


def test_a_thinnest_sheet_is_that_of_the_powder_bed(tmp_path, part, clean):
    """REFERENCES-3 A5, computed there: phi 0.5, melt depth 100 um, layers of 50 um."""
    for layers, microns in ((1, 75), (2, 138), (3, 194), (4, 247)):
        path = make.write_case(
            tmp_path,
            part,
            make.passage([4, 4, 0], [4, 4, 8], 1.5, 2.5),
            make.plane(SHEET, layers, penetration=0.1, packing=0.5),
            layer=0.05,
        )
        assert 1e3 * thinnest_sheet(prepare(read_case(path))) == pytest.approx(microns, abs=0.6)


@pytest.mark.parametrize(
    ("keys", "words"),
    [
        ({"mesh": "none.stl"}, r"\[scan\] mesh: found 'none.stl', expected a file that exists"),
        ({"uncertainty": -0.1}, r"\[scan\] uncertainty: found -0.1"),
        ({"thinnest_shown": 0.0}, r"\[scan\] thinnest_shown: found 0.0"),
        ({"unit": "mn"}, r"\[scan\] unit: found 'mn'"),
        ({"voxels": 3}, r"\[scan\] voxels"),
    ],
)
def test_keys_that_cannot_be_are_refused(tmp_path, part, nominal, keys, words):
    with pytest.raises(CaseError, match=words):
        case_of(tmp_path, part, nominal, **keys)


def test_an_open_scan_is_refused_with_its_file(tmp_path, part, nominal):
    with pytest.raises(PartError, match=r"scan\.stl: .*open"):
        make.judged(case_of(tmp_path, part, nominal[5:]))


def test_a_scan_that_lacks_a_mouth_tells_nothing_of_its_passage(tmp_path, part):
    half = shapes.soup(part - shapes.block([-1, -1, 6], [13, 10, 9]))
    result, found = scanned(tmp_path, part, half, thinnest_shown=0.1)
    assert found.state == "undetermined"
    assert found.reasons == ("a outlet is not in the scan",) or "a outlet" in found.reasons[0]
    assert any("does not show" in notice for notice in result.notices)


def test_metal_before_a_mouth_is_not_cut_away_and_called_open(tmp_path, part):
    """The face around a mouth is cut plane: what stands in front of the mouth must not go so."""
    shut = shapes.soup(part + shapes.block([2.0, 2.0, 7.9], [6.0, 6.0, 8.2]))
    _, found = scanned(tmp_path, part, shut, thinnest_shown=0.1)
    assert found.state == "undetermined"
    assert found.reasons == ("metal stands in or before a outlet",)


def test_a_sheet_of_one_layer_among_three_is_no_sheet_of_three(tmp_path):
    """Layers 9 to 11, of which only 9 is metal under the bore: phi (t + p) = 0.45 x 0.2 mm.

    A scan that shows 0.2 mm does not show that one.
    """
    part = (
        shapes.block(LOW, HIGH)
        - shapes.bore([4, 4, 1], [4, 4, 9], 1.5)
        - shapes.bore([-1, 4, 2.5], [4, 4, 2.5], 1.4)
        - shapes.block([9, 6, 6], [13, 10, 9])
    )
    ends = make.passage([0, 4, 2.5], [4, 4, 8], 1.4, 2.5)
    ends["inlet"]["normal"], ends["outlet"]["radius"] = [-1, 0, 0], 1.5
    stray = make.sheet(5.0, 3, from_layer=9, penetration=0.1)
    scan = {"mesh": "scan.stl", "uncertainty": 0.05, "placed": True, "thinnest_shown": 0.2}
    path = make.write_case(tmp_path, part, ends, stray, meshes={"scan": part}, scan=scan)
    result = make.judged(read_case(path))
    assert result.scan.thinnest_sheet_mm == pytest.approx(0.45 * 0.2)
    passage = result.passages[0]
    assert (passage.state, passage.scanned.state) == ("blocked", "undetermined")


def moved_above(part, along, sheet=SHEET, cut=None):
    """The part whose upper piece has moved, exact; `cut`: it ends there."""
    low = part ^ shapes.block([-9, -9, -9], [19, 19, sheet])
    high = (part ^ shapes.block([-9, -9, sheet], [19, 19, cut or 19])).translate(along)
    return low + high


@pytest.mark.parametrize("step", [0.6, *shared.more(0.3)])
def test_a_step_is_measured_however_far_beyond_the_noise(part, nominal, step):
    """What has moved is no outlier, though most of the scan lies right (analytic)."""
    soup = shapes.soup(moved_above(part, (step, 0.0, 0.0)))
    found = fit(Surface.of(nominal), sampled(soup, 5000), AS_IT_IS, ((SHEET - 0.6, SHEET + 0.6),))
    np.testing.assert_allclose(-found.moves[1], [step, 0.0, 0.0], atol=1e-3)
    assert found.left_out.max() < 0.1


@pytest.fixture(scope="module")
def twice(tmp_path_factory, part):
    """Two sheets 0.8 mm apart, each with an offset of 0.2 mm, as told and as scanned."""
    shifted = moved_above(moved_above(part, (0.2, 0.0, 0.0)), (0.2, 0.0, 0.0), SHEET + 0.8)
    strays = [make.sheet(z, 2, penetration=0.1, resume_shift=[0.2, 0.0]) for z in (4.0, 4.8)]
    path = make.write_case(
        tmp_path_factory.mktemp("twice"),
        part,
        make.passage([4, 4, 0], [4, 4, 8], 1.5, 2.0),
        strays,
        meshes={"scan": shifted},
        scan={"mesh": "scan.stl", "uncertainty": 0.05, "placed": True},
    )
    return make.judged(read_case(path))


def test_sheets_with_nothing_between_them_make_one_step(twice):
    """The offsets add up, and what is measured above both is what the two leave."""
    (step,) = twice.scan.steps
    assert step.stray == 1
    assert step.moved_mm[0] == pytest.approx(0.4, abs=1e-3)
    said = {reading.where: reading for reading in twice.readings}
    assert said["offset along x above event 2"].predicted == pytest.approx((0.4, 0.4))
    assert not any(reading.contradicts for reading in twice.readings)


def test_a_scan_cut_off_a_little_measures_no_growth(tmp_path, part):
    """Its cut lies where a face would be if the part had shrunk: not told."""
    soup = shapes.soup(moved_above(part, (0.0, 0.0, 0.0), cut=7.0))
    result, _ = scanned(tmp_path, part, soup)
    assert result.scan.steps[0].moved_mm[2] is None
    assert result.scan.missing_low_mm[2] > 7.0


def test_a_passage_whose_walls_are_not_in_the_scan_is_not_told(tmp_path):
    """A U whose bend the scan lacks, its legs shut there: cut off, not blocked."""
    bent = shapes.block(LOW, (12, 9, 12)) - shapes.block([9, 6, 10], [13, 10, 13])
    for start, end in (([3, 4, -1], [3, 4, 9]), ([8, 4, -1], [8, 4, 9]), ([2, 4, 9], [9, 4, 9])):
        bent = bent - shapes.bore(start, end, 1.2)
    cut = (bent ^ shapes.block([-1, -1, -1], [13, 10, 7.5])) + shapes.block(
        [0, 0, 7.2], [12, 9, 7.5]
    )
    ends = make.passage([3, 4, 0], [8, 4, 0], 1.2, 2.0)
    ends["inlet"]["normal"] = ends["outlet"]["normal"] = [0, 0, -1]
    scan = {"mesh": "scan.stl", "uncertainty": 0.05, "placed": True, "thinnest_shown": 0.1}
    keys = {"meshes": {"scan": cut}, "scan": scan}
    result = make.checked(tmp_path, bent, ends, make.plane(11.0, 3, penetration=0.1), **keys)
    found = result.passages[0].scanned
    assert (found.state, found.against) == ("undetermined", "not-told")
    assert found.reasons == ("the scan does not show all of its walls",)
    assert (found.low_mm, found.high_mm) == (0.0, None)  # of the nominal bore nothing follows


def test_another_event_is_judged_without_the_scan(tmp_path, part, nominal):
    """What the part shows contradicts one event, never all that are suspected."""
    checked = prepare(case_of(tmp_path, part, nominal))
    assert checked.case.scan is not None
    assert with_strays(checked, checked.case.stray).case.scan is None
