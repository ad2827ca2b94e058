"""Numbers of a comparison's tables, in words."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, Any

from serrata.wording import Shown

if TYPE_CHECKING:
    import pandas as pd

__all__ = ["difference", "pick", "shown_of"]


def pick(frame: pd.DataFrame, **where: str | float) -> pd.Series[Any]:
    """Give the one line of a table in which the named columns have the named values."""
    for column, value in where.items():
        frame = frame[frame[column] == value]
    return frame.iloc[0]


def shown_of(line: pd.Series[Any]) -> Shown:
    """Give the estimate of a line."""
    value, low, high = (float(line[name]) for name in ("value", "low", "high"))
    unseen = bool(line["events"] == 0.0 and high > 0.0)
    return Shown(value, low, high, unseen, always=line.get("unit") == "probability" and value == 1.0)


def difference(line: pd.Series[Any], scale: float, figures: int = 2) -> str:
    """Word a difference with its range; where neither was ever seen, what it can be at most to either side."""
    shown = shown_of(line)
    if math.isnan(line["standard_error"]):
        return f"0 (-{shown.high:.2g} to {shown.high:.2g})"
    return shown.ranged(scale=scale, figures=figures)
