"""Pictures of a melted layer against every slice: made pictures whose slice is known.

A tower whose radius falls by 0.04 mm a layer over a foot, seen aslant, blurred, noisy, unevenly
lit. The homography is checked against scikit-image's.
"""

import json
import re

import make
import manifold3d as m3
import numpy as np
import pytest
import shapes
import shared
from click.testing import CliRunner
from PIL import Image
from scipy import ndimage
from skimage.transform import ProjectiveTransform

from clearance.axes import to_mesh
from clearance.cli.main import main
from clearance.errors import ClearanceError
from clearance.photo.picture import read_picture, read_points
from clearance.photo.plane import plane_of

LAYER, FALL = 0.1, 0.04
CAMERA = np.array([[5.2, 0.9, 110.0], [0.4, -5.6, 95.0], [0.0009, 0.0013, 1.0]])
"""From mm to pixels: about 0.19 mm a pixel, aslant and turned a little."""
SIZE = (190, 230)  # rows, columns
MARKS = np.array([[-14, -12], [13, -11], [12, 13], [-13, 12], [0, -13], [2, 12]], float)


def tower():
    """A foot of 1 mm, and a cone of radius 10 to 6 that stands off its middle, 10 mm high."""
    foot = shapes.block((-12, -11, 0), (11, 10.5, 1))
    cone = m3.Manifold.cylinder(10.0, 10.0, 6.0, 96).translate((0.5, -0.5, 1))
    return foot + cone - shapes.bore((-3, 2, -1), (-3, 2, 12), 1.5, segments=48)


def inside(number, x, y):
    """Where slice `number` is metal, by its drawing; x, y of the platform."""
    z = (number + 0.5) * LAYER
    hole = np.hypot(x + 3, y - 2) < 1.5
    if z < 1:
        return (x > -12) & (x < 11) & (y > -11) & (y < 10.5) & ~hole
    return (np.hypot(x - 0.5, y + 0.5) < 10 - FALL / LAYER * (z - 1)) & ~hole


def pictured(number, seed=0, step=60.0, noise=0.15, shape=SIZE, where=lambda x, y: (x, y)):
    """Grey values of a picture of a slice: three samples a pixel each way."""
    rows, columns = (np.arange(3 * n) / 3 - 1 / 3 for n in shape)
    py, px = np.meshgrid(rows, columns, indexing="ij")
    u, v, w = np.linalg.inv(CAMERA) @ np.stack([px.ravel(), py.ravel(), np.ones(px.size)])
    metal = inside(number, *where(u / w, v / w)).reshape(px.shape).astype(float)
    metal = metal.reshape(shape[0], 3, shape[1], 3).mean(axis=(1, 3))
    y, x = np.meshgrid(*(np.linspace(-1, 1, n) for n in shape), indexing="ij")
    lit = (90.0 + step * ndimage.gaussian_filter(metal, 0.8)) * (1 + 0.25 * x - 0.15 * y * y)
    scatter = np.random.default_rng(seed).normal(0.0, abs(step) * noise, shape)
    return np.clip(lit + scatter, 0, 255).astype(np.uint8)


def marks(off_mm=0.0, at=MARKS):
    """Lines of a file of points; the last one is off."""
    u, v, w = CAMERA @ np.column_stack([at, np.ones(len(at))]).T
    places = at.copy()
    places[-1, 0] += off_mm
    rows = [f"{a:.3f} {b:.3f} {x} {y}" for a, b, (x, y) in zip(u / w, v / w, places, strict=True)]
    return "# px py x y\n" + "\n".join(rows) + "  # the last\n"


@pytest.fixture(scope="module")
def case(tmp_path_factory):
    folder = tmp_path_factory.mktemp("photo")
    (folder / "points.txt").write_text(marks())
    return make.write_case(folder, tower(), make.passage((-3, 2, 0), (-3, 2, 11), 1.5, 2.0))


def asked(case, picture, *words, points="points.txt"):
    image = case.with_name("picture.png")
    Image.fromarray(picture).save(image)
    line = ["photo", str(image), str(case), "--points", str(case.with_name(points)), *words]
    return CliRunner().invoke(main, line)


def spans(found):
    numbers = [[int(n) for n in text.split("-")] for text in found["can_be"]]
    return {k for one in numbers for k in range(one[0], one[-1] + 1)}


@pytest.mark.parametrize(
    ("number", "seed", "step"),
    [(4, 1, 60.0), (75, 4, -45.0), *shared.more((30, 2, 60.0), (75, 3, 60.0))],
)
def test_the_slice_that_was_pictured_is_among_those_it_can_be(case, number, seed, step):
    """Edges to `edge_mm`: radii that differ by more than that and a cell are told apart."""
    said = asked(case, pictured(number, seed, step), "--json", "-")
    assert said.exit_code == 0, said.output
    found = json.loads(said.stdout)
    assert found["slices"] == 110
    assert found["residual_mm"] < 1e-3
    assert 0.15 < found["pixel_mm"] < 0.25
    can_be = spans(found)
    assert number in can_be
    if number < 10:  # the foot is one outline
        assert can_be == set(range(10))
    else:
        room = (found["edge_mm"] + 3 * found["pixel_mm"]) / FALL
        assert max(abs(k - number) for k in can_be) <= room
        assert abs(found["best"]["slice"] - number) <= 4
    overlaps = found["overlaps"]
    assert len(overlaps) == 110
    assert found["best"]["overlap"] == max(overlaps) > 0.97
    # by hand: a slice whose radius is 1 mm less has pi (r^2 - (r - 1)^2) less of its area
    if number == 75:
        radius = 10 - FALL * (number + 0.5 - 10)
        hole = 1.5**2
        share = ((radius - 1) ** 2 - hole) / (radius**2 - hole)
        assert overlaps[100] == pytest.approx(share, abs=0.02)


def test_words_and_a_reading_to_paste(case):
    said = asked(case, pictured(4), "--height", "7.5")
    assert "it can be slice 0 to 9, of 110 counted from 0" in " ".join(said.stdout.split())
    assert said.stdout.endswith(
        '\n[[reading]]\nkind = "photo"\nheight = 7.5    # mm above the platform: underside of the '
        'layer pictured\nslices = ["0-9"]\n'
    )


def test_a_part_of_a_plate_is_looked_for_where_it_stands(case):
    """Turned by 90 degrees and set aside: the picture is of the platform."""
    plate = case.with_name("plate.toml")
    plate.write_text(
        '[plate]\nname = "build"\nsize = [200, 200]\n[[part]]\nname = "tower"\n'
        'case = "case.toml"\nat = [0.7, 1.2]\nturn = 90\n'
    )

    def own(x, y):
        return y - 1.2, 0.7 - x

    picture = pictured(60, 5, where=own)
    assert 60 in spans(json.loads(asked(plate, picture, "--json", "-").stdout))
    aside = asked(case, picture, "--json", "-")  # as if it stood in the middle, not turned
    assert aside.exit_code == 2
    assert "metal would be brighter than powder here and darker there" in aside.stderr


def test_a_part_that_lies_otherwise_is_compared_as_it_was_built(case, tmp_path):
    """Its mesh lies on its side, x up: the picture has x and y of the platform, z above it."""
    up = (1.0, 0.0, 0.0)
    soup = to_mesh(shapes.soup(tower().translate((0, 0, 3))), up).astype("f4")
    ends = to_mesh([(-3, 2, 3), (-3, 2, 14)], up)
    part = {"build_direction": list(up), "platform_z": 3.0}
    lying = make.write_case(tmp_path, soup, make.passage(*ends, 1.5, 2.0), part=part)
    tmp_path.joinpath("points.txt").write_text(marks())
    picture = pictured(60, 5)
    found, same = (json.loads(asked(one, picture, "--json", "-").stdout) for one in (lying, case))
    assert 60 in spans(found)
    assert spans(found) == spans(same)
    assert found["overlaps"] == pytest.approx(same["overlaps"], abs=2e-3)
    untold = lying.read_text().replace("build_direction = [1.0, 0.0, 0.0]", "")
    lying.write_text(untold)
    assert asked(lying, picture, "--json", "-").exit_code == 2  # it would not stand there


def test_a_point_that_is_off_is_said_and_one_far_off_is_refused(case):
    case.with_name("off.txt").write_text(marks(0.4))
    found = json.loads(asked(case, pictured(4), "--json", "-", points="off.txt").stdout)
    assert 0.05 < found["residual_mm"] < 0.4  # shared out over all points
    assert found["edge_mm"] == pytest.approx(found["residual_mm"] + 2 * 0.19, abs=0.05)
    case.with_name("off.txt").write_text(marks(40.0))
    said = asked(case, pictured(4), points="off.txt")
    assert said.exit_code == 2
    assert re.search(r"error: \S+off\.txt: point \d lies \d+\.\d\d mm from where", said.stderr)


def test_what_shows_no_metal_is_refused(case):
    blank = np.random.default_rng(0).integers(80, 90, SIZE).astype(np.uint8)
    said = asked(case, blank)
    assert said.exit_code == 2
    assert "no step from powder to metal is seen" in said.stderr
    rows = [line.split() for line in marks().splitlines()[1:]]
    aside = [f"{px} {py} {float(x) + 300} {y}" for px, py, x, y, *_ in rows]
    case.with_name("aside.txt").write_text("\n".join(aside))
    said = asked(case, blank, points="aside.txt")
    assert said.exit_code == 2
    assert "of the parts' place lies in the picture, expected at least 50 %" in said.stderr


def test_the_homography_is_scikit_images():
    """ProjectiveTransform of scikit-image 0.25 (its documentation), fitted to the same points."""
    rng = np.random.default_rng(7)
    places = rng.uniform(-50, 50, (9, 2))
    u, v, w = CAMERA @ np.column_stack([places, np.ones(9)]).T
    pixels = np.column_stack([u / w, v / w]) + rng.normal(0, 0.3, (9, 2))
    plane = plane_of(np.hstack([pixels, places]), "points")
    other = ProjectiveTransform.from_estimate(places, pixels)
    there = rng.uniform(-50, 50, (20, 2))
    assert plane.to_pixels(there) == pytest.approx(other(there), abs=0.05)
    assert plane.off_mm == pytest.approx(
        np.linalg.norm(other.inverse(pixels) - places, axis=1), abs=0.01
    )
    exact = plane_of(np.hstack([pixels, places])[:4], "points")
    assert exact.off_mm == pytest.approx(np.zeros(4), abs=1e-6)


SQUARE = [(0, 0), (10, 0), (10, 10), (0, 10)]


@pytest.mark.parametrize(
    ("pixels", "places", "says"),
    [
        (SQUARE, [(0, 0), (10, 0), (20, 0), (0, 10)], "the places lie on a line"),
        ([(0, 0), (5, 0.01), (10, 0), (0, 10)], SQUARE, "the pixels lie on a line"),
        ([(3, 3)] * 4, SQUARE, "the pixels lie on a line"),
        (SQUARE, SQUARE, "the picture is mirrored"),
        ([(0, 10), (10, 0), (10, 10), (0, 0)], SQUARE, "no camera sees these points so"),
    ],
)
def test_points_of_no_picture_are_refused(pixels, places, says):
    with pytest.raises(ClearanceError, match=f"a.txt: {says}"):
        plane_of(np.hstack([pixels, places]).astype(float), "a.txt")


@pytest.mark.parametrize(
    ("text", "says"),
    [
        ("1 2 3 4\n" * 3, "found 3 points, expected 4 or more"),
        ("1 2 3 4\n1 2 3\n", ":2: found '1 2 3', expected four numbers, px py x y"),
        ("1,5 2 3 4\n", ":1: found '1,5 2 3 4', expected four numbers, px py x y; write a decimal"),
        ("1 2 3 nan\n", ":1: found '1 2 3 nan', expected four numbers"),
    ],
)
def test_slips_in_the_points_are_one_line(tmp_path, text, says):
    path = tmp_path / "points.txt"
    path.write_text(text)
    with pytest.raises(ClearanceError) as fault:
        read_points(path)
    assert str(fault.value).startswith(f"{path}")
    assert says in str(fault.value)


def test_what_is_no_picture_is_one_line(tmp_path):
    path = tmp_path / "a.png"
    for data in (b"", b"no picture", b"\x89PNG\r\n\x1a\n"):
        path.write_bytes(data)
        with pytest.raises(ClearanceError, match="cannot be read as a picture") as fault:
            read_picture(path)
        assert "\n" not in str(fault.value)


@pytest.mark.parametrize("kind", [np.uint8, np.uint16])
def test_grey_values_of_any_depth_are_kept(tmp_path, kind):
    values = (np.arange(12).reshape(3, 4) * (1000 if kind is np.uint16 else 20)).astype(kind)
    path = tmp_path / "a.png"
    Image.fromarray(values).save(path)
    assert read_picture(path).tolist() == values.tolist()
