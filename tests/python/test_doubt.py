"""Strategies compared while detection is only as well known as the records make it."""

import numpy as np
import pytest

import serrata

STUDY = "tests/engine/data/small.toml"


@pytest.fixture(scope="module")
def study():
    return serrata.Study.load(STUDY)


def fit(looks, seed=5):
    """A fit to so many looks at a curve with q50 4 mm and logistic spread 0.35."""
    draws = np.random.default_rng(seed)
    size = np.exp(draws.uniform(np.log(0.8), np.log(16.0), looks))
    found = draws.random(looks) < 1.0 / (1.0 + np.exp(-(np.log(size) - np.log(4.0)) / 0.35))
    return serrata.fit_hit_miss(size, found)


def test_few_looks_leave_more_open_than_many(study):
    spread = {}
    for looks in (60, 2_000):
        doubt = study.simulate_in_doubt({"ultrasonic": fit(looks)}, draws=30, trials=400, seed=2)
        found = doubt.summary.query("strategy == 'look' and quantity == 'cracks_found'").iloc[0]
        spread[looks] = found["sd_by_knowledge"] / found["value"]
    # What is found goes with a power of q50, so that its relative spread goes with the standard error of ln q50: as one
    # over the square root of the looks, 6 times apart. 30 draws give a standard deviation within 1 / sqrt(58), 13 %,
    # and the trials leave a floor below which nothing is resolved.
    assert spread[60] > 2.0 * spread[2_000]


def test_the_variance_between_draws_is_split_into_knowledge_and_trials(study):
    doubt = study.simulate_in_doubt({"ultrasonic": fit(60)}, draws=12, trials=200, seed=3)
    table = doubt.draws
    one = table[(table["quantity"] == "cost") & (table["strategy"] == next(iter(study.strategies)))]
    line = doubt.summary[(doubt.summary["quantity"] == "cost")].iloc[0]
    between = one["value"].var(ddof=1)
    assert line["sd_by_trials"] ** 2 == pytest.approx((one["standard_error"] ** 2).mean())
    assert line["sd_by_knowledge"] ** 2 == pytest.approx(max(between - line["sd_by_trials"] ** 2, 0.0))
    assert doubt.first["lowest_cost"].sum() == pytest.approx(1.0)
    assert doubt.first["fewest_losses"].sum() == pytest.approx(1.0)


def test_a_strategy_that_does_not_use_the_technique_is_in_no_doubt(study):
    losing = study.with_values({"growth.steel.coefficient_m_per_start": 4e-10})
    doubt = losing.simulate_in_doubt({"ultrasonic": fit(60)}, draws=25, trials=400, seed=4)
    table = doubt.summary[(doubt.summary["strategy"] == "none") & (doubt.summary["quantity"] == "losses")]
    assert len(table) == 1
    assert (table["value"] > 0.0).all()
    # Between draws there are the trials alone: chi-square over 24 degrees, 4 standard deviations is 1 + 4 sqrt(2/24).
    between = table["sd_by_knowledge"] ** 2 + table["sd_by_trials"] ** 2
    assert (between < (1.0 + 4.0 * (2.0 / 24.0) ** 0.5) * table["sd_by_trials"] ** 2).all()


def test_the_same_seed_gives_the_same_answer_and_bad_arguments_are_refused(study):
    curve = fit(60)
    one, other = (study.simulate_in_doubt({"ultrasonic": curve}, draws=2, trials=50, seed=6) for _ in range(2))
    assert one.draws.equals(other.draws)
    assert "by knowledge" in one.report()
    assert '"caution"' in one.to_json()
    with pytest.raises(serrata.ArgumentError, match="at least one technique"):
        study.simulate_in_doubt({})
    with pytest.raises(serrata.ArgumentError, match="seed = -1"):
        study.simulate_in_doubt({"ultrasonic": curve}, seed=-1)
    with pytest.raises(serrata.ArgumentError, match="whole number from 2"):
        study.simulate_in_doubt({"ultrasonic": curve}, draws=1)


def test_signals_are_drawn_at_their_threshold(study):
    draws = np.random.default_rng(7)
    size_mm = np.exp(draws.uniform(np.log(0.8), np.log(16.0), 60))
    signal = 0.25 * size_mm * np.exp(draws.normal(0.0, 0.4, 60))
    curve = serrata.fit_signal(size_mm, signal)
    doubt = study.simulate_in_doubt({"ultrasonic": (curve, 1.0)}, draws=4, trials=200, seed=2)
    found = doubt.draws.query("strategy == 'look' and quantity == 'cracks_found'")["value"]
    assert found.nunique() > 1
    drawn = curve.drawn_evidence("ultrasonic", threshold=1.0, seed=2, draw=0)
    assert "one draw of what 60 signals leave open, call above 1" in drawn.basis


def test_draws_of_two_techniques_have_nothing_to_do_with_each_other():
    curve, draws = fit(60), range(400)
    logs = [
        [np.log(curve.drawn_evidence(technique, seed=1, draw=draw).pod[0]) for draw in draws]
        for technique in ("one", "other")
    ]
    # A correlation of nothing scatters by one over the square root of the draws.
    assert abs(np.corrcoef(logs)[0, 1]) < 4.0 / len(draws) ** 0.5
