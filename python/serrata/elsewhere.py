"""Runs in parts: lived by an executor, in other processes or on other machines, or here, and kept in a folder."""

from __future__ import annotations

import os
import secrets
import time
from collections.abc import Callable, Mapping
from concurrent.futures import BrokenExecutor, CancelledError, Executor, Future
from functools import lru_cache
from queue import Empty, SimpleQueue

from serrata import _engine as engine
from serrata.errors import ArgumentError, Error, WorkerError
from serrata.parts import Part, Run, Runs, named, refuse, rule
from serrata.progress import Progress, shown
from serrata.workers import Pool, Workers

__all__ = ["Workers", "seed_or_drawn", "simulate"]

#: Largest drawn seed; every program that reads JSON keeps whole numbers below it exact.
_SEEDS = 2**53
#: Parts that are in hand at the same time: enough for many workers, few enough to be called off.
_IN_HAND = 64
#: How long the run waits for an answer before it looks around.
_LOOK_SECONDS = 0.1
#: A part that takes longer than this, and far longer than any before, is sent once more.
_OVERDUE_SECONDS = 60.0
_FAR_LONGER = 20.0
#: So often a part is tried.
_TRIES = 4


def simulate(
    studies: Mapping[str, engine.Study],
    *,
    trials: int,
    planted_lives: int,
    seed: int,
    threads: int,
    block_trials: int,
    executor: Workers | None,
    checkpoints: str | os.PathLike[str] | None,
    progress: Progress,
) -> dict[str, engine.Comparison]:
    """Live runs of some studies in parts, each to the bytes of a run in one piece.

    Parameters
    ----------
    studies : mapping of str to Study
        By the names that messages give them; a nameless one is called by the empty text. Equal texts are lived once.
    trials, planted_lives, seed
        As of `Study.simulate`, for each.
    threads : int
        Threads of each part; 0 for one by an executor, else for what the machine gives.
    block_trials : int
        Trials of a part; 0 for those of the parts that are kept, else for about a second's worth.
    executor : concurrent.futures.Executor, or function that makes one, optional
        Takes the parts of all runs, some of them at a time. Only ``submit`` is used, and of its futures
        ``add_done_callback``, ``result`` and ``cancel``; what the function made is also shut down.
    checkpoints : path-like, optional
        Folder of finished parts: those that are there are not lived again, the others are added.
    progress : None, bool or callable
        As of `Study.simulate`, over all runs.

    Raises
    ------
    FileError
        For parts in the folder that are damaged or of something else, and for a folder that cannot be written to.
    WorkerError
        When a part fails again and again, or never comes back.
    """
    pool = None if executor is None else Pool(executor)
    runs: dict[str, Run] = {}
    for name, study in studies.items():
        runs.setdefault(
            study.to_toml(), Run(name, study, checkpoints, trials=trials, planted_lives=planted_lives, seed=seed)
        )
    with shown(progress, sum(run.trials for run in runs.values())) as tell:
        if pool is None and checkpoints is None:
            lived = [
                run.live_whole(threads, block_trials, tell, run.trials * at) for at, run in enumerate(runs.values())
            ]
        else:
            _live_in_parts(list(runs.values()), pool, threads, block_trials, tell)
            lived = [run.assembly.finish() for run in runs.values()]
    by_text = dict(zip(runs, lived, strict=True))
    return {name: by_text[study.to_toml()] for name, study in studies.items()}


def seed_or_drawn(seed: int | None, checkpoints: str | os.PathLike[str] | None) -> int:
    """Give the seed, or a drawn one if there is none, which is refused where a run is to go on later."""
    if seed is None and checkpoints is not None:
        raise ArgumentError(
            "seed = None\n    must be given with checkpoints, as another seed is another run\n    give one, such as 1"
        )
    return secrets.randbelow(_SEEDS) if seed is None else seed


def _live_in_parts(
    runs: list[Run], pool: Pool | None, threads: int, block_trials: int, tell: Callable[[int], object] | None
) -> None:
    """Live what is not kept of some runs, by an executor or here."""
    cut = 0
    for run in runs:
        # One of the runs is timed, and the others, which are much like it, are cut alike.
        cut = block_trials or run.cut_before() or cut or run.second(threads or (0 if pool is None else 1))
        run.cut(cut)
    refuse([fault for run in runs for fault in run.take_kept()])
    together = Runs(runs, tell)
    try:
        together.tell()
        if pool is None:
            _live_here(together, threads)
        else:
            _live_elsewhere(together, pool, threads or 1)
    except KeyboardInterrupt:
        if runs[0].folder is None:
            raise
        raise KeyboardInterrupt(
            f"stopped on request after {together.done:,} of {together.wanted:,} trials; finished parts are kept in "
            f"{runs[0].folder}, and the same call goes on from them"
        ) from None


def _live_here(runs: Runs, threads: int) -> None:
    """Live parts here, one after the other, each by all threads."""
    for run in runs.each:
        for part in run.missing():
            run.live(part, threads)
            runs.tell()


def _live_elsewhere(runs: Runs, pool: Pool, threads: int) -> None:
    """Live parts by an executor, those of all runs together."""
    dispatch = _Dispatch(runs, pool, threads)
    try:
        dispatch.collect()
    finally:
        dispatch.call_off()


class _Dispatch:
    """Parts of some runs on their way: what is in hand, what came back, what failed."""

    def __init__(self, runs: Runs, pool: Pool, threads: int) -> None:
        self._runs, self._pool = runs, pool
        self._sent = {run: run.sent(threads) for run in runs.each}
        self._answers: SimpleQueue[tuple[Part, Executor, Future[bytes]]] = SimpleQueue()
        #: For each part in hand, when it was last sent, and its futures.
        self._in_hand: dict[Part, tuple[float, list[Future[bytes]]]] = {}
        self._tries: dict[Part, int] = {}
        self._longest = 0.0

    def collect(self) -> None:
        """Send parts and take answers until all are there."""
        coming = ((run, number) for run in self._runs.each for number in run.missing())
        while True:
            while len(self._in_hand) < _IN_HAND and (part := next(coming, None)) is not None:
                self._send(part)
            if not self._in_hand:
                return
            try:
                part, executor, future = self._answers.get(timeout=_LOOK_SECONDS)
            except Empty:
                self._send_overdue_again()
            else:
                self._take(part, executor, future)
            self._runs.tell()

    def call_off(self) -> None:
        """Cancel what is in hand; what a worker has begun it ends, and nobody waits for it."""
        for _, futures in self._in_hand.values():
            for future in futures:
                future.cancel()
        self._pool.close()

    def _send(self, part: Part) -> None:
        run, number = part
        self._tries[part] = self._tries.get(part, 0) + 1
        executor = self._pool.executor
        try:
            future = executor.submit(_live, part=number, **self._sent[run])
        except BrokenExecutor as error:
            self._pool.leave(executor)
            if self._pool.executor is executor:
                raise self._given_up(part, f"the executor takes no more work: {_words(error)}") from error
            self._send_again(part, _words(error), error)
            return
        except Exception as error:
            raise self._given_up(part, f"the executor takes no more work: {_words(error)}") from error
        _, futures = self._in_hand.get(part, (0.0, []))
        self._in_hand[part] = (time.monotonic(), [*futures, future])
        future.add_done_callback(lambda done: self._answers.put((part, executor, done)))

    def _send_again(self, part: Part, words: str, failure: Exception) -> None:
        if self._tries[part] >= _TRIES:
            raise self._given_up(part, f"failed {_TRIES} times, the last time by {words}") from failure
        self._send(part)

    def _take(self, part: Part, executor: Executor, future: Future[bytes]) -> None:
        run, number = part
        sent, _ = self._in_hand.get(part, (0.0, []))
        failure = CancelledError() if future.cancelled() else future.exception()
        if isinstance(failure, Error) or not isinstance(failure, Exception | None):
            # The study's own fault, which would fail anywhere; or Ctrl-C.
            with named(run.name):
                raise failure
        if failure is not None:
            if isinstance(failure, BrokenExecutor):
                self._pool.leave(executor)
            if part in self._in_hand:
                self._send_again(part, _words(failure), failure)
            return
        try:
            # Also an answer that comes a second time: it must be the same.
            run.take(number, future.result())
        except ArgumentError as refusal:
            # Damaged on its way, or by a worker of another version.
            if part in self._in_hand:
                self._send_again(part, f"its answer, which {rule(refusal)}", refusal)
            return
        if self._in_hand.pop(part, None) is not None:
            self._tries.pop(part)
            self._longest = max(self._longest, time.monotonic() - sent)

    def _send_overdue_again(self) -> None:
        limit = max(_OVERDUE_SECONDS, _FAR_LONGER * self._longest)
        now = time.monotonic()
        for part in [part for part, (sent, _) in self._in_hand.items() if now - sent > limit]:
            if self._tries[part] >= _TRIES:
                raise self._given_up(part, f"was sent {_TRIES} times and never came back")
            self._send(part)

    def _given_up(self, part: Part, reason: str) -> WorkerError:
        run, number = part
        done = f"{self._runs.done:,} of {self._runs.wanted:,} trials were finished"
        return WorkerError(
            f"{run.called(number)}: {reason}; {done}\n"
            "    look for workers that were ended, mostly for want of memory; then run again with a new executor,\n"
            "    or with a function that makes one, which is asked for another when it breaks"
        )


def _words(error: BaseException) -> str:
    return f"{type(error).__name__}: {error}" if str(error) else type(error).__name__


def _live(text: str, *, trials: int, planted_lives: int, seed: int, trials_each: int, threads: int, part: int) -> bytes:
    """Live one part, in a worker."""
    run = {"trials": trials, "planted_lives": planted_lives, "seed": seed, "trials_each": trials_each}
    return engine.live_part(_read(text), part=part, threads=threads, **run)


@lru_cache(maxsize=8)
def _read(text: str) -> engine.Study:
    return engine.Study.parse(text, "study sent to a worker")
