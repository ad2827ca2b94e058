"""Strategies compared under uncertainty about detection."""

import numpy as np
import pandas as pd
import pytest

import serrata
from serrata.uncertainty import _by_knowledge

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


def poor_fit():
    """A fit to 16 looks at a curve with q50 4 mm, which leave it wide open."""
    size = np.array([1.0, 1.5, 2.0, 2.5, 3.0, 3.5, 4.0, 4.5, 5.0, 5.5, 6.0, 7.0, 8.0, 9.0, 11.0, 14.0])
    found = np.array([0, 0, 0, 1, 0, 0, 1, 0, 1, 0, 1, 1, 0, 1, 1, 1], dtype=bool)
    return serrata.fit_hit_miss(size, found)


def test_few_looks_leave_more_open_than_many(study):
    spread = {}
    for looks in (60, 2_000):
        compared = study.simulate_under_uncertainty({"ultrasonic": fit(looks)}, draws=30, trials=400, seed=2)
        found = compared.summary.query("strategy == 'look' and quantity == 'cracks_found'").iloc[0]
        spread[looks] = found["sd_by_knowledge"] / found["value"]
    # What is found goes with a power of q50, so that its relative spread goes with the standard error of ln q50: as one
    # over the square root of the looks, 6 times apart. 30 draws give a standard deviation within 1 / sqrt(58), 13 %,
    # and the trials leave a floor below which nothing is resolved.
    assert spread[60] > 2.0 * spread[2_000]


def test_the_variance_between_draws_is_split_into_knowledge_and_trials(study):
    compared = study.simulate_under_uncertainty({"ultrasonic": fit(60)}, draws=12, trials=200, seed=3)
    table = compared.draws
    one = table[(table["quantity"] == "cost") & (table["strategy"] == next(iter(study.strategies)))]
    line = compared.summary[(compared.summary["quantity"] == "cost")].iloc[0]
    between = one["value"].var(ddof=1)
    assert line["sd_by_trials"] ** 2 == pytest.approx((one["standard_error"] ** 2).mean())
    assert line["sd_by_knowledge"] ** 2 == pytest.approx(max(between - line["sd_by_trials"] ** 2, 0.0))
    assert line["sd_by_knowledge_low"] <= line["sd_by_knowledge"] <= line["sd_by_knowledge_high"]
    assert compared.first["lowest_cost"].sum() == pytest.approx(1.0)
    assert compared.first["fewest_losses"].sum() == pytest.approx(1.0)


def test_uncertainty_about_rare_losses_is_that_of_an_outer_loop(study):
    losing, curve = study.with_values({"growth.steel.coefficient_m_per_start": 6e-11}), poor_fit()
    rare = losing.simulate_under_uncertainty({"ultrasonic": curve}, draws=200, trials=60, seed=2)
    line = rare.summary.query("strategy == 'look' and quantity == 'losses'").iloc[0]
    assert 0.3 < line["seen"] < 0.7  # half of the draws saw no loss
    # By hand: the same kind of draws with so many trials each that their scatter hardly counts.
    means = []
    for draw in range(30):
        drawn = losing.with_technique("ultrasonic", curve.drawn_evidence("ultrasonic", seed=3, draw=draw))
        table = drawn.simulate(trials=6_000, seed=100 + draw, progress=False).summary
        found = table.query("strategy == 'look' and quantity == 'losses'").iloc[0]
        means.append((found["value"], found["standard_error"]))
    value, error = np.array(means).T
    by_hand = (value.var(ddof=1) - (error**2).mean()) ** 0.5
    assert by_hand > 0.001
    assert line["sd_by_knowledge_low"] <= by_hand <= line["sd_by_knowledge_high"]
    assert f"< {line['sd_by_knowledge_high']:.3g}" in rare.report()
    assert "of the draws saw no loss in 60 trials" in rare.report()


def test_draws_that_saw_nothing_count_in_the_spread_by_knowledge():
    # Rates of loss by a gamma law of mean 0.0073 and standard deviation 0.0054: of 100 draws with 100 trials each, half
    # see no loss. Variances, not their roots, are right on average.
    mean, sd, sets = 0.0073, 0.0054, 400
    random = np.random.default_rng(1)
    answers, held, without = [], 0, []
    for _ in range(sets):
        losses = random.binomial(100, random.gamma((mean / sd) ** 2, sd**2 / mean, 100))
        value = pd.Series(losses / 100)
        error = ((value * (1.0 - value) / 99) ** 0.5).where(losses > 0)
        answer, _, most = _by_knowledge(value, error)
        answers.append(answer**2)
        held += most >= sd
        without.append(max(value.var(ddof=1) - (error**2).mean(), 0.0))
    assert abs(np.mean(answers) - sd**2) < 4.0 * np.std(answers) / sets**0.5
    # About 95 %: within four standard errors of 93 %, the least that was found for such sets.
    assert held / sets > 0.93 - 4.0 * (0.93 * 0.07 / sets) ** 0.5
    # The twin that leaves those draws out sees next to nothing.
    assert np.mean(without) < 0.05 * sd**2


def test_what_no_draw_saw_is_not_known(study):
    compared = study.simulate_under_uncertainty({"ultrasonic": fit(60)}, draws=3, trials=20, seed=2)
    line = compared.summary.query("strategy == 'look' and quantity == 'losses'").iloc[0]
    assert line["seen"] == 0.0
    assert np.isnan(line["sd_by_knowledge"])
    assert "not known" in compared.report()
    assert '"sd_by_knowledge": null' in compared.to_json()


def test_a_strategy_that_does_not_use_the_technique_is_certain(study):
    losing = study.with_values({"growth.steel.coefficient_m_per_start": 4e-10})
    compared = losing.simulate_under_uncertainty({"ultrasonic": fit(60)}, draws=25, trials=400, seed=4)
    table = compared.summary[(compared.summary["strategy"] == "none") & (compared.summary["quantity"] == "losses")]
    assert len(table) == 1
    assert (table["value"] > 0.0).all()
    # Between draws there are the trials alone: chi-square over 24 degrees, 4 standard deviations is 1 + 4 sqrt(2/24).
    between = table["sd_by_knowledge"] ** 2 + table["sd_by_trials"] ** 2
    assert (between < (1.0 + 4.0 * (2.0 / 24.0) ** 0.5) * table["sd_by_trials"] ** 2).all()


def test_the_same_seed_gives_the_same_answer_and_bad_arguments_are_refused(study):
    curve = fit(60)
    one, other = (study.simulate_under_uncertainty({"ultrasonic": curve}, draws=2, trials=50, seed=6) for _ in range(2))
    assert one.draws.equals(other.draws)
    assert "by knowledge" in one.report()
    assert '"caution"' in one.to_json()
    with pytest.raises(serrata.ArgumentError, match="at least one technique"):
        study.simulate_under_uncertainty({})
    with pytest.raises(serrata.ArgumentError, match="seed = -1"):
        study.simulate_under_uncertainty({"ultrasonic": curve}, seed=-1)
    with pytest.raises(serrata.ArgumentError, match="whole number from 2"):
        study.simulate_under_uncertainty({"ultrasonic": curve}, draws=1)


def test_signals_are_drawn_at_their_threshold(study):
    draws = np.random.default_rng(7)
    size_mm = np.exp(draws.uniform(np.log(0.8), np.log(16.0), 60))
    signal = 0.25 * size_mm * np.exp(draws.normal(0.0, 0.4, 60))
    curve = serrata.fit_signal(size_mm, signal)
    above = curve.at_threshold(1.0)
    compared = study.simulate_under_uncertainty({"ultrasonic": above}, draws=4, trials=200, seed=2)
    found = compared.draws.query("strategy == 'look' and quantity == 'cracks_found'")["value"]
    assert found.min() < found.max()
    drawn = above.drawn_evidence("ultrasonic", seed=2, draw=0)
    assert "one draw of what 60 signals leave open, call above 1" in drawn.basis
    for wrong, shown in [
        ((curve, 1.0), r"a SignalFit and a threshold\n.*\n    give fit, or fit\.at_threshold\(1\.0\)"),
        (curve, r"a SignalFit\n.*\n    give fit, or fit\.at_threshold\(threshold\)"),
        (0.9, "a float\n    must be a HitMissFit, or a SignalFit at a threshold"),
    ]:
        with pytest.raises(serrata.ArgumentError, match=rf"fits\['ultrasonic'\] is {shown}"):
            study.simulate_under_uncertainty({"ultrasonic": wrong})


def test_draws_of_two_techniques_have_nothing_to_do_with_each_other():
    curve, draws = fit(60), range(400)
    logs = [
        [np.log(curve.drawn_evidence(technique, seed=1, draw=draw).pod[0]) for draw in draws]
        for technique in ("one", "other")
    ]
    # A correlation of nothing scatters by one over the square root of the draws.
    assert abs(np.corrcoef(logs)[0, 1]) < 4.0 / len(draws) ** 0.5


def test_large_costs_are_printed_without_powers_of_ten(study):
    dear = study.with_values({"costs.new_blade_cost": 123_456_789})
    compared = dear.simulate_under_uncertainty({"ultrasonic": fit(60)}, draws=3, trials=50, seed=1)
    cost = compared.summary.query("quantity == 'cost'")["value"].max()
    assert f"{float(f'{cost:.4g}'):,.0f}" in compared.report()
    assert cost > 1e6
    assert "e+" not in compared.report()
