"""Signals against size: the line that they follow, their scatter, and the noise."""

from __future__ import annotations

from collections.abc import Callable
from typing import TYPE_CHECKING, Any, NoReturn

import numpy as np

from serrata import _engine as engine
from serrata import detection_plots, renamed
from serrata.card import Card, Carded, of_frame
from serrata.detection import Method, Scale, Size, for_engine, numbers
from serrata.signal_pod import SignalPod

if TYPE_CHECKING:
    import numpy.typing as npt
    import pandas as pd
    from matplotlib.axes import Axes

    from serrata.records import Records

__all__ = ["SignalFit", "fit_records", "fit_signal"]

#: Names of earlier versions, with what took their place: answers that hang on a threshold.
_RENAMED = {
    name: f"fit.at_threshold(t).{now}"
    for name, now in {
        "basis": "basis",
        "drawn_evidence": "drawn_evidence(...)",
        "evidence": "evidence()",
        "false_calls": "false_calls()",
        "notes": "notes",
        "plot": "plot()",
        "pod_at": "pod_at(...)",
        "pod_bounds": "pod_bounds(...)",
        "size_at": "size_at(...)",
        "size_bounds": "size_bounds(...)",
        "summary": "report()",
        "to_json": "to_json()",
    }.items()
}


class SignalFit(Carded):
    """A straight line of signal against size, with normal scatter, and the noise. It never changes.

    Made by `fit_signal` or `Records.fit_signal`. A threshold, above which a signal is a call, decides on detection and
    on false calls alike: `at_threshold` gives both, and `trade` sets them against each other.

    Examples
    --------
    >>> import serrata
    >>> size_mm = [0.5, 0.6, 0.8, 0.9, 1.1, 1.2, 1.4, 1.5, 1.8, 2.0, 2.3, 2.7]
    >>> signal = [0.6, 0.5, 1.0, 0.8, 1.3, 1.0, 1.5, 1.3, 2.1, 1.7, 2.6, 2.4]
    >>> fit = serrata.fit_signal(size_mm, signal)
    >>> bool(fit.line.loc["slope", "value"] > 0)
    True
    >>> fit.trade([0.9, 1.1])["size_mm"].is_monotonic_increasing
    True
    """

    __slots__ = ("_engine", "_made_by")

    _engine: engine.SignalFit
    _made_by: tuple[str, dict[str, Any]]

    def __init__(self) -> None:
        raise TypeError("a SignalFit is made by fit_signal(size_mm, signal) or records.fit_signal(technique)")

    def __setattr__(self, name: str, value: object) -> None:
        raise AttributeError("a SignalFit does not change; fit again")

    def __reduce__(self) -> tuple[Callable[..., SignalFit], tuple[Any, ...]]:
        return _made, self._made_by

    def _card(self) -> Card:
        first, last = self.range_mm
        said = [
            f"{len(self.responses)} signals of cracks from {first:g} to {last:g} mm.",
            "A threshold makes detection and false calls of them.",
        ]
        return Card(f"Signals against size: {self.source}", said, [of_frame("The line", self.line)])

    def __repr__(self) -> str:
        level, slope, scatter = self.line["value"]
        return f"<SignalFit: level {level:.3g}, slope {slope:.3g}, scatter {scatter:.3g}>"

    @property
    def usual_method(self) -> Method:
        """Method of bounds unless another is named: ``non-central-t``, or ``modified-likelihood-ratio``.

        The non-central t is exact where no signal is cut off and sizes are exact; elsewhere the modification (Skovgaard
        1996) makes the bound of a small sample hold about as often as it says.
        """
        return self._engine.usual_method

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

    def at_threshold(self, threshold: float) -> SignalPod:
        """Give detection and false calls where a signal above a threshold is a call.

        Parameters
        ----------
        threshold : float
            In the unit of the signals, between floor and saturation.

        Returns
        -------
        SignalPod

        Raises
        ------
        ArgumentError
            For a threshold beyond the floor or saturation, where signals are not told apart.

        Examples
        --------
        >>> import serrata
        >>> size_mm = [0.5, 0.6, 0.8, 0.9, 1.1, 1.2, 1.4, 1.5, 1.8, 2.0, 2.3, 2.7]
        >>> signal = [0.6, 0.5, 1.0, 0.8, 1.3, 1.0, 1.5, 1.3, 2.1, 1.7, 2.6, 2.4]
        >>> fit = serrata.fit_signal(size_mm, signal)
        >>> fit.at_threshold(0.9).q90_mm < fit.at_threshold(1.1).q90_mm
        True
        """
        return SignalPod._of(self, threshold)

    def plot_trade(self, ax: Axes | None = None, *, thresholds: npt.ArrayLike, pod: float = 0.9) -> Axes:
        """Draw detection against false calls by threshold; see `serrata.detection_plots.trade`."""
        return detection_plots.trade(self, ax, thresholds=thresholds, pod=pod)

    if not TYPE_CHECKING:

        def __getattr__(self, name: str) -> NoReturn:
            renamed.refuse_attribute("SignalFit", _RENAMED, name)


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


def fit_records(records: Records, technique: str, **options: Any) -> SignalFit:  # noqa: ANN401
    """Fit a line to signals in records; see `Records.fit_signal`, which has all options."""
    return _made("fit_records", {"records": records, "technique": technique, **options})


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
