"""Figures: limits, labels, looks and places of what is drawn; the bytes repeat."""

import dataclasses
import itertools
import re

import numpy as np
import pdf
import pytest
import shapely
import shared
from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.colors import to_rgba
from matplotlib.figure import Figure
from matplotlib.patches import PathPatch
from shapely import box

from clearance.drawing.level_parts import Detail, LevelSection, Row, Void
from clearance.figures import areas, files, level, scale, style
from clearance.result import State

LONG = "cooling circuit of the upper left core, return leg"


def piece(x, y, state, name="way", share=1.0):
    nominal = shapely.Point(x, y).buffer(3.0)
    left = nominal.intersection(box(x - 3.0, y - 3.0, x - 3.0 + 6.0 * share, y + 3.0))
    label = (name, state.value, f"{share:.0%} open here", "inlet 31.2 mm below")
    return Void((name,), state, nominal, left if share else shapely.Polygon(), (x, y), label)


def section(voids, rows=(), detail=None, size=(80.0, 60.0)):
    metal = box(0.0, 0.0, *size)
    for void in voids:
        metal = metal.difference(void.open)
    stray = shapely.union_all([v.nominal.difference(v.open) for v in voids])
    return LevelSection(
        "way blocked at z = 31.2 mm",
        metal.difference(stray),
        stray,
        box(1.0, 1.0, 3.0, 3.0),
        tuple(voids),
        detail,
        tuple(rows),
        ("part insert", "level section at z = 31.225 mm", "case insert.toml; input 0123456789ab"),
    )


EVERY_STATE = [
    piece(10.0 + 15.0 * n, 20.0 + 7.0 * n, state, state.value, share)
    for n, (state, share) in enumerate(zip(State, (1.0, 0.5, 0.0, 0.7), strict=True))
]


def boxes(figure):
    """Place of every text that shows, in dots."""
    canvas = FigureCanvasAgg(figure)
    canvas.draw()
    found = []
    for axes in figure.axes:
        found += axes.texts
        for axis in (axes.xaxis, axes.yaxis) if axes.axison else ():
            low, high = axis.get_view_interval()
            found += [t.label1 for t in axis.get_major_ticks() if low <= t.get_loc() <= high]
            found.append(axis.label)
        if axes.get_title(loc="left"):
            found.append(axes._left_title)
    found += figure.texts
    return {
        text: text.get_window_extent(canvas.get_renderer())
        for text in found
        if text.get_text() and text.get_visible()
    }


def crowded():
    states = list(State)
    grid = itertools.product(range(6), range(7))
    voids = [
        piece(8.0 + 12.0 * i, 5.0 + 8.0 * j, states[(i * 7 + j) % 4], f"{LONG} {i}{j}", 0.5)
        for i, j in grid
    ]
    rows = [Row(v.names[0], v.state, "6.38 to 6.41 mm clear, 7 required") for v in voids]
    detail = Detail((0.0, 0.0, 10.0, 12.0), f"detail X: {LONG}", ("open area 1 of 2 mm²", "1 mm"))
    return section(voids, rows, detail)


@pytest.mark.parametrize("make", [lambda: section(EVERY_STATE), crowded], ids=["few", "crowded"])
def test_texts_keep_off_each_other_and_on_the_sheet(make):
    figure = level.level_figure(make())
    places = boxes(figure)
    sheet = figure.bbox
    for text, place in places.items():
        assert sheet.x0 <= place.x0 < place.x1 <= sheet.x1, text.get_text()
        assert sheet.y0 <= place.y0 < place.y1 <= sheet.y1, text.get_text()
        assert text.get_fontsize() >= 9.0
    for (a, one), (b, other) in itertools.combinations(places.items(), 2):
        shared_x = min(one.x1, other.x1) - max(one.x0, other.x0)
        shared_y = min(one.y1, other.y1) - max(one.y0, other.y0)
        assert min(shared_x, shared_y) < 1.5, (a.get_text(), b.get_text())


@pytest.mark.parametrize("make", [lambda: section(EVERY_STATE), crowded], ids=["few", "crowded"])
def test_labels_lie_over_no_axis(make):
    figure = level.level_figure(make())
    canvas = FigureCanvasAgg(figure)
    canvas.draw()
    axes = figure.axes[0]
    lines = [axes.spines[side].get_window_extent() for side in ("left", "bottom")]
    labels = [t.get_window_extent() for t in axes.texts if t.get_gid() == "label"]
    assert labels
    for line, label in itertools.product(lines, labels):
        assert not line.overlaps(label)


def test_axes_are_equal_named_and_hold_all():
    drawn = section(EVERY_STATE, size=(20.0, 90.0))
    axes = level.level_figure(drawn).axes[0]
    x, y = axes.get_xlim(), axes.get_ylim()
    place = axes.get_position()
    width, height = np.array(style.A4_LANDSCAPE_IN) * (place.width, place.height)
    assert (x[1] - x[0]) / width == pytest.approx((y[1] - y[0]) / height)  # one scale
    x0, y0, x1, y1 = drawn.bounds
    assert x[0] < x0 < x1 < x[1]
    assert y[0] < y0 < y1 < y[1]
    assert axes.get_aspect() == 1.0
    assert (axes.get_xlabel(), axes.get_ylabel()) == ("x, mm", "y, mm")


def shades(section):
    """Grey of the drawing at a place in mm, 0 dark to 255 pale: a black-and-white copy."""
    axes = Figure(figsize=(8, 6), dpi=100).add_axes((0, 0, 1, 1))
    axes.set_axis_off()
    axes.set_xlim(0, 80)
    axes.set_ylim(0, 60)
    areas.draw_level(axes, section)
    canvas = FigureCanvasAgg(axes.figure)
    canvas.draw()
    grey = np.asarray(canvas.buffer_rgba())[..., :3] @ [0.2126, 0.7152, 0.0722]
    return lambda x, y: grey[round(600 - 10 * y), round(10 * x)]


def test_what_is_open_looks_open_whatever_the_state_and_a_plug_does_not():
    """The same on a black-and-white copy: the state is told by the ring alone."""
    voids = EVERY_STATE
    at = shades(section(voids))
    for void in voids:
        x, y = void.at
        left, right = at(x - 2.5, y), at(x + 2.5, y)
        assert left > 254 or void.open_fraction == 0.0
        assert (right < 60) == (void.open_fraction < 0.9), void.state
    assert at(*voids[2].at) < 60  # sealed: as dark as stray metal
    assert 120 < at(70.0, 8.0) < 225  # metal of the part is neither


@pytest.mark.parametrize("state", State)
def test_a_ring_in_the_colour_of_the_state_lies_outside_each_passage(state):
    axes = Figure().add_subplot()
    axes.set_xlim(0, 40)
    areas.draw_level(axes, section([piece(10.0, 20.0, state, share=0.5)]))
    names = [p.get_gid() for p in axes.patches]
    drawn = [p for p in axes.patches if isinstance(p, PathPatch) and not p.get_fill()]
    colours = {p.get_edgecolor() for p in drawn}
    assert to_rgba(style.RINGS[state.value].colour) in colours
    last = max(n for n, name in enumerate(names) if name == f"ring {state.value}")
    assert names.index("open") > last  # drawn over it: nothing of the passage is hidden


@pytest.mark.parametrize("wide", [0.4, 0.6])
@pytest.mark.parametrize("state", State)
def test_a_ring_hides_no_powder_about_a_bore(state, wide):
    """A chamfer's width of powder about a bore: the ring goes around both."""
    void = piece(40.0, 30.0, state)
    powder = void.nominal.buffer(wide).difference(void.nominal)
    at = shades(dataclasses.replace(section([void]), unmelted=powder))
    bare = shades(section([void]))
    around = [(np.cos(t), np.sin(t)) for t in np.linspace(0.0, 6.28, 60)]
    mid = 3.0 + 0.5 * wide
    seen = [at(40.0 + mid * x, 30.0 + mid * y) for x, y in around]
    powdery = np.dot(np.array(to_rgba(style.UNMELTED.face))[:3] * 255.0, [0.2126, 0.7152, 0.0722])
    # Its dots and the ring's inner edge are dark; between them its own tone shows.
    assert np.mean(np.abs(np.array(seen) - powdery) < 30.0) > 0.3
    beyond = [
        at(40.0 + (r + wide) * x, 30.0 + (r + wide) * y) for r in (3.1, 3.2) for x, y in around
    ]
    before = [bare(40.0 + r * x, 30.0 + r * y) for r in (3.1, 3.2) for x, y in around]
    assert np.mean(beyond) == pytest.approx(np.mean(before), abs=25.0)  # the ring is still there


def test_a_large_field_of_powder_stays_under_the_ring():
    voids = [piece(20.0, 30.0, State.BLOCKED), piece(60.0, 30.0, State.OPEN)]
    field = box(5, 5, 75, 55).difference(shapely.union_all([v.nominal for v in voids]))
    axes = Figure(figsize=(8, 6)).add_axes((0, 0, 1, 1))
    axes.set_xlim(0, 80)
    areas.draw_level(axes, dataclasses.replace(section(voids), unmelted=field))
    rings = [p for p in axes.artists if (p.get_gid() or "").startswith("ring")]
    assert not rings or max(p.get_path().get_extents().width for p in rings) < 7.0


def test_a_label_that_is_cut_keeps_the_word_of_its_state():
    figure = level.level_figure(crowded())
    said = [t.get_text() for t in figure.axes[0].texts if t.get_gid() == "label"]
    named = [text for text in said if text.startswith("cooling")]
    assert named
    words = tuple(state.value for state in State)
    assert sum(text.endswith(words) for text in said) == len(named)
    names = " ".join(t.get_text() for axes in figure.axes for t in axes.texts)
    for state in State:
        assert f"passage {state.value}" in names  # beside its ring, whatever rows are left out
    assert level._in_lines((LONG, "blocked", "sealed here"), 1, 1.5)[0].endswith(", blocked")
    assert level._in_lines(("return", "restricted"), 1, 0.75) == ["return"]
    assert level._in_lines(("return", "restricted"), 1, 1.5) == ["return, restricted"]
    assert level._in_lines(("a, 8 alike", "blocked", "sealed"), 2, 1.5) == (
        "a, 8 alike",
        "blocked, sealed",
    )


def test_small_passages_have_thin_rings():
    def widest(*voids):
        axes = Figure(figsize=(4, 4)).add_axes((0, 0, 1, 1))
        axes.set_xlim(0, 400)
        areas.draw_level(axes, section(voids))
        return max(p.get_linewidth() for p in axes.patches if isinstance(p, PathPatch))

    small = piece(40.0, 40.0, State.OPEN)  # 6 mm on a width of 400 mm: 1.5 mm on paper
    big = Void(("b",), State.OPEN, box(0, 0, 80, 60), box(0, 0, 80, 60), (5, 5), ("b",))
    assert widest(small) < widest(big)


def test_holes_stay_holes():
    axes = Figure(figsize=(2, 2), dpi=50).add_axes((0, 0, 1, 1))
    axes.set_axis_off()
    axes.set_xlim(0, 10)
    axes.set_ylim(0, 10)
    ring = shapely.Point(5, 5).buffer(4).difference(shapely.Point(5, 5).buffer(2))
    areas.area(axes, shapely.MultiPolygon([ring]), style.STRAY, "ring")
    canvas = FigureCanvasAgg(axes.figure)
    canvas.draw()
    grey = np.asarray(canvas.buffer_rgba())[..., 0]
    assert grey[50, 50] == 255  # in the hole
    assert grey[50, 20] < 60  # in the ring


def test_a_sheet_thinner_than_a_dot_still_shows():
    axes = Figure(figsize=(2, 2), dpi=50).add_axes((0, 0, 1, 1))
    axes.set_axis_off()
    axes.set_xlim(0, 1000)
    axes.set_ylim(0, 1000)
    areas.area(axes, box(100, 500, 900, 500.05), style.STRAY, "sheet")
    canvas = FigureCanvasAgg(axes.figure)
    canvas.draw()
    assert np.asarray(canvas.buffer_rgba())[..., 0][:, 50].min() < 170


@pytest.mark.parametrize(
    ("span", "length"), [(100.0, 20.0), (99.0, 10.0), (24.9, 2.0), (25.0, 5.0), (0.3, 0.05)]
)
def test_scale_bar_is_round_and_at_most_a_fifth(span, length):
    assert scale.bar_length_mm(span) == pytest.approx(length)


def test_scale_bar_is_as_long_as_it_says():
    axes = level.level_figure(section(EVERY_STATE)).axes[0]
    bar = next(line for line in axes.lines if line.get_gid() == "scale bar")
    share = np.ptp(bar.get_xdata())
    said = next(t.get_text() for t in axes.texts if re.fullmatch(r"[\d.]+ mm", t.get_text()))
    assert share * np.ptp(axes.get_xlim()) == pytest.approx(float(said.split()[0]))


def test_detail_shows_its_bounds():
    detail = Detail((7.0, 17.0, 13.0, 23.0), "detail X: way, sealed here", ("nothing passes",))
    figure = level.level_figure(section(EVERY_STATE, detail=detail))
    inset = next(a for a in figure.axes if a.get_title(loc="left").startswith("detail X"))
    (x0, x1), (y0, y1) = inset.get_xlim(), inset.get_ylim()
    assert x0 <= 7.0 < 13.0 <= x1
    assert y0 <= 17.0 < 23.0 <= y1
    assert any(scale.true_scale(inset) == pytest.approx(one) for one in scale.SCALES)


def test_labels_are_spread_in_order_and_near():
    wanted, heights = [1.0, 1.05, 3.0], [0.3, 0.3, 0.3]
    places = level.spread(wanted, heights, 0.0, 5.0)
    assert places[1] - places[0] >= 0.3
    assert places[0] < 1.0 < 1.05 < places[1]
    assert places[2] == pytest.approx(3.0)
    squeezed = level.spread([1.0] * 30, [0.3] * 30, 0.0, 5.0)
    assert 0.0 <= min(squeezed) < max(squeezed) <= 5.0
    assert level.spread([], [], 0.0, 5.0) == []


@pytest.mark.parametrize("kind", [".svg", ".pdf", *shared.more(".png")])
def test_same_drawing_same_bytes_and_no_date(kind):
    one, other = (files.as_bytes(level.level_figure(section(EVERY_STATE)), kind) for _ in range(2))
    assert one == other
    assert b"CreationDate" not in one
    assert b"<dc:date>" not in one


def test_text_in_pdf_stays_text():
    (page,) = pdf.pages(files.as_bytes(level.level_figure(section(EVERY_STATE)), ".pdf"))
    assert "way blocked at z = 31.2 mm" in page.text
    assert page.fonts == {"Type0 embedded"}  # as TrueType (42), not drawn as shapes (3)
    assert (page.width, page.height) == pytest.approx((842, 595), abs=1)


def test_names_with_a_dollar_or_odd_letters_are_drawn_as_they_stand():
    voids = [piece(10.0, 10.0, State.OPEN, "cost $5$ ünï 冷却")]
    assert files.as_bytes(level.level_figure(section(voids)), ".svg").count(b"cost $5$")
