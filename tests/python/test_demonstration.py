"""Demonstration tests, against scipy."""

import pickle

import pytest
from scipy import stats

import serrata


@pytest.mark.parametrize(("found", "specimens"), [(29, 29), (28, 29), (45, 46), (0, 7), (3, 60)])
@pytest.mark.parametrize("confidence", [0.9, 0.95, 0.99])
def test_bounds_are_those_of_scipy(found, specimens, confidence):
    test = serrata.Demonstration(found, specimens, confidence)
    one_sided = stats.binomtest(found, specimens, alternative="greater").proportion_ci(confidence, method="exact")
    two_sided = stats.binomtest(found, specimens).proportion_ci(confidence, method="exact")
    assert test.lower_bound == pytest.approx(one_sided.low, rel=1e-9)
    assert test.interval == pytest.approx((two_sided.low, two_sided.high), rel=1e-9)
    assert test.confidence_in(0.8) == pytest.approx(stats.binom.cdf(found - 1, specimens, 0.8), abs=1e-12)


@pytest.mark.parametrize("misses", [0, 1, 4])
def test_a_plan_is_the_smallest_that_shows_it(misses):
    plan = serrata.DemonstrationPlan(0.9, 0.95, misses)
    n = plan.specimens
    assert serrata.Demonstration(n - misses, n).shows(0.9)
    assert not serrata.Demonstration(n - 1 - misses, n - 1).shows(0.9)
    assert plan.chance_of_passing(0.97) == pytest.approx(stats.binom.cdf(misses, n, 0.03), rel=1e-10)


def test_the_report_says_what_is_not_shown_too():
    report = serrata.Demonstration(28, 29, lengths_mm=(1.5, 2.0), false_calls=(1, 50)).report(0.9)
    for part in (
        "is not shown",
        "46 specimens would be needed",
        "1.5 to 2 mm",
        "False calls: 1 of 50",
        serrata.CAUTION,
    ):
        assert part in report


def test_they_survive_pickle():
    for made in (serrata.Demonstration(28, 29, false_calls=(1, 50)), serrata.DemonstrationPlan(0.9, 0.9, 1)):
        assert pickle.loads(pickle.dumps(made)) == made


@pytest.mark.parametrize(
    ("arguments", "words"),
    [((30, 29), "must be at most the 29 specimens"), ((1.5, 29), "must be a whole number"), ((1, 2, 1.0), "below 1")],
)
def test_impossible_tests_are_refused(arguments, words):
    with pytest.raises(serrata.ArgumentError, match=words):
        serrata.Demonstration(*arguments)
    with pytest.raises(serrata.ArgumentError, match="lower pod below 1"):
        serrata.DemonstrationPlan(1.0)
