"""Growth from records: a factor on a growth coefficient, fitted to sizes of cracks that were followed."""

from __future__ import annotations

import json
import math
import os
from collections.abc import Callable, Mapping, Sequence
from functools import cached_property
from typing import TYPE_CHECKING, Any, Literal

from serrata import _engine as engine
from serrata import frames, growth_fit_plots
from serrata.about import CAUTION
from serrata.card import Card, Carded, of_frame
from serrata.detection import Bounds, GrowthEvidence
from serrata.errors import ArgumentError

if TYPE_CHECKING:
    import pandas as pd
    from matplotlib.axes import Axes
    from narwhals.typing import IntoDataFrame

    from serrata.study import Study

__all__ = ["GrowthFit", "fit"]


class GrowthFit(Carded):
    """The factor on a growth coefficient that sizes of cracks speak for. It never changes.

    Made by `Study.fit_growth`. Where sizing error swamps the growth there is an upper bound and no estimate, which is
    None. Bounds are one-sided, each by itself: two of 97.5 % make an interval of 95 %.

    The factor is that of cracks that were measured more than once. Where fast ones were lost, renewed or repaired
    before a second size they are missing, and the factor is too low: the unsafe side.

    Examples
    --------
    >>> import serrata
    >>> study = serrata.Study.load("demo-data/demo-study.toml")
    >>> sizes = {"crack": ["A", "A", "B", "B"], "starts": [310, 420, 310, 420], "depth_mm": [0.9, 1.7, 1.1, 1.9]}
    >>> at = {"hot_spot": "four-serrations.upper", "row": "alder-lp1-front"}
    >>> fit = study.fit_growth({**sizes, "sizing_sigma_log": [0.1] * 4}, **at)
    >>> low, high = fit.bounds()
    >>> low < fit.factor < high
    True
    >>> changed = study.with_growth(fit.evidence(), uncertain="growth-rate")
    """

    _engine: engine.GrowthFit
    _study: Study
    _made_by: dict[str, Any]

    def __init__(self) -> None:
        raise TypeError("a GrowthFit is made by study.fit_growth(...)")

    @property
    def study(self) -> Study:
        """The study whose growth it is a factor on."""
        return self._study

    @property
    def source(self) -> str:
        """Source of the sizes."""
        return str(self._made_by["source"])

    @property
    def growth_law(self) -> str:
        """Id of the growth law whose coefficient the factor multiplies."""
        return self._engine.law

    @property
    def bound_only(self) -> bool:
        """Whether sizing error swamps the growth, so that there is an upper bound and no estimate."""
        return self._engine.is_bound_only

    @property
    def factor(self) -> float | None:
        """By how much to multiply the growth coefficient of the study; None where there is only a bound."""
        return self._engine.factor

    @property
    def standard_error_log(self) -> float | None:
        """Standard error of the logarithm of the factor; None where there is only a bound."""
        return self._engine.standard_error_log

    @property
    def sigma_log(self) -> float | None:
        """What the sizes leave open, as ``sigma_log`` of an uncertain input; None where there is only a bound.

        That of a normal logarithm whose upper 97.5 % lies where the upper bound does, or the standard error if larger.
        """
        return self._engine.sigma_log

    @property
    def log_likelihood(self) -> float:
        """Largest log-likelihood."""
        return self._engine.log_likelihood

    @property
    def log_likelihood_of_study(self) -> float:
        """Log-likelihood of the study as it stands: factor 1."""
        return self._engine.log_likelihood_of_study

    @property
    def p_of_study(self) -> float:
        """Chance that sizes speak at least as much against the study as it stands, were it right (likelihood ratio)."""
        return self._engine.p_of_study

    def bounds(self, *, confidence: float = 0.975) -> Bounds:
        """Give lower and upper bound of the factor, each by itself; None on a side where nothing is excluded.

        Parameters
        ----------
        confidence : float, between 0.5 and 1
            Of each bound: 0.975 for both ends of an interval of 95 %.

        Returns
        -------
        tuple of (float or None)

        Raises
        ------
        ArgumentError
            For a confidence out of range.
        """
        return self._engine.bounds(confidence)

    def log_likelihood_at(self, factor: float) -> float:
        """Give the log-likelihood of a factor above 0."""
        return self._engine.log_likelihood_at(factor)

    def evidence(self) -> GrowthEvidence:
        """Give what the sizes say in the words of a study, for `Study.with_growth`.

        Raises
        ------
        DataError
            With reason ``bound-only`` where there is no estimate.
        """
        return self._engine.evidence()

    def _table(self, name: str) -> pd.DataFrame:
        import pandas as pd

        return pd.DataFrame(self._engine.table(name))

    @cached_property
    def summary(self) -> pd.DataFrame:
        """`value`, and `low` and `high` of its 95 % interval: of the factor, and of the coefficient multiplied by it.

        NaN where there is none.
        """
        import pandas as pd

        none = math.nan
        low, high = (none if bound is None else bound for bound in self.bounds())
        value, now = none if self.factor is None else self.factor, self._engine.coefficient_m_per_start
        lines = {
            "factor": (value, low, high),
            "coefficient_m_per_start": (now * value, now * low, now * high),
        }
        frame = pd.DataFrame.from_dict(lines, orient="index", columns=["value", "low", "high"])
        return frame.rename_axis("parameter")

    @cached_property
    def cracks(self) -> pd.DataFrame:
        """Each crack's own factor by its sizes alone, its own scatter in it.

        Columns: crack, row, hot_spot, sizes, starts (from its first to its last size), factor, low, high (95 %
        interval; NaN where there is none).
        """
        return self._table("cracks")

    @cached_property
    def sizes(self) -> pd.DataFrame:
        """A line for each size, without the bias of its technique, beside the growth curve by the fitted factor.

        Columns: crack, line, kind, starts, size_mm, sizing_sigma_log, fitted_mm (NaN where there is no estimate).
        """
        return self._table("sizes")

    @cached_property
    def curves(self) -> pd.DataFrame:
        """Growth of each crack by the factor and by its bounds: crack, starts, low_mm, fitted_mm, high_mm."""
        return self._table("curves")

    @property
    def notes(self) -> list[str]:
        """What the numbers mean, in sentences."""
        return self._engine.notes()

    @property
    def warnings(self) -> list[str]:
        """What limits the numbers, in sentences."""
        return self._engine.warnings()

    def report(self) -> str:
        """Give the whole answer as plain text."""
        return f"{self._engine.summary()}\n{CAUTION}\n"

    def to_json(self) -> str:
        """Give everything as one JSON object; what there is not as null."""
        low, high = self.bounds()
        answer = {
            "source": self.source,
            "growth_law": self.growth_law,
            "factor": self.factor,
            "low": low,
            "high": high,
            "standard_error_log": self.standard_error_log,
            "sigma_log": self.sigma_log,
            "log_likelihood": self.log_likelihood,
            "log_likelihood_of_study": self.log_likelihood_of_study,
            "p_of_study": self.p_of_study,
            "cracks": _records(self.cracks),
            "sizes": _records(self.sizes),
            "warnings": self.warnings,
            "notes": self.notes,
            "caution": CAUTION,
        }
        return json.dumps({name: _plain(value) for name, value in answer.items()}, allow_nan=False)

    def plot(self, ax: Axes | None = None) -> Axes:
        """Draw sizes against starts with the fitted growth; see `serrata.growth_fit_plots.growth_fit`."""
        return growth_fit_plots.growth_fit(self, ax)

    def _card(self) -> Card:
        tables = [of_frame("Estimates", self.summary), of_frame("Cracks", self.cracks), of_frame("Sizes", self.sizes)]
        return Card(f"Growth {self.growth_law} from {self.source}", self.notes, tables, self.warnings)

    def __str__(self) -> str:
        return self.report()

    def __repr__(self) -> str:
        low, high = self.bounds()
        upper = "no upper bound" if high is None else f"at most {high:.3g}"
        about = f"<GrowthFit: {self.growth_law}, {len(self.cracks)} cracks"
        if self.factor is None or low is None:
            return f"{about}, no estimate, {upper}>"
        ends = f"{low:.3g} or more" if high is None else f"{low:.3g} to {high:.3g}"
        return f"{about}, factor {self.factor:.3g} ({ends})>"

    def __reduce__(self) -> tuple[Callable[..., GrowthFit], tuple[Any, ...]]:
        return _made, (self._study, self._made_by)


def fit(
    study: Study,
    sizes: str | os.PathLike[str] | IntoDataFrame | Mapping[str, Sequence[Any]],
    *,
    hot_spot: str | None,
    row: str | None,
    delimiter: str | None,
    decimal: Literal["point", "comma"] | None,
    columns: Mapping[str, str] | None,
    values: Mapping[str, str] | None,
    source: str | None,
) -> GrowthFit:
    """Fit growth in a study; see `Study.fit_growth`."""
    arguments: dict[str, Any] = {
        "hot_spot": hot_spot,
        "row": row,
        "columns": list((columns or {}).items()),
        "values": list((values or {}).items()),
    }
    if isinstance(sizes, (str, os.PathLike)):
        if delimiter is not None and len(delimiter) != 1:
            rule = "must be a comma, a semicolon or a tab"
            raise ArgumentError(f"delimiter = {delimiter!r}\n    {rule}\n    leave it out to have it read off")
        declared = {"delimiter": delimiter, "decimal": decimal}
        what: dict[str, Any] = {"text": engine.records_text(sizes), "source": source or os.fspath(sizes), **declared}
    else:
        if delimiter is not None or decimal is not None:
            rule = "are of a file; a data frame has neither"
            raise ArgumentError(f"delimiter = {delimiter!r}, decimal = {decimal!r}\n    {rule}\n    leave both out")
        header, rows = frames.cells(sizes)
        what = {"header": header, "rows": rows, "source": source or "data frame"}
    return _made(study, {**what, **arguments})


def _made(study: Study, arguments: dict[str, Any]) -> GrowthFit:
    """Make a fit, or make it again, as unpickling does."""
    made = GrowthFit.__new__(GrowthFit)
    made._study, made._made_by = study, arguments
    made._engine = (engine.fit_growth_text if "text" in arguments else engine.fit_growth_cells)(
        study._engine, **arguments
    )
    return made


def _plain(value: object) -> object:
    return None if isinstance(value, float) and not math.isfinite(value) else value


def _records(table: pd.DataFrame) -> list[dict[str, Any]]:
    return [{str(name): _plain(value) for name, value in line.items()} for line in table.to_dict("records")]
