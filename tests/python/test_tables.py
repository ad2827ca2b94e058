"""Tables go to any library of data frames, and come from any."""

import datetime
import math
import subprocess
import sys

import arro3.core
import nanoarrow
import numpy as np
import pandas as pd
import polars
import pytest

import serrata
from conftest import DEMO_RECORDS, RARE, ROOT
from serrata import frames
from serrata.columns import Columns


@pytest.fixture(scope="module")
def tables(losses):
    given = serrata.Study.load(ROOT / "tests" / "engine" / "data" / "given" / "a.toml")
    records = serrata.Records.load(ROOT / "tests" / "engine" / "data" / "given" / "b.csv")
    belief = given.given(records, draws=32, cracks=64, repeats=2).belief
    variants = serrata.simulate_variants({"as it is": serrata.Study.load(RARE)}, trials=20, seed=1)
    screening = serrata.Study.load(RARE).screen()
    found = {f"comparison {name}": losses.columns(name) for name in losses.tables}
    found |= {f"belief {name}": belief.columns(name) for name in ("summary", "by_row", "inputs", "lengths")}
    found |= {f"screening {name}": screening.columns(name) for name in ("summary", "not_screened")}
    return {**found, "variants": variants.columns("summary")}


class Arrow:
    """Shows of a table nothing but its stream, so that no library takes it as a dict."""

    def __init__(self, columns):
        self.__arrow_c_stream__ = columns.__arrow_c_stream__


def same(cell, value):
    if value is None or (isinstance(value, float) and math.isnan(value)):
        return cell is None
    return cell == value


def test_every_table_is_read_by_two_libraries_one_after_the_other(tables, monkeypatch):  # K1
    # What is shown is that it needs no pyarrow.
    monkeypatch.setitem(sys.modules, "pyarrow", None)
    assert len(tables) > 15
    for name, columns in tables.items():
        assert isinstance(columns, Columns)
        first = polars.DataFrame(Arrow(columns))
        # A fresh stream at each call: the second finds all that the first did.
        second = arro3.core.Table(Arrow(columns))
        third = nanoarrow.Array(Arrow(columns))
        length = len(next(iter(columns.values())))
        assert first.shape == (length, len(columns)), name
        assert second.shape == (length, len(columns))
        assert len(third) == length
        assert first.columns == second.column_names == list(columns)
        for column, values in columns.items():
            expected = values.tolist()
            assert all(map(same, first[column].to_list(), expected)), (name, column)
            assert all(map(same, second[column].to_pylist(), expected)), (name, column)


def test_numbers_that_are_not_known_are_null():
    columns = Columns(
        {"x": np.array([1.0, math.nan, 3.0]), "n": np.arange(3), "t": np.array(["a", None, "c"], dtype=object)}
    )
    read = polars.DataFrame(Arrow(columns))
    assert read.rows() == [(1.0, 0, "a"), (None, 1, None), (3.0, 2, "c")]
    assert read.dtypes == [polars.Float64, polars.Int64, polars.String]
    assert polars.DataFrame(Arrow(Columns({"x": np.array([])}))).shape == (0, 1)
    # As the dict that it is, to those that look for one first.
    assert polars.DataFrame(columns)["n"].to_list() == pd.DataFrame(columns)["n"].tolist() == [0, 1, 2]


def test_parquet_reads_back(losses, tmp_path):
    columns = losses.columns("summary")
    columns.write_parquet(tmp_path / "summary.parquet")
    read = polars.read_parquet(tmp_path / "summary.parquet")
    assert read.columns == list(columns)
    assert all(map(same, read["value"].to_list(), columns["value"].tolist()))


def test_without_a_library_for_parquet_one_clear_error(losses, tmp_path, monkeypatch):
    monkeypatch.setattr("serrata.columns.find_spec", lambda _: None)
    with pytest.raises(serrata.ArgumentError, match="install polars or pyarrow, or write CSV"):
        losses.columns("summary").write_parquet(tmp_path / "summary.parquet")
    assert list(tmp_path.iterdir()) == []


LINES = {
    "row": ["R1", "R1", "R2"],
    "blade": [7, 8, 9],
    "date": [datetime.date(2031, 4, 2), datetime.date(2031, 4, 2), None],
    "year": [None, None, 2031.5],
    "technique": ["penetrant", "penetrant", "penetrant"],
    "called": [True, False, True],
    "measured_length_mm": [1.5, None, None],
}


@pytest.mark.parametrize("library", ["polars", "pandas", "mapping"])
def test_records_come_from_any_library(library):
    frame = {"polars": polars.DataFrame, "pandas": pd.DataFrame, "mapping": dict}[library](LINES)
    records = serrata.Records.from_frame(frame)
    assert records == serrata.Records.from_frame(LINES)
    assert list(records.frame["called"]) == [True, False, True]
    assert records.frame["measured_length_mm"].tolist()[0] == 1.5


def test_the_demo_records_are_the_same_through_polars():
    demo = serrata.Records.load(DEMO_RECORDS, dates="day-month-year")
    own = demo.frame.drop(columns=["line", "year"])
    through = polars.DataFrame({name: [None if pd.isna(one) else one for one in own[name]] for name in own})
    assert serrata.Records.from_frame(through) == serrata.Records.from_frame(own)


@pytest.mark.parametrize("frame", [polars.LazyFrame(LINES), 3, "a,b", [1, 2]])
def test_what_is_no_frame_is_refused_in_plain_words(frame):
    with pytest.raises(serrata.ArgumentError, match="must be a data frame in memory, or columns by name"):
        serrata.Records.from_frame(frame)


def test_missing_values_of_every_library_are_blank():
    missing = [None, math.nan, np.nan, pd.NA, pd.NaT, np.datetime64("NaT")]
    assert [frames._text(value, "year-month-day") for value in missing] == [""] * len(missing)
    assert frames._text(np.datetime64("2031-04-02"), "day-month-year") == "02.04.2031"
    assert frames._text(pd.Timestamp("2031-04-02"), "year-month-day") == "2031-04-02"


def test_what_needs_no_pandas_works_without_it():
    code = (
        "import sys\n"
        "sys.modules['pandas'] = None\n"
        "import serrata\n"
        f"study = serrata.Study.load({str(RARE)!r})\n"
        "columns = study.simulate(trials=20, seed=1).columns('summary')\n"
        "columns.__arrow_c_stream__()\n"
        "line = {'row': ['R1'], 'blade': [7], 'year': [2031], 'technique': ['ut'], 'called': [True]}\n"
        "records = serrata.Records.from_frame(line)\n"
        "print(len(columns['value']) > 0, len(records), study.screen().columns('summary')['value'].size > 0)\n"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=False)
    assert (done.stderr, done.stdout) == ("", "True 1 True\n")
