"""The exceptions of serrata; the compiled engine raises these too.

`Error` is the root. What a caller can mend has a class of its own; `InternalError` is ours to mend.
Ctrl-C stays `KeyboardInterrupt`. All of them can be pickled and copied.
"""

from __future__ import annotations

from collections.abc import Iterable
from typing import Any, NamedTuple

__all__ = [
    "ArgumentError",
    "ContradictionError",
    "DataError",
    "Error",
    "Fault",
    "FileError",
    "InternalError",
    "RecordsError",
    "StudyError",
    "WorkerError",
]


class Fault(NamedTuple):
    """One thing wrong with a study.

    Attributes
    ----------
    line : int or None
        Line in the file, from 1; None when the fault has no place in a file.
    path : str
        Key path, such as ``techniques.eddy-current.pod.q50_mm``.
    value : str
        What the file says there; empty when something is missing.
    rule : str
        The rule that is broken.
    remedy : str
        What would be right.
    """

    line: int | None
    path: str
    value: str
    rule: str
    remedy: str


class Error(Exception):
    """Anything that serrata refuses or cannot finish."""


class _FaultyFileError(Error, ValueError):
    """A file with faults, each with its place."""

    faults: tuple[Fault, ...]

    def __init__(self, message: str, faults: Iterable[Fault] = ()) -> None:
        super().__init__(message)
        self.faults = tuple(faults)

    def __reduce__(self) -> tuple[Any, ...]:
        return type(self), (self.args[0], self.faults)


class StudyError(_FaultyFileError):
    """A study that cannot be read or breaks a rule.

    Attributes
    ----------
    faults : tuple of Fault
        Every fault found, in the order of the file.

    Examples
    --------
    >>> import serrata
    >>> study = serrata.Study.load("demo-data/reference-study.toml")
    >>> try:
    ...     study.with_values({"money.discount_rate_per_year": -1})
    ... except serrata.StudyError as error:
    ...     fault = error.faults[0]
    >>> fault.path, fault.value, fault.rule
    ('money.discount_rate_per_year', '-1', 'must be at least 0')
    """


class RecordsError(_FaultyFileError):
    """Records with lines that break rules.

    Attributes
    ----------
    faults : tuple of Fault
        The first faults found, in the order of the file; the message says how many there are in all.
    """


class DataError(Error, ValueError):
    """Data that cannot answer what is asked of them.

    Attributes
    ----------
    reason : str
        Why, as one short name for programs, such as ``separation``, ``reversed``, ``flat``,
        ``one-class`` or ``too-few``.
    """

    reason: str

    def __init__(self, message: str, reason: str = "") -> None:
        super().__init__(message)
        self.reason = reason

    def __reduce__(self) -> tuple[Any, ...]:
        return type(self), (self.args[0], self.reason)


class ArgumentError(Error, ValueError):
    """An argument of a call that breaks a rule."""


class FileError(Error, OSError):
    """A file that cannot be opened, read or written."""


class ContradictionError(Error):
    """A study whose inputs contradict a fact that it states."""


class WorkerError(Error):
    """A run by an executor of which parts fail again and again, or never come back."""


class InternalError(Error):
    """A mistake in serrata itself; please report it."""
