"""The figure of a sweep: its words, limits and marks. The sweep is invented."""

import dataclasses
import itertools

import make
import manifold3d as m3
import pytest
from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.patches import Rectangle

from clearance.case.read import read_case
from clearance.figures import style
from clearance.figures.sweep import MOST_PASSAGES, finding, sweep_figures
from clearance.report.sweep import text
from clearance.result import State
from clearance.sweeps.result import PassageHeights, Sweep
from clearance.sweeps.sweep import not_looked_at

HEIGHTS = (10.0, 11.0, 12.0, 13.0)


def passage(name, states, reopen=None):
    wide = tuple(0.0 if s is State.BLOCKED else 4.0 for s in states)
    return PassageHeights(
        name, 3.0, states, wide, wide, wide, (1.0,) * 4, reopen,
        tuple(("inlet",) if r == "possible" else () for r in reopen or ()), {"inlet": 0.0},
    )  # fmt: skip


OPEN, BLOCKED = State.OPEN, State.BLOCKED
A = passage("a", (OPEN,) * 4)
B = passage(
    "b",
    (OPEN, OPEN, BLOCKED, BLOCKED),
    ("not-needed", "not-needed", "possible", "impossible"),
)
C = passage("c", (BLOCKED,) * 4)


def sweep(*passages):
    return Sweep(
        part="block", stray=0, pitch_mm=0.2, case_heights_mm=(11.0, 11.5), heights_mm=HEIGHTS,
        passages=passages, notices=(),
    )  # fmt: skip


def words(figure):
    found = [text.get_text() for text in figure.texts]
    for axes in figure.axes:
        found += [text.get_text() for text in axes.texts]
        found += [label.get_text() for label in axes.get_xticklabels()]
    return found


def test_the_title_is_the_finding():
    title = finding(sweep(A, B, C))
    assert title == (
        "block, stray sheet 1 from 10 to 13 mm: a open throughout; b open at some; c open at none"
    )
    assert finding(sweep(A)) in words(sweep_figures(sweep(A))[0])


def test_a_rectangle_for_every_run_of_one_state():
    (axes,) = sweep_figures(sweep(A, B, C))[0].axes
    bars = [p for p in axes.patches if isinstance(p, Rectangle) and p.get_width() > 0.4]
    bars = [p for p in bars if p.get_x() < 2.5 and p.get_width() < 1.0]
    assert len(bars) == 1 + 2 + 1  # by construction
    # Edges where a state was computed: b is open at 10 and 11, blocked at 12 and 13.
    ends = sorted((b.get_y(), b.get_y() + b.get_height()) for b in bars if 0.5 < b.get_x() < 1.5)
    assert ends == [pytest.approx((10.0, 11.0)), pytest.approx((12.0, 13.0))]
    assert axes.get_ylim()[0] < 9.5
    assert axes.get_ylim()[1] > 13.5


def test_heights_farther_apart_than_layers_are_drawn_one_by_one():
    coarse = dataclasses.replace(sweep(A, B), apart_mm=1.0)
    assert "from 10 to 13 mm, every 1 mm: a open at each; b open at some" in finding(coarse)
    (axes,) = sweep_figures(coarse)[0].axes
    bars = [p for p in axes.patches if isinstance(p, Rectangle) and 0.4 < p.get_width() < 1.0]
    middles = sorted(b.get_y() + 0.5 * b.get_height() for b in bars if b.get_x() < 0.5)
    assert middles == pytest.approx(HEIGHTS)  # a, open at all of them, is no bar from 10 to 13
    assert max(b.get_height() for b in bars) < 0.1
    between = [p for p in axes.patches if isinstance(p, Rectangle) and 0.1 < p.get_width() < 0.2]
    assert len(between) == 3 + 3


def test_units_requirements_and_the_case_are_named():
    (figure,) = sweep_figures(sweep(A, B))
    said = words(figure)
    assert "the case:\n11 to 11.5 mm" in said
    assert "a\n3 mm required" in said
    assert said.count("⌀3 mm") == 2  # the scale of each curve, with its unit
    (axes,) = figure.axes
    texts = [*figure.texts, *axes.texts, *axes.get_xticklabels(), axes.yaxis.label]
    assert min(text.get_fontsize() for text in texts) >= style.SMALLEST_PT
    assert figure.axes[0].get_ylabel() == "height of the sheet above the platform, mm"


def test_the_drills_window_is_marked():
    (figure,) = sweep_figures(sweep(B))
    assert "a drill from\nthe inlet\nup to here" in words(figure)
    assert not any("drill" in text for text in words(sweep_figures(sweep(A))[0]))


@pytest.mark.parametrize(("count", "sheets"), [(1, 1), (6, 1), (7, 2), (30, 5)])
def test_many_passages_take_more_sheets(count, sheets):
    many = [passage(f"p{n}", (OPEN,) * 4) for n in range(count)]
    assert MOST_PASSAGES == 6
    assert len(sweep_figures(sweep(*many))) == sheets


def test_words_of_many_passages_with_long_names_stand_apart():
    long = "cooling circuit of the upper left core, return leg"
    many = [dataclasses.replace(one, name=f"{long} {n}") for n, one in enumerate([A, B, C] * 2)]
    (figure,) = sweep_figures(sweep(*many))
    canvas = FigureCanvasAgg(figure)
    canvas.draw()
    (axes,) = figure.axes
    texts = [*axes.get_xticklabels(), *axes.texts, *figure.texts]
    boxes = [(t.get_text(), t.get_window_extent(canvas.get_renderer())) for t in texts]
    for (a, one), (b, other) in itertools.combinations(boxes, 2):
        across = min(one.x1, other.x1) - max(one.x0, other.x0)
        assert min(across, min(one.y1, other.y1) - max(one.y0, other.y0)) < 2.0, (a, b)


def test_what_a_sweep_does_not_look_at_stands_in_title_text_and_json():
    lacking = ("whether circuits stay apart (a and b)", "trapped powder")
    told = dataclasses.replace(sweep(A), not_looked_at=lacking)
    title = " ".join(" ".join(words(sweep_figures(told)[0])).split())
    assert "a open throughout; NOT LOOKED AT: whether circuits stay apart (a and b)" in title
    assert "not looked at: whether circuits stay apart (a and b); trapped powder" in text(told)
    assert told.as_json()["not_looked_at"] == list(lacking)


def test_a_case_says_what_its_sweep_leaves_out(tmp_path):
    bores = [
        make.passage((x, 0, 0), (x, 0, 20), 2.0, 3.0, name=n) for x, n in ((-5, "a"), (5, "b"))
    ]
    block = m3.Manifold.cube((20.0, 10.0, 20.0), True).translate((0.0, 0.0, 10.0))
    path = make.write_case(
        tmp_path, block, bores, make.plane(10.0), separate=[{"passages": ["a", "b"]}],
        flow={"density": 1000.0, "viscosity": 1e-3, "rate": 1.0, "max_pressure_loss": 5.0},
    )  # fmt: skip
    assert not_looked_at(read_case(path)) == (
        "whether circuits stay apart (a and b)",
        "the joint and what stays unmelted in it",
        "trapped powder",
        "pressure loss",
    )
    tool = {"diameter": 3.4, "max_length_to_diameter": 20.0}
    path = make.write_case(
        tmp_path, block, bores, make.plane(10.0), drilling={"series": [], "electrodes": [tool]}
    )
    assert not_looked_at(read_case(path), reach=True)[-2:] == (
        "whether a shop can carry out the drilling",
        "electrodes",
    )
