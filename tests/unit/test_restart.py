"""The restart card: numbers both ways, the right layer, wrong ones to the eye and to passages."""

import json
import math

import jsonschema
import make
import numpy as np
import pytest
import shapely
import shapes
from click.testing import CliRunner
from matplotlib.font_manager import FontProperties
from matplotlib.text import Text
from matplotlib.textpath import TextPath

from clearance.cli.main import main
from clearance.errors import ClearanceError
from clearance.figures.restart import LARGE_PT, SAME, large_lines, restart_pages
from clearance.report.restart import READ_IT, cooled_words, number_words, text
from clearance.restart import would_do
from clearance.restart.asked import holes, islands
from clearance.restart.card import card
from clearance.result import as_json
from clearance.result.schema import schemas

LAYER, TALL, WIDE, DEEP, RADIUS = 0.5, 20.0, 34.0, 12.0, 2.5
ELLIPSE = math.pi * RADIUS**2 / math.cos(math.pi / 6)
AFTER = 29  # 30 layers stand: 15 mm


def case(folder, **keys):
    half = 0.5 * TALL * math.tan(math.pi / 6)
    solid = shapes.tilted_bore(RADIUS, 30.0, (WIDE, DEEP, TALL))
    ends = make.passage((-half, 0, 0), (half, 0, TALL), RADIUS / math.cos(math.pi / 6), 4.0)
    return make.write_case(folder, solid, ends, layer=LAYER, pitch=0.4, **keys)


@pytest.fixture(scope="module")
def path(tmp_path_factory):
    return case(tmp_path_factory.mktemp("card"))


@pytest.fixture(scope="module")
def drawn(path):
    return card(path, AFTER, candidates=(0, 28), layers=2)


def test_the_number_both_ways_and_the_layer_that_belongs_there(drawn):
    """Layer 30 lies from 15 to 15.5 mm: a block less an ellipse with half axes r / cos 30 and r."""
    found = drawn.result
    assert (found.next_layer, found.next_layer_from_1, found.last_good_layer) == (30, 31, 29)
    assert found.height_mm == 15.0
    right = found.parts[0]
    assert right.area_mm2 == pytest.approx(WIDE * DEEP - ELLIPSE, rel=2e-3)
    assert (right.islands, right.holes) == (1, 1)
    assert right.extents_mm == pytest.approx((-WIDE / 2, -DEEP / 2, WIDE / 2, DEEP / 2))
    assert drawn.right.metal.area == pytest.approx(right.area_mm2)


def test_a_height_is_the_top_of_the_last_good_layer(path):
    assert card(path, at_height=15.0, candidates=(), consequences=False).result.next_layer == 30


def test_how_wrong_layers_differ_to_the_eye(drawn):
    """The first layer's ellipse lies apart: both show. Two layers back it has moved 0.58 mm."""
    far, near = drawn.result.candidates
    assert far.parts[0].differs_mm2 == pytest.approx(2.0 * ELLIPSE, rel=2e-3)
    assert far.parts[0].widest_mm == pytest.approx(2.0 * RADIUS, abs=0.01)
    assert far.told_by_eye
    moved = 2 * LAYER * math.tan(math.pi / 6)
    assert near.parts[0].widest_mm == pytest.approx(moved, abs=0.01)
    assert not near.told_by_eye
    assert READ_IT in text(drawn.result)


def test_a_photograph_of_a_wrong_layer_is_told_where_the_card_says_so(drawn):
    """Five photographs, 0.25 mm a pixel with noise: the wrong one differs most from the right."""
    chance = np.random.default_rng(1)
    x, y = np.meshgrid(np.arange(-18, 18, 0.25), np.arange(-7, 7, 0.25))

    def photograph(layer):
        shape = layer.metal.buffer(chance.normal(0.0, 0.05))
        seen = shapely.contains_xy(shape, x + chance.uniform(-0.1, 0.1), y)
        return seen + chance.normal(0.0, 0.1, x.shape) > 0.5

    drawing = shapely.contains_xy(drawn.right.metal, x, y)
    pictures = [photograph(drawn.right) for _ in range(4)]
    pictures.insert(2, photograph(drawn.wrong[0]))
    unlike = [int((one != drawing).sum()) for one in pictures]
    assert int(np.argmax(unlike)) == 2
    assert unlike[2] > 2 * sorted(unlike)[-2]


def test_states_are_those_of_check(drawn, tmp_path):
    """The same event told to `check`: sealed by the first layers, open two layers back."""
    far, near = drawn.result.candidates
    assert (far.parts[0].sealed, near.parts[0].sealed) == (("a",), ())
    (there,) = drawn.result.parts[0].passages  # its ellipse lies around 5 tan 30 deg there
    assert there["name"] == "a"
    middle = (5.0 * math.tan(math.pi / 6), 0.0)
    assert math.dist((there["x_mm"], there["y_mm"]), middle) < RADIUS
    for one in (far, near):
        sheet = make.sheet(15.0, 2, from_layer=one.layer, penetration=[0.5, 1.0])
        state = make.judged(_read(case(tmp_path / f"{one.layer}", strays=sheet))).passages[0].state
        named = {"blocked": one.parts[0].sealed, "restricted": one.parts[0].restricted}
        assert named.get(state, ()) == (("a",) if state in named else ())


def _read(path):
    from clearance.case.read import read_case

    return read_case(path)


def test_of_layers_below_the_part_it_cannot_be_told_what_they_would_do(tmp_path):
    """A bore that stands 5 mm above the platform on supports of which nothing is known."""
    solid = shapes.block((-5, -5, 5), (5, 5, 15)) - shapes.bore((0, 0, 4), (0, 0, 16), 2.0)
    path = make.write_case(
        tmp_path, solid, make.passage((0, 0, 5), (0, 0, 15), 2.0, 3.0), layer=0.5, pitch=0.6
    )
    (low,) = card(path, 19, candidates=(0,), layers=1).result.candidates
    assert (low.parts[0].sealed, low.parts[0].undetermined) == ((), ("a",))


def test_wrong_layers_on_top_of_a_part_that_is_just_complete_are_looked_at(tmp_path):
    """Two on a plate, closed at their foot: the first layer would be melted onto the lower one."""
    rows = ""
    for name, tall, x in (("low", 10.0, -20.0), ("tall", 20.0, 20.0)):
        solid = shapes.block((-5, -5, 0), (5, 5, tall)) - shapes.bore((0, 0, 2), (0, 0, 21), 2.0)
        solid -= shapes.bore((0, 0, 4), (0, 6, 4), 1.5)
        ends = make.passage((0, 0, tall), (0, 5, 4), 2.0, 2.0)
        ends["outlet"] = make.port((0, 5, 4), 1.5)
        one = make.write_case(tmp_path / name, solid, ends, layer=0.5, pitch=0.6)
        rows += f'[[part]]\nname = "{name}"\ncase = "{one.as_posix()}"\nat = [{x}, 0.0]\n'
    plate = tmp_path / "plate.toml"
    plate.write_text(f'[plate]\nname = "two"\nsize = [120.0, 80.0]\n{rows}', encoding="utf-8")
    (wrong,) = card(plate, 19, candidates=(0,), layers=1).result.candidates
    assert [one.sealed for one in wrong.parts] == [("a",), ("a",)]
    (later,) = card(plate, 29, candidates=(0,), layers=1).result.candidates
    assert later.parts[0].said == "complete below this height"


def test_parts_of_one_mesh_may_have_other_things_melted_beside_them(tmp_path):
    """On a plate: the second part's case has a support too, whose layers are its own."""
    rows = ""
    post = {"post": shapes.block((6, -1, 0), (8, 1, 10))}
    solid = shapes.block((-5, -5, 0), (5, 5, 10)) - shapes.bore((0, 0, -1), (0, 0, 11), 2.0)
    ends = make.passage((0, 0, 0), (0, 0, 10), 2.0, 3.0)
    make.write_case(tmp_path, solid, ends, layer=0.5, pitch=0.6, meshes=post)
    bare = (tmp_path / "case.toml").read_text("utf-8")
    (tmp_path / "bare.toml").write_text(bare, "utf-8")
    (tmp_path / "with.toml").write_text(
        bare.replace("[part]", '[part]\nalso_melted = ["post.stl"]'), "utf-8"
    )
    for name, x in (("bare", -20.0), ("with", 20.0)):
        rows += f'[[part]]\nname = "{name}"\ncase = "{name}.toml"\nat = [{x}, 0.0]\n'
    plate = tmp_path / "plate.toml"
    plate.write_text(f'[plate]\nname = "two"\nsize = [120.0, 80.0]\n{rows}', encoding="utf-8")
    one, other = card(plate, 9, candidates=(), consequences=False).result.parts
    assert (one.islands, other.islands) == (1, 2)
    assert other.area_mm2 == pytest.approx(one.area_mm2 + 4.0)


def test_cooling_is_said(tmp_path):
    """316L, 150 K, 16.5e-6/K over 15 mm: 0.0371 mm; unmelted if the melt depth is less."""
    sheet = make.sheet(15.0, 1, penetration=0.0, cooled=150.0)
    path = case(tmp_path, strays=sheet, part={"material": "316L"})
    found = card(path, AFTER, consequences=False).result
    assert found.parts[0].shrunk_mm == pytest.approx(15.0 * 150.0 * 16.5e-6)
    assert found.parts[0].joint_gap_mm == pytest.approx(15.0 * 150.0 * 16.5e-6)
    assert "0.04 mm" in cooled_words(found)
    assert "unmelted" in cooled_words(found)


def test_pictures_name_passages_beside_the_layer(drawn):
    """On it a name's white ground would look like a hole; names one below the other keep apart."""
    from clearance.figures.restart import _cut, _spread

    first, second, *_ = restart_pages(drawn)
    for page in (first, second):
        (name,) = [t for axes in page.axes for t in axes.texts if t.get_text() == "a"]
        place, at = name.xy, name.get_position()
        assert abs(place[0]) < WIDE / 2 < abs(at[0])
    assert _spread([0.0, 0.05, 0.1, 1.0], 0.2) == pytest.approx([-0.15, 0.05, 0.25, 0.85])
    assert _cut("a" * 40).endswith("…")
    assert _cut("circuit-2") == "circuit-2"


def test_letters_are_ten_millimetres_high(drawn):
    bold = FontProperties(weight="bold")
    for letter in "N5":
        box = TextPath((0, 0), letter, size=LARGE_PT, prop=bold).get_extents()
        assert (box.y1 - box.y0) / 72.0 * 25.4 == pytest.approx(10.0, abs=0.35)
    assert len(restart_pages(drawn)) == 2


def test_without_the_counting_the_card_asks_for_it_first(drawn):
    """No number stands without its counting: 30 is right or wrong with it."""
    assert large_lines(drawn.result) == [
        ("STOP. LOOK ON THE SCREEN:",), ("IS THE FIRST LAYER 0 OR 1?",),
        ("IF IT IS 0:", "IF IT IS 1:"), ("NEXT 30", "NEXT 31"),
        ("LAST GOOD 29", "LAST GOOD 30"), ("OTHER NUMBER: STOP",),
    ]  # fmt: skip
    words = number_words(29, drawn.result)
    assert words == "first layer is 0: WRONG 29; first layer is 1: WRONG 30"
    assert "STOP" in text(drawn.result).splitlines()[0]


@pytest.mark.parametrize("first", [0, 1])
def test_with_the_counting_one_number_stands_alone(path, first):
    found = card(path, AFTER, candidates=(29,), consequences=False, counts_from=first)
    assert large_lines(found.result) == [
        (f"NEXT {30 + first}",), (f"LAST GOOD {29 + first}",), ("OTHER NUMBER: STOP",),
    ]  # fmt: skip
    assert number_words(29, found.result) == f"WRONG {29 + first}"
    pages = restart_pages(found)
    shown = _shown(pages)
    assert f"WRONG {30 + first}" not in shown
    assert f"WRONG {28 + first}" not in shown
    assert f"WRONG {29 + first}" in shown
    assert any(one.get_gid() == SAME for page in pages for one in page.findobj())


def _shown(pages):
    return "\n".join(t.get_text() for page in pages for t in page.findobj(Text))


def test_the_paper_has_boxes_to_sign(drawn):
    shown = _shown(restart_pages(drawn))
    for name in ("serial", "job", "machine", "date", "reader 1: number, signature"):
        assert name in shown


def test_the_log_tells_the_counting_and_the_option_may_not_differ(tmp_path):
    """A log that begins with layer 1."""
    log = {"layers": ["1-30", "2-3", "31-40"], "first_number": 1}
    path = case(tmp_path, strays=[], melted=log)
    assert card(path, AFTER, consequences=False).result.first_number == 1
    with pytest.raises(ClearanceError, match="--counts-from: found 0, expected 1"):
        card(path, AFTER, consequences=False, counts_from=0)


def test_holes_and_pieces_are_counted():
    """A plate with two holes and a pin in one of them; a bare block."""
    plate = shapely.box(0, 0, 20, 10) - shapely.box(2, 2, 8, 8) - shapely.box(12, 2, 14, 4)
    layer = plate | shapely.box(4, 4, 6, 6)
    assert (islands(layer), holes(layer)) == (2, 2)
    assert (islands(shapely.box(0, 0, 1, 1)), holes(shapely.box(0, 0, 1, 1))) == (1, 0)
    assert holes(shapely.Polygon()) == 0


def test_the_json_keeps_to_its_schema(drawn):
    data = json.loads(json.dumps(as_json(drawn.result)))
    jsonschema.Draft202012Validator(schemas()["restart.schema.json"]).validate(data)
    assert data["candidates"][0]["parts"][0]["sealed"] == ["a"]


def test_equal_parts_of_a_plate_are_computed_once(path, tmp_path, monkeypatch):
    asked = []
    real = would_do.would_do

    def counted(part, *args):
        asked.append(part.name)
        return real(part, *args)

    monkeypatch.setattr("clearance.restart.card.would_do", counted)
    plate = tmp_path / "plate.toml"
    rows = "".join(
        f'[[part]]\nname = "{name}"\ncase = "{path.as_posix()}"\nat = [{x}, 0.0]\nturn = {turn}\n'
        for name, x, turn in (("A", -30.0, 0.0), ("B", 30.0, 90.0))
    )
    plate.write_text(f'[plate]\nname = "two"\nsize = [120.0, 80.0]\n{rows}', encoding="utf-8")
    found = card(plate, AFTER, candidates=(0,), layers=1)
    assert asked == ["A"]
    one, other = found.result.parts
    assert other.extents_mm == pytest.approx((30 - DEEP / 2, -WIDE / 2, 30 + DEEP / 2, WIDE / 2))
    assert one.area_mm2 == pytest.approx(other.area_mm2)
    assert [p.sealed for p in found.result.candidates[0].parts] == [("a",), ("a",)]
    (there,), (turned,) = one.passages, other.passages  # turned by 90 deg, 30 mm aside
    assert (turned["x_mm"], turned["y_mm"]) == pytest.approx(
        (30.0 - there["y_mm"], there["x_mm"] + 30.0), abs=1e-6
    )


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (["--at-height", "15.2"], "--at-height: found 15.2, expected the top of a layer of 0.5 mm"),
        (["--after-layer", "29", "--candidates", "30"], "it is the one that belongs there"),
        (["--after-layer", "39"], "holds no metal of any part"),
        (["--after-layer", "29", "--at-height", "15"], "give one of --after-layer and --at-height"),
        (["--at-height", "1e300"], "found layer 2e+300, expected layers up to 200000"),
        (
            ["--after-layer", "29", "--candidates", "0,999999"],
            "found layer 999999, expected layers",
        ),
        (["--after-layer", "29", "--candidates", "x"], "is not a list of layer numbers"),
    ],
)
def test_what_the_user_can_mend_ends_with_2(path, tmp_path, words, said):
    out = tmp_path / "card.pdf"
    done = CliRunner().invoke(main, ["restart", str(path), *words, "--output", str(out)])
    assert done.exit_code == 2
    assert said in done.output
    assert not out.exists()
