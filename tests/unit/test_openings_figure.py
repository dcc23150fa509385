"""The figure of openings: views aligned in first-angle projection (ISO 5456-2), one scale."""

import itertools

import numpy as np
import pytest
import shapes
from matplotlib.backends.backend_agg import FigureCanvasAgg

from clearance.figures import style
from clearance.figures.openings import VIEWS, openings_figure
from clearance.figures.scale import SCALES, true_scale
from clearance.survey.openings import Openings, find_openings


@pytest.fixture(scope="module")
def drawn():
    """A block of 60, 10 and 30 with a bore from below that leaves on the right."""
    solid = shapes.block((0, 0, 0), (60, 10, 30)) - shapes.bore((10, 5, -1), (10, 5, 16), 3.0)
    solid -= shapes.bore((10, 5, 15), (61, 5, 15), 3.0)
    triangles = shapes.soup(solid)
    figure = openings_figure(triangles, find_openings(triangles), "block.stl")
    return figure, {axes.get_title(loc="left"): axes for axes in figure.axes}


def test_views_are_right_handed_and_look_where_they_say():
    for view in VIEWS:
        right, up, toward = view.frame
        assert np.cross(right, up) == pytest.approx(toward)
    looks = {view.title: tuple(-view.frame[2]) for view in VIEWS}
    assert looks == {
        "from the front": (0, 1, 0),
        "from the left": (1, 0, 0),
        "from above": (0, 0, -1),
        "from below": (0, 0, 1),
    }


def test_views_share_one_standard_scale_and_are_aligned(drawn):
    _, views = drawn
    front, left, above, below = (views[view.title] for view in VIEWS)
    scales = [true_scale(axes) for axes in (front, left, above, below)]
    assert scales == pytest.approx([scales[0]] * 4)
    assert any(scales[0] == pytest.approx(one) for one in SCALES)
    places = {axes: axes.get_position() for axes in (front, left, above, below)}
    for other in (above, below):  # x under x
        assert places[other].x0 == pytest.approx(places[front].x0)
        assert other.get_xlim() == pytest.approx(front.get_xlim())
    assert places[left].y0 == pytest.approx(places[front].y0)  # z beside z
    assert left.get_ylim() == pytest.approx(front.get_ylim())
    # First angle: what is seen from above stands below, from the left on the right.
    assert places[above].y1 < places[front].y0 < places[front].y1 < places[below].y0
    assert places[left].x0 > places[front].x1


def test_the_view_from_below_is_set_aside_where_the_scale_is_larger_for_it():
    """A disc: two views over the front take 116 + 116 + 60 mm, one 116 + 60."""
    solid = shapes.bore((0, 0, 0), (0, 0, 60), 58.0) - shapes.bore((0, 0, -1), (0, 0, 61), 20.0)
    triangles = shapes.soup(solid)
    figure = openings_figure(triangles, Openings((), ()), "disc.stl")  # none marked: only views
    *_, above, below = figure.axes
    assert below.get_title(loc="left") == "from below, set aside for room"
    assert below.get_position().y0 == pytest.approx(above.get_position().y0)
    assert below.get_position().x0 > above.get_position().x1
    assert true_scale(above) == pytest.approx(0.5)


def test_each_opening_is_whole_in_the_view_that_faces_it(drawn):
    _, views = drawn
    for title, count in (("from below", 1), ("from the left", 0), ("from above", 0)):
        rings = [line for line in views[title].lines if str(line.get_gid()).startswith("facing")]
        assert len(rings) == count, title


def test_words_stand_apart_at_9_pt_with_scale_and_projection(drawn):
    figure, _ = drawn
    canvas = FigureCanvasAgg(figure)
    canvas.draw()
    texts = [t for t in figure.texts if t.get_text()]
    texts += [t for axes in figure.axes for t in axes.texts if t.get_text()]
    texts += [axes._left_title for axes in figure.axes if axes.get_title(loc="left")]
    said = " ".join(t.get_text() for t in texts)
    assert "first angle" in said
    assert "scale" in said
    boxes = [(t, t.get_window_extent(canvas.get_renderer())) for t in texts]
    for text, box in boxes:
        assert text.get_fontsize() >= style.SMALLEST_PT
        assert figure.bbox.x0 <= box.x0 < box.x1 <= figure.bbox.x1, text.get_text()
        assert figure.bbox.y0 <= box.y0 < box.y1 <= figure.bbox.y1, text.get_text()
    for (a, one), (b, other) in itertools.combinations(boxes, 2):
        shared_x = min(one.x1, other.x1) - max(one.x0, other.x0)
        shared_y = min(one.y1, other.y1) - max(one.y0, other.y0)
        assert min(shared_x, shared_y) < 2.0, (a.get_text(), b.get_text())
