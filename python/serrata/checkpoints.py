"""Finished parts of runs, kept in a folder, so that a run that is ended goes on where it was."""

from __future__ import annotations

import hashlib
import re
from pathlib import Path

from serrata.errors import FileError
from serrata.files import check_file, refusals, remove_unfinished, write_file

__all__ = ["Checkpoints"]

_PART = re.compile(r"part-(\d+)\.json")


class Checkpoints:
    """Finished parts of one run, each a file that is written whole or not at all.

    The run is known by the text of its study, its numbers of trials and planted lives, and its seed. Its parts lie in
    a directory of their own, ``run-<of all this>-by-<trials of a part>``, as ``part-<number>.json``. Two calls may
    keep parts of one run at the same time: they write the same.

    Parameters
    ----------
    folder : str
        Holds such directories of any number of runs; made if it is not there.
    study : str
        Text of the study.
    trials, planted_lives, seed : int
        Of the whole run.
    """

    _place: Path

    def __init__(self, folder: str, study: str, *, trials: int, planted_lives: int, seed: int) -> None:
        run = hashlib.sha256(f"{trials} {planted_lives} {seed} {study}".encode()).hexdigest()
        self._folder, self._name = Path(folder), f"run-{run[:16]}-by-"

    def trials_each(self) -> int:
        """Give the trials of a part as the run was cut before, by which most were lived; 0 if it never was."""
        cuts: dict[int, int] = {}
        with refusals(self._folder):
            for place in self._folder.glob(f"{self._name}*"):
                cut = place.name.removeprefix(self._name)
                if cut.isdecimal():
                    cuts[int(cut)] = int(cut) * sum(1 for _ in place.glob("part-*.json"))
        return max(cuts, key=lambda cut: cuts[cut], default=0)

    def open(self, trials_each: int) -> None:
        """Turn to parts of so many trials; what writing left unfinished is removed.

        Raises
        ------
        FileError
            For a place that cannot be written to.
        """
        self._place = self._folder / f"{self._name}{trials_each}"
        with refusals(self._place):
            self._place.mkdir(parents=True, exist_ok=True)
            remove_unfinished(self._place)
        check_file(self._file(0))

    def parts(self) -> list[tuple[int, Path]]:
        """Give the parts that are there, by number, in order."""
        with refusals(self._place):
            found = [(match, place) for place in self._place.iterdir() if (match := _PART.fullmatch(place.name))]
        return sorted((int(match[1]), place) for match, place in found)

    def write(self, part: int, sums: bytes) -> None:
        """Write a part, in whole or not at all."""
        for tries_left in (1, 0):
            try:
                write_file(self._file(part), lambda place: place.write_bytes(sums))
                return
            except FileError as error:
                # Another call may have begun just now, and have taken the file for one that a kill left unfinished.
                if not tries_left or not isinstance(error.__cause__, FileNotFoundError):
                    raise

    def _file(self, part: int) -> Path:
        return self._place / f"part-{part}.json"
