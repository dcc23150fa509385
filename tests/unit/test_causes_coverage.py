"""Coverage by simulation: a true event is hardly ever excluded, and likelihoods are what they say.

A thousand invented events with readings drawn from their own uncertainty, of one table of
predictions (docs/make_causes.py), no checks. What is enumerated here shares no code with the
program: sums over a fine grid of all that is unknown of the part.
"""

import importlib.util
from pathlib import Path

import numpy as np
import pytest
from scipy import stats

from clearance.case.readings import ReadingTable
from clearance.causes.strength import posterior, ratios
from clearance.readings.likelihood import coverage, log_likelihood, whitened

ROOT = Path(__file__).parents[2]


@pytest.fixture(scope="module")
def script():
    spec = importlib.util.spec_from_file_location("make_causes", ROOT / "docs/make_causes.py")
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    return module


@pytest.fixture(scope="module")
def found(script):
    return script.simulated()


def test_the_true_event_is_excluded_no_more_often_than_is_said(found):
    """At most 0.27 % of the sets: a count beyond this bound has a chance below 1e-3."""
    events = len(found.true)
    assert events == 1000
    assert found.excluded <= stats.binom.ppf(0.999, events, 0.0027)
    assert coverage(3) == pytest.approx(stats.norm.isf(0.0027 / 6), abs=2e-3)


def test_a_suspect_is_the_true_event_as_often_as_its_likelihood_says(script, found):
    rows = script.reliability(found)
    assert sum(count for _, count, _ in rows) == found.chances.size
    assert len([count for _, count, _ in rows if count > 50]) > 5
    for chance, count, true in rows:
        low, high = stats.binom.interval(0.9995, count, chance)
        assert low <= true <= high, (chance, count, true)


def test_the_likelihood_is_that_of_an_enumeration_written_apart(script):
    """Packing, melt depth, cooling and the gauge's error, each in many small steps."""
    rng = np.random.default_rng(4)
    t, height, shared, expansion = 0.05, 16.0, 0.02, 21e-6
    middle = (np.arange(24) + 0.5) / 24
    phi, p, kelvin, error = np.meshgrid(
        0.45 + 0.15 * middle,
        0.05 + 0.05 * middle[::2],
        150.0 * middle,
        stats.norm.ppf(middle) * shared,
    )
    u = [one.u for one in script.READINGS]
    unknowns = script._unknowns()
    row = [script._row(n, unknowns.packing, 0.05 + 0.05 * unknowns.depth) for n in script.COUNTS]
    for true in (1, 3):
        readings = script._drawn(true, rng)
        y = [one.value for one in readings]
        by_hand = []
        for count in script.COUNTS:
            left = p  # powder over powder: s' = (1 - phi)(s + t), from the melt depth on
            for _ in range(count):
                left = (1 - phi) * (left + t)
            top = (height + count * t - left) - expansion * height * kelvin
            whole = (30 - t * (1 - phi) / phi) - expansion * 30 * kelvin
            thick = count * t + p - left
            density = (
                stats.norm.pdf(y[0] - error, top, u[0])
                * stats.norm.pdf(y[1] - error, whole, u[1])
                * stats.norm.pdf(y[2], thick, u[2])
            )
            by_hand.append(density.mean())
        by_hand = np.array(by_hand) / np.sum(by_hand)
        logs = [log_likelihood(list(zip(readings, one, strict=True)), unknowns) for one in row]
        told = posterior(np.full(5, 0.2), ratios(np.array(logs)))
        assert told == pytest.approx(by_hand, rel=0.03, abs=2e-4)


def test_shared_errors_are_those_of_the_whole_covariance():
    """Against scipy's multivariate normal distribution: two groups, and one reading by itself."""

    def reading(kind, u, group="", shared=0.0):
        more = {"group": group, "u_group": shared} if group else {}
        return ReadingTable(kind=kind, value=1.0, u=u, **more)

    some = [reading("rim_top", 0.02, "a", 0.03), reading("rim_top", 0.05, "a", 0.03)]
    some += [reading("part_height", 0.04)]
    some += [reading("rim_bottom", 0.01, "b", 0.1), reading("rim_bottom", 0.03, "b", 0.1)]
    cov = np.diag([one.u**2 for one in some])
    cov[:2, :2] += 0.03**2
    cov[3:, 3:] += 0.1**2
    columns = np.random.default_rng(0).normal(size=(5, 3)) * 0.1
    free, log_det = whitened(some, columns)
    told = -0.5 * (free**2).sum(axis=0) - log_det - 2.5 * np.log(2.0 * np.pi)
    assert told == pytest.approx(stats.multivariate_normal(np.zeros(5), cov).logpdf(columns.T))
