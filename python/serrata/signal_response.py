"""Probability of detection, and false calls, from the strength of signals."""

from __future__ import annotations

import json
import os
from collections.abc import Callable
from typing import TYPE_CHECKING, Any

import numpy as np

from serrata import _engine as engine
from serrata import detection_plots
from serrata.about import CAUTION
from serrata.detection import Bounds, Evidence, Method, Scale, Size, beyond, for_engine, numbers
from serrata.records import Records

if TYPE_CHECKING:
    import numpy.typing as npt
    import pandas as pd
    from matplotlib.axes import Axes

__all__ = ["SignalFit", "fit_signal", "fit_signal_records"]


class SignalFit:
    """A straight line of signal against size, with normal scatter, and the noise. It never changes.

    Made by `fit_signal` or `fit_signal_records`.
    A threshold, above which a signal is a call, decides on detection and on false calls
    alike; so every answer takes one. Bounds are one-sided at the confidence asked for. They are made by `usual_method`
    unless another is asked for; the plain likelihood ratio's hold too seldom in small samples, and Wald's more so.

    Examples
    --------
    >>> import serrata
    >>> size_mm = [0.5, 0.6, 0.8, 0.9, 1.1, 1.2, 1.4, 1.5, 1.8, 2.0, 2.3, 2.7]
    >>> signal = [0.6, 0.5, 1.0, 0.8, 1.3, 1.0, 1.5, 1.3, 2.1, 1.7, 2.6, 2.4]
    >>> fit = serrata.fit_signal(size_mm, signal)
    >>> q90_mm = fit.size_at(0.9, threshold=1.0)
    >>> fit.pod_at(q90_mm, threshold=1.0).round(6)
    array([0.9])
    """

    __slots__ = ("_engine", "_made_by")

    _engine: engine.SignalFit
    _made_by: tuple[str, dict[str, Any]]

    def __init__(self) -> None:
        raise TypeError("a SignalFit is made by fit_signal(size_mm, signal)")

    def __setattr__(self, name: str, value: object) -> None:
        raise AttributeError("a SignalFit does not change; fit again")

    def __reduce__(self) -> tuple[Callable[..., SignalFit], tuple[Any, ...]]:
        return _made, self._made_by

    def __repr__(self) -> str:
        level, slope, scatter = self.line["value"]
        return f"<SignalFit: level {level:.3g}, slope {slope:.3g}, scatter {scatter:.3g}>"

    def summary(self, *, threshold: float) -> str:
        """Say on one screen what the fit says at a threshold, how sure it is and what to beware of."""
        return self._engine.summary(threshold)

    def notes(self, *, threshold: float) -> list[str]:
        """List what to beware of at a threshold, in sentences."""
        return self._engine.notes(threshold)

    def size_at(self, pod: float, *, threshold: float) -> float:
        """Give the size in mm that is found with a probability."""
        return self._engine.size_at(threshold, pod)

    @property
    def usual_method(self) -> Method:
        """Method of bounds unless another is named: ``non-central-t``, or ``modified-likelihood-ratio``.

        The non-central t is exact where no signal is cut off and sizes are exact; elsewhere the modification (Skovgaard
        1996) makes the bound of a small sample hold about as often as it says.
        """
        return self._engine.usual_method

    def size_bounds(
        self, pod: float, *, threshold: float, confidence: float = 0.95, method: Method | None = None
    ) -> Bounds:
        """Give bounds on that size; the upper one at 0.9 with a confidence of 0.95 is q90/95.

        Raises
        ------
        ArgumentError
            For a number out of range, a threshold beyond the limits included, and a method that does not hold here.
        """
        return self._engine.size_bounds(threshold, pod, confidence, method or self.usual_method)

    def pod_at(self, size_mm: npt.ArrayLike, *, threshold: float) -> npt.NDArray[np.float64]:
        """Give the probability of a call at each size in mm."""
        return self._engine.pod_at(threshold, numbers("size_mm", size_mm))

    def pod_bounds(
        self,
        size_mm: npt.ArrayLike,
        *,
        threshold: float,
        confidence: float = 0.95,
        method: Method | None = None,
    ) -> tuple[npt.NDArray[np.float64], npt.NDArray[np.float64]]:
        """Give lower and upper bounds, in [0, 1], on the probability of a call at each size in mm."""
        return self._engine.pod_bounds(threshold, numbers("size_mm", size_mm), confidence, method or self.usual_method)

    def false_calls(self, *, threshold: float, confidence: float = 0.95) -> tuple[float, float, float] | None:
        """Give the probability of a call at a sound place, with its bounds; None where the noise is not known."""
        return self._engine.false_calls(threshold, confidence)

    def trade(
        self,
        thresholds: npt.ArrayLike,
        *,
        pod: float = 0.9,
        confidence: float = 0.95,
        method: Method | None = None,
    ) -> pd.DataFrame:
        """Set detection against false calls: one line for each threshold.

        Returns
        -------
        DataFrame
            `threshold`; `size_mm` found with the probability, `size_low_mm` and `size_high_mm`; `beyond_largest`: the
            size or its upper bound lies beyond the largest crack looked at; `false_calls` per look at a sound place,
            `false_calls_low` and `false_calls_high`. NaN where there is none.
        """
        import pandas as pd

        method = method or self.usual_method
        return pd.DataFrame(self._engine.trade(numbers("thresholds", thresholds), pod, confidence, method))

    @property
    def line(self) -> pd.DataFrame:
        """Level, slope and scatter: `value` and `standard_error`, on the scale of the fit."""
        return _table(*self._engine.line())

    @property
    def covariance(self) -> npt.NDArray[np.float64]:
        """Covariance of level, slope and scatter, from the observed information."""
        return np.asarray(self._engine.line()[2])

    @property
    def noise(self) -> pd.DataFrame | None:
        """Mean and spread of signals at sound places, on the scale of the fit; None where fewer than 10 tell."""
        noise = self._engine.noise()
        return None if noise is None else _table(*noise)

    @property
    def log_likelihood(self) -> float:
        """Largest log-likelihood of the signals at cracks, on the scale of the fit."""
        return self._engine.log_likelihood

    @property
    def responses(self) -> pd.DataFrame:
        """Signals: `size_mm` (0 at sound places), `signal`, and `side` -1 below, 0 within, 1 above the limits."""
        import pandas as pd

        return pd.DataFrame(self._engine.responses())

    @property
    def scales(self) -> tuple[Scale, Scale]:
        """Scales of signal and size on which the line is straight."""
        _, arguments = self._made_by
        return arguments["signal_scale"], arguments["size_scale"]

    @property
    def range_mm(self) -> tuple[float, float]:
        """Smallest and largest crack looked at, in mm."""
        return self._engine.range_mm

    @property
    def source(self) -> str:
        """Source of the signals."""
        return self._engine.source

    def basis(self, *, threshold: float) -> str:
        """Say where the curve comes from, in one line, as a study has it."""
        return self._engine.basis(threshold)

    def evidence(self, *, threshold: float) -> Evidence:
        """Give what a study takes from the fit at a threshold; see `Study.with_technique`."""
        return self._engine.evidence(threshold)

    def drawn_evidence(self, technique: str, *, threshold: float, seed: int, draw: int) -> Evidence:
        """Give the same for one draw of what the data leave open; see `HitMissFit.drawn_evidence`."""
        return self._engine.drawn_evidence(threshold, technique, seed, draw)

    def plot(self, ax: Axes | None = None, *, threshold: float) -> Axes:
        """Draw signals against size with the line and the threshold; see `serrata.detection_plots.signals`."""
        return detection_plots.signals(self, ax, threshold=threshold)

    def plot_trade(self, ax: Axes | None = None, *, thresholds: npt.ArrayLike, pod: float = 0.9) -> Axes:
        """Draw detection against false calls by threshold; see `serrata.detection_plots.trade`."""
        return detection_plots.trade(self, ax, thresholds=thresholds, pod=pod)

    def to_json(self, *, threshold: float) -> str:
        """Give the fit at a threshold as one JSON object; what does not exist is null."""
        names, values, covariance = self._engine.line()
        q90_mm, q90_bounds_mm = self.size_at(0.9, threshold=threshold), self.size_bounds(0.9, threshold=threshold)
        content = {
            "caution": CAUTION,
            "source": self.source,
            "threshold": threshold,
            "q50_mm": self.size_at(0.5, threshold=threshold),
            "q90_mm": q90_mm,
            "range_mm": self.range_mm,
            "confidence": 0.95,
            "method": self.usual_method,
            "sides": "each bound one-sided",
            "q90_bounds_mm": q90_bounds_mm,
            "q90_beyond_largest": beyond(q90_mm, self.range_mm),
            "q90_95_beyond_largest": beyond(q90_bounds_mm[1], self.range_mm),
            "q90_likelihood_ratio_mm": self.size_bounds(0.9, threshold=threshold, method="likelihood-ratio"),
            "q90_wald_mm": self.size_bounds(0.9, threshold=threshold, method="wald"),
            "false_calls": self.false_calls(threshold=threshold),
            "log_likelihood": self.log_likelihood,
            "parameters": dict(zip(names, values, strict=True)),
            "covariance": covariance,
            "basis": self.basis(threshold=threshold),
            "notes": self.notes(threshold=threshold),
        }
        return json.dumps(content, indent=2, allow_nan=False)


def fit_signal(
    size_mm: npt.ArrayLike,
    signal: npt.ArrayLike,
    *,
    floor: float | None = None,
    saturation: float | None = None,
    size: Size = "length",
    signal_scale: Scale = "log",
    size_scale: Scale = "log",
    size_error_log: float = 0.0,
    source: str = "",
) -> SignalFit:
    """Fit a straight line with normal scatter to signals at cracks of known size, and the noise at sound places.

    Parameters
    ----------
    size_mm : array_like of float, shape (n,)
        True size of the crack in each look, in mm; 0 for a place free of cracks, whose signal is noise.
    signal : array_like of float, shape (n,)
        Strength of the signal, in the technique's own unit.
    floor : float, optional
        Signals at or below it are lost in the noise: no more is known of them than that.
    saturation : float, optional
        Signals at or above it are cut off.
    size : {"length", "depth", "geometric-mean"}
        Which size it is.
    signal_scale, size_scale : {"log", "plain"}
        Scales on which the line is straight; a study's curves are on log size.
    size_error_log : float
        Known standard deviation of ln(measured size / true size); 0 where sizes are exact. A line that ignores it is
        too flat, and scatters too much.
    source : str
        Where the signals are from; it goes into the basis.

    Returns
    -------
    SignalFit

    Raises
    ------
    DataError
        For signals that carry no line; `reason` says why: ``too-few``, ``one-size``, ``size-error``, ``reversed``,
        ``flat`` or ``not-converged``.
    ArgumentError
        For an argument out of range, signals without a logarithm included.
    """
    return _made(
        "fit",
        {
            "size_mm": numbers("size_mm", size_mm),
            "signal": numbers("signal", signal),
            "size": size,
            "floor": floor,
            "saturation": saturation,
            "signal_scale": signal_scale,
            "size_scale": size_scale,
            "size_error_log": size_error_log,
            "source": source,
        },
    )


def fit_signal_records(
    records: Records | str | os.PathLike[str],
    technique: str,
    *,
    floor: float | None = None,
    saturation: float | None = None,
    size: Size = "length",
    sizes_by: str | None = None,
    signal_scale: Scale = "log",
    size_scale: Scale = "log",
    size_error_log: float = 0.0,
) -> SignalFit:
    """Fit a line to the signals of one technique in records.

    A line's size is the confirmed one of its blade, place and inspection. Lines whose size or signal is blank are
    not used, and the summary counts them; lines confirmed to be free of cracks tell of the noise.

    Parameters
    ----------
    records : Records or path-like
        Inspection records, or a CSV file of them that needs nothing declared, with the column `signal`.
    technique : str
        The technique.
    sizes_by : str, optional
        A technique whose measured sizes are taken; the confirmed sizes where left out. Give `size_error_log` with it.
    floor, saturation, size, signal_scale, size_scale, size_error_log
        As in `fit_signal`.

    Returns
    -------
    SignalFit

    Raises
    ------
    RecordsError
        For records with lines that break rules.
    DataError, ArgumentError
        As `fit_signal`.
    """
    return _made(
        "fit_records",
        {
            "records": records if isinstance(records, Records) else Records.load(records),
            "technique": technique,
            "size": size,
            "sizes_by": sizes_by,
            "floor": floor,
            "saturation": saturation,
            "signal_scale": signal_scale,
            "size_scale": size_scale,
            "size_error_log": size_error_log,
        },
    )


def _made(how: str, arguments: dict[str, Any]) -> SignalFit:
    """Make a fit, or make it again, as unpickling does."""
    fit = SignalFit.__new__(SignalFit)
    object.__setattr__(fit, "_engine", getattr(engine.SignalFit, how)(**for_engine(arguments)))
    object.__setattr__(fit, "_made_by", (how, arguments))
    return fit


def _table(names: list[str], values: list[float], covariance: list[list[float]]) -> pd.DataFrame:
    import pandas as pd

    errors = np.sqrt(np.diag(np.asarray(covariance)))
    return pd.DataFrame({"value": values, "standard_error": errors}, index=pd.Index(names, name="parameter"))
