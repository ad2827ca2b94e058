"""Runs whose parts are lived by an executor: other processes, other machines."""

from __future__ import annotations

import time
from collections.abc import Callable, Mapping
from concurrent.futures import BrokenExecutor, CancelledError, Executor, Future
from functools import lru_cache
from queue import Empty, SimpleQueue

from serrata import _engine as engine
from serrata.errors import ArgumentError, Error, WorkerError
from serrata.parts import Part, Run, Runs, named, rule
from serrata.progress import Progress, shown
from serrata.workers import Pool, Workers

__all__ = ["Workers", "simulate"]

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
    seed: int,
    threads: int,
    block_trials: int,
    executor: Workers,
    progress: Progress,
) -> dict[str, engine.Comparison]:
    """Live runs of some studies in parts, each to the bytes of a run in one piece.

    Parameters
    ----------
    studies : mapping of str to Study
        By the names that messages give them; a nameless one is called by the empty text. Equal texts are lived once.
    trials, seed
        As of `Study.simulate`, for each.
    threads : int
        Threads of each part; 0 for one.
    block_trials : int
        Trials of a part; 0 for about a second's worth.
    executor : concurrent.futures.Executor, or function that makes one
        Takes the parts of all runs, some of them at a time. Only ``submit`` is used, and of its futures
        ``add_done_callback``, ``result`` and ``cancel``; what the function made is also shut down.
    progress : None, bool or callable
        As of `Study.simulate`, over all runs.

    Raises
    ------
    WorkerError
        When a part fails again and again, or never comes back.
    """
    pool = Pool(executor)
    runs: dict[str, Run] = {}
    for name, study in studies.items():
        runs.setdefault(study.to_toml(), Run(name, study, trials=trials, seed=seed))
    with shown(progress, sum(run.trials for run in runs.values())) as tell:
        _live_in_parts(list(runs.values()), pool, threads or 1, block_trials, tell)
        lived = [run.assembly.finish() for run in runs.values()]
    by_text = dict(zip(runs, lived, strict=True))
    return {name: by_text[study.to_toml()] for name, study in studies.items()}


def _live_in_parts(
    runs: list[Run], pool: Pool, threads: int, block_trials: int, tell: Callable[[int], object] | None
) -> None:
    """Live the parts of all runs together."""
    cut = 0
    for run in runs:
        # One of the runs is timed, and the others, which are much like it, are cut alike.
        cut = block_trials or cut or run.second(threads)
        run.cut(cut)
    dispatch = _Dispatch(Runs(runs, tell), pool, threads)
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
        coming = ((run, number) for run in self._runs.each for number in range(run.assembly.parts))
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


def _live(text: str, *, trials: int, seed: int, trials_each: int, threads: int, part: int) -> bytes:
    """Live one part, in a worker."""
    run = {"trials": trials, "seed": seed, "trials_each": trials_each}
    return engine.live_part(_read(text), part=part, threads=threads, **run)


@lru_cache(maxsize=8)
def _read(text: str) -> engine.Study:
    return engine.Study.parse(text, "study sent to a worker")
