"""Hit/miss fits, against general-purpose libraries in the same run."""

import json
import pickle

import matplotlib.pyplot as plt
import numpy as np
import pytest
import statsmodels.api as sm
from click.testing import CliRunner
from matplotlib.figure import Figure
from scipy import optimize, special, stats

import serrata
from conftest import REFERENCE, ROOT
from serrata.command import main

LINKS = {"logit": sm.families.links.Logit(), "probit": sm.families.links.Probit()}
LOG_CHANCE = {"logit": special.log_expit, "probit": special.log_ndtr}
#: Square of the normal quantile of 0.95: the likelihood ratio of a one-sided 95 % bound.
CRITICAL = stats.norm.ppf(0.95) ** 2


def trials(name):
    table = np.genfromtxt(ROOT / "tests" / "statistics" / "data" / f"{name}.csv", delimiter=",", skip_header=1)
    table = table[~np.isnan(table).any(axis=1)]
    return table[:, 0], table[:, 1].astype(bool)


@pytest.fixture(scope="module")
def looks():
    return trials("hitmiss_generated")


@pytest.fixture(scope="module")
def fit(looks):
    return serrata.fit_hit_miss(*looks, source="a trial in 2031")


def log_likelihood(link, parameters, size_mm, found):
    eta = parameters[0] + parameters[1] * np.log(size_mm)
    return LOG_CHANCE[link](np.where(found, eta, -eta)).sum()


@pytest.mark.parametrize("link", LINKS)
def test_estimates_and_errors_are_those_of_a_general_library(looks, link):
    size_mm, found = looks
    ours = serrata.fit_hit_miss(size_mm, found, link=link)
    design = sm.add_constant(np.log(size_mm))
    family = sm.families.Binomial(LINKS[link])
    # Both stop well within a millionth of a standard error.
    theirs = sm.GLM(found.astype(float), design, family=family).fit(tol=1e-12, maxiter=200)
    assert ours.coefficients["value"].to_numpy() == pytest.approx(theirs.params, rel=1e-6)
    assert ours.log_likelihood == pytest.approx(theirs.llf, abs=1e-9)
    model = {"logit": sm.Logit, "probit": sm.Probit}[link](found.astype(float), design)
    observed = model.fit(disp=0, tol=1e-12, maxiter=100)
    assert ours.covariance == pytest.approx(observed.cov_params(), rel=1e-5)
    assert ours.coefficients["standard_error"].to_numpy() == pytest.approx(observed.bse, rel=1e-5)


@pytest.mark.parametrize("link", LINKS)
def test_the_likelihood_ratio_bound_is_the_one_found_by_direct_search(looks, link):
    ours = serrata.fit_hit_miss(*looks, link=link)
    wanted = {"logit": special.logit, "probit": special.ndtri}[link](0.9)
    best = ours.log_likelihood

    def excess(log_q90):
        def cost(slope):
            return -log_likelihood(link, (wanted - slope * log_q90, slope), *looks)

        constrained = -optimize.minimize_scalar(cost, bounds=(1e-3, 20), method="bounded", options={"xatol": 1e-10}).fun
        return 2 * (best - constrained) - CRITICAL

    log_q90 = np.log(ours.q90_mm)
    high = np.exp(optimize.brentq(excess, log_q90, log_q90 + 3))
    low = np.exp(optimize.brentq(excess, log_q90 - 3, log_q90))
    # Two searches stacked in each other; the outer one's tolerance is far below.
    assert ours.size_bounds(0.9, method="likelihood-ratio") == pytest.approx((low, high), rel=1e-5)


@pytest.mark.parametrize("link", LINKS)
def test_the_modified_bound_is_the_one_of_fits_by_a_general_library(looks, link):
    """Skovgaard 1996 in the parameters (predictor at the size, slope), with constrained fits by an offset."""
    size_mm, found = looks
    x, answers, family = np.log(size_mm), found.astype(float), sm.families.Binomial(LINKS[link])
    wanted = {"logit": special.logit, "probit": special.ndtri}[link](0.9)
    slope_of_chance = {"logit": lambda eta: special.expit(eta) * special.expit(-eta), "probit": stats.norm.pdf}[link]

    def observed(design, parameters):
        model = {"logit": sm.Logit, "probit": sm.Probit}[link](answers, design)
        return -model.hessian(parameters)

    def signed(log_q90):
        design = np.column_stack([np.ones_like(x), x - log_q90])
        best = sm.GLM(answers, design, family=family).fit(tol=1e-13, maxiter=200)
        offset = np.full_like(x, wanted)
        held = sm.GLM(answers, design[:, 1:], family=family, offset=offset).fit(tol=1e-13, maxiter=200)
        r = np.sign(best.params[0] - wanted) * np.sqrt(2 * (best.llf - held.llf))
        both = np.array([wanted, held.params[0]])
        at_best, at_held = design @ best.params, design @ both
        log_odds = [LOG_CHANCE[link](eta) - LOG_CHANCE[link](-eta) for eta in (at_best, at_held)]
        chance = [np.exp(LOG_CHANCE[link](eta)) for eta in (at_best, at_held)]
        to_odds = [slope_of_chance(eta) / (p * (1 - p)) for eta, p in zip((at_best, at_held), chance, strict=True)]
        variance = chance[0] * (1 - chance[0])
        of_slopes = design.T @ ((variance * to_odds[0] * to_odds[1])[:, None] * design)
        of_likelihoods = design.T @ (variance * to_odds[0] * (log_odds[0] - log_odds[1]))
        expected = design.T @ ((variance * to_odds[0] ** 2)[:, None] * design)
        u = np.linalg.solve(of_slopes, of_likelihoods)[0] * np.linalg.det(of_slopes) / np.linalg.det(expected)
        u *= np.sqrt(np.linalg.det(observed(design, best.params)) / observed(design, both)[1, 1])
        return r + np.log(u / r) / r

    ours = serrata.fit_hit_miss(size_mm, found, link=link)
    low, high = ours.size_bounds(0.9, method="modified-likelihood-ratio")
    # The predictor at a size rises with the size, and so falls below the wanted one at a size that is too small.
    assert signed(np.log(high)) == pytest.approx(stats.norm.ppf(0.95), abs=1e-5)
    assert signed(np.log(low)) == pytest.approx(-stats.norm.ppf(0.95), abs=1e-5)
    assert ours.q90_95_mm == high
    assert high > ours.size_bounds(0.9, method="likelihood-ratio")[1]


def test_bounds_are_modified_unless_that_cannot_be_had(looks):
    size_mm, found = looks
    assert serrata.fit_hit_miss(size_mm, found).usual_method == "modified-likelihood-ratio"
    for asked in ({"penalised": True}, {"ceiling": "fitted"}):
        plain = serrata.fit_hit_miss(size_mm, found, **asked)
        assert plain.usual_method == "likelihood-ratio"
        assert plain.q90_95_mm == plain.size_bounds(0.9, method="likelihood-ratio")[1]
        with pytest.raises(serrata.ArgumentError, match="use likelihood ratio"):
            plain.size_bounds(0.9, method="modified-likelihood-ratio")


@pytest.mark.parametrize("link", LINKS)
def test_a_penalised_fit_maximises_the_penalised_likelihood(link):
    size_mm, found = trials("hitmiss_separated")
    ours = serrata.fit_hit_miss(size_mm, found, link=link, penalised=True)
    x = np.log(size_mm)
    design = np.column_stack([np.ones_like(x), x])

    def cost(parameters):
        eta = design @ parameters
        log_p, log_q = LOG_CHANCE[link](eta), LOG_CHANCE[link](-eta)
        # The expected information of one look: derivative of the probability, squared, over p (1 - p).
        log_slope = log_p + log_q if link == "logit" else stats.norm.logpdf(eta)
        weight = np.exp(2 * log_slope - log_p - log_q)
        penalty = 0.5 * np.linalg.slogdet(design.T @ (weight[:, None] * design))[1]
        return -(np.where(found, log_p, log_q).sum() + penalty)

    theirs = optimize.minimize(
        cost, [0.0, 1.0], method="Nelder-Mead", options={"xatol": 1e-9, "fatol": 1e-13, "maxiter": 5000}
    )
    assert ours.coefficients["value"].to_numpy() == pytest.approx(theirs.x, rel=1e-4)
    assert ours.log_likelihood == pytest.approx(-theirs.fun, abs=1e-8)


def test_factors_are_those_of_a_general_library(looks):
    size_mm, found = looks
    surface = ["peened" if index % 3 == 0 else "oxidised" for index in range(len(size_mm))]
    fit = serrata.fit_hit_miss(size_mm, found, factors={"surface": surface}, reference={"surface": "peened"})
    other = np.array([name == "oxidised" for name in surface], dtype=float)
    design = np.column_stack([np.ones_like(other), np.log(size_mm), other])
    theirs = sm.Logit(found.astype(float), design).fit(disp=0, tol=1e-12)
    assert fit.coefficients["value"].to_numpy() == pytest.approx(theirs.params, rel=1e-6)
    assert fit.coefficients.index[2] == "surface = oxidised"
    assert fit.shifts_log("surface")["oxidised"] == pytest.approx(-theirs.params[2] / theirs.params[1], rel=1e-6)
    assert fit.factors == {"surface": ["peened", "oxidised"]}
    moved = fit.with_levels(surface="oxidised")
    assert np.log(moved.q90_mm / fit.q90_mm) == pytest.approx(fit.shifts_log("surface")["oxidised"])
    with pytest.raises(serrata.ArgumentError, match="is no factor of this fit"):
        serrata.fit_hit_miss(size_mm, found, reference={"surface": "peened"})


def test_false_calls_are_counted_apart_from_the_curve(looks):
    size_mm, found = looks
    sound = np.zeros(20)
    with_sound = serrata.fit_hit_miss(np.r_[size_mm, sound], np.r_[found, [True] + [False] * 19])
    assert with_sound.false_call_counts == (1, 20)
    assert with_sound.q90_mm == serrata.fit_hit_miss(size_mm, found).q90_mm
    low, high = stats.binomtest(1, 20).proportion_ci(0.95, method="exact")
    assert f"false calls: 1 of 20, 0.0500 (95 % interval {low:.4f} to {high:.4f})" in with_sound.report()


def test_goodness_of_fit_is_the_sum_on_paper(fit, looks):
    chi_square, p_value, groups = (fit.goodness[key] for key in ("chi_square", "p", "groups"))
    pod = np.sort(fit.pod_at(looks[0]))
    assert groups["expected"].to_numpy() == pytest.approx([part.sum() for part in np.array_split(pod, 6)])
    expected, count, hits = groups["expected"], groups["looks"], groups["hits"]
    assert chi_square == pytest.approx(((hits - expected) ** 2 / (expected * (1 - expected / count))).sum())
    assert p_value == pytest.approx(stats.chi2.sf(chi_square, 4))


def test_goodness_of_few_looks_is_not_known(looks):
    size_mm, found = looks
    few = serrata.fit_hit_miss(size_mm[::4], found[::4])
    assert (few.goodness["chi_square"], few.goodness["p"]) == (None, None)
    assert few.goodness["groups"].empty


def test_data_that_carry_no_curve_are_refused_with_a_name_and_a_remedy():
    for name, reason in [
        ("hitmiss_separated", "separation"),
        ("hitmiss_quasi_separated", "quasi-separation"),
        ("hitmiss_reversed", "reversed"),
    ]:
        with pytest.raises(serrata.DataError) as caught:
            serrata.fit_hit_miss(*trials(name))
        assert caught.value.reason == reason
        assert len(str(caught.value).splitlines()) == 3


@pytest.mark.parametrize("bad", [np.nan, np.inf, -1.0])
def test_a_size_that_is_no_length_is_refused(looks, bad):
    size_mm = looks[0].copy()
    size_mm[3] = bad
    with pytest.raises(serrata.ArgumentError, match="size_mm of look 4"):
        serrata.fit_hit_miss(size_mm, looks[1])


def test_answers_that_are_none_and_lengths_that_differ_are_refused(looks):
    size_mm, found = looks
    with pytest.raises(serrata.ArgumentError, match="neither true nor false"):
        serrata.fit_hit_miss(size_mm, np.where(found, 1.0, np.nan))
    with pytest.raises(serrata.ArgumentError, match="must be as long as size_mm, which has 60"):
        serrata.fit_hit_miss(size_mm, found[:-1])
    with pytest.raises(serrata.ArgumentError, match='must be a probability or "fitted"'):
        serrata.fit_hit_miss(size_mm, found, ceiling="free")
    known = "must be modified-likelihood-ratio or non-central-t or likelihood-ratio or wald"
    with pytest.raises(serrata.ArgumentError, match=known):
        serrata.fit_hit_miss(size_mm, found).size_bounds(0.9, method="exact")


def test_bounds_on_probabilities_stay_within_0_and_1_and_around_the_curve(fit):
    grid = np.geomspace(1e-3, 1e3, 25)
    for method in ("modified-likelihood-ratio", "likelihood-ratio", "wald", "simultaneous-band"):
        low, high = fit.pod_bounds(grid, method=method)
        assert (low >= 0).all()
        assert (low <= fit.pod_at(grid) + 1e-12).all()
        assert (fit.pod_at(grid) <= high + 1e-12).all()
        assert (high <= 1).all()


def test_a_fitted_ceiling_has_bounds_and_no_wald(looks):
    fit = serrata.fit_hit_miss(*looks, ceiling="fitted")
    low, high = fit.ceiling_bounds()
    assert low < fit.ceiling <= high <= 1.0
    with pytest.raises(serrata.ArgumentError, match="use likelihood ratio"):
        fit.size_bounds(0.9, method="wald")
    assert json.loads(fit.to_json())["q90_wald_mm"] is None


def test_a_fit_does_not_change_and_survives_pickling(looks):
    surface = ["peened" if index % 3 == 0 else "oxidised" for index in range(60)]
    fit = serrata.fit_hit_miss(*looks, factors={"surface": surface}).with_levels(surface="peened")
    again = pickle.loads(pickle.dumps(fit))
    assert again.report() == fit.report()
    assert again.q90_95_mm == fit.q90_95_mm
    with pytest.raises(AttributeError, match="does not change"):
        fit.q90_mm = 1.0
    with pytest.raises(TypeError, match="is made by fit_hit_miss"):
        serrata.HitMissFit()


def test_looks_left_out_and_drawn_anew(fit):
    influence = fit.influence()
    assert list(influence.columns) == ["size_mm", "called", "without_mm"]
    assert len(influence) == 60
    (low, high), sizes_mm, without = fit.resampled(resamples=500, seed=2)
    assert len(sizes_mm) + without == 500
    assert low < fit.q90_mm < high


def test_the_report_names_sizes_methods_and_doubts_on_one_screen(fit):
    text = fit.report()
    for part in (
        "likelihood ratio",
        "Wald",
        # The reference value by the plain ratio beside the modified one.
        "   5.237",
        f"q90/95 = {fit.q90_95_mm:.3f} mm by modified likelihood ratio",
        "a trial in 2031",
        "standard error",
    ):
        assert part in text, part
    assert max(map(len, text.splitlines())) <= 120
    assert len(text.splitlines()) <= 25


def test_the_figure_shows_curve_bounds_looks_and_what_is_claimed(fit):
    ax = fit.plot()
    ax.figure.canvas.draw()
    legend = [text.get_text() for text in ax.get_legend().get_texts()]
    assert "bounds, each 95% (modified likelihood ratio)" in legend
    # The largest crack is 5.37 mm.
    assert f"q90/95 {fit.q90_95_mm:.3g} mm (beyond the largest crack)" in legend
    assert f"q90 {fit.q90_mm:.3g} mm" in legend
    assert "32 hits" in legend
    assert ax.get_xlabel() == "size of the crack, mm"
    lines = {line.get_label(): line for line in ax.lines}
    # The lines stand at the sizes, from 0.9 down to the looks; hits pile up above their axis, misses below it.
    assert list(lines[f"q90 {fit.q90_mm:.3g} mm"].get_xdata()) == [fit.q90_mm] * 2
    bound = lines[f"q90/95 {fit.q90_95_mm:.3g} mm (beyond the largest crack)"]
    assert list(bound.get_xdata()) == [fit.q90_95_mm] * 2
    assert bound.get_ydata()[0] == 0.9
    hits, misses = (
        lines[f"{(fit.looks['called'] == called).sum()} {word}"] for called, word in ((True, "hits"), (False, "misses"))
    )
    assert (len(hits.get_xdata()), len(misses.get_xdata())) == (32, len(fit.looks) - 32)
    assert misses.get_ydata().max() < hits.get_ydata().min() < hits.get_ydata().max() < 0.0
    curve = lines["probability of detection"]
    np.testing.assert_allclose(curve.get_ydata(), fit.pod_at(curve.get_xdata()))
    low, high = fit.pod_bounds(curve.get_xdata())
    drawn = [line.get_ydata() for line in ax.lines if line.get_linestyle() == "--"]
    np.testing.assert_allclose(drawn, [low, high])
    plt.close(ax.figure)
    drawn = Figure().subplots()
    assert fit.plot(drawn, method="wald") is drawn


def test_both_standard_errors_are_at_hand_and_the_one_in_use_is_named(looks):
    size_mm, found = looks
    probit = serrata.fit_hit_miss(size_mm, found, link="probit")
    assert probit.information == "observed"
    table, expected = probit.coefficients, probit.expected_covariance
    assert table["standard_error"].to_numpy() == pytest.approx(np.sqrt(np.diag(probit.covariance)))
    assert table["expected_standard_error"].to_numpy() == pytest.approx(np.sqrt(np.diag(expected)))
    theirs = sm.GLM(
        np.asarray(found, dtype=float),
        sm.add_constant(np.log(size_mm)),
        family=sm.families.Binomial(sm.families.links.Probit()),
    ).fit(tol=1e-12)
    assert table["expected_standard_error"].to_numpy() == pytest.approx(theirs.bse, rel=1e-5)
    assert serrata.fit_hit_miss(size_mm, found, penalised=True).information == "expected"


def test_a_fit_goes_into_a_study_and_runs(fit):
    study = serrata.Study.load(REFERENCE)
    technique = study.techniques[0]
    changed = study.with_technique(technique, fit.evidence())
    assert changed != study
    assert f'basis = "{fit.basis}"' in changed.to_toml()
    assert changed.simulate(trials=50, seed=1).trials == 50
    added = study.with_technique("trial", fit.evidence(), like=technique)
    assert added.techniques == [*study.techniques, "trial"]
    with pytest.raises(serrata.ArgumentError, match="access, sizing and costs come from one that it has"):
        study.with_technique("trial", fit.evidence())


@pytest.fixture(scope="module")
def records(looks, tmp_path_factory):
    """The generated looks as records, with five sound blades, one of them called, and a look of unknown size."""
    path = tmp_path_factory.mktemp("records") / "records.csv"
    lines = ["row,blade,year,technique,called,cracked,confirmed_length_mm"]
    for index, (size_mm, found) in enumerate(zip(*looks, strict=True)):
        lines.append(f"R1,{index:03},2031,penetrant,{'yes' if found else 'no'},yes,{size_mm}")
    lines += [f"R2,{index:03},2031,penetrant,{'yes' if index == 0 else 'no'},no," for index in range(5)]
    lines.append("R3,001,2031,penetrant,no,,")
    path.write_text("\n".join(lines) + "\n")
    return path


def test_records_give_the_same_fit_as_arrays(fit, records):
    read = serrata.Records.load(records).fit_hit_miss("penetrant")
    assert (read.q90_mm, read.q90_95_mm) == (fit.q90_mm, fit.q90_95_mm)
    assert read.false_call_counts == (1, 5)
    assert "not used: 1 line (its true size is not known)" in read.report()
    with pytest.raises(serrata.ArgumentError, match="choose one of penetrant"):
        serrata.Records.load(records).fit_hit_miss("sonar")


def test_the_command_prints_draws_and_writes_the_study(fit, records, tmp_path):
    def run(*arguments):
        return CliRunner().invoke(main, ["hit-miss", *map(str, arguments)], catch_exceptions=False)

    shown = run(records, "--technique", "penetrant", "--figure", tmp_path / "pod.png")
    assert shown.exit_code == 0
    assert f"q90/95 = {fit.q90_95_mm:.3f} mm by modified likelihood ratio" in shown.stdout
    assert serrata.CAUTION in shown.stdout
    assert (tmp_path / "pod.png").stat().st_size > 10_000
    told = json.loads(run(records, "--technique", "penetrant", "--json").stdout)
    assert told["q90_bounds_mm"][1] == pytest.approx(fit.q90_95_mm)
    assert told["method"] == "modified-likelihood-ratio"
    assert (told["link"], told["size_scale"], told["sides"]) == ("logit", "log", "each bound one-sided")
    assert told["q90_95_beyond_largest"]
    assert not told["q90_beyond_largest"]
    assert told["q90_likelihood_ratio_mm"][1] == pytest.approx(5.237, abs=3e-3)
    assert told["caution"] == serrata.CAUTION
    technique = serrata.Study.load(REFERENCE).techniques[0]
    refused = run(records, "--technique", technique)
    assert (refused.exit_code, refused.stdout) == (2, "")
    assert "the records have no such technique" in refused.stderr
    assert run(records, "--technique", "penetrant", "--study", REFERENCE).exit_code == 2
    text = records.read_text().replace("penetrant", technique)
    (tmp_path / "records.csv").write_text(text)
    changed = tmp_path / "changed.toml"
    assert (
        run(tmp_path / "records.csv", "--technique", technique, "--study", REFERENCE, "--out", changed).exit_code == 0
    )
    assert f"q90/95 {fit.q90_95_mm:.3f} mm by modified likelihood ratio" in serrata.Study.load(changed).to_toml()
