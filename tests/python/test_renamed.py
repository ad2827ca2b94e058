"""Names of earlier versions are refused, and the refusal says which name took their place."""

import pytest

import serrata


@pytest.mark.parametrize(
    ("old", "new"),
    [("simulate_in_doubt", "simulate_under_uncertainty"), ("ComparisonInDoubt", "ComparisonUnderUncertainty")],
)
def test_the_package_names_the_new_name(old, new):
    with pytest.raises(AttributeError, match=f"serrata.{old} is no longer there\n    use serrata.{new}"):
        getattr(serrata, old)
    assert hasattr(serrata, new)


def test_a_study_names_the_new_name():
    study = serrata.Study.load("tests/engine/data/small.toml")
    with pytest.raises(AttributeError, match=r"use Study\.simulate_under_uncertainty"):
        study.simulate_in_doubt({})
    assert hasattr(study, "simulate_under_uncertainty")


def test_a_name_that_never_was_is_refused_as_ever():
    with pytest.raises(AttributeError, match="serrata has no attribute 'simulat'"):
        serrata.simulat  # noqa: B018
