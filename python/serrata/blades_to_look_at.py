"""How many blades of a row to look at, to be sure that few cracked ones remain."""

from __future__ import annotations

from typing import TYPE_CHECKING

from serrata import _engine as engine
from serrata import blades_to_look_at_plots as plots
from serrata.about import CAUTION
from serrata.card import Card, of_frame
from serrata.report_blocks import wrapped
from serrata.result import JsonResult

if TYPE_CHECKING:
    import pandas as pd
    from matplotlib.axes import Axes

__all__ = ["HowManyBlades", "how_many_blades"]


class HowManyBlades(JsonResult):
    """How many blades to look at, by each reading of the question. It never changes. Made by `how_many_blades`."""

    __slots__ = ()

    @property
    def summary(self) -> pd.DataFrame:
        """A line for each reading: `reading`, `blades`, `chance_left`, `pod_needed`.

        `blades` is missing where not even a look at the whole row is enough; then `pod_needed` is the chance of
        detection from which it would be, missing too where a perfect technique would not do. `chance_left` is what is
        left at that number, or at the whole row, of the thing to be sure against.

        The readings: "if there", without a call: were so many cracked blades in the row, one would have been called;
        "if left": were so many left beside those found and replaced, more would have been called; "by prior": by Bayes'
        rule.
        """
        import pandas as pd

        lines = [{"reading": one["reading"], **one["answer"]} for one in self._content["readings"]]
        return pd.DataFrame(lines).astype({"blades": "Int64", "pod_needed": float})

    @property
    def notes(self) -> list[str]:
        """The answers in sentences, with what they take for granted."""
        return list(self._content["statements"])

    def report(self) -> str:
        """Give the whole answer as plain text."""
        question = self._content["question"]
        asked = (
            f"How many of {question['blades']} blades to look at, to be {100 * question['confidence']:g} % sure that "
            f"fewer than {question['fewer_than']} cracked ones remain, each called with a chance of "
            f"{question['pod']:g}?"
        )
        lines = [wrapped(text, rest="  ") for text in [asked, *self.notes]]
        return "\n".join([*lines, "", CAUTION, ""])

    def plot(self, ax: Axes | None = None) -> Axes:
        """Draw the chance that is left against the number of blades looked at, for each reading.

        Parameters
        ----------
        ax : matplotlib.axes.Axes, optional
            Where to draw; a new figure if left out.
        """
        return plots.chance_left(self._content, ax)

    def _card(self) -> Card:
        asked = self._content["question"]
        title = f"How many of {asked['blades']} blades to look at?"
        return Card(title, self.notes, [of_frame("By each reading of the question", self.summary)])

    def __repr__(self) -> str:
        first = self._content["readings"][0]["answer"]
        number = "no number is enough" if first["blades"] is None else f"{first['blades']}"
        return f"<HowManyBlades of {self._content['question']['blades']}: {number}, were so many there>"


def how_many_blades(
    blades: int,
    fewer_than: int,
    pod: float,
    *,
    found: int = 0,
    confidence: float = 0.95,
    cracked_probability: float | None = None,
    worth_blades: float | None = None,
) -> HowManyBlades:
    """Say how many blades of a row to look at, to be sure that fewer than some cracked ones remain.

    "Sure that fewer than k remain" has three readings, which give different numbers: were k there, one would have been
    called; were k left beside those found and replaced, more would have been called; and, by Bayes' rule, few remain,
    given how many are cracked before anybody looks. Looks miss: there may be no number that is enough, which is an
    answer.

    Parameters
    ----------
    blades : int, from 1 to 1000
        Blades of the row.
    fewer_than : int
        Fewer cracked ones than this are to remain; 1 for none.
    pod : float, from 0 to 1
        Chance that a cracked blade that matters is called; of a curve, its value at the size that must not be missed.
    found : int
        Cracked blades that were called, and replaced.
    confidence : float, from 0.5 to below 1
        How sure to be.
    cracked_probability : float, optional
        Chance that a blade is cracked before anybody looks, for the third reading.
    worth_blades : float, optional
        How many blades' looks that chance is worth, where it scatters from row to row by a beta distribution; each
        blade apart with the same chance where left out.

    Returns
    -------
    HowManyBlades

    Raises
    ------
    ArgumentError
        For counts that do not fit each other, and chances that are none.

    Notes
    -----
    Calls follow A. R. Cameron and F. C. Baldock, Preventive Veterinary Medicine 34 (1998) 1-17, without false calls,
    which are taken to be sorted out.

    Examples
    --------
    >>> import serrata
    >>> answer = serrata.how_many_blades(80, 2, 0.9)
    >>> int(answer.summary["blades"][0])
    69
    >>> blunt = serrata.how_many_blades(80, 2, 0.5)
    >>> bool(blunt.summary["blades"].isna()[0]), round(float(blunt.summary["pod_needed"][0]), 3)
    (True, 0.776)
    """
    text = engine.how_many_blades(blades, fewer_than, pod, found, confidence, cracked_probability, worth_blades)
    return HowManyBlades(text)
