"""A run of one study in parts, which may be kept in a folder."""

from __future__ import annotations

import os
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any, TypeAlias

from serrata import _engine as engine
from serrata.checkpoints import Checkpoints
from serrata.errors import ArgumentError, ContradictionError, FileError, WorkerError

__all__ = ["Part", "Run", "Runs", "named", "refuse", "rule"]

#: Parts take about so long, so that little is lost with one, and a run stops soon.
_PART_SECONDS = 1.0
#: Trials of the smallest part.
_FEWEST_TRIALS = 512
#: So many files that cannot be used are named.
_NAMED = 5


class Run:
    """A run of one study in parts, some of which may be there."""

    assembly: engine.Assembly

    def __init__(
        self,
        name: str,
        study: engine.Study,
        checkpoints: str | os.PathLike[str] | None,
        *,
        trials: int,
        planted_lives: int,
        seed: int,
    ) -> None:
        # Refuses what is no number of trials and no seed, before anything is made.
        engine.Assembly(study, trials=trials, planted_lives=planted_lives, seed=seed, trials_each=trials)
        self.name, self.trials, self._study = name, int(trials), study
        self._run: dict[str, int] = {"trials": self.trials, "planted_lives": int(planted_lives), "seed": int(seed)}
        self.folder = None if checkpoints is None else _folder(checkpoints)
        self._kept = None if self.folder is None else Checkpoints(self.folder, study.to_toml(), **self._run)
        self._there: set[int] = set()

    def live_whole(
        self, threads: int, block_trials: int, tell: Callable[[int], object] | None, before: int
    ) -> engine.Comparison:
        """Live the run here and in one piece, after so many trials of other runs."""
        with named(self.name):
            return engine.simulate(
                self._study,
                **self._run,
                threads=threads,
                block_trials=block_trials,
                keep_finished=False,
                target_relative_error=None,
                most_seconds=None,
                progress=None if tell is None else lambda done: tell(before + done),
            )

    def cut_before(self) -> int:
        """Give the trials of each part that is kept; 0 if none is."""
        return 0 if self._kept is None else self._kept.trials_each()

    def second(self, threads: int) -> int:
        """Give the trials that one part lives in about a second, as the smallest part, timed here, has it."""
        begin = time.monotonic()
        with named(self.name):
            timed = engine.simulate(
                self._study,
                trials=min(self.trials, _FEWEST_TRIALS),
                planted_lives=0,
                seed=self._run["seed"],
                threads=threads,
                block_trials=0,
                keep_finished=False,
                target_relative_error=None,
                most_seconds=None,
                progress=None,
            )
        # So few are lived by one thread.
        lived = _FEWEST_TRIALS * _PART_SECONDS / max(time.monotonic() - begin, 1e-3)
        return max(_FEWEST_TRIALS, int(lived * timed.threads))

    def cut(self, trials_each: int) -> None:
        """Be in parts of so many trials, in whole batches."""
        self._whole: dict[str, Any] = {**self._run, "trials_each": trials_each}
        self.assembly = engine.Assembly(self._study, **self._whole)
        if self._kept is not None:
            self._kept.open(self.assembly.trials_each)

    def take_kept(self) -> Iterator[str]:
        """Take the parts that are kept; give those that cannot be used, with the reasons."""
        if self._kept is None:
            return
        for part, place in self._kept.parts():
            try:
                number, _ = self.assembly.add(place.read_bytes())
            except ArgumentError as refusal:
                yield f"{place}: {rule(refusal)}"
            except OSError as error:
                yield f"{place}: {error.strerror or error}"
            else:
                self._there.add(number)
                if number != part:
                    yield f"{place}: holds part {number}"

    def missing(self) -> Iterator[int]:
        """Give the parts that are not there."""
        return (part for part in range(self.assembly.parts) if part not in self._there)

    def sent(self, threads: int) -> dict[str, Any]:
        """Give what a worker needs to live a part."""
        return {"text": self._study.to_toml(), **self._whole, "threads": threads}

    def live(self, part: int, threads: int) -> None:
        """Live a part here."""
        with named(self.name):
            self.take(part, engine.live_part(self._study, part=part, threads=threads, **self._whole))

    def take(self, part: int, sums: bytes) -> None:
        """Take a part, the first time or again, and keep it.

        Raises
        ------
        ArgumentError
            For sums that are damaged or of something else.
        WorkerError
            For other sums than came before.
        """
        if not isinstance(sums, bytes):
            raise ArgumentError(f"part = {sums!r:.40}\n    must be bytes, not {type(sums).__name__}\n    live it again")
        number, came = self.assembly.add(sums)
        if came == "otherwise":
            raise WorkerError(
                f"{self.called(number)}: came twice, with other sums: a machine that takes part computes wrongly\n"
                "    look for it among those that are not like the others"
            )
        if number != part:
            raise ArgumentError(f"part = {number}\n    must be part {part}\n    live it again")
        if came == "first" and self._kept is not None:
            try:
                self._kept.write(part, sums)
            except KeyboardInterrupt:
                # It counts among the finished ones, of which is said that they are kept.
                self._kept.write(part, sums)
                raise

    def called(self, part: int) -> str:
        """Name a part in messages."""
        of = f" of variant {self.name!r}" if self.name else ""
        return f"part {part} of {self.assembly.parts}{of}"


#: A part of a run, by its number.
Part: TypeAlias = tuple[Run, int]


class Runs:
    """Some runs that are lived together, and how far they are."""

    def __init__(self, runs: list[Run], tell: Callable[[int], object] | None) -> None:
        self.each, self._tell = runs, tell
        self.wanted = sum(run.trials for run in runs)

    @property
    def done(self) -> int:
        """Trials of all parts that are there."""
        return sum(run.assembly.trials for run in self.each)

    def tell(self) -> None:
        """Tell whoever listens."""
        if self._tell is not None:
            self._tell(self.done)


@contextmanager
def named(name: str) -> Iterator[None]:
    """Say of which variant it is that its inputs contradict each other."""
    try:
        yield
    except ContradictionError as error:
        if not name:
            raise
        raise ContradictionError(f"variant {name!r}: {error}") from None


def _folder(checkpoints: str | os.PathLike[str]) -> str:
    try:
        return str(Path(checkpoints))
    except TypeError:
        raise ArgumentError(
            f"checkpoints = {checkpoints!r}\n    must be the name of a folder\n    give a text or a path"
        ) from None


def rule(refusal: ArgumentError) -> str:
    """Give the rule out of a refusal of an argument, without value and remedy."""
    return str(refusal).split("\n")[1].strip()


def refuse(faults: list[str]) -> None:
    """Refuse kept parts that cannot be used, the first ones by name."""
    if not faults:
        return
    more = [f"  and {len(faults) - _NAMED:,} more"] if len(faults) > _NAMED else []
    one = len(faults) == 1
    files, them, they = ("1 kept part", "it", "it is") if one else (f"{len(faults):,} kept parts", "them", "they are")
    lines = [f"{files} cannot be used", *(f"  {fault}" for fault in faults[:_NAMED]), *more]
    raise FileError("\n".join([*lines, f"    remove {them}, and {they} lived again"]))
