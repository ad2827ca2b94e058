"""From a study to a comparison of its strategies."""

from __future__ import annotations

import secrets
import sys
import warnings
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from typing import TYPE_CHECKING, TypeAlias

from serrata import _engine as engine
from serrata.comparison import Comparison

if TYPE_CHECKING:
    from serrata.study import Study

__all__ = ["Progress", "simulate"]

#: None shows a line on a terminal only; True always, False never; a function is told (done, trials).
Progress: TypeAlias = bool | Callable[[int, int], object] | None

#: Largest drawn seed; every program that reads JSON keeps whole numbers below it exact.
_SEEDS = 2**53


def simulate(
    study: Study,
    *,
    trials: int = 10_000,
    seed: int | None = None,
    threads: int = 0,
    progress: Progress = None,
    keep_finished: bool = False,
    block_trials: int = 0,
) -> Comparison:
    """Live the fleet under every strategy, many times, and compare.

    Every strategy meets the same blades, cracks and crews in one trial, so that differences between
    strategies are sharper than if each were simulated apart: by a little for rare losses, by much for costs;
    the report says by how much. The same study, trials and seed give the same
    bytes on any number of threads. Other Python threads run meanwhile; Ctrl-C stops within a second.

    Parameters
    ----------
    study : Study
        What to simulate.
    trials : int, at least 1
        Lives of the whole fleet.
    seed : int from 0 to 2**64 - 1, optional
        Where the random numbers begin. Without one a fresh seed is drawn, shown with the result and
        kept in it.
    threads : int, at least 0
        0 takes what the environment variable SERRATA_THREADS says, else what the machine or its
        container gives.
    progress : None, bool or callable
        None shows one line of plain text when standard error is a terminal; True always, False
        never. A function is called with the trials done and wanted, ten times a second.
    keep_finished : bool
        Whether Ctrl-C gives back the trials that were finished, with a warning, instead of raising
        KeyboardInterrupt; what is in hand is finished first, for at most a second. Where not even the first
        512 trials were, KeyboardInterrupt says so.
    block_trials : int, at least 0
        Trials a thread takes at a time; 0 chooses. Changes no result.

    Returns
    -------
    Comparison

    Raises
    ------
    ArgumentError
        For a number outside its range, or something that is not a whole number.
    ContradictionError
        For a study whose rows could not have come to its start.
    KeyboardInterrupt
        On Ctrl-C, unless finished trials are kept.

    Examples
    --------
    >>> import serrata
    >>> study = serrata.Study.load("demo-data/reference-study.toml")
    >>> comparison = serrata.simulate(study, trials=500, seed=1)
    >>> comparison == serrata.simulate(study, trials=500, seed=1, threads=2)
    True
    """
    if seed is None:
        seed = secrets.randbelow(_SEEDS)
    with _shown(progress, trials) as tell:
        found = engine.simulate(
            study._engine,
            trials=trials,
            seed=seed,
            threads=threads,
            block_trials=block_trials,
            keep_finished=keep_finished,
            progress=tell,
        )
    if found.trials < trials:
        warnings.warn(
            f"stopped on request after {found.trials} of {trials} trials; the result holds those that were finished",
            RuntimeWarning,
            stacklevel=2,
        )
    return Comparison._of(found)


@contextmanager
def _shown(progress: Progress, trials: int) -> Iterator[Callable[[int], object] | None]:
    """Give the function that the engine tells its progress to."""
    if progress is None:
        progress = sys.stderr is not None and sys.stderr.isatty()
    if callable(progress):
        listener = progress
        yield lambda done: listener(done, trials)
        return
    if not progress:
        yield None
        return
    from tqdm import tqdm

    # Plain text, and the line goes when the work is done.
    with tqdm(total=trials, unit=" trials", ascii=True, mininterval=0.3, leave=False, dynamic_ncols=True) as line:
        yield lambda done: line.update(done - line.n)
