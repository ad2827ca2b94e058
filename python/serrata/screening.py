"""Expected losses by quadrature: quick, without chance, for strategies that keep blades independent."""

from __future__ import annotations

from functools import cached_property
from typing import TYPE_CHECKING, Any

import numpy as np

from serrata.about import CAUTION
from serrata.card import Card, Carded, of_frame
from serrata.columns import Columns

if TYPE_CHECKING:
    import pandas as pd

    from serrata import _engine as engine
    from serrata.study import Study

__all__ = ["Screening"]


class Screening(Carded):
    """Expected losses of a study by quadrature. It never changes.

    Made by `Study.screen`, which says for which strategies. Columns of the tables are those of a `Comparison` where
    they mean the same; ``numerical_error`` is the difference to a coarser grid, about as much as a number may be
    wrong. There is no statistical error.

    Examples
    --------
    >>> import serrata
    >>> study = serrata.Study.load("tests/engine/data/y1a.toml")
    >>> screening = study.screen()
    >>> losses = screening.summary.query("quantity == 'losses'").set_index("strategy")["value"]
    >>> round(float(losses["none"]), 4)
    1.0933
    >>> list(screening.not_screened["path"])
    ['strategies.insitu_then_bench.looks[1].escalation']
    """

    _study: Study
    _rough: bool
    _engine: engine.Screening

    def __init__(self) -> None:
        raise TypeError("a Screening is made by study.screen()")

    @classmethod
    def _of(cls, study: Study, rough: bool, inner: engine.Screening) -> Screening:
        screening = cls.__new__(cls)
        screening._study, screening._rough, screening._engine = study, rough, inner
        return screening

    @property
    def study(self) -> Study:
        """The study."""
        return self._study

    def columns(self, name: str) -> Columns:
        """Give a table by name as arrays, one for each column; needs no pandas.

        Parameters
        ----------
        name : str
            summary, by_row, by_year or not_screened.

        Returns
        -------
        Columns
            A dict of names to arrays, all of the same length, which libraries of data frames take as it is;
            texts or numbers.

        Raises
        ------
        ArgumentError
            For another name.
        """
        return Columns({column: np.asarray(cells) for column, cells in self._engine.table(name).items()})

    def table(self, name: str) -> pd.DataFrame:
        """Give a table by name, as a new data frame.

        Parameters
        ----------
        name : str
            summary, by_row, by_year or not_screened.

        Returns
        -------
        pandas.DataFrame

        Raises
        ------
        ArgumentError
            For another name.
        """
        import pandas as pd

        return pd.DataFrame(self._engine.table(name))

    @cached_property
    def summary(self) -> pd.DataFrame:
        """Losses, p_any_loss and blades replaced of the fleet over the horizon, for each strategy that is screened.

        Columns: level ("fleet"), row (""), strategy, year (NaN), quantity, unit ("count" or "probability"), value,
        numerical_error, note. Where looks have shifts that all blades share, p_any_loss is left out; the note says so.
        """
        return self.table("summary")

    @cached_property
    def by_row(self) -> pd.DataFrame:
        """The same for each row: level is "row"."""
        return self.table("by_row")

    @cached_property
    def by_year(self) -> pd.DataFrame:
        """Losses in each study year, for the fleet and each row; year is the one in which the study year begins."""
        return self.table("by_year")

    @cached_property
    def not_screened(self) -> pd.DataFrame:
        """What stands in the way of the other strategies: strategy, path, reason, remedy; a line for each thing."""
        return self.table("not_screened")

    def report(self) -> str:
        """Give the whole answer as plain text."""
        lines = [f"Screening of {self.study.name}: fleet, {self.study.horizon_years:g} years, by quadrature", ""]
        summary, others = self.columns("summary"), self.columns("not_screened")
        heads = ("strategy", "quantity", "value", "numerical_error")
        numbers = zip(*(summary[head] for head in heads), strict=True)
        lines += [f"{'strategy':32} {'quantity':32} {'value':>12} {'numerical error':>16}"]
        lines += [f"{strategy:32} {what:32} {value:12.6g} {error:16.1e}" for strategy, what, value, error in numbers]
        lines += [f"note: {note}" for note in sorted(set(summary["note"]) - {""})]
        for path, reason, remedy in zip(others["path"], others["reason"], others["remedy"], strict=True):
            lines += ["", f"not screened: {path}", f"    {reason}", f"    {remedy}"]
        return "\n".join([*lines, "", CAUTION, ""])

    def _card(self) -> Card:
        tables = [of_frame("Fleet, by quadrature", self.summary)]
        tables += [of_frame("Not screened, and why", self.not_screened)] if len(self.not_screened) else []
        years = f"{self.study.horizon_years:g} years"
        return Card(f"Screening of {self.study.name}: {years}", ["There is no statistical error."], tables)

    def __str__(self) -> str:
        return self.report()

    def __repr__(self) -> str:
        screened = len(dict.fromkeys(self.columns("summary")["strategy"].tolist()))
        return f"<Screening: {screened} of {len(self.study.strategies)} strategies of {self.study.name!r}>"

    def __reduce__(self) -> tuple[Any, ...]:
        return _again, (self._study, self._rough)


def _again(study: Study, rough: bool) -> Screening:
    return study.screen(rough=rough)
