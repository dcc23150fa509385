"""Numbers of causes: information, strength, classes, ranges, what decides.

Closed values were computed for this file (two Gaussians, binary channels, enumerations by hand);
the capacity of a two-level Gaussian channel at 0 dB, 0.486 bit, is known, from memory here. The
words are those of Kass and Raftery 1995. What is enumerated here shares no code with the program.
"""

import itertools
import math

import numpy as np
import pytest
from scipy import integrate, stats

from clearance.case.readings import ReadingTable
from clearance.case.suspected import Suspect
from clearance.causes import information, next_one, strength
from clearance.causes.candidates import ORDER, Candidate
from clearance.causes.classes import alike
from clearance.causes.information import told_by_asking, told_by_measuring, wrong_now
from clearance.causes.next_one import Foreseen, decision, ranked
from clearance.causes.other_causes import Found, other_causes
from clearance.causes.ranges import Ranges
from clearance.result.causes import Box

TWO = np.array([0.5, 0.5])
EACH = np.array([0, 1])


# ---- information -------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("apart", "bits", "wrong"),
    [
        (0.5, 0.0437, 0.401),
        (1, 0.1607, 0.309),
        (2, 0.4859, 0.159),
        (3, 0.7600, 0.067),
        (4, 0.9128, 0.023),
        (5, 0.9752, 0.006),
        (6, 0.9944, 0.001),
    ],
)
def test_two_that_lie_some_uncertainties_apart(apart, bits, wrong):
    for u in (0.03, 15.0):
        means = np.array([[31.2], [31.2 + apart * u]])
        told = told_by_measuring(TWO, means, u, EACH)
        assert round(told.bits, 4) == bits
        assert told.label_bits == pytest.approx(told.bits, abs=1e-12)
        assert round(told.wrong, 3) == wrong
        assert told.wrong == pytest.approx(stats.norm.cdf(-apart / 2), abs=2e-5)


@pytest.mark.parametrize(
    ("wrong", "bits"),
    [
        (0, 1),
        (0.01, 0.9192),
        (0.02, 0.8586),
        (0.05, 0.7136),
        (0.1, 0.5310),
        (0.2, 0.2781),
        (0.5, 0),
    ],
)
def test_go_no_go_that_errs(wrong, bits):
    told = told_by_asking(TWO, np.array([1.0 - wrong, wrong]), EACH)
    assert round(told.bits, 4) == bits
    assert told.wrong == pytest.approx(wrong)


@pytest.mark.parametrize(
    ("detection", "false_call", "bits"),
    [(0.9, 0.01, 0.719), (0.5, 0.01, 0.279), (0.2, 0.01, 0.083)],
)
def test_what_is_seen_or_not(detection, false_call, bits):
    told = told_by_asking(TWO, np.array([detection, false_call]), EACH)
    assert round(told.bits, 3) == bits


def test_nothing_seen_hardly_counts_where_it_would_rarely_be_seen():
    """Likelihood ratios (found, not found): (90, 0.10), (50, 0.51), (20, 0.81)."""
    for detection, found, missed in ((0.9, 90, 0.10), (0.5, 50, 0.51), (0.2, 20, 0.81)):
        assert detection / 0.01 == pytest.approx(found)
        assert round((1 - detection) / 0.99, 2) == missed
    assert strength.words(0.81) == "weak"


@pytest.mark.parametrize(("yes", "bits"), [((1, 1, 0, 0), 1.0), ((1, 0, 0, 0), 0.8113)])
def test_four_that_a_perfect_test_parts(yes, bits):
    told = told_by_asking(np.full(4, 0.25), np.array(yes, float), np.arange(4))
    assert round(told.bits, 4) == bits


@pytest.mark.parametrize(
    ("layer", "u", "bits"),
    [(0.05, 0.01, 2.544), (0.05, 0.02, 1.979), (0.05, 0.05, 0.954), (0.05, 0.1, 0.393),
     (0.03, 0.02, 1.384)],
)  # fmt: skip
def test_number_of_layers_from_a_thickness(layer, u, bits):
    means = layer * np.arange(1.0, 7.0)[:, None]
    told = told_by_measuring(np.full(6, 1 / 6), means, u, np.arange(6))
    assert round(told.bits, 3) == bits
    assert information.entropy(np.full(6, 1 / 6)) == pytest.approx(2.585, abs=5e-4)


@pytest.mark.parametrize(("u", "chance"), [(0.02, 0.92), (0.05, 0.40), (0.1, 0.23)])
def test_a_reading_of_exactly_three_layers(u, chance):
    """1 / sum exp(-k^2 t^2 / 2 u^2) over k = -2 ... 3."""
    by_hand = 1 / sum(math.exp(-0.5 * (k * 0.05 / u) ** 2) for k in range(-2, 4))
    assert round(by_hand, 2) == chance
    logs = stats.norm.logpdf(3 * 0.05, 0.05 * np.arange(1, 7), u)
    after = strength.posterior(np.full(6, 1 / 6), strength.ratios(logs))
    assert round(after[2], 2) == chance


def test_information_against_an_integral_written_apart():
    """Three suspects, each with two values that may be read, of two labels."""
    weights = np.array([0.5, 0.2, 0.3])
    means = np.array([[0.0, 0.1], [0.05, 0.25], [0.3, 0.3]])
    labels, u = np.array([0, 1, 1]), 0.06

    def density(n, y):
        return 0.5 * sum(stats.norm.pdf(y, m, u) for m in means[n])

    def of(rows):
        def term(y):
            p = sum(weights[n] * density(n, y) for n in rows) / weights[rows].sum()
            return -p * math.log2(p) if p > 0 else 0.0

        return integrate.quad(term, -0.7, 1.0, limit=300, epsabs=1e-10)[0]

    told = told_by_measuring(weights, means, u, labels)
    inner = sum(weights[n] * of([n]) for n in range(3))
    assert told.bits == pytest.approx(of([0, 1, 2]) - inner, abs=1e-7)
    assert told.label_bits == pytest.approx(
        of([0, 1, 2]) - 0.5 * of([0]) - 0.5 * of([1, 2]), abs=1e-7
    )


def test_a_range_is_not_two_values():
    """One that lies anywhere from 0 to 3 and one at 1.5, u 0.1: told apart by 1 - overlap / 2.

    By an integral over the two densities with scipy: the range convolved with the normal
    distribution is a difference of two distribution functions.
    """
    y = np.linspace(-1.0, 4.0, 200_001)
    wide = (stats.norm.cdf(y / 0.1) - stats.norm.cdf((y - 3.0) / 0.1)) / 3.0
    narrow = stats.norm.pdf(y, 1.5, 0.1)
    wrong = np.trapezoid(np.minimum(wide, narrow), y) / 2.0
    means = np.stack([(np.arange(60) + 0.5) / 20.0, np.full(60, 1.5)])
    told = told_by_measuring(np.array([0.5, 0.5]), means, 0.1, np.array([0, 1]))
    assert told.wrong == pytest.approx(wrong, abs=1e-4)
    assert told.wrong > 0.05  # so that it does not decide


def test_how_fine_a_gauge_is_makes_no_difference_once_all_is_told_apart():
    """A nanometre on values millimetres apart: as many points as for a micrometre."""
    means = np.array([[0.0, 0.001], [200.0, 200.001], [1.0, 1.001], [1.0, 1.001]])
    weights, labels = np.full(4, 0.25), np.array([0, 1, 1, 0])
    found = told_by_measuring(weights, means, 1e-9, labels)
    assert found.bits == pytest.approx(1.5, abs=1e-6)
    assert found.wrong == pytest.approx(0.25, abs=1e-6)


def test_equal_predictions_tell_nothing_and_far_ones_all():
    weights = np.full(4, 0.25)
    same = told_by_measuring(weights, np.full((4, 1), 3.0), 0.1, np.arange(4))
    assert same.bits == pytest.approx(0.0, abs=1e-9)
    assert same.wrong == pytest.approx(0.75, abs=1e-9)
    far = told_by_measuring(weights, 1e3 * np.arange(4.0)[:, None], 0.1, np.arange(4))
    assert far.bits == pytest.approx(2.0, abs=1e-9)
    assert wrong_now(weights, np.arange(4)) == 0.75


# ---- strength ----------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("times", "word"),
    [(1, "none"), (2.9, "weak"), (3.1, "positive"), (19, "positive"), (21, "strong"),
     (149, "strong"), (151, "very strong"), (1e300, "very strong")],
)  # fmt: skip
def test_words_of_the_published_scale(times, word):
    assert strength.words(1.0 / times) == word


def test_misfit_of_the_best():
    for chi2 in (0.5, 2.0, 9.0):
        assert strength.misfit(chi2, 2) == pytest.approx(math.exp(-chi2 / 2), rel=1e-12)
    assert strength.misfit(44.6, 2) < 1e-9  # thickness 0.60 instead of 0.26 on the mould insert
    assert strength.misfit(0.0, 0) is None


def test_ratios_hold_where_nothing_is_likely():
    assert strength.ratios(np.array([-2000.0, -2001.0])) == pytest.approx([1.0, math.exp(-1)])
    assert strength.ratios(np.full(3, -np.inf)).tolist() == [1.0] * 3
    assert strength.posterior(TWO, np.zeros(2)).tolist() == [0.5, 0.5]


# ---- classes and their names -------------------------------------------------------------------


def test_classes_agree_within_a_tenth_of_the_uncertainty():
    predicted = np.array([[1.2, 0.98], [1.201, 0.98], [1.204, 0.98], [1.2, 0.5], [np.nan, 0.98]])
    groups = alike(predicted, np.array([0.03, 0.0]), ["a"] * 5)
    assert groups == [[0, 1], [2], [3], [4]]
    assert alike(predicted[:2], np.array([0.03, 0.0]), ["a", "b"]) == [[0], [1]]


def suspects(heights, firsts, counts, ways):
    return [
        Suspect("event", 0.1 * (h + 1), h, f, n, way)
        for h, f, n, way in itertools.product(heights, firsts, counts, ways)
    ]


def members(box, among):
    return {
        one
        for one in among
        if (one.cause == "mesh") == (box.cause == "mesh")
        and (
            box.cause == "mesh"
            or (
                box.height_mm[0] <= one.height <= box.height_mm[1]
                and box.from_layer[0] <= one.from_layer <= box.from_layer[1]
                and box.layers[0] <= one.layers <= box.layers[1]
                and one.resume in box.resume
            )
        )
    }


def test_boxes_hold_exactly_their_suspects():
    every = [*suspects(range(5), range(3), (1, 2, 3), ("height", "layer")), Suspect("mesh")]
    ranges = Ranges(every)
    assert len(ranges.boxes(every)) == 2
    assert ranges.boxes(every[:-1]) == (
        Box("event", (0.1, 0.5), (0, 4), (0, 2), (1, 3), ("height", "layer")),
    )
    rng = np.random.default_rng(5)
    for share in (0.03, 0.5, 0.9):
        some = {one for one in every if rng.random() < share}
        boxes = ranges.boxes(some)
        assert set().union(*(members(box, every) for box in boxes)) == some
        assert sum(len(members(box, every)) for box in boxes) == len(some)


# ---- what decides ------------------------------------------------------------------------------


def candidate(kind="rim_width", **keys):
    given = {"value": 0.0, "u": 0.05} if kind.startswith("rim_w") else keys
    return Candidate(ReadingTable.model_validate({"kind": kind, **given}), kind, 0.05)


def test_the_cheapest_that_parts_the_recommendations_decides():
    weights, words = np.full(4, 0.25), ["rework", "rework", "use-as-is", "use-as-is"]
    cause = Foreseen(np.array([[0.0], [1.0], [0.0], [1.0]]))
    decides = Foreseen(np.array([[0.0], [1.0], [2.0], [3.0]]))
    found = ranked(weights, words, [(candidate(), cause), (candidate(), decides)])
    assert [one.decides for one in found] == [False, True]
    assert [round(one.bits, 6) for one in found] == [1.0, 2.0]
    assert [round(one.decision_bits, 6) for one in found] == [0.0, 1.0]
    said = decision(weights, words, found, False)
    assert said.said == "rework or use-as-is, depending on the cause; it is decided by: rim_width"
    assert not said.settled


def test_it_is_said_where_nothing_more_need_be_measured_and_only_there():
    one = ranked(
        np.full(2, 0.5), ["rework"] * 2, [(candidate(), Foreseen(np.array([[0.0], [9.0]])))]
    )
    said = decision(np.full(2, 0.5), ["rework"] * 2, one, False)
    assert said.settled
    assert said.said == "rework whatever the cause: for the decision nothing more need be measured"
    other = decision(np.full(2, 0.5), ["rework"] * 2, one, False, ["bore"])
    assert other.said.endswith("; the state of bore depends on the cause, and so may the work")
    for words, none in (
        (["undetermined"] * 2, False),
        (["rework", "scrap"], False),
        (["rework"] * 2, True),
    ):
        other = decision(np.full(2, 0.5), words, one, none)
        assert not other.settled
        assert "nothing more need be measured" not in other.said


def test_what_is_hardly_left_is_said_and_not_dropped():
    one = ranked(np.array([0.98, 0.02]), ["use-as-is", "rework"], [])
    said = decision(np.array([0.98, 0.02]), ["use-as-is", "rework"], one, False)
    assert not said.settled
    assert "use-as-is but for 2 % of what the readings leave" in said.said


def test_where_no_rim_is_there_that_is_an_answer():
    what = Foreseen(np.array([[2.0], [2.0], [np.nan], [np.nan]]))
    told = next_one.told(np.full(4, 0.25), what, 0.05, np.arange(4))
    assert told.bits == pytest.approx(1.0, abs=1e-9)


def test_candidates_have_a_fixed_order():
    assert ORDER[0] == "rim_seen"
    assert ORDER[-1] == "open_area"
    assert candidate().rank == ORDER.index("rim_width")


# ---- causes that are no wrong slice ------------------------------------------------------------


def reading(**keys):
    return ReadingTable.model_validate(keys)


def others(*readings):
    found = Found(list(enumerate(readings)), (29.8, 30.0), 0.1, 3.0)
    return {one.cause.split(",")[0]: one for one in other_causes(found)}


def test_without_readings_nothing_is_excluded_and_all_say_what_to_look_at():
    found = others()
    assert len(found) == 6
    assert not any(one.excluded for one in found.values())
    assert all(one.look_at for one in found.values())


def test_no_rim_that_was_seen_excludes_nothing():
    assert not any(one.excluded for one in others(reading(kind="rim_seen", value=False)).values())


def test_a_rim_of_two_faces_is_metal_that_none_of_them_leaves():
    found = others(reading(kind="rim_thickness", value=0.2, u=0.03))
    assert all(one.excluded for one in found.values())
    small = others(reading(kind="rim_thickness", value=0.08, u=0.03))  # within its uncertainty
    assert not any(one.excluded for one in small.values())


def test_a_height_excludes_only_what_it_can():
    found = others(reading(kind="part_height", value=29.96, u=0.01))
    assert [name for name, one in found.items() if one.excluded] == ["layers skipped"]
    low = others(reading(kind="part_height", value=29.5, u=0.01))
    assert not low["layers skipped"].excluded
    assert low["the mesh itself has the sheet"].excluded


def test_a_step_is_excluded_only_by_two_directions_that_cross():
    one = reading(kind="step", value=0.01, u=0.02, direction=[1, 0])
    along = reading(kind="step", value=-0.01, u=0.02, direction=[-1, 0])
    across = reading(kind="step", value=0.0, u=0.02, direction=[0, 2])
    name = "a sideways step alone"
    assert not others(one)[name].excluded
    assert not others(one, along)[name].excluded
    found = others(one, across)[name]
    assert found.excluded
    assert "no step above 0.10 mm" in found.by  # hypot(0.07, 0.06), rounded outward


def test_the_largest_step_is_the_farthest_corner_of_what_two_directions_leave():
    """Strips 0.07 and 0.06 to each side, 45 degrees apart: their corners by a linear solve."""
    way = np.array([[1.0, 0.0], [math.cos(math.pi / 4), math.sin(math.pi / 4)]])
    corners = [np.linalg.solve(way, (a * 0.07, b * 0.06)) for a in (-1, 1) for b in (-1, 1)]
    farthest = max(float(np.hypot(*one)) for one in corners)
    some = [reading(kind="step", value=0.01, u=0.02, direction=way[0].tolist())]
    some.append(reading(kind="step", value=0.0, u=0.02, direction=way[1].tolist()))
    said = others(*some)["a sideways step alone"].by
    assert f"no step above {math.ceil(farthest * 100) / 100:.2f} mm" in said


def test_an_error_that_a_group_shares_belongs_to_what_excludes():
    """29.96 +/- 0.2 mm by a gauge whose zero is off by 0.2 mm: all heights are still possible."""
    gauge = {"group": "gauge", "u_group": 0.2}
    found = others(reading(kind="part_height", value=29.5, u=0.01, **gauge))
    assert not any(one.excluded for one in found.values())
    thin = others(reading(kind="rim_thickness", value=0.2, u=0.03, **gauge))
    assert not any(one.excluded for one in thin.values())


def test_layers_skipped_leave_a_jump_that_may_be_taken_for_a_rim_but_has_no_thickness():
    wide = others(reading(kind="rim_width", value=0.3, u=0.03))
    assert not wide["layers skipped"].excluded
    assert wide["caked powder or debris"].excluded
