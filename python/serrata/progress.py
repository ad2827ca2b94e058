"""The progress of a simulation, shown to people and told to programs."""

from __future__ import annotations

import sys
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from typing import TypeAlias

__all__ = ["Progress", "shown"]

#: None shows a line on a terminal only; True always, False never; a function is told (done, trials).
Progress: TypeAlias = bool | Callable[[int, int], object] | None


@contextmanager
def shown(progress: Progress, trials: int) -> Iterator[Callable[[int], object] | None]:
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
