"""Files and directories that are written whole or not at all."""

from __future__ import annotations

import hashlib
import os
import secrets
import shutil
from collections.abc import Callable, Iterable, Iterator
from contextlib import contextmanager
from fnmatch import fnmatch
from pathlib import Path

from serrata.errors import FileError

__all__ = ["check_directory", "check_file", "refusals", "remove_unfinished", "write_directory", "write_file"]

#: Names the files that serrata wrote into a directory, with their sums; ``sha256sum --check`` reads it.
_SUMS = "SHA256SUMS"
#: Begins the names of what is being written.
_UNFINISHED = ".serrata-"


def check_directory(directory: str | os.PathLike[str], ours: Iterable[str]) -> None:
    """Make sure that results can be written to a directory, and that nothing of others is lost by it.

    Parameters
    ----------
    directory : path-like
        Need not be there.
    ours : iterable of str
        Patterns of the names that may be written or removed.

    Raises
    ------
    FileError
        For a place that cannot be written to, or that holds such a file which serrata did not write, or which was
        changed since.
    """
    place = Path(directory)
    with refusals(place):
        if place.exists() and not place.is_dir():
            raise FileError(f"{place}: there is a file of that name\n    choose another name for the directory")
        sums = _read_sums(place)
        kept = [file.name for file in _matching(place, ours) if not file.is_file() or sums.get(file.name) != _sum(file)]
        if kept:
            raise FileError(
                f"{place}: not written by serrata, or changed since: {', '.join(kept)}\n"
                "    move it away, or choose another directory"
            )
        new_name = _existing(place) / _temporary_name()
        new_name.mkdir()
        new_name.rmdir()


def write_directory(directory: str | os.PathLike[str], ours: Iterable[str], write: Callable[[Path], object]) -> None:
    """Write results into a directory: all of them, or none.

    Files of earlier results that match `ours` are replaced, or removed where there is no new one; all else stays.

    Parameters
    ----------
    directory : path-like
        Made if it is not there.
    ours : iterable of str
        Patterns of the names that may be written or removed.
    write : function
        Writes the files into the empty directory that it is given.

    Raises
    ------
    FileError
        As `check_directory`, and when the disk is full.
    """
    place = Path(directory)
    check_directory(place, ours)
    with refusals(place):
        place.parent.mkdir(parents=True, exist_ok=True)
        # Beside a new directory, which then appears at once; else within the old one, whose other files stay.
        staging = (place if place.exists() else place.parent) / _temporary_name()
        staging.mkdir()
        try:
            write(staging)
            written = sorted(staging.iterdir())
            sums = {name: kept for name, kept in _read_sums(place).items() if not _matches(name, ours)}
            sums |= {file.name: _sum(file) for file in written}
            lines = "".join(f"{sums[name]}  {name}\n" for name in sorted(sums))
            (staging / _SUMS).write_text(lines, encoding="utf-8")
            _to_disk(staging.iterdir())
            if staging.parent == place:
                for old in set(_matching(place, ours)) - {place / file.name for file in written}:
                    old.unlink()
                for file in [*written, staging / _SUMS]:
                    file.replace(place / file.name)
            else:
                staging.rename(place)
        finally:
            shutil.rmtree(staging, ignore_errors=True)


def check_file(file: str | os.PathLike[str], endings: Iterable[str] = ()) -> None:
    """Make sure that a file can be written.

    Parameters
    ----------
    file : path-like
        Need not be there.
    endings : iterable of str
        Endings that its name may have, such as ``.png``; any if there are none.

    Raises
    ------
    FileError
        For a place that cannot be written to, or a name that ends otherwise.
    """
    place, endings = Path(file), tuple(endings)
    if endings and place.suffix.lower() not in endings:
        raise FileError(f"{place}: must end in {', '.join(endings)}\n    give the file another name")
    with refusals(place):
        if place.is_dir():
            raise FileError(f"{place}: there is a directory of that name\n    give the name of a file")
        if _is_device(place):
            return
        beside = place.parent / _temporary_name()
        beside.touch()
        # Another call may have taken it for one that a kill left unfinished.
        beside.unlink(missing_ok=True)


def write_file(file: str | os.PathLike[str], write: Callable[[Path], object]) -> None:
    """Write a file, in whole or not at all; one that is there is replaced.

    Parameters
    ----------
    file : path-like
        A device, such as ``/dev/stdout``, is written to as it is.
    write : function
        Writes the file that it is given, whose name ends as that of `file`.

    Raises
    ------
    FileError
        For a place that cannot be written to, or a full disk.
    """
    place = Path(file)
    with refusals(place):
        if _is_device(place):
            write(place)
            return
        # Through a link, to the file itself.
        place = place.resolve()
        beside = place.parent / f"{_temporary_name()}{place.suffix}"
        try:
            write(beside)
            _to_disk([beside])
            beside.replace(place)
        finally:
            beside.unlink(missing_ok=True)


def remove_unfinished(directory: Path) -> None:
    """Remove files that `write_file` had begun when its program was killed; nobody may be writing there."""
    for file in directory.glob(f"{_UNFINISHED}*"):
        file.unlink(missing_ok=True)


@contextmanager
def refusals(place: Path) -> Iterator[None]:
    """Turn what the system refuses into a plain message about the place, not about a temporary name in it."""
    try:
        yield
    except FileError:
        raise
    except OSError as error:
        reason = error.strerror or str(error)
        raise FileError(f"{place}: {reason}\n    choose a place that can be written to and has room") from error


def _temporary_name() -> str:
    return f"{_UNFINISHED}{secrets.token_hex(8)}"


def _existing(place: Path) -> Path:
    """Find the nearest directory that is there."""
    return next(path for path in (place, *place.absolute().parents) if path.exists())


def _is_device(place: Path) -> bool:
    return place.exists() and not place.is_file()


def _matches(name: str, patterns: Iterable[str]) -> bool:
    return any(fnmatch(name, pattern) for pattern in patterns)


def _matching(place: Path, patterns: Iterable[str]) -> list[Path]:
    found = place.iterdir() if place.is_dir() else ()
    return sorted(file for file in found if _matches(file.name, patterns))


def _read_sums(place: Path) -> dict[str, str]:
    file = place / _SUMS
    if not file.is_file():
        return {}
    lines = file.read_text(encoding="utf-8").splitlines()
    parts = (line.partition("  ") for line in lines)
    return {name: kept for kept, _, name in parts}


def _sum(file: Path) -> str:
    return hashlib.sha256(file.read_bytes()).hexdigest()


def _to_disk(files: Iterable[Path]) -> None:
    """Wait until the files are on the disk: some systems say only then that it is full."""
    for file in files:
        with file.open("rb") as open_file:
            os.fsync(open_file.fileno())
