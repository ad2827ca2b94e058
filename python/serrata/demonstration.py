"""Demonstration tests: what so many finds in so many specimens show, and how many specimens a claim needs."""

from __future__ import annotations

from typing import Any

from serrata import _engine as engine
from serrata.about import CAUTION
from serrata.card import Card, Carded
from serrata.report_blocks import Table

__all__ = ["Demonstration", "DemonstrationPlan"]


class Demonstration(Carded):
    """Outcome of a demonstration test: specimens found out of cracked ones. It never changes.

    Parameters
    ----------
    found : int
        Cracked specimens found.
    specimens : int
        Cracked specimens looked at.
    confidence : float, from 0.5 to below 1
        Of the one-sided bound, and of the two-sided intervals.
    lengths_mm : tuple of float, optional
        Shortest and longest crack of the specimens, in mm.
    false_calls : tuple of int, optional
        Calls on specimens without a crack, and how many of these were looked at.

    Raises
    ------
    ArgumentError
        For counts that do not fit, or a confidence out of range.

    Examples
    --------
    >>> import serrata
    >>> test = serrata.Demonstration(29, 29)
    >>> round(test.lower_bound, 4)
    0.9019
    >>> test.shows(0.90), test.shows(0.91)
    (True, False)
    """

    __slots__ = ("_arguments", "_engine")

    _arguments: tuple[Any, ...]
    _engine: engine.Demonstration

    def __init__(
        self,
        found: int,
        specimens: int,
        confidence: float = 0.95,
        *,
        lengths_mm: tuple[float, float] | None = None,
        false_calls: tuple[int, int] | None = None,
    ) -> None:
        made = engine.Demonstration(found, specimens, confidence, lengths_mm, false_calls)
        object.__setattr__(self, "_engine", made)
        object.__setattr__(self, "_arguments", (found, specimens, confidence, lengths_mm, false_calls))

    def __setattr__(self, name: str, value: object) -> None:
        raise AttributeError("a Demonstration does not change")

    @property
    def found(self) -> int:
        """Cracked specimens found."""
        return int(self._arguments[0])

    @property
    def specimens(self) -> int:
        """Cracked specimens looked at."""
        return int(self._arguments[1])

    @property
    def confidence(self) -> float:
        """Confidence of the bound and of the interval."""
        return float(self._arguments[2])

    @property
    def lower_bound(self) -> float:
        """One-sided exact lower bound of the probability of detection (Clopper and Pearson)."""
        return self._engine.lower_bound

    @property
    def interval(self) -> tuple[float, float]:
        """Two-sided exact interval; it is not symmetric."""
        return self._engine.interval

    @property
    def false_call_share(self) -> tuple[float, float, float] | None:
        """Share of false calls with its two-sided interval: value, low, high; None where not given."""
        return self._engine.false_call_share

    def shows(self, pod: float) -> bool:
        """Tell whether the outcome shows a probability of detection of at least `pod` at its confidence."""
        return self._engine.shows(pod)

    def confidence_in(self, pod: float) -> float:
        """Give the confidence with which it shows a probability of detection of at least `pod`."""
        return self._engine.confidence_in(pod)

    def report(self, pod: float | None = None) -> str:
        """Give in sentences what is shown and what is not; `pod` is what was to be shown."""
        return "\n".join([*self._engine.statements(pod), "", CAUTION, ""])

    def __eq__(self, other: object) -> bool:
        return self._engine == other._engine if isinstance(other, Demonstration) else NotImplemented

    def __hash__(self) -> int:
        return hash(self._arguments)

    def _card(self) -> Card:
        return Card(repr(self).strip("<>"), self._engine.statements(None))

    def __str__(self) -> str:
        return self.report()

    def __repr__(self) -> str:
        return (
            f"<Demonstration {self.found} of {self.specimens} found: at least {self.lower_bound:.4f} "
            f"at {100 * self.confidence:g} % confidence>"
        )

    def __reduce__(self) -> tuple[Any, ...]:
        return _demonstration, self._arguments


def _demonstration(
    found: int,
    specimens: int,
    confidence: float,
    lengths_mm: tuple[float, float] | None,
    false_calls: tuple[int, int] | None,
) -> Demonstration:
    return Demonstration(found, specimens, confidence, lengths_mm=lengths_mm, false_calls=false_calls)


class DemonstrationPlan(Carded):
    """The smallest test that shows a probability of detection, with so many misses allowed.

    Parameters
    ----------
    pod : float, from 0 to below 1
        Probability of detection to be shown.
    confidence : float, from 0.5 to below 1
        Confidence to show it at.
    misses : int
        Misses that still pass.

    Raises
    ------
    ArgumentError
        For certainty, which no test shows, or a plan of more than 1,000,000,000 specimens.

    Examples
    --------
    >>> import serrata
    >>> [serrata.DemonstrationPlan(0.90, 0.95, misses).specimens for misses in (0, 1, 2)]
    [29, 46, 61]
    """

    __slots__ = ("_arguments", "_engine")

    _arguments: tuple[Any, ...]
    _engine: engine.DemonstrationPlan

    def __init__(self, pod: float, confidence: float = 0.95, misses: int = 0) -> None:
        object.__setattr__(self, "_engine", engine.DemonstrationPlan(pod, confidence, misses))
        object.__setattr__(self, "_arguments", (pod, confidence, misses))

    def __setattr__(self, name: str, value: object) -> None:
        raise AttributeError("a DemonstrationPlan does not change")

    @property
    def pod(self) -> float:
        """Probability of detection to be shown."""
        return float(self._arguments[0])

    @property
    def confidence(self) -> float:
        """Confidence to show it at."""
        return float(self._arguments[1])

    @property
    def misses(self) -> int:
        """Misses that still pass."""
        return int(self._arguments[2])

    @property
    def specimens(self) -> int:
        """Cracked specimens needed."""
        return self._engine.specimens

    @property
    def lower_bound(self) -> float:
        """Lower bound that is shown when the plan is just passed."""
        return self._engine.lower_bound

    def chance_of_passing(self, true_pod: float) -> float:
        """Give the chance that a technique passes whose true probability of detection is `true_pod`."""
        return self._engine.chance_of_passing(true_pod)

    def __eq__(self, other: object) -> bool:
        return self._engine == other._engine if isinstance(other, DemonstrationPlan) else NotImplemented

    def __hash__(self) -> int:
        return hash(self._arguments)

    def _card(self) -> Card:
        chances = [[f"{pod:g}", f"{self.chance_of_passing(pod):.3f}"] for pod in (0.80, 0.85, 0.90, 0.95, 0.98, 0.99)]
        heads = ["true probability of detection", "chance of passing"]
        return Card(repr(self).strip("<>"), tables=[Table("How often a technique passes", heads, chances)])

    def __repr__(self) -> str:
        return (
            f"<DemonstrationPlan {self.specimens} specimens, at most {self.misses} missed: "
            f"{self.pod:g} at {100 * self.confidence:g} % confidence>"
        )

    def __reduce__(self) -> tuple[Any, ...]:
        return DemonstrationPlan, self._arguments
