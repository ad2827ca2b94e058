"""Data frames as the cells of a file."""

from __future__ import annotations

import datetime
import math
from collections.abc import Mapping, Sequence
from typing import TYPE_CHECKING, Any

import numpy as np

from serrata.errors import ArgumentError

if TYPE_CHECKING:
    import pandas as pd

__all__ = ["cells"]

#: How days are written, by the order of their parts.
_DAYS = {"year-month-day": "%Y-%m-%d", "day-month-year": "%d.%m.%Y", "month-day-year": "%m/%d/%Y"}


def cells(
    frame: pd.DataFrame | Mapping[str, Sequence[Any]], dates: str = "year-month-day"
) -> tuple[list[str], list[list[str]]]:
    """Give the names of the columns, and a text for each cell, line by line."""
    header = [str(name) for name in frame]
    columns = [[_text(value, dates) for value in column] for _, column in frame.items()]
    if len({len(column) for column in columns}) > 1:
        lengths = ", ".join(f"{name} {len(column)}" for name, column in zip(header, columns, strict=True))
        raise ArgumentError(
            f"frame = {lengths}\n    columns must be of one length\n    give every line a value or None"
        )
    return header, [list(row) for row in zip(*columns, strict=True)]


def _text(value: Any, dates: str) -> str:  # noqa: ANN401
    """Write a cell of a data frame as a cell of a file; a missing value is blank."""
    import pandas as pd

    if isinstance(value, str):
        return value
    # An array in a cell is no missing value.
    if pd.isna(value) is True:
        return ""
    if isinstance(value, np.datetime64):
        value = pd.Timestamp(value)
    if isinstance(value, (datetime.datetime, datetime.date)):
        return value.strftime(_DAYS.get(dates, "%Y-%m-%d"))
    # Also the yes and no of numpy.
    if str(value) in ("True", "False"):
        return "yes" if value else "no"
    if isinstance(value, float) and math.isfinite(value) and value == int(value):
        return str(int(value))
    return str(value)
