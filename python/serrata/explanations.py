"""How probable finds are under a study, and which of its inputs would have to be otherwise to make them more so."""

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

__all__ = ["Explanations"]

#: Ratio of two probabilities from which the one is said to explain better: 3 to 20 is commonly read as positive,
#: and more as strong (Kass and Raftery, 1995; from memory).
_CLEAR = 3.0
#: Share of invented pasts below which finds are called seldom.
_SELDOM = 0.05


class Explanations(Carded):
    """Records held against a study, and against studies with one assumption changed. It never changes.

    Made by `Study.explanations`. What explains the finds best need not be true: it says where to look first.

    Examples
    --------
    >>> import serrata
    >>> study = serrata.Study.load("tests/engine/data/given/a.toml")
    >>> records = serrata.Records.load("tests/engine/data/given/a.csv")  # nothing found
    >>> found = study.explanations(records, draws=32, cracks=128)
    >>> found.called, bool(0.1 < found.p_at_most < 0.9)
    (0, True)
    """

    _columns: dict[str, Any]
    _called: int
    _chances: tuple[float, float]
    _study: str

    def __init__(self) -> None:
        raise TypeError("Explanations are made by study.explanations(records)")

    @classmethod
    def _of(cls, study: str, columns: dict[str, Any], called: int, chances: tuple[float, float]) -> Explanations:
        made = cls.__new__(cls)
        made._study, made._columns, made._called, made._chances = study, columns, called, chances
        return made

    @cached_property
    def summary(self) -> pd.DataFrame:
        """A line for each assumption and factor on it.

        Columns: assumption, factor (1 as the study has it), ln_evidence, standard_error, times_as_probable (as the
        records are under the study as it stands).
        """
        import pandas as pd

        return pd.DataFrame({name: np.array(cells) for name, cells in self._columns.items()})

    @property
    def called(self) -> int:
        """Blades that were called in all."""
        return self._called

    @property
    def p_at_least(self) -> float:
        """Share of the pasts invented under the study in which at least as many blades were called."""
        return self._chances[0]

    @property
    def p_at_most(self) -> float:
        """Share of the pasts invented under the study in which at most as many blades were called."""
        return self._chances[1]

    def report(self) -> str:
        """Give the whole answer as plain text."""
        seldom = min(self._chances) < _SELDOM
        lines = [
            f"{self._study}: is what was found to be expected?",
            "",
            f"{self._called} blades were called. Of 1000 pasts invented under the study, {self.p_at_least:.1%} have so "
            f"many or more, {self.p_at_most:.1%} so many or fewer: "
            + ("that is seldom." if seldom else "that is nothing unusual."),
            "",
            "How many times as probable all that was found and not found would be, with one assumption changed:",
            "",
        ]
        factors = sorted(set(self._columns["factor"]))
        lines.append(f"{'times':38}" + "".join(f"{factor:>10g}" for factor in factors))
        best: list[tuple[float, float, str]] = []
        for name in dict.fromkeys(self._columns["assumption"]):
            own = {
                factor: ratio
                for what, factor, ratio in zip(
                    self._columns["assumption"],
                    self._columns["factor"],
                    self._columns["times_as_probable"],
                    strict=True,
                )
                if what == name
            }
            lines.append(f"{name:38}" + "".join(f"{own[factor]:>10.2g}" for factor in factors))
            factor = max(own, key=lambda factor: own[factor])
            best.append((float(own[factor]), float(factor), str(name)))
        ratio, factor, name = max(best)
        lines += [""]
        if ratio > _CLEAR:
            lines.append(f"Best explained by {name} times {factor:g}: {ratio:.2g} times as probable.")
        else:
            lines.append(f"No change of one assumption makes it more than {_CLEAR:g} times as probable.")
        lines.append("What explains finds best need not be true: it says where to look first.")
        return "\n".join([*lines, "", CAUTION, ""])

    def plot(self, ax: Axes | None = None) -> Axes:
        """Draw the evidence against the factor on each assumption; see `serrata.belief_plots.explained`."""
        return belief_plots.explained(self, ax)

    def _card(self) -> Card:
        said = [
            f"{self.called} blades were called. Of pasts invented under the study {self.p_at_least:.1%} have so many "
            f"or more, {self.p_at_most:.1%} so many or fewer.",
            "What explains finds best need not be true: it says where to look first.",
        ]
        tables = [
            of_frame("With one assumption changed: how many times as probable all that was found is", self.summary)
        ]
        return Card(f"{self._study}: is what was found to be expected?", said, tables)

    def __str__(self) -> str:
        return self.report()

    def __repr__(self) -> str:
        return f"<Explanations: {self._called} blades called, {self._study!r}>"

    def __reduce__(self) -> tuple[Any, ...]:
        return Explanations._of, (self._study, self._columns, self._called, self._chances)
