"""Executors that parts of a run are sent to."""

from __future__ import annotations

import os
from collections.abc import Callable
from concurrent.futures import Executor
from typing import ClassVar, TypeAlias, TypeGuard
from weakref import WeakKeyDictionary

from serrata.errors import ArgumentError

__all__ = ["Pool", "Workers"]

#: An executor, or a function without arguments that makes one.
Workers: TypeAlias = Executor | Callable[[], Executor]


class Pool:
    """The executor that takes parts; one that a function made is replaced when it breaks."""

    #: The process in which an executor was first used: one that is forked from it later has none of the workers.
    _used_in: ClassVar[WeakKeyDictionary[Executor, int]] = WeakKeyDictionary()

    def __init__(self, workers: Workers) -> None:
        self._make: Callable[[], Executor] | None = None
        self._executor: Executor | None = None
        # A class of executors has a method submit too, and makes one.
        if callable(workers) and (isinstance(workers, type) or not _is_executor(workers)):
            self._make = workers
        elif _is_executor(workers):
            self._executor = workers
            self._refuse_of_another_process(workers)
        else:
            raise ArgumentError(
                f"executor = {workers!r}\n    must be an executor, with a method submit, or a function that makes one\n"
                "    give one of concurrent.futures, or what makes one, such as a Dask client's get_executor()"
            )

    @property
    def executor(self) -> Executor:
        """The executor at present, made when it is first needed."""
        if self._executor is None:
            made = self._make() if self._make is not None else None
            if made is None or not _is_executor(made):
                raise ArgumentError(
                    f"executor = {self._make!r}\n    must make an executor, with a method submit, not {made!r}\n"
                    "    such as lambda: ProcessPoolExecutor(4)"
                )
            self._executor = made
        return self._executor

    def leave(self, broken: Executor) -> None:
        """Have another executor than this one from now on, if one can be made."""
        if broken is self._executor:
            self.close()

    def close(self) -> None:
        """Shut down what was made here; nobody waits for what a worker has begun."""
        if self._make is not None and self._executor is not None:
            self._executor.shutdown(wait=False)
            self._executor = None

    def _refuse_of_another_process(self, executor: Executor) -> None:
        try:
            first = self._used_in.setdefault(executor, os.getpid())
        except TypeError:  # It cannot be remembered.
            return
        if first != os.getpid():
            raise ArgumentError(
                f"executor = {executor!r}\n    was used before this process was forked, and its workers are not here\n"
                "    make an executor in this process, or give a function that makes one"
            )


def _is_executor(thing: object) -> TypeGuard[Executor]:
    return callable(getattr(thing, "submit", None))
