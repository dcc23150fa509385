"""[scan] volume: formats, refusals, blur, sheets weighed by grey sums, passages (made volumes)."""

from dataclasses import replace
from functools import cache

import make
import numpy as np
import pytest
import scans
import shapely
import shapes
import shared
import tifffile
import volumes
from test_scanned import HIGH, LOW, SHEET, notched

from clearance.api import examine
from clearance.case.read import read_case
from clearance.case.scan import ScanTable
from clearance.errors import CaseError, PartError
from clearance.passages.crossings import Crossing
from clearance.readings.scan_sheets import heights
from clearance.report.scan import scan_lines
from clearance.scanned import greys
from clearance.scanned.field_of_view import viewed
from clearance.scanned.from_volume import _Filling, narrower
from clearance.scanned.grey_sum import weighed
from clearance.scanned.greys import (
    Field,
    Greys,
    averaged,
    classes,
    half_grey,
    thinnest_shown,
)
from clearance.scanned.laid import laid
from clearance.scanned.pose import Pose
from clearance.scanned.registration import ScanError
from clearance.scanned.volume import Mapped, Volume, read_volume

VOXEL = 0.2
BLUR = np.hypot(
    0.7 * VOXEL, VOXEL / np.sqrt(12.0)
)  # what `scans.grey` blurs, a voxel's width in it

# ---- files ---------------------------------------------------------------------------------------

SMALL = (np.arange(9 * 10 * 11).reshape(9, 10, 11) % 120).astype(float) / 120.0  # [x, y, z]


def table(*files, **keys):
    return ScanTable.model_validate(
        {"volume": [*map(str, files)], "voxel": [0.1, 0.2, 0.3], **keys}
    )


def whole(*files, **keys):
    found = read_volume(table(*files, **keys))
    return found.window(np.zeros(3, int), found.shape)


PACKED = [(kind, packing) for kind in ("uint8", "uint16", "float32") for packing in (None, "zlib")]
PACKED += [("int16", None), ("uint32", "zlib"), ("uint16", "lzw")]


@pytest.mark.parametrize(("kind", "packing"), PACKED)
@pytest.mark.parametrize("order", ["<", ">"])
def test_every_kind_of_tiff_gives_the_same_greys(tmp_path, kind, packing, order):
    path = volumes.write(tmp_path / "v.tif", SMALL, kind, compression=packing, byteorder=order)
    expected = volumes.numbers(SMALL, kind).astype(np.float32)
    found = read_volume(table(path))
    np.testing.assert_array_equal(found.window(np.zeros(3, int), found.shape), expected)
    some = found.window(np.array([2, 3, 4]), np.array([5, 9, 6]))
    np.testing.assert_array_equal(some, expected[2:5, 3:9, 4:6])
    assert isinstance(found.slices, Mapped) == (packing is None)  # windows only, where it can


@pytest.mark.parametrize("kind", ["uint8", "int16", "uint32", "float32", "float64"])
@pytest.mark.parametrize("order", ["little", "big"])
def test_bare_numbers_are_read_as_told(tmp_path, kind, order):
    mark = {"little": "<", "big": ">"}[order]
    path = volumes.write_bare(tmp_path / "v.raw", SMALL, kind, mark)
    found = whole(path, shape=[9, 10, 11], type=kind, byte_order=order)
    np.testing.assert_array_equal(found, volumes.numbers(SMALL, kind).astype(np.float32))


def test_slices_are_stacked_and_axes_turned_over(tmp_path):
    greys = volumes.numbers(SMALL)
    for n in range(11):
        tifffile.imwrite(tmp_path / f"s_{n + 8}.tif", greys[:, :, n].T, compression="zlib")
    files = [tmp_path / f"s_{n + 8}.tif" for n in range(11)]
    np.testing.assert_array_equal(whole(*files), greys)
    turned = whole(*files, reversed_axes=["y", "z"])
    np.testing.assert_array_equal(turned, greys[:, ::-1, ::-1])


def test_slices_written_in_two_lots_are_all_read(tmp_path):
    greys = volumes.numbers(SMALL)
    with tifffile.TiffWriter(tmp_path / "v.tif") as file:
        for part in (greys[..., :5], greys[..., 5:]):
            file.write(part.transpose(), photometric="minisblack")
    np.testing.assert_array_equal(whole(tmp_path / "v.tif"), greys)


def test_a_tiff_that_cannot_be_a_volume_is_one_clear_line(tmp_path):
    whole_file = volumes.write(tmp_path / "v.tif", SMALL)
    bytes_of_it = whole_file.read_bytes()
    (tmp_path / "cut.tif").write_bytes(bytes_of_it[: len(bytes_of_it) // 2])
    (tmp_path / "short.tif").write_bytes(bytes_of_it[:-400])
    (tmp_path / "text.tif").write_text("grey")
    tifffile.imwrite(tmp_path / "rgb.tif", np.zeros((9, 9, 3), "uint8"), photometric="rgb")
    tifffile.imwrite(tmp_path / "one.tif", np.zeros((20, 20), "uint8"))
    tifffile.imwrite(tmp_path / "other.tif", np.zeros((20, 21), "uint8"))
    both = np.stack([volumes.numbers(SMALL).transpose()] * 2, 1)
    tifffile.imwrite(
        tmp_path / "two.tif", both, photometric="minisblack", metadata={"axes": "ZCYX"}
    )
    for files, words in {
        ("two.tif",): "found axes ZCYX, expected slices, rows and columns alone",
        ("cut.tif",): "cannot be read as a volume|cut off",
        ("short.tif",): "cannot be read as a volume|cut off",
        ("text.tif",): "cannot be read as a volume",
        ("rgb.tif",): "expected grey values",
        ("one.tif",): "20 x 20 x 1 voxels",
        ("one.tif", "other.tif"): "21 x 20 pixels of uint8, expected 20 x 20 pixels of uint8",
    }.items():
        with pytest.raises(PartError, match=words) as fault:
            whole(*(tmp_path / name for name in files))
        assert "\n" not in str(fault.value)


def test_slices_too_large_to_be_held_are_one_clear_line(tmp_path):
    """Nine packed pages that say they are 20000 x 20000 pixels, and memory that runs out."""
    path = volumes.write(tmp_path / "v.tif", SMALL[:, :, :9], metadata=None)
    with tifffile.TiffFile(path, mode="r+b") as file:
        for page in file.pages:
            for name in ("ImageWidth", "ImageLength", "RowsPerStrip"):
                page.tags[name].overwrite(20_000)
    with pytest.raises(PartError, match=r"v\.tif: a slice has 20000 x 20000 voxels") as fault:
        read_volume(table(path))
    assert "\n" not in str(fault.value)

    class Full(Mapped):
        def read(self, z, y, x):
            raise MemoryError

    full = Volume(Full(np.zeros((9, 9, 9), np.uint8)), np.ones(3))
    with pytest.raises(ScanError, match="9 x 9 x 9 of its voxels do not fit into memory"):
        averaged(full)


RAW = {"volume": "v.raw", "voxel": [0.2, 0.2, 0.2], "shape": [9, 10, 11], "type": "uint8"}


@pytest.mark.parametrize(
    ("keys", "words"),
    [
        ({"mesh": "part.stl", "volume": "v.raw"}, "found both mesh and volume"),
        ({"uncertainty": 0.1}, "found neither mesh nor volume"),
        ({"mesh": "part.stl"}, "uncertainty: the key is missing"),
        ({"mesh": "part.stl", "uncertainty": 0.1, "voxel": [1, 1, 1]}, "no such key with mesh"),
        ({**RAW, "unit": "mm"}, "no such key with volume"),
        ({**RAW, "shape": [9, 10, 12]}, r"9 x 10 x 12 of uint8 are 1080 bytes, v.raw has 990"),
        ({**RAW, "type": "uint16"}, "byte_order: the key is missing, expected 'little' or 'big'"),
        ({**RAW, "voxel": [0.2, 0.0, 0.2]}, "three lengths above 0"),
        ({"volume": "v.raw"}, "voxel: the key is missing"),
        ({"volume": "none.tif", "voxel": [1, 1, 1]}, "a file that exists"),
        ({"volume": "*.bmp", "voxel": [1, 1, 1]}, "a pattern that files match"),
        ({"volume": "slices", "voxel": [1, 1, 1]}, r"every slice from 1 to 9; 3 missing: 4 to 6"),
        ({"volume": "slices/s1.tif", "voxel": [1, 1, 1], "type": "uint8"}, "no such key with TIFF"),
        ({"volume": ["v.raw", "part.stl"], "voxel": [1, 1, 1]}, "slices that are TIFF files"),
    ],
)
def test_keys_of_a_volume_that_do_not_go_together_are_refused(tmp_path, keys, words):
    volumes.write_bare(tmp_path / "v.raw", SMALL, "uint8")
    (tmp_path / "slices").mkdir()
    for n in (1, 2, 3, 7, 8, 9):
        (tmp_path / f"slices/s{n}.tif").touch()
    path = make.write_case(
        tmp_path,
        shapes.block(LOW, HIGH),
        make.passage([4, 4, 0], [4, 4, 8], 1.5, 2.5),
        scan=keys,
    )
    with pytest.raises(CaseError, match=words):
        read_case(path)


# ---- grey sums -----------------------------------------------------------------------------------

BORE, TALL = 2.0, 4.0


def bore_with(thick_mm, noise, seed, blur=0.7, voxel=0.15):
    """A round bore of 4 mm in metal with a sheet in it; blurred, noisy: a Volume, 0 to 1."""
    count = np.array([40, 40, int(TALL / voxel)])
    axes = [voxel * (np.arange(n) + 0.5) for n in count]
    x, y, z = np.meshgrid(*axes, indexing="ij")
    off = BORE - np.hypot(x - 3.0, y - 3.0)
    below, above = TALL / 2, TALL / 2 + thick_mm
    slab = np.clip((z + voxel / 2 - below) / voxel, 0, 1) - np.clip(
        (z + voxel / 2 - above) / voxel, 0, 1
    )
    metal = np.maximum(np.clip(0.5 - off / voxel, 0, 1), slab)
    values = scans.ndimage.gaussian_filter(metal, blur)
    values = values + noise * np.random.default_rng(seed).normal(size=values.shape)
    shown = Mapped(values.astype(np.float32).transpose())
    return Volume(shown, np.full(3, voxel))


def thickness(thick_mm, noise=0.1, seed=0):
    blur = 0.15 * np.hypot(0.7, 1 / np.sqrt(12.0))
    greys = Greys(0.0, 1.0, noise, noise, blur, blur)
    spot = Pose(np.eye(3), np.zeros(3))
    low, high = np.array([0.3, 0.3]), np.array([5.7, 5.7])
    volume = bore_with(thick_mm, noise, seed)
    found = weighed(volume, greys, spot, (1.9, 2.3), low, high, 0.08, noise)
    x, y = (low[k] + found.pitch_mm * np.arange(found.void.shape[k]) for k in (0, 1))
    inside = np.hypot(*np.meshgrid(x - 3.0, y - 3.0, indexing="ij")) < BORE
    return found, found.mean(inside)


@pytest.mark.parametrize("truth", [0.03, 0.05, 0.1, 0.15, 0.2])
def test_a_sheet_is_weighed_by_its_grey_values(truth):
    """Closed form: the sum over a column is the thickness, whatever the blur (REFERENCES B6)."""
    found, (thick, u) = thickness(truth, noise=0.0)
    assert thick == pytest.approx(truth, abs=2e-3)
    _, (noisy, u) = thickness(truth)
    assert noisy == pytest.approx(truth, abs=0.01)
    assert 0.001 < u < 0.02
    assert not found.empty(truth).any()


def test_an_empty_bore_is_empty_and_one_with_powder_is_not_judged():
    found, (thick, u) = thickness(0.0)
    middle = tuple(n // 2 for n in found.void.shape)
    assert abs(thick) < 3.0 * u
    assert found.empty(0.08)[middle]
    half = bore_with(0.0, 0.02, 0)
    half.slices.array[:12] += 0.5  # powder packs to a half, under the sheet
    greys = Greys(0.0, 1.0, 0.02, 0.02, 0.11, 0.11)
    ends = np.array([0.3, 0.3]), np.array([5.7, 5.7])
    shut = weighed(half, greys, Pose(np.eye(3), np.zeros(3)), (1.9, 2.3), *ends, 0.08, 0.02)
    assert not shut.empty(0.08).any()


def test_two_standard_uncertainties_hold_the_truth():
    """Plain run: 10 drawn noises; 200 with `-m more`, of which at least 180."""
    assert held(range(10)) >= 8


@pytest.mark.more
def test_two_standard_uncertainties_hold_the_truth_in_180_of_200():
    assert held(range(200)) >= 180


def held(seeds):
    inside = 0
    for seed in seeds:
        truth = np.random.default_rng(1000 + seed).choice([0.03, 0.05, 0.1, 0.2])
        _, (thick, u) = thickness(truth, 0.1, seed)
        inside += abs(thick - truth) <= 2.0 * u
    return inside


def test_the_loss_limit_is_that_of_a_blurred_slab():
    """REFERENCES B4: a threshold of 25 % loses a slab under 0.637 s; erf(t / (2 sqrt(2) s))."""
    quiet = Greys(0.0, 1.0, 0.0, 0.0, 1.0, 1.0)
    assert thinnest_shown(quiet, 0.0) == pytest.approx(0.637, abs=1e-3)
    beside = thinnest_shown(quiet, 0.5)
    assert beside > 0.637
    noisy = Greys(0.0, 1.0, 0.05, 0.05, 1.0, 1.0)
    assert thinnest_shown(noisy, 0.5) > beside
    assert thinnest_shown(Greys(0.0, 1.0, 0.3, 0.3, 1.0, 1.0), 0.5) is None


BAR = shapely.box(2.9, 0.0, 3.1, 6.0)


@pytest.mark.parametrize(
    ("metal", "narrow"),
    [
        (BAR, True),  # 0.2 mm across the bore: a disc of 0.6 mm averages it away
        (shapely.box(1.0, 0.0, 3.0, 6.0), False),  # half of the bore
        (shapely.box(0.0, 0.0, 6.0, 6.0) - shapely.Point(3.3, 3.0).buffer(1.5), False),  # a lens
        (shapely.Point(3.0, 3.0).buffer(0.3), True),  # a pin
    ],
)
def test_metal_that_is_narrower_than_the_disc_is_never_proven_absent(metal, narrow):
    """0.08 mm of a bar sum to a mean over the disc that looks like an empty bore."""
    bore = shapely.Point(3.0, 3.0).buffer(BORE)
    opening = bore - metal
    crossing = Crossing(0, 2.0, (3, 3, 2), bore.area, opening.area, 0.5, 1.0, 1.9, 2.1, bore,
                        opening, 2.0)  # fmt: skip
    assert narrower(crossing, 0.6) is narrow
    found, _ = thickness(0.0)
    assert found.empty(0.08).any()
    assert replace(found, narrow=narrow).empty(0.08).any() == (not narrow)


def plain(void, metal, noise=0.05):
    """A block of metal in air, 30 voxels a side, quiet or not: grey values."""
    rng = np.random.default_rng(3)
    values = np.where(np.indices((30, 30, 30)).max(0) < 18, metal, void).astype(np.float32)
    return values + (metal - void) * noise * rng.normal(size=values.shape)


def test_metal_that_is_cut_off_is_refused():
    """At half of the true step: half grey is then a quarter of it, 0.67 of the blur farther out."""
    values = plain(20.0, 500.0).clip(0.0, 255.0).astype(np.float32)
    inside = np.argwhere(values == 255.0)[::40] + 0.5
    air = np.argwhere(values < 100.0)[::40] + 0.5
    off = np.repeat([9.0, -9.0], [len(air), len(inside)])
    field = Field(values, np.ones(3), 1)
    with pytest.raises(ScanError, match="greatest grey value, 255"):
        classes(field, np.concatenate([air, inside]), off, 3.0)
    sound = replace(field, values=plain(20.0, 200.0))
    assert classes(sound, np.concatenate([air, inside]), off, 3.0).metal == pytest.approx(
        200,
        abs=4,  # chosen among the brighter
    )


def test_void_that_is_cut_off_is_refused():
    """A sheet of 0.08 mm whose void is cut off at 0.2 of the step sums to 0.02 mm."""
    cut = bore_with(0.08, 0.02, 0)
    cut = replace(cut, slices=Mapped(cut.slices.array.clip(0.2)))
    seen, ends = Greys(0.2, 1.0, 0.02, 0.02, 0.11, 0.11), (np.full(2, 0.3), np.full(2, 5.7))
    found = weighed(cut, seen, Pose(np.eye(3), np.zeros(3)), (1.9, 2.3), *ends, 0.08, 0.02)
    assert np.median(found.total[found.void]) == pytest.approx(0.02, abs=0.01)
    values = plain(-20.0, 180.0).clip(0.0, None).astype(np.float32)
    inside, air = (np.argwhere(chosen)[::40] + 0.5 for chosen in (values > 90.0, values < 90.0))
    off = np.repeat([9.0, -9.0], [len(air), len(inside)])
    with pytest.raises(ScanError, match="void has the least grey value, 0: cut off"):
        classes(Field(values, np.ones(3), 1), np.concatenate([air, inside]), off, 3.0)


def of_values(values):
    """A volume of voxels of 1 mm."""
    return Volume(Mapped(np.ascontiguousarray(values.transpose(), np.float32)), np.ones(3))


def in_air(kind="float32"):
    """A block in air, 36 voxels a side: air at 60, metal at 180, and noise."""
    values = 60.0 + 6.0 * np.random.default_rng(3).normal(size=(36, 36, 36))
    values[10:26, 10:26, 10:26] += 120.0
    return np.rint(values) if kind == "uint8" else values


def disc(axis, radius=0.5):
    """Voxels of a round field of view along an axis."""
    off = np.delete(np.indices((36, 36, 36)), axis, 0) - 17.5
    return np.hypot(*off) <= 36 * radius


PADDED = {
    "a disc of 0": lambda v: np.where(disc(2), v, 0.0),
    "across, of what its type has least": lambda v: np.where(disc(0), v, -32768.0),
    "a margin": lambda v: np.pad(v[4:-4, 4:-4, 4:-4], 4),
    "no number": lambda v: np.where(disc(2), v, np.nan),
    "white": lambda v: np.where(disc(1), v, 255.0),
    "two corners of it": lambda v: np.where(disc(2, 0.6), v, 0.0)[:24],
}


@pytest.mark.parametrize(
    ("padding", "kind"), [("a disc of 0", "uint8"), *((one, "float32") for one in PADDED)]
)
def test_padding_around_a_round_field_of_view_is_not_void(padding, kind):
    """Air at 60, metal at 180; outside of the field of view nothing is known, metal or void."""
    given = PADDED[padding](in_air(kind))
    outside = np.isin(given, (0.0, 255.0, -32768.0)) | np.isnan(given)
    field = averaged(viewed(of_values(given)))
    np.testing.assert_array_equal(field.unknown, outside)
    assert half_grey(field) == pytest.approx(120.0, abs=2.0)
    place = np.argwhere(outside)[0] + 0.5
    assert np.isnan(field.at(place[None])).all()
    assert np.isfinite(field.at(np.array([[17.5, 17.5, 17.5]]))).all()


NOT_PADDED = {
    "nothing": lambda v: v,
    "void that is cut off at 0": lambda v: (v - 66.0).clip(0.0, None),
    "void without noise": lambda v: np.where(v < 120.0, 0.0, 180.0),
}


@pytest.mark.parametrize("kind", NOT_PADDED)
def test_void_that_reaches_the_border_is_not_padding(kind):
    assert viewed(of_values(NOT_PADDED[kind](in_air("uint8")))).view is None


def test_void_at_0_inside_the_field_of_view_was_scanned():
    """A hole that is cut off at 0, out to the border, where padding is 0 too."""
    values = in_air()
    values[16:20, 16:20] = 0.0
    field = averaged(viewed(of_values(np.where(disc(2), values, 0.0))))
    np.testing.assert_array_equal(field.unknown, ~disc(2))


def test_what_was_not_scanned_may_be_metal_and_need_not_be():
    """A gap of no numbers across a bore, 3 voxels: in the lower end metal, in the higher none."""
    values = in_air()
    values[16:20, 16:20] -= np.where(values[16:20, 16:20] > 120.0, 120.0, 0.0)
    values[14:22, 14:22, 16:19] = np.nan
    field = averaged(of_values(values))
    box = np.array([[10.0] * 3, [26.0] * 3])
    filling = _Filling(field, Pose(np.eye(3), np.zeros(3)), box, [], [], 0.0)
    middle = np.array([17.8, 18.1])  # on no edge
    for soup, faces in ((filling.surface(90.0, 180.0, False), 2), (field.surface(150.0), 0)):
        assert len(heights(soup, middle)) == faces
    assert field.values[18, 18, 17] == pytest.approx(np.nanmin(values), rel=1e-6)  # as before


def test_a_window_that_nothing_was_scanned_in_is_one_clear_line():
    with pytest.raises(ScanError, match="no grey value is left"):
        averaged(of_values(np.full((9, 9, 9), np.nan)))


# ---- through the case file -----------------------------------------------------------------------


def part():
    bore = shapes.bore([4, 4, -1], [4, 4, 9], 1.5)
    return shapes.block(LOW, HIGH) - bore - shapes.block([9, 6, 6], [13, 10, 9])


@cache
def quiet(**keys):
    """A volume of the part turned by 2 degrees, without noise."""
    values, _ = scans.grey(
        lambda p: notched(p, **keys),
        LOW,
        HIGH,
        rotation=scans.turned([1, 2, 3], 2.0),
        voxel=VOXEL,
        noise=0,
    )
    return volumes.hardened(values, VOXEL)


def greyed(seed=1, **keys):
    values = quiet(**keys)
    return values + 0.05 * np.random.default_rng(seed).normal(size=values.shape)


def case_of(folder, values, need=2.0, **scan):
    scan = {"voxel": [VOXEL] * 3, "placed": True, **scan}
    if "volume" not in scan:
        scan["volume"] = volumes.write(folder / "scan.tif", values, compression=None).name
    path = make.write_case(
        folder,
        part(),
        make.passage([4, 4, 0], [4, 4, 8], 1.5, need),
        make.plane(SHEET, 1, penetration=0.1),
        scan=scan,
    )
    return read_case(path)


@pytest.fixture(scope="module")
def drawn(tmp_path_factory):
    """The part as drawn, checked once."""
    case = case_of(tmp_path_factory.mktemp("drawn"), np.zeros((9, 9, 9)))
    return examine(replace(case, scan=None), verify=False)


@pytest.fixture
def judged(drawn, tmp_path):
    """A volume laid on the part; its passage."""

    def look(values, **scan):
        own = case_of(tmp_path, values, **scan).scan
        checked = replace(drawn.checked, case=replace(drawn.checked.case, scan=own))
        found = laid(checked, drawn.checks, drawn.result.passages, lambda _: None)
        return found.result, found.passages[0]

    return look


@pytest.fixture(scope="module")
def empty(tmp_path_factory):
    """In a round field of view, as padding of 0 around it (`volumes.numbers`: air at 60)."""
    values, folder = greyed(), tmp_path_factory.mktemp("empty")
    middle = [0.5 * (n - 1) for n in values.shape]
    off = [np.arange(n) - m for n, m in zip(values.shape, middle, strict=True)]
    inside = np.hypot(*np.meshgrid(*off[:2], indexing="ij")) < np.hypot(*middle[:2]) - 6.0
    volumes.write(folder / "v.tif", np.where(inside[..., None], values, -0.5), compression=None)
    result = make.judged(case_of(folder, None, volume="v.tif"))
    return result, result.passages[0].scanned


def test_an_empty_bore_is_open_only_by_its_grey_sums(empty):
    result, found = empty
    assert result.scan.turned_deg == pytest.approx(2.0, abs=0.015)
    told = result.scan.volume
    assert told.blur_mm == pytest.approx(BLUR, rel=0.08)
    assert told.blur_measured
    assert told.not_scanned == pytest.approx(0.053, abs=0.005)
    assert told.noise == pytest.approx(0.05, rel=0.1)
    assert told.shown_mm > result.scan.thinnest_sheet_mm  # no threshold would do
    assert (found.state, found.against) == ("open", "contradicts")
    assert found.low_mm <= 3.0 <= found.high_mm  # as the volume was made: analytic
    crossing = found.crossings[0]
    assert abs(crossing.sheet_mm) < 3.0 * crossing.sheet_u_mm
    said = "\n".join(scan_lines(result))
    assert "blur 0.14" in said
    assert "measured on the part's own faces" in said
    assert "grey values sum to 0.0" in said
    assert "; 5 % of its voxels hold nothing that was scanned" in said


@pytest.mark.parametrize("thick", [0.09, *shared.more(0.06)])
def test_a_sheet_that_a_threshold_loses_is_not_open_and_its_step_is_measured(
    tmp_path, judged, monkeypatch, thick
):
    """As big endian numbers; turned by 2 degrees, and 0.15 mm aside above the sheet (analytic).

    Taken for a large one: laid on the part by cubes of voxels, the passage judged in a window.
    """
    monkeypatch.setattr(greys, "MOST", values_in_cubes := 30_000)
    # At this height voxels hold what the sheet is thick; beside it `scans.grey`, which takes the
    # distance to one face for a voxel's share, makes thin sheets up to twice as heavy.
    values = greyed(sheet_mm=thick, step=0.15, depth=0.0)
    middle = values[20:27, 22:27, 20:32]  # around the bore's axis, through the sheet
    assert (values[23, 24, 18:30] < 0.5).all()
    assert middle.max() < 0.75
    volumes.write_bare(tmp_path / "v.raw", values, "uint16", ">", grow=100.0)
    shape = [int(n) for n in values.shape]
    keys = {"volume": "v.raw", "shape": shape, "type": "uint16", "byte_order": "big"}
    told, found = judged(None, **keys)
    assert found.state != "open"
    assert found.low_mm == 0.0
    assert found.against != "contradicts"
    assert found.crossings[0].sheet_mm == pytest.approx(thick, abs=0.015)
    assert told.turned_deg == pytest.approx(2.0, abs=0.015)
    assert told.steps[0].moved_mm[0] == pytest.approx(0.15, abs=0.005)
    assert values.size > 6 * values_in_cubes
    assert told.volume.averaged == 1  # of the window
    assert told.volume.blur_mm == pytest.approx(BLUR, rel=0.08)  # in the voxels of the file


def test_a_blurred_volume_with_noise_never_opens_what_it_cannot_see(judged):
    """With a blur given as four times as wide no sum is quiet near walls: not open."""
    assert judged(greyed(seed=2), blur=0.6, need=2.8)[1].state != "open"


REFUSED = {
    "mirrored": ({"reversed_axes": ["y"]}, "mirror image"),
    "wrong voxel size": (
        {"voxel": [0.202, 0.202, 0.202]},
        r"larger than the part, more than 0\.6\d %",  # 0.5 %, and what its faces scatter
    ),
    "wrong spacing along y": (
        {"voxel": [0.2, 0.203, 0.2]},
        r"own axes \(x [+-]0\.\d\d %, y \+1\.\d\d %.*spacing of its voxels along y is wrong",
    ),
}
PLAIN_REFUSAL = "wrong spacing along y"


@pytest.mark.parametrize(
    "kind", [PLAIN_REFUSAL, *shared.more(*(kind for kind in REFUSED if kind != PLAIN_REFUSAL))]
)
def test_what_cannot_be_laid_on_the_part_is_refused(judged, kind):
    keys, words = REFUSED[kind]
    with pytest.raises(PartError, match=words) as fault:
        judged(greyed(), **keys)
    assert "scan.tif" in str(fault.value)
    assert "\n" not in str(fault.value)


def test_grey_values_without_a_part_are_refused(judged):
    with pytest.raises(PartError, match="all the same"):
        judged(np.zeros((30, 30, 30)))


@pytest.mark.more
def test_metal_that_is_darker_than_air_is_refused(judged):
    with pytest.raises(PartError, match=r"scan\.tif: "):
        judged(1.0 - greyed())
