"""How numbers are written: with their range, as people count, in thousands or millions."""

from __future__ import annotations

import math
from collections.abc import Callable
from typing import NamedTuple

__all__ = ["RANGES", "Shown", "in_words", "money_unit", "two_figures"]

#: Note under every table with ranges.
RANGES = (
    "Ranges are 95 % intervals: 1 time in 20 the truth lies outside, so far as the inputs are right; doubt about the "
    "inputs is not in them."
)


class Shown(NamedTuple):
    """An estimate to be shown.

    Attributes
    ----------
    value, low, high : float
        The estimate and its 95 % interval.
    unseen : bool
        Whether no trial showed it, so that ``high`` is all that is known.
    always : bool
        Whether every trial showed it, so that ``low`` is all that is known of its chance.
    """

    value: float
    low: float
    high: float
    unseen: bool = False
    always: bool = False

    def ranged(self, trials: int | None = None, scale: float = 1.0, figures: int = 2) -> str:
        """Word it with its range, such as ``0.0123 (0.0119 to 0.0127)`` or ``< 3.7e-05 (none seen in 100,000)``.

        It has so many figures of half its range: two for those who go on to work with it, one for those who decide.
        """
        value, low, high = self.value / scale, self.low / scale, self.high / scale
        if self.unseen:
            return f"< {high:.2g}" + (f" (none seen in {trials:,})" if trials is not None else "")
        if self.always:
            return f"> {low:.4f}"
        if not high > low:
            return _plain(value)
        number = _rounded_to(0.5 * (high - low), 0.5 * (abs(low) + abs(high)), figures)
        return f"{number(value)} ({number(low)} to {number(high)})"

    def plus_minus(self, scale: float = 1.0, figures: int = 2) -> str:
        """Word it with half its range, such as ``0.0123 +-0.0004``; by the range alone where half of it is as large."""
        value, low, high = self.value / scale, self.low / scale, self.high / scale
        if self.unseen:
            return f"< {high:.2g}"
        if self.always:
            return f"> {low:.4f}"
        if not high > low:
            return _plain(value)
        half = max(value - low, high - value)
        if low >= 0.0 and half >= value:
            # Seen so seldom that as much to either side would reach below zero.
            return f"{low:.2g} to {high:.2g}"
        number = _rounded_to(half, abs(value), figures)
        return f"{number(value)} ±{number(half)}"


def in_words(value: float, low: float, high: float) -> str:
    """Word a chance with its interval as people count, such as ``13 in 1,000 (12 to 15)``."""
    if not value > 0.0:
        return f"less than {two_figures(1e6 * high)} in 1,000,000 (none seen)" if high > 0.0 else "0"
    of = next(of for of in (100, 1_000, 10_000, 1_000_000, 10**9, 10**18) if value * of >= 9.5 or of == 10**18)
    digits = 0 if value * of >= 9.5 else 2
    return f"{value * of:,.{digits}f} in {of:,} ({low * of:,.{digits}f} to {high * of:,.{digits}f})"


def two_figures(number: float) -> str:
    """Word a number that is no more than a guide, rounded up to two figures."""
    unit = 10.0 ** max(math.floor(math.log10(number)) - 1, 0)
    return f"{math.ceil(number / unit) * unit:,.0f}"


def money_unit(largest: float, currency: str) -> tuple[float, str]:
    """Give a unit in which sums up to the largest have few figures, and its name."""
    if largest >= 1e6:
        return 1e6, f"million {currency}"
    # Four figures are read as they are.
    return (1e3, f"thousand {currency}") if largest >= 1e4 else (1.0, currency)


def _rounded_to(half: float, size: float, figures: int) -> Callable[[float], str]:
    """Give a wording of numbers with so many figures of their uncertainty."""
    if not half > 0.0:
        return _plain
    digits = figures - 1 - math.floor(math.log10(half))
    if size < 1e-3 or half < 1e-5:
        shown = max(1, digits + (math.floor(math.log10(size)) if size > 0.0 else 0))
        return lambda x: f"{x:.{min(shown, 6)}e}" if x else "0"
    return lambda x: f"{x:,.{max(digits, 0)}f}"


def _plain(value: float) -> str:
    return f"{value:,.0f}" if abs(value) >= 1e4 else f"{value:,.4g}"
