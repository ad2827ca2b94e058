"""What all tests of the package share."""

from pathlib import Path

import matplotlib as mpl
import pytest

import serrata

mpl.use("Agg")

ROOT = Path(__file__).resolve().parents[2]
REFERENCE = ROOT / "demo-data" / "reference-study.toml"
DEMO_RECORDS = ROOT / "demo-data" / "demo-records.csv"
DEMO_SECTIONED = ROOT / "demo-data" / "demo-sectioned.csv"
DEMO_STUDY = ROOT / "demo-data" / "demo-study.toml"
LOSING = ROOT / "tests" / "engine" / "data" / "y1c.toml"
RARE = ROOT / "tests" / "engine" / "data" / "y1a.toml"


@pytest.fixture(scope="session")
def reference() -> serrata.Study:
    """The reference study: every key at work."""
    return serrata.Study.load(REFERENCE)


@pytest.fixture(scope="session")
def losing() -> serrata.Study:
    """A study in which blades are often lost."""
    return serrata.Study.load(LOSING)


@pytest.fixture(scope="session")
def rare() -> serrata.Study:
    """A study in which losses are too rare to be seen in a few trials."""
    return serrata.Study.load(RARE)


@pytest.fixture(scope="session")
def comparison(reference) -> serrata.Comparison:
    return reference.simulate(trials=1000, seed=1)


@pytest.fixture(scope="session")
def losses(losing) -> serrata.Comparison:
    return losing.simulate(trials=2000, seed=1)
