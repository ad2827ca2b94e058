"""Rates of finds: whether a rate has changed, and rates of rows that learn from each other."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, Any

import numpy as np

from serrata import _engine as engine
from serrata.about import CAUTION
from serrata.card import Card, of_frame
from serrata.detection import numbers
from serrata.errors import ArgumentError
from serrata.report_blocks import wrapped
from serrata.result import JsonResult

if TYPE_CHECKING:
    import numpy.typing as npt
    import pandas as pd

__all__ = ["PooledRates", "RateChange", "pooled_rates", "rate_change"]

#: Log Bayes factors from which on evidence is called strong: twenty to one (Kass and Raftery 1995, from memory).
_STRONG = math.log(20.0)


class RateChange(JsonResult):
    """What counts say of a change of their rate. It never changes. Made by `rate_change`."""

    __slots__ = ()

    @property
    def _found(self) -> dict[str, Any]:
        found: dict[str, Any] = self._content["rate_change"]
        return found

    @property
    def log_bayes_factor(self) -> float:
        """For a change at an unknown place against one rate; above 0 it speaks for the change."""
        return float(self._found["log_bayes_factor"])

    @property
    def log_bayes_factor_to_duty(self) -> float | None:
        """For a change against a rate that follows the duty; None where no duty was stated."""
        found: float | None = self._found["log_bayes_factor_to_duty"]
        return found

    @property
    def summary(self) -> pd.DataFrame:
        """A line for each place: `after` so many periods, `log_evidence`, `posterior`, `rate_before`, `rate_after`.

        The posterior is the chance that the change is there, if there is one; rates are means.
        """
        import pandas as pd

        return pd.DataFrame(self._found["changes"])

    @property
    def notes(self) -> list[str]:
        """What the numbers mean, in sentences."""
        prior = self._found["prior"]
        return [
            f"Each rate is gamma of shape {prior['shape']:g} and rate {prior['rate']:g} before the counts are seen: "
            f"its mean is {prior['shape'] / prior['rate']:g} in the unit of the exposures, and the Bayes factor hangs "
            "on it. Where rates are of another order, choose another unit, or another prior.",
            "A change of what was looked at, or of how, changes counts as well.",
        ]

    def report(self) -> str:
        """Give the whole answer as plain text."""
        return "\n".join([*(wrapped(line, rest="  ") for line in self._said()), "", CAUTION, ""])

    def _said(self) -> list[str]:
        likeliest = max(self._found["changes"], key=lambda change: change["posterior"])
        factor = self.log_bayes_factor
        lines = [f"Change against one rate: log Bayes factor {factor:+.2f}: {_verdict(factor, 'one rate')}."]
        to_duty = self.log_bayes_factor_to_duty
        if to_duty is not None:
            verdict = _verdict(to_duty, "a rate that follows the duty")
            lines.append(f"Change against the duty: log Bayes factor {to_duty:+.2f}: {verdict}.")
        lines.append(
            f"If there is a change, it is after period {likeliest['after']} with a chance of "
            f"{likeliest['posterior']:.2f}: from a rate of {likeliest['rate_before']:.3g} to "
            f"{likeliest['rate_after']:.3g}. At one rate it is {self._found['rate']:.3g}."
        )
        lines += [f"Note: {note}" for note in self.notes]
        return lines

    def _card(self) -> Card:
        return Card("Have finds become more frequent?", self._said(), [of_frame("The answer", self.summary)])

    def __repr__(self) -> str:
        return f"<RateChange: log Bayes factor {self.log_bayes_factor:+.2f} for a change against one rate>"


class PooledRates(JsonResult):
    """Rates of rows that are alike and not the same. It never changes. Made by `pooled_rates`."""

    __slots__ = ()

    @property
    def _found(self) -> dict[str, Any]:
        found: dict[str, Any] = self._content["pooled_rates"]
        return found

    @property
    def summary(self) -> pd.DataFrame:
        """A line for each row: `count`, `exposure`, and `mean` and `standard_deviation` of its rate."""
        import pandas as pd

        first = pd.DataFrame({"count": self._content["counts"], "exposure": self._content["exposures"]})
        return pd.concat([first, pd.DataFrame(self._found["rates"])], axis=1)

    @property
    def common_law(self) -> pd.DataFrame:
        """Shape and rate of the gamma law that rates are of: `mean` and `standard_deviation`."""
        import pandas as pd

        return pd.DataFrame({name: self._found[name] for name in ("shape", "rate")}).T

    @property
    def log_evidence(self) -> float:
        """Logarithm of the chance of the counts."""
        return float(self._found["log_evidence"])

    @property
    def notes(self) -> list[str]:
        """What the numbers mean, in sentences."""
        return [
            "Rates are of one gamma law, whose shape is exponential of mean 1 and whose rate is gamma of shape 0.1 and "
            "rate 1 before the counts are seen. That has a scale: take a unit of exposure in which rates are of the "
            "order of one.",
            "Rows are taken as alike but for chance; one that is known to differ does not belong here.",
        ]

    def report(self) -> str:
        """Give the whole answer as plain text."""
        lines = ["  row  count  exposure  rate alone  rate, learning from all  standard deviation"]
        counted = zip(self._content["counts"], self._content["exposures"], self._found["rates"], strict=True)
        for place, (count, exposure, rate) in enumerate(counted, start=1):
            lines.append(
                f"  {place:3}  {count:5}  {exposure:8.4g}  {count / exposure:10.4g}  {rate['mean']:23.4g}"
                f"  {rate['standard_deviation']:18.4g}"
            )
        lines += [wrapped(f"Note: {note}", rest="  ") for note in self.notes]
        return "\n".join([*lines, "", CAUTION, ""])

    def _card(self) -> Card:
        tables = [of_frame("Groups", self.summary), of_frame("What they have in common", self.common_law)]
        return Card("Rates of several groups, pooled", self.notes, tables)

    def __repr__(self) -> str:
        return f"<PooledRates of {len(self._found['rates'])} rows>"


def rate_change(
    counts: npt.ArrayLike,
    exposures: npt.ArrayLike,
    *,
    prior: tuple[float, float] = (1.0, 1.0),
    duty: npt.ArrayLike | None = None,
) -> RateChange:
    """Set a change of the rate of finds at an unknown place against one rate, and against one that follows the duty.

    Parameters
    ----------
    counts : array_like of int, shape (n,)
        Finds of each period, in their order.
    exposures : array_like of float, shape (n,)
        What each count is over: years, starts, looks. Rates should be of the order of the prior's mean in its unit.
    prior : tuple of float
        Shape and rate of the gamma law of each rate before the counts are seen.
    duty : array_like of float, shape (n,), optional
        How hard each period was on the blades, of which only the proportions count.

    Returns
    -------
    RateChange

    Raises
    ------
    ArgumentError
        For fewer than two periods, counts that are none, and exposures or duties that are not above 0.

    Examples
    --------
    >>> import serrata
    >>> found = serrata.rate_change([1, 0, 1, 0, 0, 2, 3, 2, 4, 3], [1.0] * 10)
    >>> round(found.log_bayes_factor, 3), int(found.summary["posterior"].idxmax()) + 1
    (2.075, 5)
    """
    duties = None if duty is None else numbers("duty", duty).tolist()
    text = engine.rate_change(_counts(counts), numbers("exposures", exposures).tolist(), prior, duties)
    return RateChange(text)


def pooled_rates(counts: npt.ArrayLike, exposures: npt.ArrayLike) -> PooledRates:
    """Give rates of rows that are alike and not the same: each learns from all.

    Parameters
    ----------
    counts : array_like of int, shape (n,)
        Finds in each row.
    exposures : array_like of float, shape (n,)
        What each count is over, in a unit in which rates are of the order of one.

    Returns
    -------
    PooledRates

    Raises
    ------
    ArgumentError
        For fewer than two rows, counts that are none, and exposures that are not above 0.

    Examples
    --------
    >>> import serrata
    >>> rates = serrata.pooled_rates([1, 6, 0], [1.0, 10.0, 0.1])
    >>> bool(rates.summary["mean"][2] > 0.1)
    True
    """
    return PooledRates(engine.pooled_rates(_counts(counts), numbers("exposures", exposures).tolist()))


def _counts(values: npt.ArrayLike) -> list[int]:
    array = numbers("counts", values)
    bad = array[~((array >= 0) & (array == np.floor(array)) & np.isfinite(array))]
    if len(bad):
        raise ArgumentError(f"counts = {bad[0]:g}\n    must be whole numbers from 0\n    count finds")
    return [int(value) for value in array]


def _verdict(factor: float, other: str) -> str:
    if factor >= _STRONG:
        return "strong evidence of a change"
    if factor <= -_STRONG:
        return f"strong evidence for {other}"
    return "the counts do not decide"
