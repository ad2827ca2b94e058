"""What each past inspection was to be expected to find, given all before it, beside what it found."""

from __future__ import annotations

from functools import cached_property
from typing import TYPE_CHECKING, Any

import numpy as np

from serrata import belief_plots
from serrata.about import CAUTION
from serrata.card import Card, Carded, of_frame

if TYPE_CHECKING:
    import pandas as pd
    from matplotlib.axes import Axes

__all__ = ["Hindcast"]

#: Chance of so many finds or more, or of so few or fewer, below which a look is named.
_SELDOM = 0.05


class Hindcast(Carded):
    """Past inspections, each predicted from those before it and held against what it found. It never changes.

    Made by `Study.hindcast`. If the study is right, looks find more than their 95 % point about once in twenty times,
    and no inspection after another lies on the same side.

    Examples
    --------
    >>> import serrata
    >>> study = serrata.Study.load("tests/engine/data/given/a.toml")
    >>> records = serrata.Records.load("tests/engine/data/given/b.csv")
    >>> hindcast = study.hindcast(records, draws=64, cracks=256, repeats=2)
    >>> list(hindcast.looks["called"])
    [0, 2, 1]
    """

    _columns: dict[str, Any]
    _score: float
    _study: str

    def __init__(self) -> None:
        raise TypeError("a Hindcast is made by study.hindcast(records)")

    @classmethod
    def _of(cls, study: str, columns: dict[str, Any], score: float) -> Hindcast:
        made = cls.__new__(cls)
        made._study, made._columns, made._score = study, columns, score
        return made

    @cached_property
    def looks(self) -> pd.DataFrame:
        """A line for each look, in order of time.

        Columns: row, year, technique, called (blades that it called), expected (mean by what was known before),
        low, high (5 % and 95 %), p_fewer and p_so_many (chance of fewer, and of so many), score (less the logarithm of
        p_so_many).
        """
        import pandas as pd

        return pd.DataFrame({name: np.array(cells) for name, cells in self._columns.items()})

    @property
    def score(self) -> float:
        """Mean score of the looks: lower is better, and the difference of two studies says which foresaw more."""
        return self._score

    def report(self) -> str:
        """Give the whole answer as plain text."""
        columns = self._columns
        called, expected = int(sum(columns["called"])), float(sum(columns["expected"]))
        lines = [
            f"{self._study}: past looks, each predicted from all before it",
            "",
            f"{len(columns['row'])} looks called {called} blades, where {expected:.1f} were expected; "
            f"mean score {self.score:.3f}.",
            "",
            f"{'row':24}{'year':>8}  {'technique':16}{'called':>8}{'expected':>10}{'5 to 95 %':>12}",
        ]
        heads = ("row", "year", "technique", "called", "expected", "low", "high", "p_fewer", "p_so_many")
        for row, year, technique, found, mean, low, high, fewer, so_many in zip(
            *(columns[head] for head in heads), strict=True
        ):
            many, few = 1.0 - fewer < _SELDOM, fewer + so_many < _SELDOM
            mark = "  more than expected" if many else "  fewer than expected" if few else ""
            span = f"{low:.0f} to {high:.0f}"
            lines.append(f"{row:24}{year:>8.1f}  {technique:16}{found:>8}{mean:>10.2f}{span:>12}{mark}")
        return "\n".join([*lines, "", CAUTION, ""])

    def plot(self, ax: Axes | None = None) -> Axes:
        """Draw what was found beside what was expected; see `serrata.belief_plots.foreseen`."""
        return belief_plots.foreseen(self, ax)

    def _card(self) -> Card:
        called, expected = int(sum(self._columns["called"])), float(sum(self._columns["expected"]))
        said = f"{called} blades called, where {expected:.1f} were expected; mean score {self.score:.3f}."
        title = f"{self._study}: past looks, each predicted from all before it"
        return Card(title, [said], [of_frame("Looks in order of time", self.looks)])

    def __str__(self) -> str:
        return self.report()

    def __repr__(self) -> str:
        return f"<Hindcast: {len(self.looks)} looks, mean score {self.score:.3f}, {self._study!r}>"

    def __reduce__(self) -> tuple[Any, ...]:
        return Hindcast._of, (self._study, self._columns, self._score)
