"""Data frames of any library as the cells of a file."""

from __future__ import annotations

import datetime
import math
from collections.abc import Mapping, Sequence
from typing import TYPE_CHECKING, Any

import numpy as np

from serrata.errors import ArgumentError

if TYPE_CHECKING:
    from narwhals.typing import IntoDataFrame

__all__ = ["cells"]

#: How days are written, by the order of their parts.
_DAYS = {"year-month-day": "%Y-%m-%d", "day-month-year": "%d.%m.%Y", "month-day-year": "%m/%d/%Y"}
#: Values of data frames that are missing, and neither None nor unequal to themselves.
_MISSING = ("NAType",)


def cells(
    frame: IntoDataFrame | Mapping[str, Sequence[Any]], dates: str = "year-month-day"
) -> tuple[list[str], list[list[str]]]:
    """Give the names of the columns, and a text for each cell, line by line."""
    named = _columns(frame)
    header = [name for name, _ in named]
    columns = [[_text(value, dates) for value in column] for _, column in named]
    if len({len(column) for column in columns}) > 1:
        lengths = ", ".join(f"{name} {len(column)}" for name, column in zip(header, columns, strict=True))
        raise ArgumentError(
            f"frame = {lengths}\n    columns must be of one length\n    give every line a value or None"
        )
    return header, [list(row) for row in zip(*columns, strict=True)]


def _columns(frame: Any) -> list[tuple[str, Sequence[Any]]]:  # noqa: ANN401
    """Give names and values of the columns; names may be there twice, which the reader of cells refuses."""
    if hasattr(frame, "items"):
        return [(str(name), column) for name, column in frame.items()]
    import narwhals

    try:
        known = narwhals.from_native(frame, eager_only=True)
    except TypeError as error:
        raise ArgumentError(
            f"frame = {type(frame).__name__}\n    must be a data frame in memory, or columns by name\n"
            "    collect a lazy one, and give a table of another kind as a mapping"
        ) from error
    return [(name, known[name].to_list()) for name in known.columns]


def _text(value: Any, dates: str) -> str:  # noqa: ANN401
    """Write a cell of a data frame as a cell of a file; a missing value is blank."""
    if isinstance(value, str):
        return value
    if _is_missing(value):
        return ""
    if isinstance(value, np.datetime64):
        value = value.astype("datetime64[us]").item()
    if isinstance(value, (datetime.datetime, datetime.date)):
        return value.strftime(_DAYS.get(dates, "%Y-%m-%d"))
    # Also the yes and no of numpy.
    if str(value) in ("True", "False"):
        return "yes" if value else "no"
    if isinstance(value, float) and math.isfinite(value) and value == int(value):
        return str(int(value))
    return str(value)


def _is_missing(value: Any) -> bool:  # noqa: ANN401
    if value is None or type(value).__name__ in _MISSING:
        return True
    # NaN and NaT are unequal to themselves; an array in a cell is no missing value.
    unequal = value != value
    return isinstance(unequal, (bool, np.bool_)) and bool(unequal)
