"""Runs whose parts are lived by an executor: other processes, other machines."""

from __future__ import annotations

import time
from collections.abc import Callable
from concurrent.futures import Executor, Future
from functools import lru_cache
from queue import Empty, SimpleQueue
from typing import Any

from serrata import _engine as engine
from serrata.errors import ArgumentError, Error, WorkerError

__all__ = ["simulate"]

#: Parts take about so long, so that little is lost with one, and a run stops soon.
_PART_SECONDS = 1.0
#: Parts that are in hand at the same time: enough for many workers, few enough to be called off.
_IN_HAND = 64
#: How long the run waits for an answer before it looks around.
_LOOK_SECONDS = 0.1
#: A part that takes longer than this, and far longer than any before, is sent once more.
_OVERDUE_SECONDS = 60.0
_FAR_LONGER = 20.0
#: So often a part is tried.
_TRIES = 4
#: Trials of the smallest part.
_FEWEST_TRIALS = 512


def simulate(
    study: engine.Study,
    executor: Executor,
    *,
    trials: int,
    seed: int,
    threads: int,
    block_trials: int,
    tell: Callable[[int], object] | None,
) -> engine.Comparison:
    """Live a run in parts by an executor, to the bytes of a run in one place.

    Parameters
    ----------
    study : Study
        The study; its text goes out with each part, and each worker reads it once.
    executor : concurrent.futures.Executor
        Takes the parts. Only ``submit``, and ``add_done_callback`` of its futures, are used.
    trials, seed
        As of `Study.simulate`.
    threads : int
        Threads of each part; 0 for one.
    block_trials : int
        Trials of a part; 0 for about a second's worth.
    tell : function, optional
        Told how many trials are done.

    Raises
    ------
    WorkerError
        When a part fails again and again, or never comes back.
    """
    if not callable(getattr(executor, "submit", None)):
        raise ArgumentError(
            f"executor = {executor!r}\n    must be an executor, with a method submit\n"
            "    give one of concurrent.futures, or what makes one, such as a Dask client's get_executor()"
        )
    block_trials = block_trials or _trials_of_a_part(study, trials, seed)
    run = _Run(study, executor, trials=trials, seed=seed, threads=threads or 1, block_trials=block_trials)
    try:
        run.collect(tell)
    finally:
        run.call_off()
    return run.assembly.finish()


def _trials_of_a_part(study: engine.Study, trials: int, seed: int) -> int:
    """Time the smallest part here."""
    few = min(trials, _FEWEST_TRIALS)
    begin = time.monotonic()
    engine.live_part(study, trials=few, seed=seed, trials_each=few, threads=1, part=0)
    return max(_FEWEST_TRIALS, int(_FEWEST_TRIALS * _PART_SECONDS / max(time.monotonic() - begin, 1e-3)))


class _Run:
    """A run in parts: what is in hand, what came back, what failed."""

    def __init__(
        self, study: engine.Study, executor: Executor, *, trials: int, seed: int, threads: int, block_trials: int
    ) -> None:
        whole: dict[str, Any] = {"trials": trials, "seed": seed, "trials_each": block_trials}
        self.assembly = engine.Assembly(study, **whole)
        self._executor, self._trials = executor, trials
        self._sent: dict[str, Any] = {"text": study.to_toml(), **whole, "threads": threads}
        self._answers: SimpleQueue[tuple[int, Future[bytes]]] = SimpleQueue()
        #: For each part in hand, when it was last sent, and its futures.
        self._in_hand: dict[int, tuple[float, list[Future[bytes]]]] = {}
        self._tries: dict[int, int] = {}
        self._longest = 0.0

    def collect(self, tell: Callable[[int], object] | None) -> None:
        """Send parts and take answers until all are there."""
        coming = iter(range(self.assembly.parts))
        while True:
            while len(self._in_hand) < _IN_HAND and (part := next(coming, None)) is not None:
                self._send(part)
            if not self._in_hand:
                return
            try:
                part, future = self._answers.get(timeout=_LOOK_SECONDS)
            except Empty:
                self._send_overdue_again()
            else:
                self._take(part, future)
            if tell is not None:
                tell(self.assembly.trials)

    def call_off(self) -> None:
        """Cancel what is in hand; what a worker has begun it ends, and nobody waits for it."""
        for _, futures in self._in_hand.values():
            for future in futures:
                future.cancel()

    def _send(self, part: int) -> None:
        self._tries[part] = self._tries.get(part, 0) + 1
        try:
            future = self._executor.submit(_live, part=part, **self._sent)
        except Exception as error:
            raise self._given_up(part, f"the executor takes no more work: {_words(error)}") from error
        _, futures = self._in_hand.get(part, (0.0, []))
        self._in_hand[part] = (time.monotonic(), [*futures, future])
        future.add_done_callback(lambda done: self._answers.put((part, done)))

    def _take(self, part: int, future: Future[bytes]) -> None:
        sent, _ = self._in_hand.get(part, (0.0, []))
        try:
            answer = future.result()
        except Error:
            # The study's own fault: it would fail anywhere.
            raise
        except Exception as error:
            if part not in self._in_hand:
                return
            if self._tries[part] >= _TRIES:
                raise self._given_up(part, f"failed {_TRIES} times, the last time by {_words(error)}") from error
            self._send(part)
            return
        # Also an answer that comes a second time: it must be the same.
        self.assembly.add(answer)
        if self._in_hand.pop(part, None) is not None:
            self._longest = max(self._longest, time.monotonic() - sent)

    def _send_overdue_again(self) -> None:
        limit = max(_OVERDUE_SECONDS, _FAR_LONGER * self._longest)
        now = time.monotonic()
        for part in [part for part, (sent, _) in self._in_hand.items() if now - sent > limit]:
            if self._tries[part] >= _TRIES:
                raise self._given_up(part, f"was sent {_TRIES} times and never came back")
            self._send(part)

    def _given_up(self, part: int, reason: str) -> WorkerError:
        done = f"{self.assembly.trials:,} of {self._trials:,} trials were finished"
        return WorkerError(
            f"part {part} of {self.assembly.parts}: {reason}; {done}\n"
            "    look for workers that were ended, mostly for want of memory; then run again with a new executor"
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
