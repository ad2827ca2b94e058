"""Detection without known truth, against scipy's general optimiser run in the same test."""

import itertools
import json
import pickle

import matplotlib.pyplot as plt
import numpy as np
import pytest
from scipy.optimize import brentq, minimize

import serrata
from conftest import DEMO_RECORDS, ROOT

TECHNIQUES = ["mpi-enhanced", "penetrant", "eddy-array"]
DATA = ROOT / "tests" / "statistics" / "data"
NAMES = ["a", "b", "c", "d"]
#: 600 invented blades: the first two techniques are dependent.
COUNTS = dict(
    zip(
        itertools.product([True, False], repeat=4),
        [20, 7, 13, 5, 3, 2, 4, 21, 5, 2, 4, 14, 9, 14, 21, 456],
        strict=True,
    )
)


@pytest.fixture(scope="module")
def found():
    records = serrata.Records.load(DEMO_RECORDS, dates="day-month-year")
    return records.latent_classes(TECHNIQUES)


def log_likelihood(logits, paired):
    """Log-likelihood of COUNTS written out anew; logits: prevalence, then each class's chances."""
    chances = 1.0 / (1.0 + np.exp(-np.asarray(logits)))
    answers = np.array(list(COUNTS), dtype=float)
    blades = np.array(list(COUNTS.values()), dtype=float)
    width = 5 if paired else 4
    total = 0.0
    for share, own in (
        (1.0 - chances[0], chances[1 : 1 + width]),
        (chances[0], chances[1 + width :]),
    ):
        a, b, c, d = own[:4]
        second = np.where(answers[:, 0] == 1, b, own[4]) if paired else np.full(len(answers), b)
        each = np.column_stack([np.full(len(answers), a), second, np.full(len(answers), c), np.full(len(answers), d)])
        total = total + share * np.prod(np.where(answers == 1, each, 1.0 - each), axis=1)
    return float(blades @ np.log(total))


def maximum(paired, held=None, near=None):
    """Give the largest log-likelihood by a general optimiser: from several starts, or near a point, one logit held."""
    width = 5 if paired else 4
    best = None
    for found, false in ((1.0, -3.0), (0.0, -2.0), (2.0, -4.0)):
        start = np.array([-1.5, *[false] * width, *[found] * width]) if near is None else near
        index, value = held or (None, None)
        free = [at for at in range(len(start)) if at != index]

        def loss(x, free=free, index=index, value=value, start=start):
            full = start.copy()
            full[free] = x
            if index is not None:
                full[index] = value
            return -log_likelihood(full, paired)

        one = minimize(loss, start[free], method="BFGS", options={"gtol": 1e-6, "maxiter": 5000})
        full = start.copy()
        full[free] = one.x
        if index is not None:
            full[index] = value
        if best is None or -one.fun > best[0] + 1e-9:
            best = (-one.fun, full)
        if near is not None:
            break
    return best


@pytest.mark.parametrize("paired", [False, True])
def test_fit_and_intervals_are_those_of_a_general_optimiser(paired):
    # The gradient is zero to 1e-6 there: the log-likelihood to 1e-6, a chance to about 1e-4.
    ours = serrata.LatentClasses.from_counts(NAMES, COUNTS, dependent_pairs=[("a", "b")] if paired else [], resamples=0)
    top, logits = maximum(paired)
    assert ours.log_likelihood == pytest.approx(top, abs=1e-5)
    chances = 1.0 / (1.0 + np.exp(-logits))
    width = 5 if paired else 4
    table = ours.by_technique.set_index("technique")
    assert ours.prevalence[0] == pytest.approx(chances[0], abs=2e-4)
    for name, place in (("a", 0), ("c", 2), ("d", 3)):
        assert table.loc[name, "false_calls"] == pytest.approx(chances[1 + place], abs=2e-4)
        assert table.loc[name, "detection"] == pytest.approx(chances[1 + width + place], abs=2e-4)
    # 3.841459: the 0.95 point of chi-square with one degree of freedom.
    for index, (value, low, high) in (
        (0, ours.prevalence),
        (1 + width, tuple(table.loc["a", ["detection", "detection_low", "detection_high"]])),
        (1 + width + 2, tuple(table.loc["c", ["detection", "detection_low", "detection_high"]])),
    ):
        here = np.log(value / (1.0 - value))

        def excess(logit, index=index):
            return 2.0 * (top - maximum(paired, (index, logit), logits)[0]) - 3.841459

        for end, side in ((low, -3.0), (high, 3.0)):
            logit = brentq(excess, here, here + side, xtol=1e-3)
            assert end == pytest.approx(1.0 / (1.0 + np.exp(-logit)), abs=2e-3)


def test_the_number_missed_is_that_of_a_profile_predictive_likelihood():
    """Each whole number of cracked blades among those called by none, weighed by hand."""
    ours = serrata.LatentClasses.from_counts(NAMES, COUNTS, resamples=0)
    answers = np.array(list(COUNTS), dtype=float)
    blades = np.array(list(COUNTS.values()), dtype=float)
    none = int(np.flatnonzero(answers.sum(axis=1) == 0)[0])

    def at(number):
        """Largest likelihood with so many cracked, by expectation and maximisation; entropy for the binomial."""
        cracked = np.where(answers.sum(axis=1) >= 2, 0.9, 0.1)
        for _ in range(20_000):
            cracked[none] = number / blades[none]
            known = blades * cracked, blades * (1.0 - cracked)
            share = known[0].sum() / blades.sum()
            logs = []
            for weight, prior in zip(known, (share, 1.0 - share), strict=True):
                chance = weight @ answers / weight.sum()
                logs.append(np.log(prior) + answers @ np.log(chance) + (1.0 - answers) @ np.log(1.0 - chance))
            after = 1.0 / (1.0 + np.exp(logs[1] - logs[0]))
            after[none] = cracked[none]
            if np.abs(after - cracked).max() < 1e-12:
                break
            cracked = after
        value = np.logaddexp(*logs)
        p = cracked[none]
        entropy = -(p * np.log(p) + (1.0 - p) * np.log(1.0 - p))
        value[none] = p * logs[0][none] + (1.0 - p) * logs[1][none] + entropy
        return float(blades @ value)

    estimate, low, high = ours.cracked_called_by_none
    assert at(estimate) == pytest.approx(ours.log_likelihood, abs=1e-6)
    # Ends are rounded outwards: each lies outside, and one blade further in is inside.
    assert 2.0 * (at(estimate) - at(high)) > 3.841459 >= 2.0 * (at(estimate) - at(high - 1))
    assert 2.0 * (at(estimate) - at(low + 1.0)) <= 3.841459
    assert low == 0.0


def test_the_demo_records_give_an_answer_in_plain_words(found):
    report = found.report()
    value, low, high = found.cracked
    assert low <= value <= high <= found.blades
    # Blades that were opened contradict this fit: it is not led with, in no form.
    first, rest = report.split(".", 1)
    assert " ".join(first.split()).endswith("these calls do not tell: at least the 29 that are confirmed")
    wanted = (
        f"not to be relied on: about {value:.0f} (95 %: {low:.0f} to {high:.0f}) of {found.blades} blades are cracked"
    )
    assert wanted in " ".join(rest.split())
    assert "By the fit, which is contradicted by blades of known truth" in report
    assert "contradicted" in repr(found)
    assert f"{value:.1f}" not in repr(found)
    for part in ("Taken for granted", "detection is overstated and the number missed understated", serrata.CAUTION):
        assert part in " ".join(report.split())
    assert max(map(len, report.splitlines())) <= 120
    assert str(found) == report
    assert len(report.splitlines()) <= 50


def test_tables_hold_what_the_report_says(found):
    assert list(found.by_technique["technique"]) == found.techniques == TECHNIQUES
    assert found.patterns["blades"].sum() == found.blades
    assert found.patterns["cracked"].between(0.0, 1.0).all()
    assert (found.patterns["blades"] * found.patterns["cracked"]).sum() == pytest.approx(found.cracked[0], rel=1e-6)
    assert len(found.pairs) == 3
    assert len(found.sensitivity) <= 6
    assert found.dependent_pairs.empty


def test_a_blade_that_was_not_looked_at_counts_with_what_was_seen():
    counts = {**COUNTS, (True, True, None, None): 6, (False, None, False, None): 40}
    found = serrata.LatentClasses.from_counts(NAMES, counts, resamples=20)
    assert (found.incomplete, found.blades) == (46, sum(counts.values()))
    assert "not looked at by all" in found.report()


def test_dependent_pairs_are_named(tmp_path):
    found = serrata.LatentClasses.from_counts(NAMES, COUNTS, dependent_pairs=[("a", "b")], resamples=50)
    assert found.dependent_pairs["correlation_cracked"].iloc[0] > 0
    assert "Dependent: a and b" in found.report()
    assert found.goodness["method"] == "simulated"
    assert 0.0 < found.goodness["p"] <= 1.0
    again = serrata.LatentClasses.from_counts(NAMES, COUNTS, dependent_pairs=[("a", "b")], resamples=50)
    assert again == found


def test_it_draws_and_survives_pickle_and_json(found):
    ax = found.plot()
    ax.figure.canvas.draw()
    assert [text.get_text() for text in ax.get_yticklabels()] == TECHNIQUES
    plt.close(ax.figure)
    assert pickle.loads(pickle.dumps(found)) == found
    assert json.loads(found.to_json())["latent_classes"]["blades"] == found.blades
    with pytest.raises(AttributeError):
        found.level = 0.9


def test_a_picture_says_when_known_truth_speaks_against_it(found):
    # Calls that two dependent techniques made, taken to be independent, speak against the fit themselves.
    many = {answers: 10 * blades for answers, blades in COUNTS.items()}
    blind = serrata.LatentClasses.from_counts(NAMES, many, resamples=0)
    assert blind.goodness["p"] < 0.05
    for fit, by in ((found, "blades of known truth"), (blind, "the calls themselves")):
        assert fit.contradicted
        ax = fit.plot()
        assert f"contradicted by {by}" in ax.get_title()
        assert "about" not in ax.get_title() + ax.get_xlabel()
        assert f"contradicted by {by}" in repr(fit)
        assert fit.report().startswith("How many blades are cracked, and how many were missed, these calls do not tell")
    alone = serrata.LatentClasses.from_counts(NAMES, many, dependent_pairs=[("a", "b")], resamples=0)
    assert not alone.contradicted
    number, least, most = alone.cracked_called_by_none
    told = f"about {number:.1f} ({least:g} to {most:g}) of {alone.called_by_none} blades"
    assert alone.plot().get_title() == f"Detection without known truth\ncracked and called by none: {told}"
    plt.close("all")


def test_what_cannot_be_told_is_refused():
    three = {answers[:3]: 0 for answers in COUNTS}
    for answers, blades in COUNTS.items():
        three[answers[:3]] += blades
    with pytest.raises(serrata.DataError) as caught:
        serrata.LatentClasses.from_counts(NAMES[:3], three, dependent_pairs=[("a", "b")])
    assert caught.value.reason == "not-identified"
    with pytest.raises(serrata.DataError) as caught:
        serrata.LatentClasses.from_counts(["a", "b"], {(True, True): 9, (False, False): 9, (True, False): 3})
    assert caught.value.reason == "too-few-techniques"
    with pytest.raises(serrata.ArgumentError, match="must be a whole number"):
        serrata.LatentClasses.from_counts(NAMES, {(True,) * 4: -1})
    with pytest.raises(serrata.ArgumentError, match="must have an answer for each of the 4 techniques"):
        serrata.LatentClasses.from_counts(NAMES, {(True,): 1})
    with pytest.raises(serrata.ArgumentError, match="resamples"):
        serrata.LatentClasses.from_counts(NAMES, COUNTS, resamples=-1)
