"""Inspection records: files and data frames in, every line accounted for."""

import contextlib
import copy
import csv
import datetime
import io
import pickle
import random

import numpy as np
import pandas as pd
import pytest

import serrata
from conftest import DEMO_RECORDS

HEADER = "row,blade,year,technique,called,measured_length_mm\n"


@pytest.fixture(scope="module")
def demo():
    return serrata.Records.load(DEMO_RECORDS, dates="day-month-year")


def test_the_demo_records_read_back_line_by_line(demo):
    with DEMO_RECORDS.open(encoding="utf-8-sig", newline="") as file:
        lines = list(csv.DictReader((line for line in file if not line.startswith("#")), delimiter=";"))
    frame = demo.frame
    assert len(frame) == len(demo) == demo.lines_read == len(lines)
    assert list(frame["blade"]) == [line["Blade"] for line in lines]
    assert list(frame["called"]) == [line["Called"].lower().startswith("y") for line in lines]
    lengths = [float(line["Measured_length_mm"].replace(",", ".") or "nan") for line in lines]
    np.testing.assert_array_equal(frame["measured_length_mm"], lengths)
    dates = ["-".join(reversed(line["Date"].split("."))) for line in lines]
    assert list(frame["date"]) == dates
    assert list(frame["Remark"].fillna("")) == [line["Remark"] for line in lines]
    assert demo.extra_columns == ["Work order", "Remark"]
    assert demo.style == "semicolons between cells, decimal comma"


def test_the_report_fits_one_screen(demo):
    report = demo.report()
    assert len(report.splitlines()) <= 24
    for part in (
        "4 rows",
        "304 blades",
        "seen by several techniques",
        "clean, called by none",
        "further columns, kept",
    ):
        assert part in report
    assert 'inspector "Crew A" and inspector "crew a" count as two' in report
    assert str(demo) == report
    assert "&quot;Crew A&quot;" in demo._repr_html_()


def test_a_data_frame_gives_the_same_records(demo):
    frame = demo.frame.drop(columns=["line", "year"])
    again = serrata.Records.from_frame(frame)
    assert again.frame.drop(columns="line").equals(demo.frame.drop(columns="line"))


def test_a_data_frame_with_missing_values_and_dates_is_read_as_meant():
    frame = pd.DataFrame(
        {
            "row": ["R1", "R1", "R1"],
            "blade": [7.0, 8.0, 9.0],
            "date": pd.to_datetime(["2031-04-02", "2031-04-02", "2031-04-03"]),
            "technique": ["penetrant"] * 3,
            "called": np.array([True, False, True]),
            "measured_length_mm": np.array([2.5, np.nan, 3.0], dtype=np.float32),
            "surface": [None, "peened", pd.NA],
        }
    )
    read = serrata.Records.from_frame(frame).frame
    assert list(read["blade"]) == ["7", "8", "9"]
    assert list(read["date"]) == ["2031-04-02", "2031-04-02", "2031-04-03"]
    assert list(read["called"]) == [True, False, True]
    assert list(read["surface"].fillna("")) == ["", "peened", ""]
    assert read["measured_length_mm"].isna().tolist() == [False, True, False]


def test_a_faulty_file_is_refused_with_every_fault(tmp_path):
    path = tmp_path / "bad.csv"
    path.write_text(HEADER + "R1,1,2031,ET,perhaps,\nR1,2,2031,ET,yes,-1\n", encoding="utf-8")
    with pytest.raises(serrata.RecordsError) as caught:
        serrata.Records.load(path)
    faults = caught.value.faults
    assert [(fault.line, fault.path, fault.value) for fault in faults] == [
        (2, "called", "perhaps"),
        (3, "measured_length_mm", "-1"),
    ]
    again = pickle.loads(pickle.dumps(caught.value))
    assert (type(again), again.faults) == (serrata.RecordsError, faults)


def test_lines_left_out_are_reported():
    text = HEADER + "R1,1,2031,ET,yes,\nR1,2,2031,ET,yes,x\n"
    records = serrata.Records.parse(text, bad_lines="leave-out")
    assert (len(records), records.left_out, records.lines_read) == (1, [3], 2)
    assert records.left_out_faults[0].value == "x"


def test_names_that_differ_are_declared():
    text = HEADER.replace("blade", "Blade No.") + "R1,1,2031,ET,yes,\n"
    with pytest.raises(serrata.RecordsError, match=r'the nearest column is "Blade No\."'):
        serrata.Records.parse(text)
    assert len(serrata.Records.parse(text, columns={"blade": "Blade No."})) == 1


@pytest.mark.parametrize(
    ("declared", "words"),
    [
        ({"dates": "backwards"}, 'dates = "backwards"\n    must be year-month-day or'),
        ({"decimal": "dot"}, "must be point or comma"),
        ({"bad_lines": "ignore"}, "must be refuse or leave-out"),
        ({"delimiter": "|"}, "must be a comma, a semicolon or a tab"),
        ({"delimiter": ""}, "must be a comma, a semicolon or a tab"),
    ],
)
def test_declarations_that_cannot_be_are_refused(declared, words):
    with pytest.raises(serrata.ArgumentError) as caught:
        serrata.Records.parse(HEADER + "R1,1,2031,ET,yes,\n", **declared)
    assert words in str(caught.value)


def test_columns_of_different_lengths_are_refused():
    with pytest.raises(serrata.ArgumentError, match="columns must be of one length"):
        serrata.Records.from_frame({"row": ["R1"], "blade": []})


def test_records_survive_pickle_and_copy_and_do_not_change(demo):
    made = serrata.Records.from_frame(demo.frame.drop(columns=["line", "year"]))
    for records in (demo, made):
        assert pickle.loads(pickle.dumps(records)) == records
        assert copy.copy(records) == copy.deepcopy(records) == records
    with pytest.raises(AttributeError, match="do not change"):
        demo.source = "other"
    with pytest.raises(TypeError, match=r"Records\.load"):
        serrata.Records()


def test_the_template_reads_back():
    assert len(serrata.Records.parse(serrata.Records.template())) == 2


def scrambled(draw):
    """Give a file that may be good, bad, or no file of records at all, and its lines with content if that is known."""
    mark = draw.choice(",;\t")
    end = draw.choice(["\n", "\r\n", "\r"])
    header = ["row", "blade", "year", "technique", "called", "measured_length_mm", "remark"]
    if draw.random() < 0.1:
        draw.shuffle(header)
    if draw.random() < 0.05:
        header.pop()
    kinds = [
        "R1",
        "1",
        "2031",
        "ET",
        "PT",
        "yes",
        "no",
        "",
        " ",
        "1.5",
        "1,5",
        "1e999",
        "nan",
        "-0",
        "2031-02-30",
        "\x00",
    ]
    kinds += ["\u00e9", "\U0001f600", 'a"b', "two\nlines", "#", "=1+1"]
    buffer = io.StringIO()
    # A line feed within a cell is quoted by itself only where it is an end of line.
    quoting = csv.QUOTE_ALL if end == "\r" else csv.QUOTE_MINIMAL
    writer = csv.writer(buffer, delimiter=mark, lineterminator=end, quoting=quoting)
    writer.writerow(header)
    lines = 0
    for _ in range(draw.randrange(12)):
        if draw.random() < 0.5:
            cells = [
                "R1",
                str(draw.randrange(9)),
                "2031",
                draw.choice(["ET", "PT"]),
                draw.choice(["yes", "no"]),
                "",
                "",
            ]
        else:
            cells = [draw.choice(kinds) for _ in range(draw.choice([6, 7, 7, 7, 8]))]
        lines += any(cell.strip() for cell in cells)
        writer.writerow(cells)
    return ("\ufeff" if draw.random() < 0.3 else "") + buffer.getvalue(), lines


def test_no_line_is_lost_and_nothing_but_a_refusal_is_raised():
    draw = random.Random(4)
    kept = refused = 0
    for _ in range(3000):
        text, lines = scrambled(draw)
        try:
            records = serrata.Records.parse(text, bad_lines="leave-out")
        except serrata.RecordsError as error:
            refused += bool(error.faults)
            continue
        assert len(records) + len(records.left_out) == records.lines_read == lines, text
        assert not set(records.frame["line"]) & set(records.left_out)
        kept += 1
    # Every refusal had a fault, and both ways are well trodden.
    assert kept + refused == 3000
    assert min(kept, refused) > 300


def test_no_bytes_make_it_fail_in_another_way(tmp_path):
    draw = random.Random(5)
    path = tmp_path / "any"
    good = (HEADER + "R1,1,2031,ET,yes,\n").encode()
    for _ in range(500):
        content = bytearray(good if draw.random() < 0.7 else draw.randbytes(draw.randrange(80)))
        for _ in range(draw.randrange(4)):
            content[draw.randrange(len(content) or 1) : draw.randrange(len(content) or 1)] = draw.randbytes(2)
        path.write_bytes(content)
        with contextlib.suppress(serrata.RecordsError, serrata.FileError):
            serrata.Records.load(path).report()


def frame_of(**columns):
    return pd.DataFrame({"row": ["R1", "R1"], "blade": [1, 2], "technique": ["ET", "ET"], **columns})


@pytest.mark.parametrize("dates", ["year-month-day", "day-month-year", "month-day-year"])
@pytest.mark.parametrize("kind", ["date", "datetime", "timestamp", "numpy"])
def test_days_of_a_frame_need_no_declared_order(kind, dates):
    day = datetime.datetime(2031, 4, 2)
    days = {
        "date": [day.date()] * 2,
        "datetime": [day] * 2,
        "timestamp": pd.to_datetime([day] * 2),
        "numpy": np.array([day] * 2, dtype="datetime64[ns]"),
    }[kind]
    columns = {"row": ["R1"] * 2, "blade": [1, 2], "technique": ["ET"] * 2, "date": days, "called": [True, False]}
    assert list(serrata.Records.from_frame(columns, dates=dates).frame["date"]) == ["2031-04-02"] * 2


def test_missing_values_of_every_kind_are_unknown():
    frame = frame_of(
        year=pd.array([2031, 2031], dtype="Int64"),
        called=pd.array([True, False], dtype="boolean"),
        measured_length_mm=pd.array([2.5, pd.NA], dtype="Float64"),
        cracked=pd.array([pd.NA, False], dtype="boolean"),
        surface=pd.array(["peened", pd.NA], dtype="string"),
        signal=[None, 0.5],
        serration=pd.array([pd.NA, 2], dtype="Int64"),
        inspector=pd.Categorical(["A", None]),
    )
    read = serrata.Records.from_frame(frame).frame
    known = {column: [None if pd.isna(value) else value for value in read[column]] for column in frame}
    assert known["called"] == [True, False]
    assert known["cracked"] == [None, False]
    assert (known["surface"], known["inspector"]) == (["peened", None], ["A", None])
    assert known["measured_length_mm"] == [2.5, None]
    assert (known["signal"], known["serration"]) == ([None, 0.5], [None, 2.0])
    with pytest.raises(serrata.RecordsError, match=r"called\n +must not be blank"):
        serrata.Records.from_frame(frame.assign(called=pd.array([pd.NA, False], dtype="boolean")))


def test_stated_values_are_read_for_others_and_noted():
    frame = frame_of(year=[2031, 2031], called=["NRI", "found"], measured_length_mm=["<1mm", 3])
    records = serrata.Records.from_frame(frame, values={"nri": "no", "found": "yes", "<1mm": ""})
    assert list(records.frame["called"]) == [False, True]
    assert any("stands for no: 1" in note for note in records.notes)


def test_a_part_of_a_column_name_is_enough_to_suggest_it():
    with pytest.raises(serrata.RecordsError, match=r"did you mean measured_length_mm\?"):
        serrata.Records.from_frame(frame_of(year=[2031, 2031], called=[1, 0], L=[1, 2]), columns={"length": "L"})
