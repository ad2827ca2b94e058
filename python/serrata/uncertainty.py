"""Strategies compared under uncertainty about detection.

A comparison takes every input as known. Here many small comparisons each draw the detection curves of some techniques
from the sampling distribution of their fits. The variance between the draws, less that of the trials within them, is
due to what is not known about detection.
"""

from __future__ import annotations

import json
import math
from functools import cached_property
from typing import TYPE_CHECKING, Any

from serrata.about import CAUTION
from serrata.card import Card, Carded, of_frame
from serrata.errors import ArgumentError
from serrata.hit_miss import HitMissFit
from serrata.signal_pod import SignalPod
from serrata.signal_response import SignalFit

if TYPE_CHECKING:
    from collections.abc import Hashable, Mapping

    import pandas as pd

    from serrata.study import Study

__all__ = ["ComparisonUnderUncertainty", "over_draws"]

#: Quantities that are compared, as in `Comparison.summary`.
QUANTITIES = ("p_any_loss", "losses", "cracks_found", "blades_replaced", "cost", "days")
#: Columns of the report, with their widths.
_COLUMNS = {"value": 12, "standard_error": 10, "sd_by_knowledge": 14, "sd_by_trials": 12, "low": 12, "high": 12}
#: Fewest draws with a non-zero result from which the two variances are separated, unless all draws have one.
_FEWEST_SEEN = 10
#: Standard errors, of the logarithm of the variance between draws, to a bound on the spread by knowledge. Bounds at two
#: of them held in 93 to 99 % of simulated sets of 40 and 100 draws; at the 1.645 of a normal number in 88 to 97 %.
_ERRORS = 2.0


class ComparisonUnderUncertainty(Carded):
    """Results of the strategies over draws of the detection curves; made by `Study.simulate_under_uncertainty`.

    Examples
    --------
    >>> import serrata
    >>> study = serrata.Study.load("demo-data/demo-study.toml")
    >>> size_mm = [1.0, 1.5, 2.0, 2.5, 3.0, 3.5, 4.0, 4.5, 5.0, 6.0, 7.0, 8.0, 9.0, 10.0, 12.0]
    >>> found = [False, False, False, True, False, False, True, False, True, True, False, True, True, True, True]
    >>> fit = serrata.fit_hit_miss(size_mm, found)
    >>> compared = study.simulate_under_uncertainty({"phased-array": fit}, draws=3, trials=40, seed=1)
    >>> sorted(set(compared.draws["draw"]))
    [0, 1, 2]
    """

    _draws: pd.DataFrame
    _about: dict[str, Any]

    def __init__(self) -> None:
        raise TypeError("ComparisonUnderUncertainty is made by study.simulate_under_uncertainty(...)")

    @classmethod
    def _of(cls, draws: pd.DataFrame, about: dict[str, Any]) -> ComparisonUnderUncertainty:
        found = cls.__new__(cls)
        found._draws, found._about = draws, about
        return found

    @property
    def draws(self) -> pd.DataFrame:
        """A line for each draw, strategy and quantity: value and its standard error by the number of trials."""
        return self._draws.copy()

    @cached_property
    def summary(self) -> pd.DataFrame:
        """A line for each strategy and quantity, over all draws.

        Columns: strategy, quantity, value (mean over draws), standard_error (of that mean), sd_by_knowledge
        (standard deviation between draws beyond that of the trials; 0 where trials explain it all, NaN where too few
        draws saw anything to separate the two), sd_by_knowledge_low, sd_by_knowledge_high (bounds on it, each
        about 95 %), sd_by_trials (what the trials of one draw leave open), seen (share of the draws in which some trial
        saw anything), low, high (5 % and 95 % of the draws; they hold the scatter of the trials too).
        """
        import pandas as pd

        lines = []
        for (strategy, quantity), table in self._draws.groupby(["strategy", "quantity"], sort=False):
            values = table["value"]
            between, least, most = _by_knowledge(values, table["standard_error"])
            lines.append(
                {
                    "strategy": strategy,
                    "quantity": quantity,
                    "value": float(values.mean()),
                    "standard_error": float(values.std(ddof=1)) / math.sqrt(len(values)),
                    "sd_by_knowledge": between,
                    "sd_by_knowledge_low": least,
                    "sd_by_knowledge_high": most,
                    "sd_by_trials": math.sqrt((_errors(table["standard_error"]) ** 2).mean()),
                    "seen": float((values != 0.0).mean()),
                    "low": float(values.quantile(0.05)),
                    "high": float(values.quantile(0.95)),
                }
            )
        return pd.DataFrame(lines)

    @cached_property
    def first(self) -> pd.DataFrame:
        """Share of the draws in which each strategy has the lowest cost, and the fewest losses.

        Columns: strategy, lowest_cost, fewest_losses. Within a draw all strategies meet the same lives; strategies
        that tie share the draw.
        """
        import pandas as pd

        shares = {}
        for name, quantity in (("lowest_cost", "cost"), ("fewest_losses", "losses")):
            table = self._draws[self._draws["quantity"] == quantity]
            wide = table.pivot_table(index="draw", columns="strategy", values="value", sort=False)
            best = wide.eq(wide.min(axis=1), axis=0)
            shares[name] = best.div(best.sum(axis=1), axis=0).mean()
        return pd.DataFrame(shares).rename_axis("strategy").reset_index()

    def report(self) -> str:
        """Give the answer as plain text."""
        about = self._about
        lines = [
            f"{about['draws']} draws of detection by {', '.join(about['techniques'])}, {about['trials']:,} trials "
            f"each, seed {about['seed']}",
            "",
            f"{'':<34}{'mean':>12}{'±':>10}{'by knowledge':>14}{'by trials':>12}{'5 %':>12}{'95 %':>12}",
        ]
        for strategy, table in self.summary.groupby("strategy", sort=False):
            lines.append(str(strategy))
            for line in table.to_dict("records"):
                numbers = "".join(f"{_shown(line, name):>{width}}" for name, width in _COLUMNS.items())
                lines.append(f"   {line['quantity']:<31}{numbers}")
        lines += ["", f"{'share of draws with the':<34}{'lowest cost':>14}{'fewest losses':>16}"]
        for line in self.first.to_dict("records"):
            lines.append(f"   {line['strategy']:<31}{line['lowest_cost']:>14.2f}{line['fewest_losses']:>16.2f}")
        lines += [
            "",
            "Means and their standard error; standard deviations between draws beyond the trials, and of the trials of",
            "one draw. '< x' may be none: about 95 % sure, it is no more than x. 'not known' rests on too few draws",
            "in which anything was seen. Only detection by the named techniques is uncertain here; all",
            "other inputs are taken as known.",
            *self._draws_without_loss(),
            "",
            CAUTION,
            "",
        ]
        return "\n".join(lines)

    def _draws_without_loss(self) -> list[str]:
        """Name the strategies under which some draws saw no loss."""
        losses = self.summary.query("quantity == 'losses' and seen < 1.0")
        trials = f"{self._about['trials']:,} trials"
        lines = losses.to_dict("records")
        return [f"{line['strategy']}: {1.0 - line['seen']:.0%} of the draws saw no loss in {trials}." for line in lines]

    def to_json(self) -> str:
        """Give summary and shares as one JSON object; what no trial showed anything of as null."""

        def plain(table: pd.DataFrame) -> list[dict[str, Any]]:
            lines = table.to_dict("records")
            return [
                {str(k): None if isinstance(v, float) and math.isnan(v) else v for k, v in x.items()} for x in lines
            ]

        tables = {"summary": plain(self.summary), "first": plain(self.first)}
        return json.dumps({**self._about, **tables, "caution": CAUTION}, allow_nan=False)

    def _card(self) -> Card:
        about = self._about
        techniques = ", ".join(about["techniques"])
        run = f"{about['trials']:,} trials each, seed {about['seed']}"
        title = f"{about['draws']} draws of detection by {techniques}, {run}"
        said = ["Only detection by these techniques is uncertain here; all other inputs are taken as known."]
        tables = [
            of_frame("Over all draws", self.summary),
            of_frame("Share of the draws in which each is first", self.first),
        ]
        return Card(title, said, tables, self._draws_without_loss())

    def __repr__(self) -> str:
        return f"<ComparisonUnderUncertainty: {self._about['draws']} draws of {', '.join(self._about['techniques'])}>"

    def __str__(self) -> str:
        return self.report()


def over_draws(
    study: Study, fits: Mapping[str, HitMissFit | SignalPod], *, draws: int, trials: int, seed: int, threads: int
) -> ComparisonUnderUncertainty:
    """Compare the strategies of a study over draws of detection; see `Study.simulate_under_uncertainty`."""
    import pandas as pd

    if not fits:
        raise ArgumentError("fits = {}\n    must name at least one technique\n    without one use simulate")
    for technique, fit in fits.items():
        _check(technique, fit)
    if not (isinstance(draws, int) and 2 <= draws <= 10_000):
        raise ArgumentError(
            f"draws = {draws!r}\n    must be a whole number from 2 to 10000\n    40 give a first answer"
        )
    tables = []
    for draw in range(draws):
        drawn = study
        for technique, fit in fits.items():
            drawn = drawn.with_technique(technique, fit.drawn_evidence(technique, seed=seed, draw=draw))
        comparison = drawn.simulate(trials=trials, seed=seed + 1 + draw, threads=threads, progress=False)
        table = comparison.summary
        table = table[table["quantity"].isin(QUANTITIES)]
        tables.append(table[["strategy", "quantity", "value", "standard_error"]].assign(draw=draw))
    about = {"techniques": list(fits), "draws": draws, "trials": trials, "seed": seed}
    return ComparisonUnderUncertainty._of(pd.concat(tables, ignore_index=True), about)


def _errors(standard_error: pd.Series[float]) -> pd.Series[float]:
    """Give standard errors by the trials, zero where all trials of a draw came to the same.

    Sample variances are unbiased over all draws, not over those alone that saw something: the zeros have to count.
    """
    return standard_error.fillna(0.0)


def _by_knowledge(values: pd.Series[float], standard_error: pd.Series[float]) -> tuple[float, float, float]:
    """Give the standard deviation between draws beyond that of the trials, with its bounds; NaN where not known."""
    draws, errors = len(values), _errors(standard_error)
    seen = int((errors > 0.0).sum())
    if seen == 0 or (seen < draws and seen < _FEWEST_SEEN):
        return math.nan, math.nan, math.nan
    parts = (values - values.mean()) ** 2 * draws / (draws - 1)
    between, within = float(parts.mean()), float((errors**2).mean())
    if between == 0.0:
        return 0.0, 0.0, math.nan
    factor = math.exp(_ERRORS * float(parts.std(ddof=1)) / math.sqrt(draws) / between)
    # Where the draws differ less than their trials alone would make them, the difference is chance.
    beyond = (between - within, between / factor - within, max(between, within) * factor - within)
    estimate, least, most = (math.sqrt(max(variance, 0.0)) for variance in beyond)
    return estimate, least, most


def _shown(line: Mapping[Hashable, Any], name: str) -> str:
    """Write a number of the report; a spread by knowledge that may be none as a bound."""
    if name == "sd_by_knowledge":
        if math.isnan(line[name]):
            return "not known"
        if line["sd_by_knowledge_low"] == 0.0:
            return f"< {_figures(line['sd_by_knowledge_high'], 3)}"
    return _figures(line[name], 4)


def _figures(number: float, figures: int) -> str:
    """Write a number to some figures, a large one without a power of ten."""
    rounded = f"{number:.{figures}g}"
    return f"{float(rounded):,.0f}" if "e+" in rounded else rounded


def _check(technique: str, fit: object) -> None:
    """Refuse what is no fit of detection, such as signals of which nobody says what makes them a call."""
    if isinstance(fit, (HitMissFit, SignalPod)):
        return
    match fit:
        case (SignalFit(), threshold):
            shown, threshold = "a SignalFit and a threshold", repr(threshold)
        case SignalFit():
            shown, threshold = "a SignalFit", "threshold"
        case _:
            shown, threshold = f"a {type(fit).__name__}", "threshold"
    raise ArgumentError(
        f"fits[{technique!r}] is {shown}\n    must be a HitMissFit, or a SignalFit at a threshold\n"
        f"    give fit, or fit.at_threshold({threshold})"
    )
