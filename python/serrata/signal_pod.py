"""Probability of detection, and false calls, by signals above one threshold."""

from __future__ import annotations

import json
from collections.abc import Callable
from typing import TYPE_CHECKING, Any

from serrata import detection_plots
from serrata.about import CAUTION
from serrata.card import Card, Carded
from serrata.detection import Bounds, Evidence, Method, beyond, beyond_mark, mm, numbers
from serrata.report_blocks import Table
from serrata.wording import Shown

if TYPE_CHECKING:
    import numpy as np
    import numpy.typing as npt
    from matplotlib.axes import Axes

    from serrata.signal_response import SignalFit

__all__ = ["SignalPod"]


class SignalPod(Carded):
    """Detection and false calls where a signal above a threshold is a call. It never changes.

    Made by `SignalFit.at_threshold`. What it has in common with `HitMissFit` has the same names there. Bounds are
    one-sided at the confidence asked for: two at 95 % make a 90 % interval. They are made by `usual_method` unless
    another is asked for; the plain likelihood ratio's hold too seldom in small samples, and Wald's more so.

    Examples
    --------
    >>> import serrata
    >>> size_mm = [0.5, 0.6, 0.8, 0.9, 1.1, 1.2, 1.4, 1.5, 1.8, 2.0, 2.3, 2.7]
    >>> signal = [0.6, 0.5, 1.0, 0.8, 1.3, 1.0, 1.5, 1.3, 2.1, 1.7, 2.6, 2.4]
    >>> pod = serrata.fit_signal(size_mm, signal).at_threshold(1.0)
    >>> pod.pod_at(pod.q90_mm).round(6)
    array([0.9])
    >>> pod.q90_mm < pod.q90_95_mm
    True
    """

    __slots__ = ("_fit", "_threshold")

    _fit: SignalFit
    _threshold: float

    def __init__(self) -> None:
        raise TypeError("a SignalPod is made by fit.at_threshold(threshold)")

    @classmethod
    def _of(cls, fit: SignalFit, threshold: float) -> SignalPod:
        # The engine refuses a threshold that no signal can be held against, and what is no number.
        fit._engine.size_at(threshold, 0.5)
        pod = cls.__new__(cls)
        object.__setattr__(pod, "_fit", fit)
        object.__setattr__(pod, "_threshold", float(threshold))
        return pod

    def __setattr__(self, name: str, value: object) -> None:
        raise AttributeError("a SignalPod does not change; take fit.at_threshold of another threshold")

    def __reduce__(self) -> tuple[Callable[..., SignalPod], tuple[Any, ...]]:
        return _again, (self._fit, self._threshold)

    def _card(self) -> Card:
        sizes = {"q50": (0.5, self.q50_mm), "q90": (0.9, self.q90_mm)}
        lines = [[name, mm(size), *map(mm, self.size_bounds(pod))] for name, (pod, size) in sizes.items()]
        heads = ["size found", "estimate", "lower bound, 95 %", "upper bound, 95 %"]
        words = f"Each bound by itself, by {self.usual_method.replace('-', ' ')}"
        false = self.false_calls()
        said = ["No noise was given, so that nothing is said of false calls."]
        if false is not None:
            said = [f"False calls at a sound place: {Shown(*false).ranged()}, each bound 95 %."]
        title = f"Detection where a signal above {self.threshold:g} is a call: {self.source}"
        return Card(title, [*said, *self.notes], [Table(words, heads, lines)])

    def __repr__(self) -> str:
        words = self.usual_method.replace("-", " ")
        q90, q90_95 = (mm(size) + beyond_mark(size, self.range_mm) for size in (self.q90_mm, self.q90_95_mm))
        return f"<SignalPod above {self.threshold:g}: q90 {q90}, q90/95 {q90_95} by {words}>"

    @property
    def fit(self) -> SignalFit:
        """The fit."""
        return self._fit

    @property
    def threshold(self) -> float:
        """Signal above which a call is made."""
        return self._threshold

    def report(self) -> str:
        """Say on one screen what the fit says at the threshold, how sure it is and what to beware of."""
        return self._fit._engine.summary(self._threshold)

    @property
    def notes(self) -> list[str]:
        """Notes on what to beware of, in sentences."""
        return self._fit._engine.notes(self._threshold)

    @property
    def q50_mm(self) -> float:
        """Size that is found with probability 0.5, in mm."""
        return self.size_at(0.5)

    @property
    def q90_mm(self) -> float:
        """Size that is found with probability 0.9, in mm."""
        return self.size_at(0.9)

    @property
    def q90_95_mm(self) -> float | None:
        """Upper 95 % bound on `q90_mm` by `usual_method`, in mm; None where there is no bound."""
        return self.size_bounds(0.9)[1]

    @property
    def usual_method(self) -> Method:
        """Method of bounds unless another is named; see `SignalFit.usual_method`."""
        return self._fit.usual_method

    def size_at(self, pod: float) -> float:
        """Give the size in mm that is found with a probability."""
        return self._fit._engine.size_at(self._threshold, pod)

    def size_bounds(self, pod: float, *, confidence: float = 0.95, method: Method | None = None) -> Bounds:
        """Give bounds on the size that is found with a probability.

        Parameters
        ----------
        pod : float, between 0 and 1
            The probability; 0.9 with a confidence of 0.95 gives q90/95 as the upper bound.
        confidence : float, between 0.5 and 1
            Of each bound by itself.
        method : {"non-central-t", "modified-likelihood-ratio", "likelihood-ratio", "wald"}
            How the bounds are made; `usual_method` if left out.

        Returns
        -------
        tuple of float or None
            Lower and upper bound, in mm; None on a side where the data exclude nothing.

        Raises
        ------
        ArgumentError
            For a number out of range, or a method that does not hold here.
        """
        return self._fit._engine.size_bounds(self._threshold, pod, confidence, method or self.usual_method)

    def pod_at(self, size_mm: npt.ArrayLike) -> npt.NDArray[np.float64]:
        """Give the probability of a call at each size in mm."""
        return self._fit._engine.pod_at(self._threshold, numbers("size_mm", size_mm))

    def pod_bounds(
        self, size_mm: npt.ArrayLike, *, confidence: float = 0.95, method: Method | None = None
    ) -> tuple[npt.NDArray[np.float64], npt.NDArray[np.float64]]:
        """Give lower and upper bounds, in [0, 1], on the probability of a call at each size in mm."""
        sizes = numbers("size_mm", size_mm)
        return self._fit._engine.pod_bounds(self._threshold, sizes, confidence, method or self.usual_method)

    def false_calls(self, *, confidence: float = 0.95) -> tuple[float, float, float] | None:
        """Give the probability of a call at a sound place, with its bounds; None where the noise is not known."""
        return self._fit._engine.false_calls(self._threshold, confidence)

    @property
    def range_mm(self) -> tuple[float, float]:
        """Smallest and largest crack looked at, in mm."""
        return self._fit.range_mm

    @property
    def source(self) -> str:
        """Source of the signals."""
        return self._fit.source

    @property
    def basis(self) -> str:
        """Source of the curve in one line, as a study has it."""
        return self._fit._engine.basis(self._threshold)

    def evidence(self) -> Evidence:
        """Give what a study takes from the fit at the threshold; see `Study.with_technique`."""
        return self._fit._engine.evidence(self._threshold)

    def drawn_evidence(self, technique: str, *, seed: int, draw: int) -> Evidence:
        """Give the same for one draw of what the data leave open; see `HitMissFit.drawn_evidence`."""
        return self._fit._engine.drawn_evidence(self._threshold, technique, seed, draw)

    def plot(self, ax: Axes | None = None, *, confidence: float = 0.95, method: Method | None = None) -> Axes:
        """Draw signals against size with the line and the threshold; see `serrata.detection_plots.signals`."""
        return detection_plots.signals(self, ax, confidence=confidence, method=method)

    def to_json(self) -> str:
        """Give the fit at the threshold as one JSON object; what does not exist is null."""
        names, values, covariance = self._fit._engine.line()
        content = {
            "caution": CAUTION,
            "source": self.source,
            "threshold": self.threshold,
            "q50_mm": self.q50_mm,
            "q90_mm": self.q90_mm,
            "range_mm": self.range_mm,
            "confidence": 0.95,
            "method": self.usual_method,
            "sides": "each bound one-sided",
            "q90_bounds_mm": self.size_bounds(0.9),
            "q90_beyond_largest": beyond(self.q90_mm, self.range_mm),
            "q90_95_beyond_largest": beyond(self.q90_95_mm, self.range_mm),
            "q90_likelihood_ratio_mm": self.size_bounds(0.9, method="likelihood-ratio"),
            "q90_wald_mm": self.size_bounds(0.9, method="wald"),
            "false_calls": self.false_calls(),
            "log_likelihood": self._fit.log_likelihood,
            "parameters": dict(zip(names, values, strict=True)),
            "covariance": covariance,
            "basis": self.basis,
            "notes": self.notes,
        }
        return json.dumps(content, indent=2, allow_nan=False)


def _again(fit: SignalFit, threshold: float) -> SignalPod:
    """Make the same once more, for pickle."""
    return SignalPod._of(fit, threshold)
