"""Results are written whole or not at all, and nothing of others is lost by it."""

import hashlib
import os
import resource
import subprocess
import sys

import pytest

import serrata
from conftest import LOSING
from serrata.files import check_file, write_directory, write_file

POSIX = pytest.mark.skipif(os.name != "posix", reason="devices and pipes of a POSIX system")
COMPARE = [sys.executable, "-m", "serrata", "compare", str(LOSING), "--seed", "1"]


def names(place):
    return sorted(path.name for path in place.iterdir())


def writer(**texts):
    return lambda place: [(place / name.replace("_", ".")).write_text(text) for name, text in texts.items()]


def test_what_an_earlier_run_wrote_is_replaced_or_removed_and_all_else_stays(tmp_path):
    place = tmp_path / "out"
    write_directory(place, ["a.txt", "b.txt"], writer(a_txt="1", b_txt="2"))
    (place / "notes.txt").write_text("mine")
    write_directory(place, ["grown-*"], lambda staging: (staging / "grown-c.txt").write_text("3"))
    write_directory(place, ["a.txt", "b.txt"], writer(a_txt="4"))
    assert names(place) == ["SHA256SUMS", "a.txt", "grown-c.txt", "notes.txt"]
    assert [(place / name).read_text() for name in ("a.txt", "grown-c.txt", "notes.txt")] == ["4", "3", "mine"]
    listed = (place / "SHA256SUMS").read_text().splitlines()
    assert listed == [
        f"{hashlib.sha256(text).hexdigest()}  {name}" for name, text in (("a.txt", b"4"), ("grown-c.txt", b"3"))
    ]


@pytest.mark.parametrize("changed", [True, False])
def test_a_file_that_serrata_did_not_write_or_that_was_changed_since_is_not_replaced(changed, tmp_path):
    if changed:
        write_directory(tmp_path, ["study.toml"], writer(study_toml="as written"))
    (tmp_path / "study.toml").write_text("mine")
    with pytest.raises(serrata.FileError, match=r"changed since: study\.toml\n    move it away"):
        write_directory(tmp_path, ["study.toml"], writer(study_toml="new"))
    assert (tmp_path / "study.toml").read_text() == "mine"


def test_a_study_beside_its_results_is_not_lost(losses, tmp_path):
    (tmp_path / "study.toml").write_text(LOSING.read_text() + "# a comment\n")
    with pytest.raises(serrata.FileError, match=r"study\.toml"):
        losses.write(tmp_path)
    assert names(tmp_path) == ["study.toml"]


@pytest.mark.parametrize("place", ["new", "old"])
def test_what_fails_half_way_leaves_no_trace(place, tmp_path):
    write_directory(tmp_path / "old", ["a.txt"], writer(a_txt="1"))

    def fail(staging):
        (staging / "a.txt").write_text("2")
        raise OSError(28, "No space left on device")

    with pytest.raises(serrata.FileError, match=f"{place}: No space left on device\n"):
        write_directory(tmp_path / place, ["a.txt"], fail)
    assert names(tmp_path) == ["old"]
    assert names(tmp_path / "old") == ["SHA256SUMS", "a.txt"]
    assert (tmp_path / "old" / "a.txt").read_text() == "1"


def test_a_file_is_replaced_whole_or_not_at_all(tmp_path):
    file = tmp_path / "figure.png"
    write_file(file, lambda place: place.write_text("1"))

    def fail(place):
        place.write_text("half")
        raise OSError(28, "No space left on device")

    with pytest.raises(serrata.FileError, match=r"figure\.png: No space left on device"):
        write_file(file, fail)
    assert (names(tmp_path), file.read_text()) == (["figure.png"], "1")


def test_a_link_goes_on_to_lead_to_the_file(tmp_path):
    (tmp_path / "link.png").symlink_to("figure.png")
    write_file(tmp_path / "link.png", lambda place: place.write_text("1"))
    assert (tmp_path / "link.png").is_symlink()
    assert (tmp_path / "figure.png").read_text() == "1"


@pytest.mark.parametrize(
    ("name", "reason"),
    [("figure.gif", "must end in .png, .svg"), ("absent/figure.png", "No such file"), (".", "must end in")],
)
def test_a_place_for_a_figure_is_checked(name, reason, tmp_path):
    with pytest.raises(serrata.FileError, match=reason):
        check_file(tmp_path / name, (".png", ".svg"))
    assert names(tmp_path) == []


def test_the_place_for_results_is_checked_before_the_run(tmp_path):
    (tmp_path / "taken").write_text("")
    # So many trials would take hours.
    done = subprocess.run(
        [*COMPARE, "--trials", "1000000000", "--out", str(tmp_path / "taken")],
        capture_output=True,
        text=True,
        timeout=60,
        check=False,
    )
    assert (done.returncode, done.stdout) == (2, "")
    assert done.stderr.endswith("taken: there is a file of that name\n    choose another name for the directory\n")


@POSIX
def test_a_disk_without_room_leaves_nothing(tmp_path):
    """A limit on the size of files stands for the full disk: the system refuses to write on in the same way."""
    done = subprocess.run(
        [*COMPARE, "--trials", "100", "--quiet", "--out", str(tmp_path / "out")],
        capture_output=True,
        text=True,
        timeout=120,
        check=False,
        preexec_fn=lambda: resource.setrlimit(resource.RLIMIT_FSIZE, (50_000, 50_000)),
    )
    assert (done.returncode, done.stdout) == (2, "")
    assert "out: File too large\n" in done.stderr
    assert "Traceback" not in done.stderr
    assert names(tmp_path) == []


@POSIX
@pytest.mark.parametrize("arguments", [["--help"], ["check", str(LOSING)], ["records", "template"]])
def test_standard_output_without_room_gives_one_message(arguments):
    with open("/dev/full", "w") as full:
        done = subprocess.run(
            [sys.executable, "-m", "serrata", *arguments],
            stdout=full,
            stderr=subprocess.PIPE,
            text=True,
            timeout=60,
            check=False,
        )
    words = "standard output: No space left on device; what was to be printed is not complete\n"
    assert (done.returncode, done.stderr) == (2, words)


@POSIX
def test_a_closed_pipe_gives_one_message_and_the_files_are_there(tmp_path):
    reading, writing = os.pipe()
    os.close(reading)
    done = subprocess.run(
        [*COMPARE, "--trials", "100", "--out", str(tmp_path / "out")],
        stdout=writing,
        stderr=subprocess.PIPE,
        text=True,
        timeout=120,
        check=False,
    )
    os.close(writing)
    words = "standard output: Broken pipe; what was to be printed is not complete\n"
    assert (done.returncode, done.stderr) == (2, words)
    assert (tmp_path / "out" / "result.json").exists()


def test_ctrl_c_while_the_program_is_loaded_leaves_no_traceback():
    code = """
import runpy, sys
class Stop:
    def find_spec(self, name, path=None, target=None):
        if name == "numpy":
            raise KeyboardInterrupt
sys.meta_path.insert(0, Stop())
runpy.run_module("serrata", run_name="__main__")
"""
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, timeout=60, check=False)
    assert (done.returncode, done.stderr) == (130, "stopped on request\n")
