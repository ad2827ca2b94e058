"""Names of earlier versions are refused, and the refusal says which name took their place."""

import re

import pytest
from click.testing import CliRunner

import serrata
from conftest import DEMO_RECORDS
from serrata.command import main

COUNTS = {(True, True, True): 9, (True, False, True): 4, (False, True, True): 5, (True, True, False): 6}


@pytest.mark.parametrize(
    ("old", "new", "owner"),
    [
        ("ComparisonInDoubt", "serrata.ComparisonUnderUncertainty", serrata),
        ("Unseen", "serrata.MissedCracks", serrata),
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


def test_a_study_names_the_new_name():
    study = serrata.Study.load("tests/engine/data/small.toml")
    with pytest.raises(AttributeError, match=r"use Study\.simulate_under_uncertainty"):
        study.simulate_in_doubt({})
    assert hasattr(study, "simulate_under_uncertainty")


def test_records_name_the_new_names():
    records = serrata.Records.load(DEMO_RECORDS, dates="day-month-year")
    with pytest.raises(AttributeError, match=r"use Records\.missed_cracks"):
        records.unseen()
    assert hasattr(records, "missed_cracks")
    with pytest.raises(TypeError, match=r"latent_classes: kindred is no longer an argument\n    use dependent_pairs"):
        records.latent_classes(kindred=[("mpi-enhanced", "penetrant")])


def test_latent_classes_name_the_new_names():
    with pytest.raises(TypeError, match=r"from_counts: kindred is no longer an argument\n    use dependent_pairs"):
        serrata.LatentClasses.from_counts(["a", "b", "c"], COUNTS, kindred=[("a", "b")])
    records = serrata.Records.load(DEMO_RECORDS, dates="day-month-year")
    found = records.latent_classes(["mpi-enhanced", "penetrant", "eddy-array"], resamples=0)
    with pytest.raises(AttributeError, match=r"use LatentClasses\.dependent_pairs"):
        found.kindred  # noqa: B018
    assert found.dependent_pairs.empty


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
    with pytest.raises(AttributeError, match="serrata has no attribute 'simulat'"):
        serrata.simulat  # noqa: B018
