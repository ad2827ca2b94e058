"""Names of earlier versions are refused, and the refusal says which name took their place."""

import re

import pytest
from click.testing import CliRunner

import serrata
from conftest import DEMO_RECORDS, REFERENCE, ROOT
from serrata.command import main

COUNTS = {(True, True, True): 9, (True, False, True): 4, (False, True, True): 5, (True, True, False): 6}


@pytest.fixture(scope="module")
def study():
    return serrata.Study.load("tests/engine/data/small.toml")


@pytest.fixture(scope="module")
def records():
    return serrata.Records.load(DEMO_RECORDS, dates="day-month-year")


@pytest.fixture(scope="module")
def sectioned():
    return serrata.Records.load(ROOT / "demo-data" / "demo-sectioned.csv", dates="day-month-year")


@pytest.fixture(scope="module")
def hit_miss(sectioned):
    return sectioned.fit_hit_miss("penetrant")


@pytest.fixture(scope="module")
def signals(sectioned):
    return sectioned.fit_signal("eddy-array")


@pytest.mark.parametrize(
    ("old", "new", "owner"),
    [
        ("ComparisonInDoubt", "serrata.ComparisonUnderUncertainty", serrata),
        ("Unseen", "serrata.MissedCracks", serrata),
        ("fit_hit_miss_records", "records.fit_hit_miss(technique, ...)", serrata.Records),
        ("fit_signal_records", "records.fit_signal(technique, ...)", serrata.Records),
        ("simulate", "study.simulate(...)", serrata.Study),
        ("simulate_in_doubt", "study.simulate_under_uncertainty(fits, ...)", serrata.Study),
        ("simulate_under_uncertainty", "study.simulate_under_uncertainty(fits, ...)", serrata.Study),
    ],
)
def test_the_package_names_the_new_name(old, new, owner):
    with pytest.raises(AttributeError, match=f"^serrata.{old} is no longer there\n    use {re.escape(new)}$"):
        getattr(serrata, old)
    assert old not in serrata.__all__
    assert hasattr(owner, new.split(".")[1].split("(")[0])


def test_a_study_names_the_new_names(study):
    with pytest.raises(AttributeError, match=r"use Study\.simulate_under_uncertainty"):
        study.simulate_in_doubt({})
    assert hasattr(study, "simulate_under_uncertainty")
    with pytest.raises(AttributeError, match=r"use Study\.work_calendar, or the command serrata check --calendar"):
        study.work_calendar_text()


def test_records_name_the_new_names(records):
    with pytest.raises(AttributeError, match=r"use Records\.missed_cracks"):
        records.unseen()
    assert hasattr(records, "missed_cracks")
    with pytest.raises(AttributeError, match=r"Records\.summary is no longer there\n    use Records\.report"):
        records.summary()
    assert records.report() == str(records)
    with pytest.raises(TypeError, match=r"latent_classes: kindred is no longer an argument\n    use dependent_pairs"):
        records.latent_classes(kindred=[("mpi-enhanced", "penetrant")])


def test_a_fit_of_hits_and_misses_names_the_new_names(hit_miss):
    with pytest.raises(AttributeError, match=r"HitMissFit\.summary is no longer there\n    use HitMissFit\.report$"):
        hit_miss.summary()
    with pytest.raises(AttributeError, match=r"use HitMissFit\.false_call_counts"):
        hit_miss.false_calls  # noqa: B018
    with pytest.raises(AttributeError, match="HitMissFit has no attribute 'nots'"):
        hit_miss.nots  # noqa: B018


@pytest.mark.parametrize(
    ("old", "arguments", "new"),
    [
        ("basis", [], "basis"),
        ("drawn_evidence", ["ultrasonic"], "drawn_evidence(...)"),
        ("evidence", [], "evidence()"),
        ("false_calls", [], "false_calls()"),
        ("notes", [], "notes"),
        ("plot", [], "plot()"),
        ("pod_at", [1.0], "pod_at(...)"),
        ("pod_bounds", [1.0], "pod_bounds(...)"),
        ("size_at", [0.9], "size_at(...)"),
        ("size_bounds", [0.9], "size_bounds(...)"),
        ("summary", [], "report()"),
        ("to_json", [], "to_json()"),
    ],
)
def test_a_fit_of_signals_names_the_threshold_that_it_is_asked_at(signals, old, arguments, new):
    told = re.escape(f"SignalFit.{old} is no longer there\n    use fit.at_threshold(t).{new}")
    with pytest.raises(AttributeError, match=f"^{told}$"):
        getattr(signals, old)(*arguments, threshold=1.0)
    assert hasattr(signals.at_threshold(1.0), new.split("(")[0])


def test_grown_cracks_name_the_new_name():
    study = serrata.Study.load(REFERENCE)
    grown = study.grow("curved-tree.tang", cracks=20)
    with pytest.raises(AttributeError, match=r"use GrownCracks\.by_row"):
        grown.rows  # noqa: B018
    assert grown.row in set(grown.by_row["row"])


def test_latent_classes_name_the_new_names(records):
    with pytest.raises(TypeError, match=r"from_counts: kindred is no longer an argument\n    use dependent_pairs"):
        serrata.LatentClasses.from_counts(["a", "b", "c"], COUNTS, kindred=[("a", "b")])
    found = records.latent_classes(["mpi-enhanced", "penetrant", "eddy-array"], resamples=0)
    with pytest.raises(AttributeError, match=r"use LatentClasses\.dependent_pairs"):
        found.kindred  # noqa: B018
    assert found.dependent_pairs.empty
    assert found.techniques == list(found.by_technique["technique"])


def test_the_command_line_names_the_new_names():
    unseen = CliRunner().invoke(main, ["records", "unseen", "records.csv", "--technique", "penetrant"])
    assert unseen.exit_code == 2
    assert "use 'records missed'" in unseen.output
    kindred = CliRunner().invoke(main, ["records", "latent-classes", "records.csv", "--kindred", "mpi", "penetrant"])
    assert kindred.exit_code == 2
    assert "use --dependent-pair" in kindred.output
    shown = CliRunner().invoke(main, ["records", "--help"]).output
    assert "missed" in shown
    assert "unseen" not in shown


def test_a_name_that_never_was_is_refused_as_ever():
    with pytest.raises(AttributeError, match="No serrata attribute simulat"):
        serrata.simulat  # noqa: B018
