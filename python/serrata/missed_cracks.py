"""Missed cracks: how many cracked blades no technique found, estimated from who found the others."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from typing import TYPE_CHECKING, Any

from serrata import _engine as engine
from serrata import records_plots
from serrata.about import CAUTION
from serrata.card import Card, of_frame
from serrata.errors import ArgumentError
from serrata.report_blocks import wrapped
from serrata.result import JsonResult

if TYPE_CHECKING:
    import pandas as pd
    from matplotlib.axes import Axes

__all__ = ["MissedCracks"]

#: Each method in words, and what it takes for granted.
_METHODS = {
    "by-length": ("by length of crack", "what makes a crack hard to find is its length"),
    "log-linear": ("log-linear, lengths not used", "all cracks are alike; some pairs go together"),
    "lower-bound": ("lower bound", "some cracks are hard for all; this many at least"),
    "two-lists": ("two techniques", "the two err independently"),
}
#: Models that are printed; the table `models` has all.
_MOST_MODELS = 6


class MissedCracks(JsonResult):
    """Number of cracked blades that every technique missed, by each method that the blades allow. It never changes.

    Made by `Records.missed_cracks` or, from counts alone, by `MissedCracks.from_counts`. ``report``
    states what each number takes for granted; with two techniques that cannot be tested.
    """

    __slots__ = ()

    @staticmethod
    def from_counts(
        techniques: Sequence[str], counts: Mapping[tuple[str, ...], int], *, level: float = 0.95
    ) -> MissedCracks:
        """Estimate from counts of blades by who found them.

        Parameters
        ----------
        techniques : sequence of str
            From 2 to 10 of them; every one looked at every blade.
        counts : mapping of tuple of str to int
            For each set of techniques, the blades found by just these; the empty set, blades called by
            none, may be there.
        level : float, from 0.5 to below 1
            Confidence of every interval.

        Returns
        -------
        MissedCracks

        Raises
        ------
        ArgumentError
            For a technique that is not among those named, or counts that are none.
        DataError
            If some technique found nothing.

        Examples
        --------
        >>> import serrata
        >>> counts = {("mpi", "penetrant"): 12, ("mpi",): 5, ("penetrant",): 3}
        >>> f"{serrata.MissedCracks.from_counts(['mpi', 'penetrant'], counts).estimate:.2f}"
        '1.15'
        """
        listed = []
        for found_by, blades in counts.items():
            for stranger in set(found_by) - set(techniques):
                known = ", ".join(techniques)
                raise ArgumentError(
                    f"counts = {found_by}\n    {stranger!r} is not a technique named\n    choose from {known}"
                )
            if isinstance(blades, bool) or blades != int(blades) or blades < 0:
                raise ArgumentError(f"counts = {blades!r}\n    must be a whole number from 0\n    count blades")
            listed.append(([technique in found_by for technique in techniques], int(blades)))
        return MissedCracks(engine.missed_cracks_of_counts(list(techniques), listed, level))

    @property
    def _numbers(self) -> dict[str, Any]:
        content: dict[str, Any] = self._content["missed_cracks"]
        return content

    @property
    def techniques(self) -> list[str]:
        """The techniques, in the order that was asked for."""
        return list(self._numbers["techniques"])

    @property
    def level(self) -> float:
        """Confidence of every interval."""
        return float(self._numbers["level"])

    @property
    def length_error_log(self) -> float:
        """Standard deviation of the logarithm of one measured length about that of the true one, as it was given."""
        return float(self._numbers["length_error_log"])

    @property
    def found(self) -> int:
        """Cracked blades that at least one technique found, of those that all looked at."""
        return int(self._numbers["found"])

    @property
    def range(self) -> tuple[float, float | None]:
        """Least and most that all methods leave together, in whole blades; None where nothing sets an upper bound.

        Within what is known: no fewer than are confirmed to be cracked among the blades that none called, and no more
        than those blades.
        """
        low, high = self._numbers["range"]
        return float(low), high

    @property
    def methods(self) -> pd.DataFrame:
        """Number by each method that takes all techniques together, that of `estimate` first.

        Columns: method, words, missed, low, high (missing where the method sets none) and takes, what it takes for
        granted. These are the methods' own numbers, whatever is known of the blades that none called.
        """
        import pandas as pd

        columns = ["method", "words", "missed", "low", "high", "takes"]
        lines = []
        for one in self._numbers["methods"]:
            words, takes = _METHODS[one["method"]]
            lines.append({**one, "words": words, "takes": takes})
        return pd.DataFrame(lines, columns=columns).astype({"missed": float, "high": float})

    @property
    def confirmed_missed(self) -> int:
        """Blades that none called and that are confirmed to be cracked: missed for certain, and used by no method."""
        return int(self._numbers["confirmed_missed"])

    @property
    def method(self) -> str:
        """Method of `estimate`: ``by-length``, ``log-linear``, ``two-lists``, ``lower-bound``, ``cannot-be-told``."""
        return str(self._numbers["answer"]["method"])

    @property
    def estimate(self) -> float | None:
        """Cracked blades that nobody found, or with ``lower-bound`` a lower bound; None where there is neither."""
        missed: float | None = self._numbers["answer"]["missed"]
        return missed

    @property
    def interval(self) -> tuple[float, float | None]:
        """Lower and upper end, in whole blades; None where nothing sets an upper bound.

        No more can be missed than the blades that none called, where these were counted.
        """
        answer = self._numbers["answer"]
        return float(answer["low"]), answer["high"]

    @property
    def mostly_shorter_mm(self) -> float | None:
        """Nine in ten of the missed cracks are shorter than this, in mm; None where lengths are not used."""
        shorter: float | None = self._numbers["answer"]["mostly_shorter_mm"]
        return shorter

    @property
    def pairs(self) -> pd.DataFrame:
        """For each pair of techniques: finds, Chapman's total with its standard error, and the number missed.

        Each takes the two to err independently. ``missed`` and ``high`` are missing where no blade was found by both.
        ``low`` and ``high`` are those of the profile likelihood.
        """
        import pandas as pd

        pairs = pd.DataFrame(
            {
                "first": pair["techniques"][0],
                "second": pair["techniques"][1],
                "found_by_first": pair["found"][0],
                "found_by_second": pair["found"][1],
                "found_by_both": pair["found"][2],
                "chapman": pair["chapman"],
                "chapman_se": pair["chapman_se"],
                "missed": pair["missed"],
                "low": _interval(pair)[0],
                "high": _interval(pair)[1],
            }
            for pair in self._numbers["pairs"]
        )
        return pairs.astype({"missed": float, "high": float})

    @property
    def models(self) -> pd.DataFrame:
        """Log-linear models, best first: linked pairs, total, missed, standard error, AIC and weight.

        ``dropped`` says why a model has no estimate. Empty for two techniques, and for more than five.
        """
        import pandas as pd

        names = ["total", "missed", "standard_error", "deviance", "degrees_of_freedom", "aic", "weight"]
        log_linear = self._numbers["log_linear"] or {"models": []}
        lines = []
        for model in log_linear["models"]:
            fitted = model["outcome"].get("fitted", {})
            line = {"links": ", ".join(model["links"]) or "none", **{name: fitted.get(name) for name in names}}
            lines.append({**line, "dropped": model["outcome"].get("dropped")})
        return pd.DataFrame(lines, columns=["links", *names, "dropped"])

    @property
    def length_models(self) -> pd.DataFrame:
        """Models of detection against length, best first; empty where too few lengths are known."""
        import pandas as pd

        columns = ["length_counts", "links", "missed", "standard_error", "aic", "weight"]
        by_length = self._numbers["by_length"] or {"models": []}
        lines = [{**model, "links": ", ".join(model["links"]) or "none"} for model in by_length["models"]]
        return pd.DataFrame(lines, columns=columns)

    @property
    def lengths(self) -> pd.DataFrame:
        """For each length that was found: found blades, and the missed ones they stand for.

        Where lengths are measured with error these are true lengths, and ``found`` is no whole number.
        """
        import pandas as pd

        by_length = self._numbers["by_length"] or {"lengths": []}
        return pd.DataFrame(by_length["lengths"], columns=["length_mm", "found", "missed"])

    @property
    def coverage(self) -> dict[str, Any] | None:
        """Sample coverage and lower bounds, as total numbers of cracked blades; None for two techniques."""
        coverage: dict[str, Any] | None = self._numbers["coverage"]
        return coverage

    @property
    def notes(self) -> list[str]:
        """Notes on the numbers, in sentences."""
        return list(self._numbers["notes"])

    def report(self) -> str:
        """Give the whole answer as plain text, as the command line prints it."""
        lines = [wrapped(sentence, rest="  ") for sentence in self._said()]
        if len(self.techniques) > 2:
            heads = (f"{100 * self.level:g} %", "holds if")
            lines += ["", f"{'By method':<30}{'missed':>7}   {heads[0]:<12}  {heads[1]}"]
            for _, words, missed, low, high, takes in self.methods.itertuples(index=False):
                lines.append(f"  {words:<28}{missed:>7.1f}   {_between(low, high):<12}  {takes}")
        lines += ["", "Two by two, as if they erred independently (too few where both tend to miss the same cracks)"]
        for pair in self._numbers["pairs"]:
            low, high = _interval(pair)
            names = " and ".join(pair["techniques"])
            about = "no estimate" if pair["missed"] is None else f"{pair['missed']:.1f}"
            upper = "no upper bound" if high is None else f"{high:.1f}"
            lines.append(f"  {names}: {about} ({low:.1f} to {upper})")
        if self._numbers["log_linear"]:
            lines += ["", *_models(self._numbers["log_linear"]["models"])]
        return "\n".join([*lines, "", f"Intervals are of {100 * self.level:g} %.", "", CAUTION, ""])

    def plot(self, ax: Axes | None = None) -> Axes:
        """Draw the estimates of all methods with their intervals; see `serrata.records_plots.missed_cracks`."""
        return records_plots.missed_cracks(self, ax)

    def _said(self) -> list[str]:
        return [*self._content["sentences"], *(f"Note: {note}" for note in self.notes)]

    def _card(self) -> Card:
        tables = [of_frame("Cracked blades that all missed", self.methods), of_frame("Pair by pair", self.pairs)]
        return Card(
            f"Cracks that {', '.join(self.techniques)} all missed, beside {self.found} found", self._said(), tables
        )

    def __repr__(self) -> str:
        low, high = self.range
        together = f"{low:g} and more" if high is None else f"{low:g} to {high:g}"
        about = "not known" if self.estimate is None else f"{self.estimate:.1f}"
        return f"<MissedCracks {together} beside {self.found} found; {self.method}: {about}>"


def _interval(pair: dict[str, Any]) -> tuple[float, float | None]:
    """Give the interval to read of a pair; no upper end where no blade was found by both."""
    low, high = pair["likelihood_interval"]
    return low, high


def _between(low: float, high: float) -> str:
    return f"{low:.0f} to {high:.0f}" if math.isfinite(high) else f"{low:.0f} and more"


def _models(models: list[dict[str, Any]]) -> list[str]:
    """Word the log-linear models: what each counts for, how many are missed by it, and which techniques go together."""
    lines = [
        "What the log-linear number is made of",
        "  counts  missed     se   if only these find, or miss, the same cracks",
    ]
    for model in models[:_MOST_MODELS]:
        links = "; ".join(link.replace(" + ", " with ") for link in model["links"]) or "none does"
        if "dropped" in model["outcome"]:
            lines.append(f"       -       -      -   {links}: {model['outcome']['dropped']}")
            continue
        fitted = model["outcome"]["fitted"]
        counts = "-" if fitted["weight"] is None else f"{100.0 * fitted['weight']:.0f} %"
        begin = f"  {counts:>6}  {fitted['missed']:>6.1f}  {fitted['standard_error']:>5.1f}   "
        rest = " " * len(begin)
        lines.append(wrapped(links, begin, rest))
    if len(models) > _MOST_MODELS:
        lines.append(f"  and {len(models) - _MOST_MODELS} more, in the table of models")
    return lines
