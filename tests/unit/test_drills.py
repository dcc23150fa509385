"""The table of drills and what limits their reach.

"published": lengths as printed for DIN 338, DIN 340 and DIN 1869 in a tool distributor's catalogue
table; point lengths and tolerances from toolmakers' pages. "analytic": arithmetic beside the test.
"""

import dataclasses
import itertools
from dataclasses import dataclass

import pytest

from clearance.drilling.drill_length import Practice, not_at_hand, reach_limit, reach_limits
from clearance.drilling.drills import (
    Drill,
    drills,
    h8_lower,
    listed,
    point_length,
    run_out,
    standard,
)


@dataclass(frozen=True)
class Own:
    diameter: float
    flute: float
    overall: float
    unit: str = "mm"


def lengths(series, diameter):
    [drill] = [d for d in standard() if d.series == series and d.diameter == diameter]
    return drill.overall, drill.flute


@pytest.mark.parametrize(
    ("series", "diameter", "expected"),
    [  # published
        ("jobber", 0.5, (22, 6)),
        ("jobber", 1.0, (34, 12)),
        ("jobber", 3.0, (61, 33)),
        ("jobber", 3.1, (65, 36)),
        ("jobber", 5.0, (86, 52)),
        ("jobber", 6.0, (93, 57)),
        ("jobber", 7.0, (109, 69)),
        ("jobber", 10.0, (133, 87)),
        ("jobber", 20.0, (205, 140)),
        ("long", 1.0, (56, 33)),
        ("long", 3.3, (106, 69)),
        ("long", 4.2, (119, 78)),
        ("long", 7.5, (156, 102)),
        ("long", 12.5, (205, 134)),
        ("extra-long 1", 3.0, (150, 100)),
        ("extra-long 2", 5.0, (245, 170)),
        ("extra-long 3", 13.0, (480, 330)),
    ],
)
def test_published_lengths(series, diameter, expected):
    assert lengths(series, diameter) == expected


def test_ratio_of_flute_to_diameter():
    """Published: at 5 mm 10.4, 17.4, 27, 34, 42; at 10 mm 8.7, 12.1, 18.5, 23.5, 29.5."""
    order = ["jobber", "long", "extra-long 1", "extra-long 2", "extra-long 3"]
    assert [lengths(s, 5.0)[1] / 5 for s in order] == pytest.approx([10.4, 17.4, 27, 34, 42])
    assert [lengths(s, 10.0)[1] / 10 for s in order] == pytest.approx([8.7, 12.1, 18.5, 23.5, 29.5])


def test_jobber_lists_every_tenth_and_long_only_what_the_catalogue_has():
    sizes = [d.diameter for d in listed() if d.series == "jobber"]
    tenths = [round(n / 10, 1) for n in range(5, 161)]
    assert sizes == [*tenths, 16.5, 17, 17.5, 18, 18.5, 19, 19.5, 20]
    long = {d.diameter for d in listed() if d.series == "long"}
    assert {3.2, 3.3, 4.2, 12.0, 12.5, 13.0} <= long
    assert not {3.1, 4.1, 5.2, 21.0} & long


def test_a_size_between_listed_ones_takes_the_lengths_of_the_shorter_and_says_so():
    # DIN 340 as listed: 2.5 has 95 and 62, 3.0 has 100 and 66.
    assert lengths("long", 2.6) == lengths("long", 2.9) == (95, 62)
    [drill] = [d for d in standard() if d.series == "long" and d.diameter == 2.7]
    assert drill.source.startswith("between listed sizes: lengths of 2.5 mm, DIN 340")
    [given] = [d for d in standard() if d.series == "long" and d.diameter == 3.0]
    assert given.source.startswith("DIN 340 (ISO 494)")
    assert lengths("extra-long 3", 2.1) == lengths("extra-long 3", 2.0)
    sizes = sorted(d.diameter for d in standard() if d.series == "long")
    assert sizes == [round(n / 10, 1) for n in range(10, 201)]


def test_own_drills_may_be_given_in_inches():
    # A quarter of an inch is 6.35 mm exactly.
    (drill,) = drills([], [Own(0.25, 2.75, 4.0, "inch")])
    assert (drill.diameter, drill.flute, drill.overall) == (6.35, 69.85, 101.6)
    assert drill.words == "the shop's 6.35 mm drill"


def test_doubtful_entries_stay_out():
    """What the catalogue prints there breaks its own steps."""
    assert lengths("jobber", 10.5) == lengths("jobber", 10.0)
    assert lengths("jobber", 15.1) == lengths("jobber", 16.0)
    extra = {d.diameter for d in listed() if d.series.startswith("extra-long")}
    assert not {1.0, 1.5, 3.2, 3.3, 4.2, 5.2} & extra


def test_lengths_never_fall_as_drills_grow():
    for series in {d.series for d in standard()}:
        rows = sorted(d for d in standard() if d.series == series)
        assert len({d.diameter for d in rows}) == len(rows)
        for small, large in itertools.pairwise(rows):
            assert small.flute <= large.flute < large.overall >= small.overall


def test_choice_of_series():
    assert {d.series for d in drills(["extra-long"])} == {f"extra-long {n}" for n in (1, 2, 3)}
    assert {d.series for d in drills(["jobber", "extra-long 2"])} == {"jobber", "extra-long 2"}
    assert drills([]) == ()
    assert drills([], [Own(6.0, 57.0, 93.0)]) == (Drill(6.0, 57.0, 93.0, "shop"),)
    found = drills(["jobber", "long"], [Own(3.0, 50.0, 80.0)])
    assert [d.series for d in found if d.diameter == 3.0] == ["jobber", "shop", "long"]
    with pytest.raises(ValueError, match="'stub'"):
        drills(["stub"])


@pytest.mark.parametrize(
    ("angle", "share"), [(118, 0.3004), (120, 0.2887), (130, 0.2331), (135, 0.2071), (140, 0.1820)]
)
def test_point_length(angle, share):
    """Published to three digits (point-length calculators), the fourth analytic."""
    assert point_length(1.0, angle) == pytest.approx(share, abs=1e-4)


def test_tolerance_and_run_out():
    """Published: h8 to 30 mm; run-out of a 5 mm drill 0.20 (jobber) and 0.66 (extra-long 3)."""
    sizes = [3.0, 3.01, 6.0, 10.0, 18.0, 30.0]
    assert [h8_lower(d) for d in sizes] == [-0.014, -0.018, -0.018, -0.022, -0.027, -0.033]
    with pytest.raises(ValueError, match="120 mm"):
        h8_lower(121.0)
    [jobber, extra] = [
        d for d in standard() if d.diameter == 5.0 and d.series in ("jobber", "extra-long 3")
    ]
    assert run_out(jobber) == pytest.approx(0.20, abs=0.005)
    assert run_out(extra) == pytest.approx(0.66, abs=0.005)


JOBBER_3 = Drill(3.0, 33.0, 61.0, "jobber")


def test_flute_bites_first():
    """Analytic: 42.1 + 0.9013 (point) + 3.0 (chip room) = 46.0013, read as 46.1."""
    limit = reach_limit(JOBBER_3, 42.1)
    assert limit is not None
    assert limit.kind == "flute"
    assert limit.available == 33.0
    assert limit.needed == pytest.approx(46.0013, abs=1e-4)
    assert limit.words == "a 3.0 mm jobber drill has 33 mm of flute, 46.1 mm required"


def test_reach_is_where_the_flute_begins_to_bite():
    """Analytic: 33 - 0.9013 - 3.0 = 29.0987; with a flat point and 1.5 diameters 33 - 4.5."""
    for practice, reach in ((Practice(), 29.0987), (Practice(180.0, 1.5), 28.5)):
        assert reach_limit(JOBBER_3, reach - 1e-4, practice) is None
        assert reach_limit(JOBBER_3, reach + 1e-4, practice).kind == "flute"


def test_holder_and_ratio():
    """Analytic: 61 - 7.5 clamped = 53.5 can project; 54 + 0.9013 needed. Its flute is 59 here."""
    fluted = dataclasses.replace(JOBBER_3, flute=59.0)
    limit = reach_limit(fluted, 54.0)
    assert (limit.kind, limit.available) == ("overall", 53.5)
    assert limit.needed == pytest.approx(54.9013, abs=1e-4)
    assert reach_limit(fluted, 52.5) is None
    limit = reach_limit(JOBBER_3, 29.0, practice=Practice(max_length_to_diameter=9.0))
    assert limit.kind == "length-to-diameter"
    assert limit.needed == pytest.approx(29.9013 / 3, abs=1e-4)
    assert "10 diameters deep" in limit.words
    assert reach_limit(JOBBER_3, 29.0, practice=Practice(max_length_to_diameter=10.0)) is None


def test_all_limits_are_given():
    kinds = [limit.kind for limit in reach_limits(JOBBER_3, 60.0, Practice(118.0, 1.0, 10.0))]
    assert kinds == ["flute", "overall", "length-to-diameter"]


def test_words_for_every_kind_of_drill():
    assert Drill(8.0, 75.0, 117.0, "jobber").words == "an 8.0 mm jobber drill"
    assert Drill(3.25, 75.0, 117.0, "shop").words == "the shop's 3.25 mm drill"
    assert Drill(3.0, 100.0, 150.0, "extra-long 1").words == "a 3.0 mm extra-long drill of series 1"


def test_what_is_not_at_hand():
    """Published lengths: a 3.0 mm drill 42 mm deep needs 45.9 mm of flute; long has 66."""
    assert not_at_hand(3.0, 42.0, ["jobber"]).series == "long"
    assert not_at_hand(3.0, 42.0, ["jobber", "long"]).series == "extra-long 1"
    assert not_at_hand(3.0, 42.0, ["jobber", "long", "extra-long"]) is None
    assert not_at_hand(3.0, 500.0, ["jobber"]) is None
