"""What drives cracking, starts or hours: laws on both clocks fitted to the same records."""

from __future__ import annotations

from functools import cached_property
from typing import TYPE_CHECKING, Any

import numpy as np

from serrata.about import CAUTION
from serrata.card import Card, Carded, of_frame

if TYPE_CHECKING:
    import pandas as pd

__all__ = ["InitiationClocks"]


class InitiationClocks(Carded):
    """Laws of the time to a crack on starts and on hours, by how well they explain records. It never changes.

    Made by `Study.initiation_clocks`. What else differs between units can look like a clock.

    Examples
    --------
    >>> import serrata
    >>> study = serrata.Study.load("tests/engine/data/given/a.toml")
    >>> records = serrata.Records.load("tests/engine/data/given/b.csv")
    >>> clocks = study.initiation_clocks(records, cracks=256)
    >>> clocks.verdict[:39]  # one unit, whose starts and hours go together
    'starts and hours cannot be told apart: '
    """

    _columns: dict[str, Any]
    _verdict: str
    _text: str

    def __init__(self) -> None:
        raise TypeError("InitiationClocks are made by study.initiation_clocks(records)")

    @classmethod
    def _of(cls, columns: dict[str, Any], verdict: str, text: str) -> InitiationClocks:
        made = cls.__new__(cls)
        made._columns, made._verdict, made._text = columns, verdict, text
        return made

    @cached_property
    def summary(self) -> pd.DataFrame:
        """A line for each clock and law.

        Columns: clock, law, log_likelihood, difference (to the best of all), parameters, reason (why there is no fit).
        """
        import pandas as pd

        return pd.DataFrame({name: np.array(cells) for name, cells in self._columns.items()})

    @property
    def verdict(self) -> str:
        """Whether the records tell starts from hours, and which explains them better, in a sentence."""
        return self._verdict

    def report(self) -> str:
        """Give the whole answer as plain text."""
        return f"{self._text}\n{CAUTION}\n"

    def _card(self) -> Card:
        return Card(
            "What drives cracking, starts or hours", [self.verdict], [of_frame("Clocks and laws", self.summary)]
        )

    def __str__(self) -> str:
        return self.report()

    def __repr__(self) -> str:
        return f"<InitiationClocks: {self._verdict}>"

    def __reduce__(self) -> tuple[Any, ...]:
        return InitiationClocks._of, (self._columns, self._verdict, self._text)
