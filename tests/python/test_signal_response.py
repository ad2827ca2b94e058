"""Signal response, against a direct likelihood in the same run."""

import copy
import json
import math
import pickle

import matplotlib.pyplot as plt
import numpy as np
import pytest
from click.testing import CliRunner
from matplotlib.figure import Figure
from scipy import optimize, stats

import serrata
from conftest import REFERENCE, ROOT
from serrata.command import main

DATA = ROOT / "tests" / "statistics" / "data" / "ahat_generated.csv"
#: Noise floor, saturation and threshold, as the file states them.
FLOOR, SATURATION, THRESHOLD = 0.45, 5.0, 0.8
LIMITS = {"floor": FLOOR, "saturation": SATURATION}


@pytest.fixture(scope="module")
def signals():
    table = np.genfromtxt(DATA, delimiter=",", skip_header=3, usecols=(0, 1))
    return table[:, 0], table[:, 1]


@pytest.fixture(scope="module")
def noise():
    return 0.5 * np.exp(0.3 * np.random.default_rng(1).standard_normal(150))


@pytest.fixture(scope="module")
def fit(signals, noise):
    size_mm, signal = signals
    return serrata.fit_signal(np.r_[size_mm, 0 * noise], np.r_[signal, noise], **LIMITS, source="a trial in 2031")


@pytest.fixture(scope="module")
def pod(fit):
    return fit.at_threshold(THRESHOLD)


def cost(parameters, x, y):
    """Minus the log-likelihood of level, slope and ln scatter."""
    level, slope, log_scatter = parameters
    scatter = np.exp(log_scatter)
    middle = level + slope * x
    below, above = y <= np.log(FLOOR), y >= np.log(SATURATION)
    within = ~(below | above)
    return -(
        stats.norm.logcdf(np.log(FLOOR), middle[below], scatter).sum()
        + stats.norm.logsf(np.log(SATURATION), middle[above], scatter).sum()
        + stats.norm.logpdf(y[within], middle[within], scatter).sum()
    )


def test_line_and_likelihood_are_those_of_a_direct_search(fit, signals):
    x, y = np.log(signals)
    options = {"xatol": 1e-9, "fatol": 1e-13, "maxiter": 5000}
    best = optimize.minimize(cost, [0.0, 1.0, -1.0], args=(x, y), method="Nelder-Mead", options=options)
    assert fit.line["value"].to_numpy() == pytest.approx([*best.x[:2], np.exp(best.x[2])], abs=1e-6)
    assert fit.log_likelihood == pytest.approx(-best.fun, abs=1e-9)


def test_a_fit_with_errors_in_size_is_that_of_an_average_over_true_sizes(signals):
    """Each reading's chance is averaged over the true sizes by quadrature, which the fit does in closed form."""
    error = 0.15
    x, y = np.log(signals)
    kept = 1.0 - error**2 / x.var()
    points, weights = np.polynomial.hermite_e.hermegauss(60)
    true = (x.mean() + kept * (x - x.mean()))[:, None] + error * np.sqrt(kept) * points
    below, above = y <= np.log(FLOOR), y >= np.log(SATURATION)

    def averaged(parameters):
        level, slope, log_scatter = parameters
        middle, scatter = level + slope * true, np.exp(log_scatter)
        chances = stats.norm.pdf(y[:, None], middle, scatter)
        chances[below] = stats.norm.cdf(np.log(FLOOR), middle[below], scatter)
        chances[above] = stats.norm.sf(np.log(SATURATION), middle[above], scatter)
        return -np.log(chances @ weights / weights.sum()).sum()

    options = {"xatol": 1e-9, "fatol": 1e-12, "maxiter": 5000}
    best = optimize.minimize(averaged, [0.1, 1.1, np.log(0.3)], method="Nelder-Mead", options=options)
    ours = serrata.fit_signal(*signals, **LIMITS, size_error_log=error)
    # The search is right to 1e-12 in its value and so to about 1e-6 in its parameters.
    assert ours.line["value"].to_numpy() == pytest.approx([*best.x[:2], np.exp(best.x[2])], abs=1e-5)
    assert ours.log_likelihood == pytest.approx(-best.fun, abs=1e-8)
    # Standard errors by second differences of the averaged likelihood, on the scale of ln scatter.
    step = 1e-3 * np.eye(3)
    bent = [
        [
            (averaged(best.x + a + b) - averaged(best.x + a - b) - averaged(best.x - a + b) + averaged(best.x - a - b))
            / 4e-6
            for b in step
        ]
        for a in step
    ]
    errors = np.sqrt(np.diag(np.linalg.inv(bent))) * [1.0, 1.0, np.exp(best.x[2])]
    assert ours.line["standard_error"].to_numpy() == pytest.approx(errors, rel=1e-3)
    exact = serrata.fit_signal(*signals, **LIMITS)
    assert ours.line.loc["slope", "value"] > exact.line.loc["slope", "value"]


def test_the_likelihood_ratio_bound_is_the_one_found_by_direct_search(fit, pod, signals):
    x, y = np.log(signals)
    critical = stats.norm.ppf(0.95) ** 2

    def excess(log_q90):
        def constrained(free):
            slope, log_scatter = free
            level = np.log(THRESHOLD) + stats.norm.ppf(0.9) * np.exp(log_scatter) - slope * log_q90
            return cost((level, slope, log_scatter), x, y)

        options = {"xatol": 1e-9, "fatol": 1e-12, "maxiter": 5000}
        found = optimize.minimize(constrained, [1.0, -1.0], method="Nelder-Mead", options=options)
        return 2 * (found.fun + fit.log_likelihood) - critical

    log_q90 = np.log(pod.q90_mm)
    high = np.exp(optimize.brentq(excess, log_q90, log_q90 + 1, xtol=1e-9))
    assert pod.size_bounds(0.9, method="likelihood-ratio")[1] == pytest.approx(high, rel=1e-5)


def test_a_bound_of_signals_none_of_which_is_cut_off_is_that_of_the_non_central_t_distribution(signals):
    x, y = np.log(signals)
    fit = serrata.fit_signal(*signals)
    assert fit.usual_method == "non-central-t"
    design = np.column_stack([np.ones_like(x), x])
    line, squares, *_ = np.linalg.lstsq(design, y, rcond=None)
    scatter = np.sqrt(squares[0] / (len(x) - 2))
    inverse = np.linalg.inv(design.T @ design)

    def excess(log_size):
        row = np.array([1.0, log_size])
        error = np.sqrt(row @ inverse @ row)
        t = (row @ line - np.log(THRESHOLD)) / scatter / error
        return stats.nct.cdf(t, len(x) - 2, stats.norm.ppf(0.9) / error) - 0.95

    pod = fit.at_threshold(THRESHOLD)
    q90_mm = pod.q90_mm
    high = np.exp(optimize.brentq(excess, np.log(q90_mm), np.log(q90_mm) + 1, xtol=1e-10))
    assert pod.q90_95_mm == pytest.approx(high, rel=1e-6)
    assert high > pod.size_bounds(0.9, method="likelihood-ratio")[1]
    told = json.loads(pod.to_json())
    assert (told["method"], told["sides"]) == ("non-central-t", "each bound one-sided")


def test_a_size_beyond_the_largest_crack_is_marked_in_text_table_figure_and_evidence(fit):
    pod = fit.at_threshold(SATURATION)
    assert pod.q90_95_mm > pod.range_mm[1]
    assert "beyond the largest crack looked at" in pod.report()
    assert "beyond the largest crack looked at" in pod.evidence().basis
    assert "(beyond the largest crack) by modified likelihood ratio" in repr(pod)
    assert list(fit.trade([THRESHOLD, SATURATION])["beyond_largest"]) == [False, True]
    assert json.loads(pod.to_json())["q90_95_beyond_largest"]
    ax = pod.plot(Figure().subplots())
    legend = [text.get_text() for text in ax.get_legend().get_texts()]
    assert any(text.startswith("q90/95") and text.endswith("(beyond the largest crack)") for text in legend)


def test_noise_and_false_calls_are_those_of_a_direct_search(fit, pod, noise):
    y = np.log(noise)
    below = y <= np.log(FLOOR)

    def noise_cost(parameters):
        mean, spread = parameters[0], np.exp(parameters[1])
        return -(
            below.sum() * stats.norm.logcdf(np.log(FLOOR), mean, spread)
            + stats.norm.logpdf(y[~below], mean, spread).sum()
        )

    best = optimize.minimize(noise_cost, [-0.7, -1.2], method="Nelder-Mead", options={"xatol": 1e-9, "fatol": 1e-12})
    mean, spread = best.x[0], np.exp(best.x[1])
    assert fit.noise["value"].to_numpy() == pytest.approx([mean, spread], abs=1e-6)
    value, low, high = pod.false_calls()
    assert value == pytest.approx(stats.norm.sf(np.log(THRESHOLD), mean, spread), rel=1e-5)
    assert 0 <= low < value < high <= 1


def test_a_threshold_trades_detection_for_false_calls(fit):
    trade = fit.trade([0.6, 0.8, 1.0])
    assert trade["size_mm"].is_monotonic_increasing
    assert trade["false_calls"].is_monotonic_decreasing
    assert (trade["size_low_mm"] < trade["size_mm"]).all()
    assert (trade["size_mm"] < trade["size_high_mm"]).all()
    with pytest.raises(serrata.ArgumentError, match=r"must be at least 0\.45 and at most 5"):
        fit.trade([0.1])


def test_without_noise_there_are_no_false_calls_to_tell(signals):
    fit = serrata.fit_signal(*signals, **LIMITS)
    assert fit.noise is None
    assert fit.at_threshold(THRESHOLD).false_calls() is None
    assert json.loads(fit.at_threshold(THRESHOLD).to_json())["false_calls"] is None
    assert fit.trade([THRESHOLD])["false_calls"].isna().all()
    with pytest.raises(serrata.ArgumentError, match="the noise is not known"):
        fit.plot_trade(thresholds=[THRESHOLD])


def test_a_threshold_gives_the_numbers_of_the_engine(fit, pod):
    engine, size_mm = fit._engine, np.array([0.7, 1.1, 2.0])
    assert (pod.fit, pod.threshold) == (fit, THRESHOLD)
    assert [pod.q50_mm, pod.q90_mm] == [engine.size_at(THRESHOLD, chance) for chance in (0.5, 0.9)]
    assert pod.q50_mm < pod.q90_mm < pod.q90_95_mm
    usual = "modified-likelihood-ratio"
    assert pod.usual_method == fit.usual_method == usual
    for method in (None, "likelihood-ratio", "wald"):
        asked = (0.9, method or usual)
        assert pod.size_bounds(0.8, confidence=0.9, method=method) == engine.size_bounds(THRESHOLD, 0.8, *asked)
        bounds = pod.pod_bounds(size_mm, confidence=0.9, method=method)
        np.testing.assert_array_equal(bounds, engine.pod_bounds(THRESHOLD, size_mm, *asked))
    np.testing.assert_array_equal(pod.pod_at(size_mm), engine.pod_at(THRESHOLD, size_mm))
    assert pod.pod_at(1.1) == pod.pod_at([1.1]) == engine.pod_at(THRESHOLD, size_mm[1:2])
    assert pod.false_calls(confidence=0.9) == engine.false_calls(THRESHOLD, 0.9)
    assert pod.false_calls(confidence=0.9) != pod.false_calls()
    assert pod.report() == engine.summary(THRESHOLD)
    assert pod.notes == engine.notes(THRESHOLD)
    assert pod.basis == engine.basis(THRESHOLD) == pod.evidence().basis
    assert pod.evidence() == engine.evidence(THRESHOLD)
    drawn = pod.drawn_evidence("ultrasonic", seed=3, draw=1)
    assert drawn == engine.drawn_evidence(THRESHOLD, "ultrasonic", 3, 1) != pod.evidence()
    assert (pod.range_mm, pod.source) == (fit.range_mm, "a trial in 2031")
    # Another threshold gives others.
    assert fit.at_threshold(1.0).q90_mm > pod.q90_mm


def test_a_threshold_does_not_change_and_survives_pickling(pod):
    for again in (pickle.loads(pickle.dumps(pod)), copy.deepcopy(pod)):
        assert again.threshold == THRESHOLD
        assert again.to_json() == pod.to_json()
    with pytest.raises(AttributeError, match=r"does not change; take fit\.at_threshold"):
        pod.threshold = 1.0
    with pytest.raises(AttributeError, match="does not change"):
        pod._threshold = 1.0
    with pytest.raises(TypeError, match=r"is made by fit\.at_threshold"):
        serrata.SignalPod()


def test_a_threshold_that_no_signal_can_be_held_against_is_refused_at_once(fit, signals):
    for wrong in (0.1, 5.1, np.inf, np.nan):
        with pytest.raises(serrata.ArgumentError, match=r"threshold = .*\n    must be at least 0\.45 and at most 5"):
            fit.at_threshold(wrong)
    with pytest.raises(serrata.ArgumentError, match=r"threshold = 0\n    must be a signal"):
        serrata.fit_signal(*signals).at_threshold(0.0)
    with pytest.raises(TypeError, match="threshold"):
        fit.at_threshold("high")


def test_signals_that_carry_no_line_are_refused(signals):
    size_mm, signal = signals
    with pytest.raises(serrata.DataError) as caught:
        serrata.fit_signal(1 / size_mm, signal, **LIMITS)
    assert caught.value.reason == "reversed"
    with pytest.raises(serrata.ArgumentError, match="must be as long as size_mm"):
        serrata.fit_signal(size_mm, signal[1:])
    with pytest.raises(serrata.ArgumentError, match="must be a finite number"):
        serrata.fit_signal(size_mm, np.where(signal > 3, np.nan, signal))
    with pytest.raises(serrata.ArgumentError, match="must exceed 0 to have a logarithm"):
        serrata.fit_signal(size_mm, signal - 1)


def test_a_fit_does_not_change_and_survives_pickling(fit):
    again = pickle.loads(pickle.dumps(fit))
    assert again.at_threshold(THRESHOLD).report() == fit.at_threshold(THRESHOLD).report()
    with pytest.raises(AttributeError, match="does not change"):
        fit.line = None
    with pytest.raises(TypeError, match="is made by fit_signal"):
        serrata.SignalFit()


def test_the_report_fits_one_screen(pod):
    text = pod.report()
    for part in (
        f"q90/95 = {pod.q90_95_mm:.3f} mm by modified likelihood ratio, one-sided",
        # The reference value by the plain ratio beside the modified one.
        "   1.281",
        "Wald",
        "false calls: ",
        "a trial in 2031",
        "below the floor 11",
    ):
        assert part in text, part
    assert max(map(len, text.splitlines())) <= 120


def test_the_figures_show_line_threshold_and_trade(fit, pod, signals):
    ax = pod.plot()
    ax.figure.canvas.draw()
    legend = [text.get_text() for text in ax.get_legend().get_texts()]
    assert {"below the floor", "above saturation", "line", f"q90/95 {pod.q90_95_mm:.3g} mm"} <= set(legend)
    plt.close(ax.figure)
    ax = pod.plot(Figure().subplots(), confidence=0.9, method="wald")
    bound_mm = pod.size_bounds(0.9, confidence=0.9, method="wald")[1]
    assert f"q90/90 {bound_mm:.3g} mm" in [text.get_text() for text in ax.get_legend().get_texts()]
    drawn = Figure().subplots()
    assert fit.plot_trade(drawn, thresholds=[0.6, 0.8, 1.0]) is drawn
    plain = serrata.fit_signal(*signals, **LIMITS, signal_scale="plain", size_scale="plain").at_threshold(1.0)
    ax = plain.plot(Figure().subplots())
    line = next(line for line in ax.lines if line.get_label() == "line")
    # Where the line crosses the threshold, half of the signals exceed it.
    assert np.interp(plain.q50_mm, *line.get_data()) == pytest.approx(1.0, abs=1e-9)
    assert "upper bounds, each 95 %" in [text.get_text() for text in drawn.get_legend().get_texts()]


def test_a_fit_goes_into_a_study(pod):
    study = serrata.Study.load(REFERENCE)
    changed = study.with_technique(study.techniques[0], pod.evidence())
    assert f'basis = "{pod.basis}"' in changed.to_toml()


@pytest.fixture(scope="module")
def records(signals, noise, tmp_path_factory):
    """The signals as records of a technique of the reference study; a look of unknown size and one without signal."""
    technique = serrata.Study.load(REFERENCE).techniques[0]
    lines = ["row,blade,year,technique,called,cracked,confirmed_length_mm,signal"]
    for index, (size_mm, signal) in enumerate(zip(*signals, strict=True)):
        lines.append(f"R1,{index:03},2031,{technique},{'yes' if signal > THRESHOLD else 'no'},yes,{size_mm},{signal}")
    lines += [f"R2,{index:03},2031,{technique},no,no,,{signal!r}" for index, signal in enumerate(noise.tolist())]
    lines += [f"R3,001,2031,{technique},no,,,0.6", f"R3,002,2031,{technique},no,yes,1.5,"]
    path = tmp_path_factory.mktemp("records") / "records.csv"
    path.write_text("\n".join(lines) + "\n")
    return path, technique


def test_records_give_the_same_fit_as_arrays(fit, records):
    path, technique = records
    table = serrata.Records.load(path)
    read = table.fit_signal(technique, **LIMITS)
    assert read.log_likelihood == fit.log_likelihood
    assert read.at_threshold(THRESHOLD).false_calls() == fit.at_threshold(THRESHOLD).false_calls()
    report = read.at_threshold(THRESHOLD).report()
    assert "not used: 1 line (its true size is not known)" in report
    assert "not used: 1 line (signal is blank)" in report
    assert pickle.loads(pickle.dumps(read)).source == read.source == f"{technique} of {path}"
    with pytest.raises(serrata.ArgumentError, match="the records have no such technique"):
        table.fit_signal("sonar")


def test_the_command_prints_draws_and_writes_the_study(records, tmp_path):
    path, technique = records

    def run(*arguments):
        limits = ["--technique", technique, "--threshold", THRESHOLD, "--floor", FLOOR, "--saturation", SATURATION]
        command = ["signal", path, *limits, *arguments]
        return CliRunner().invoke(main, [str(argument) for argument in command], catch_exceptions=False)

    shown = run("--figure", tmp_path / "signals.png")
    assert shown.exit_code == 0
    assert "mm by modified likelihood ratio, one-sided" in shown.stdout
    assert serrata.CAUTION in shown.stdout
    assert (tmp_path / "signals.png").stat().st_size > 10_000
    assert json.loads(run("--json").stdout)["q90_mm"] == pytest.approx(1.1114240645536482, abs=5e-4)
    out = tmp_path / "changed.toml"
    assert run("--study", REFERENCE, "--out", out).exit_code == 0
    assert "call above 0.8" in serrata.Study.load(out).to_toml()
    assert run("--out", out).exit_code == 2
    refused = run("--figure", tmp_path / "nowhere" / "signals.png")
    assert refused.exit_code == 2
    assert "No such file or directory" in refused.stderr


@pytest.mark.parametrize("pod", [0.0, 1.0, 1.5, math.nan])
def test_no_size_is_found_with_an_impossible_probability(signals, pod):
    size_mm, signal = signals
    answers = [serrata.fit_signal(size_mm, signal).at_threshold(np.median(signal))]
    answers.append(serrata.fit_hit_miss(size_mm, signal > np.median(signal)))
    for answer in answers:
        with pytest.raises(serrata.ArgumentError, match=r"pod = .*\n    must lie between 0 and 1, ends excluded"):
            answer.size_at(pod)
