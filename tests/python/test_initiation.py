"""The time to a crack, against lifelines and scipy run in the same test; rates, against scipy."""

import json
import math
import pickle

import lifelines
import matplotlib.pyplot as plt
import numpy as np
import pytest
from scipy import optimize, stats

import serrata
from conftest import ROOT

DATA = ROOT / "tests" / "statistics" / "data"
NEVER = math.inf
CLEAN_H = [0, 25_000, 50_000, 75_000, 50_000, 75_000, 100_000]
CRACKED_H = [25_000, 50_000, 75_000, 100_000, 100_000, None, None]
BLADES = [1, 3, 7, 9, 2, 12, 48]
LAWS = ("weibull", "lognormal", "exponential")


def fitted(**options):
    return serrata.fit_initiation(CLEAN_H, CRACKED_H, counts=BLADES, unit="hours", **options)


@pytest.fixture(scope="module")
def fit():
    return fitted(source="an invented campaign")


@pytest.fixture(scope="module")
def simulated():
    """Give 150 blades of a Weibull law with a covariate, each looked at on its own outages."""
    rng = np.random.default_rng(5)
    heat = rng.normal(size=150)
    begins = 60.0 * (rng.exponential(size=150) * np.exp(-0.5 * heat)) ** (1 / 2.2)
    looks = rng.uniform(5, 20, size=150)[:, None] + 15.0 * np.arange(5)
    looks = np.c_[np.zeros(150), looks]
    place = (looks < begins[:, None]).sum(axis=1)
    clean = looks[np.arange(150), place - 1]
    cracked = np.where(place < 6, looks[np.arange(150), np.minimum(place, 5)], NEVER)
    return clean, cracked, heat


@pytest.mark.parametrize(
    ("law", "peer", "names"),
    [
        ("weibull", lifelines.WeibullFitter, {"scale": "lambda_", "shape": "rho_"}),
        ("lognormal", lifelines.LogNormalFitter, {"median": "mu_", "sigma_log": "sigma_"}),
        ("exponential", lifelines.ExponentialFitter, {"mean": "lambda_"}),
    ],
)
def test_estimates_and_errors_are_those_of_lifelines(simulated, law, peer, names):
    clean, cracked, _ = simulated
    ours = serrata.fit_initiation(clean, cracked, law=law, unit="months")
    theirs = peer().fit_interval_censoring(clean, cracked)
    # It stops where its gradient is small: estimates to some 1e-4 of themselves.
    assert ours.log_likelihood == pytest.approx(theirs.log_likelihood_, abs=1e-4)
    for name, other in names.items():
        value, error = theirs.summary.loc[other, ["coef", "se(coef)"]]
        # Theirs is the logarithm of the median, ours the median.
        value, error = (math.exp(value), math.exp(value) * error) if name == "median" else (value, error)
        assert ours.summary.loc[name, "value"] == pytest.approx(value, rel=1e-3)
        assert ours.summary.loc[name, "standard_error"] == pytest.approx(error, rel=2e-3)
    times = [20.0, 45.0, 80.0]
    np.testing.assert_allclose(ours.fraction_at(times), theirs.cumulative_density_at_times(times), rtol=2e-3)


def log_likelihood(theta, clean, cracked, heat, law):
    """Log-likelihood written out anew: log time, log shape, and the covariate on hazard or time."""
    log_time, log_shape, slope = theta
    if law == "weibull":
        gone = stats.weibull_min(np.exp(log_shape), scale=np.exp(log_time - slope * heat / np.exp(log_shape)))
    else:
        gone = stats.lognorm(np.exp(log_shape), scale=np.exp(log_time + slope * heat))
    # Far from the top a chance may vanish; there the search only has to come back.
    return np.log(np.maximum(gone.cdf(cracked) - gone.cdf(clean), 1e-300)).sum()


@pytest.mark.parametrize("law", ["weibull", "lognormal"])
def test_a_covariate_and_its_bounds_are_those_of_a_general_optimiser(simulated, law):
    ours = serrata.fit_initiation(simulated[0], simulated[1], law=law, covariates={"heat": simulated[2]}, unit="months")
    data = (*simulated, law)
    top = optimize.minimize(lambda x: -log_likelihood(x, *data), [4.0, 0.0, 0.0], method="BFGS", options={"gtol": 1e-6})
    values = ours.summary["value"].to_numpy()
    # The gradient is zero to 1e-6 there: parameters to some 1e-6.
    np.testing.assert_allclose([*np.log(values[:2]), values[2]], top.x, atol=2e-5)
    assert ours.log_likelihood == pytest.approx(-top.fun, abs=1e-8)
    low, high = ours.parameter_bounds("heat", confidence=0.975)
    for bound in (low, high):
        held = optimize.minimize(
            lambda x, bound=bound: -log_likelihood([*x, bound], *data),
            top.x[:2],
            method="BFGS",
            options={"gtol": 1e-6},
        )
        assert 2.0 * (held.fun - top.fun) == pytest.approx(stats.chi2.ppf(0.95, 1), abs=1e-4)
    assert low < ours.summary.loc["heat", "value"] < high


def test_a_row_factor_is_that_of_quadrature_by_scipy():
    rng = np.random.default_rng(3)
    rows = np.repeat(np.arange(12), 8)
    begins = (rng.exponential(size=96) / rng.gamma(1.0, 1.0, size=12)[rows]) ** 0.5
    clean = np.floor(begins / 0.4) * 0.4
    cracked = np.where(begins < 1.2, clean + 0.4, NEVER)
    clean = np.minimum(clean, 1.2)
    ours = serrata.fit_initiation(clean, cracked, rows=[f"row {row}" for row in rows], unit="years")
    scale, shape, variance = ours.summary["value"]
    before, after = (clean / scale) ** shape, (np.minimum(cracked, 1e9) / scale) ** shape
    # By the gamma law's own Gauss-Laguerre nodes and weights, and not along its logarithm.
    nodes, weights = laguerre(80, 1.0 / variance)
    total = 0.0
    for row in range(12):
        of = rows == row
        each = np.exp(-np.outer(nodes, before[of])) - np.exp(-np.outer(nodes, after[of]))
        total += math.log(weights @ np.prod(each, axis=1))
    assert ours.log_likelihood == pytest.approx(total, abs=1e-6)
    assert "row_variance" in ours.report()


def laguerre(count, shape):
    """Give nodes and weights of averages over a gamma law of mean 1."""
    from scipy.special import gamma, roots_genlaguerre

    nodes, weights = roots_genlaguerre(count, shape - 1.0)
    return nodes / shape, weights / gamma(shape)


def test_grouped_records_give_the_stated_answer(fit):
    # Invented blades; by another program: shape 2.68348, scale 148 516 h, log-likelihood -69.38025, B10 64 206 h.
    summary = fit.summary
    assert summary.loc["shape", "value"] == pytest.approx(2.68348, rel=1e-3)
    assert summary.loc["scale", "value"] == pytest.approx(148_516, rel=1e-3)
    assert fit.log_likelihood == pytest.approx(-69.38025, abs=1e-4)
    assert fit.time_at(0.1) == pytest.approx(64_206, rel=1e-3)
    low, high = fit.fraction_bounds(100_000, confidence=0.975)
    assert (low[0], high[0]) == (pytest.approx(0.1974, rel=1e-2), pytest.approx(0.4020, rel=1e-2))
    each = [np.repeat(np.array(values, dtype=float), BLADES) for values in (CLEAN_H, CRACKED_H)]
    single = serrata.fit_initiation(*each, unit="hours")
    np.testing.assert_allclose(single.summary["value"], summary["value"], rtol=1e-8)
    assert fit.found_counts == {"blades": 82, "found": 22, "found_at_first_look": 1}
    assert (fit.law, fit.unit, fit.source, fit.latest) == ("weibull", "hours", "an invented campaign", 100_000)
    assert fit.covariance.shape == (2, 2)
    np.testing.assert_allclose(np.sqrt(np.diag(fit.covariance)), summary["standard_error"])
    wald = fit.parameter_bounds("shape", method="wald")
    z = stats.norm.ppf(0.95) * summary.loc["shape", "standard_error"] / summary.loc["shape", "value"]
    assert wald == pytest.approx(tuple(summary.loc["shape", "value"] * np.exp([-z, z])), rel=1e-6)


def test_laws_and_the_distribution_of_any_shape_stand_side_by_side(fit):
    laws = fit.laws
    assert list(laws.index) == list(LAWS)
    assert laws.loc["weibull", "log_likelihood"] == pytest.approx(fit.log_likelihood)
    for law in LAWS:
        assert fitted(law=law).log_likelihood == pytest.approx(laws.loc[law, "log_likelihood"], abs=1e-9)
    best = fit.nonparametric
    assert best["mass"].sum() == pytest.approx(1.0)
    assert (laws["log_likelihood"] <= fit.nonparametric_log_likelihood).all()
    ends = best[np.isfinite(best["by"])]
    np.testing.assert_allclose(ends["fraction_by_law"], fit.fraction_at(ends["by"]))
    # Plain expectation and maximisation among all stretches between readings (Turnbull 1976), to convergence.
    edges = np.array([0.0, 25e3, 50e3, 75e3, 100e3, NEVER])
    clean, cracked = np.array(CLEAN_H, dtype=float), np.array([NEVER if by is None else by for by in CRACKED_H])
    within = (edges[:-1] >= clean[:, None]) & (edges[1:] <= cracked[:, None])
    shares = np.full(5, 0.2)
    for _ in range(5_000):
        each = within * shares
        shares = np.array(BLADES) @ (each / each.sum(axis=1, keepdims=True)) / sum(BLADES)
    np.testing.assert_allclose(best["mass"], shares, atol=1e-9)


def test_the_report_has_numbers_warnings_notes_and_the_caution(fit):
    text = fit.report()
    assert text == str(fit)
    for part in ("weibull law, in hours", "an invented campaign", "82 blades, 22 found cracked", "10 % cracked"):
        assert part in text
    assert serrata.CAUTION in text
    assert all(note in text for note in fit.notes)
    few = serrata.fit_initiation([0, 10, 0, 20], [10, None, 20, None], counts=[1, 30, 3, 20], unit="starts")
    assert any("nearly nothing of the shape" in warning for warning in few.warnings)
    assert few.warnings[0] in few.report()


def test_without_finds_there_is_a_bound_and_no_estimate():
    hours, blades = [24_000, 48_000, 61_000, 90_000], [10, 20, 6, 4]
    fit = serrata.fit_initiation(hours, counts=blades, shape=2.5, unit="hours")
    scale = (np.array(blades) @ np.array(hours, dtype=float) ** 2.5 / -math.log(0.05)) ** (1 / 2.5)
    assert fit.parameter_bounds("scale") == (pytest.approx(scale, rel=1e-9), None)
    assert (fit.bound_only, fit.log_likelihood, fit.time_at(0.1), fit.fraction_at(1e5)) == (True, None, None, None)
    low, high = fit.fraction_bounds(100_000)
    assert (low[0], high[0]) == (0.0, pytest.approx(0.30321, abs=5e-6))
    summary = fit.summary
    assert summary.loc["scale", "low"] == pytest.approx(scale, rel=1e-9)
    assert summary.loc["scale", ["value", "high"]].isna().all()
    assert bool(summary.loc["shape", "assumed"])
    assert "none found cracked" in repr(fit)
    blunt = serrata.fit_initiation(hours, counts=blades, shape=2.5, pod=0.5, unit="hours")
    assert blunt.fraction_bounds(100_000)[1][0] > high[0]
    with pytest.raises(serrata.DataError, match="it must be assumed") as caught:
        serrata.fit_initiation(hours, counts=blades, unit="hours")
    assert caught.value.reason == "no-finds"


def test_an_assumed_shape_is_told_as_such():
    fit = fitted(shape=2.0)
    line = fit.summary.loc["shape"]
    assert (line["value"], bool(line["assumed"])) == (2.0, True)
    assert line[["standard_error", "low", "high"]].isna().all()
    assert any("shape 2 was assumed" in note for note in fit.notes)
    with pytest.raises(serrata.ArgumentError, match="was assumed"):
        fit.parameter_bounds("shape")


def test_bad_records_are_refused_in_one_message():
    with pytest.raises(serrata.RecordsError) as caught:
        serrata.fit_initiation(
            [50_000, 50_000, -10, 25_000, 25_000],
            [25_000, 50_000, 25_000, None, 50_000],
            cracked=[True, True, True, True, False],
            unit="hours",
        )
    assert [fault.path.split(",")[0] for fault in caught.value.faults] == [f"record {one}" for one in range(1, 6)]
    assert "records: 5 faults" in str(caught.value)


@pytest.mark.parametrize(
    ("options", "words"),
    [
        ({"law": "gamma"}, "must be weibull or lognormal or exponential"),
        ({"shape": -1.0}, "must be a finite number above 0"),
        ({"pod": [0.5, 0.6]}, "must be as long as clean_until"),
        ({"rows": [1, 2]}, "must be as long as clean_until"),
        ({"covariates": {"heat": [1.0]}}, "must be as long as clean_until"),
        ({"exact": [0.0] * 7}, "must be bool"),
    ],
)
def test_arguments_out_of_range_are_refused(options, words):
    with pytest.raises(serrata.ArgumentError, match=words):
        fitted(**options)


def test_questions_out_of_range_are_refused(fit):
    for ask, words in [
        (lambda: fit.time_at(1.0), "between 0 and 1"),
        (lambda: fit.fraction_at(-1.0), "at least 0"),
        (lambda: fit.time_bounds(0.1, confidence=0.3), "between 0.5 and 1"),
        (lambda: fit.time_bounds(0.1, method="pointwise-band"), "likelihood ratio"),
        (lambda: fit.parameter_bounds("heat"), "one of scale, shape"),
        (lambda: fit.time_at(0.1, covariates={"heat": 1.0}), "the fit has none"),
    ]:
        with pytest.raises(serrata.ArgumentError, match=words):
            ask()


def test_covariates_must_be_given_and_leave_no_common_distribution(simulated):
    fit = serrata.fit_initiation(simulated[0], simulated[1], covariates={"heat": simulated[2]}, unit="months")
    with pytest.raises(serrata.ArgumentError, match="needs one for each of heat"):
        fit.time_at(0.1)
    cold, hot = (fit.time_at(0.1, covariates={"heat": heat}) for heat in (-1.0, 1.0))
    assert hot < cold
    assert fit.nonparametric is None
    assert fit.nonparametric_log_likelihood is None
    with pytest.raises(serrata.ArgumentError, match="fit one group"):
        fit.plot()


def test_a_fit_does_not_change_and_survives_pickle(fit):
    with pytest.raises(AttributeError, match="fit again"):
        fit.law = "another"
    with pytest.raises(TypeError, match="fit_initiation"):
        serrata.InitiationFit()
    again = pickle.loads(pickle.dumps(fit))
    assert again.report() == fit.report()


def test_the_figure_shows_law_bounds_and_any_shape(fit):
    ax = fit.plot()
    labels = [text.get_text() for text in ax.get_legend().get_texts()]
    assert labels == [
        "weibull law",
        "any shape, within a box nothing tells where",
        "bounds, each 95%",
        "beyond the latest look",
    ]
    assert ax.get_xlabel() == "time, hours"
    plt.close(ax.figure)
    ax = serrata.fit_initiation([3_000], counts=[80], shape=2.0, unit="starts").plot()
    assert "nothing was found" in ax.get_legend().get_texts()[0].get_text()
    plt.close(ax.figure)


def test_a_change_of_rate_is_that_of_its_closed_form():
    counts, exposures = np.array([2, 0, 5, 7, 9]), np.array([1.0, 0.5, 2.0, 1.0, 1.5])
    found = serrata.rate_change(counts, exposures, prior=(2.0, 3.0), duty=[1, 1, 2, 6, 6])

    def evidence(counts, exposures):
        def chance(rate):
            return math.exp(stats.poisson(rate * exposures).logpmf(counts).sum()) * stats.gamma(2.0, scale=1 / 3).pdf(
                rate
            )

        return math.log(quad(chance))

    def quad(chance):
        from scipy.integrate import quad as integrate

        return integrate(chance, 0.0, 60.0, epsabs=0.0, epsrel=1e-10, limit=400, points=[2.0, 8.0])[0]

    each = [evidence(counts[:k], exposures[:k]) + evidence(counts[k:], exposures[k:]) for k in range(1, 5)]
    np.testing.assert_allclose(found.summary["log_evidence"], each, atol=1e-7)
    one = evidence(counts, exposures)
    assert found.log_bayes_factor == pytest.approx(np.logaddexp.reduce(each) - math.log(4) - one, abs=1e-7)
    duty = np.array([1, 1, 2, 6, 6]) * exposures.sum() / (exposures @ [1, 1, 2, 6, 6])
    to_duty = np.logaddexp.reduce(each) - math.log(4) - evidence(counts, exposures * duty)
    assert found.log_bayes_factor_to_duty == pytest.approx(to_duty, abs=1e-7)
    assert serrata.CAUTION in found.report()
    assert "log Bayes factor" in repr(found)
    assert json.loads(found.to_json())["counts"] == counts.tolist()
    with pytest.raises(serrata.ArgumentError, match="whole numbers"):
        serrata.rate_change([1.5, 2], [1.0, 1.0])
    with pytest.raises(serrata.ArgumentError, match="as long as counts"):
        serrata.rate_change([1, 2], [1.0])


def test_pooled_rates_lie_between_their_own_and_all():
    counts, exposures = [5, 1, 5, 14, 3, 19, 1, 1, 4, 22], [94.3, 15.7, 62.9, 126.0, 5.24, 31.4, 1.05, 1.05, 2.1, 10.5]
    rates = serrata.pooled_rates(counts, exposures)
    # Ten pumps; George, Makov and Smith 1993, the reference's quadrature: 0.69717 and 0.92681.
    assert rates.common_law.loc["shape", "mean"] == pytest.approx(0.69717, abs=1e-5)
    assert rates.common_law.loc["rate", "mean"] == pytest.approx(0.92681, abs=1e-5)
    summary = rates.summary
    own, all_of_them = summary["count"] / summary["exposure"], rates.common_law.loc["shape", "mean"]
    between = (summary["mean"] - own) * (summary["mean"] - all_of_them) <= 1e-12
    assert between.sum() >= 9
    assert rates.log_evidence == pytest.approx(-36.577695, abs=1e-5)
    assert serrata.CAUTION in rates.report()
    assert "10 rows" in repr(rates)
