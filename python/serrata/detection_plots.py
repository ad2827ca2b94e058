"""Figures of what a technique detects: the fit, its bounds and the looks it is made from."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

import numpy as np

from serrata.detection import beyond_mark
from serrata.errors import ArgumentError
from serrata.plots import SIZE

if TYPE_CHECKING:
    import numpy.typing as npt
    from matplotlib.axes import Axes

    from serrata.detection import Method
    from serrata.hit_miss import HitMissFit
    from serrata.signal_pod import SignalPod
    from serrata.signal_response import SignalFit

__all__ = ["hit_miss", "signals", "trade"]

# Okabe and Ito, "Color universal design" (2008).
_CURVE = "#0072B2"
_MARK = "#D55E00"
#: Points of a curve: enough for a smooth line, and for bounds in well under a second.
_POINTS = 60
#: Reach of the figure beyond the looks, as a factor of size.
_BEYOND = 1.5
#: Reach of a bound beyond the largest crack, as a factor.
_FAR = 5.0
#: Of the standard normal distribution, 90 % lie within this.
_REACH = 1.645
#: Looks that one group of found shares holds, about.
_PER_GROUP = 12
#: Thresholds that are written beside their points.
_MOST_LABELS = 10


def hit_miss(
    fit: HitMissFit, ax: Axes | None = None, *, confidence: float = 0.95, method: Method | None = None
) -> Axes:
    """Probability of detection by size with bounds; hits above, misses below, and shares found in groups of size.

    With factors, the looks are those at the levels that the fit is seen at.

    Parameters
    ----------
    fit : HitMissFit
        What to draw.
    ax : matplotlib.axes.Axes, optional
        Where to draw; a new figure if left out.
    confidence : float, between 0.5 and 1
        Of each bound by itself.
    method : {"modified-likelihood-ratio", "likelihood-ratio", "wald", "pointwise-band", "simultaneous-band"}
        How the bounds are made; the fit's usual method if left out.

    Returns
    -------
    matplotlib.axes.Axes
    """
    ax = _axes(ax)
    method = method or fit.usual_method
    looks = fit.looks.sort_values("size_mm")
    smallest_mm, largest_mm = looks["size_mm"].iloc[[0, -1]]
    for factor, level in fit.levels.items():
        looks = looks[looks[factor] == level]
    size_mm, called = looks["size_mm"].to_numpy(), looks["called"].to_numpy()
    q90_mm, (_, bound_mm) = fit.q90_mm, fit.size_bounds(0.9, confidence=confidence, method=method)
    # As far as the claim, unless that is far from any look.
    claimed = min(max(q90_mm or 0.0, bound_mm or 0.0), _FAR * largest_mm)
    grid = np.geomspace(smallest_mm / _BEYOND, max(largest_mm, claimed) * _BEYOND, _POINTS)
    low, high = fit.pod_bounds(grid, confidence=confidence, method=method)
    words = method.replace("-", " ")
    ax.fill_between(
        grid, low, high, color=_CURVE, alpha=0.18, linewidth=0, label=f"bounds, each {confidence:.0%} ({words})"
    )
    ax.plot(grid, fit.pod_at(grid), color=_CURVE, label="probability of detection")
    count = min(max(len(size_mm) // _PER_GROUP, 2), len(size_mm))
    groups = list(zip(np.array_split(size_mm, count), np.array_split(called, count), strict=True)) if count else []
    middles, shares = [np.exp(np.log(sizes).mean()) for sizes, _ in groups], [hits.mean() for _, hits in groups]
    ax.plot(middles, shares, "o", color="0.35", markersize=5, markerfacecolor="none", label="share found, by group")
    # The rug: outside the range of a probability, so that it hides nothing.
    ax.plot(size_mm[called], np.full(called.sum(), 1.05), "|", color="0.2", label=f"{called.sum()} hits (top)")
    misses = int((~called).sum())
    ax.plot(size_mm[~called], np.full(misses, -0.05), "|", color="0.2", label=f"{misses} misses (bottom)")
    if q90_mm is not None:
        mark = beyond_mark(q90_mm, fit.range_mm)
        ax.plot([q90_mm], [0.9], "D", color=_MARK, markersize=6, label=f"q90 {q90_mm:.3g} mm{mark}")
    name = f"q90/{100 * confidence:.0f}"
    if bound_mm is None:
        ax.plot([], [], ":", color=_MARK, label=f"no {name}: nothing is excluded")
    else:
        mark = beyond_mark(bound_mm, fit.range_mm)
        ax.plot([bound_mm] * 2, [-0.1, 0.9], ":", color=_MARK, label=f"{name} {bound_mm:.3g} mm{mark}")
    if max(q90_mm or 0.0, bound_mm or 0.0) > largest_mm:
        ax.axvspan(largest_mm, grid[-1], color="0.5", alpha=0.12, linewidth=0, label="beyond the largest crack")
    _size_axis(ax)
    ax.set(ylabel="probability of detection", xlim=(grid[0], grid[-1]), ylim=(-0.1, 1.1))
    ax.set_title(f"Detection: {fit.source}" if fit.source else "Detection")
    _legend(ax)
    return ax


def signals(pod: SignalPod, ax: Axes | None = None, *, confidence: float = 0.95, method: Method | None = None) -> Axes:
    """Signals against size, those beyond a limit as open triangles; the line, its scatter and the threshold.

    Parameters
    ----------
    pod : SignalPod
        What to draw.
    ax : matplotlib.axes.Axes, optional
        Where to draw; a new figure if left out.
    confidence : float, between 0.5 and 1
        Of the bound by itself.
    method : {"non-central-t", "modified-likelihood-ratio", "likelihood-ratio", "wald"}
        How the bound is made; the fit's usual method if left out.

    Returns
    -------
    matplotlib.axes.Axes
    """
    ax = _axes(ax)
    fit, threshold = pod.fit, pod.threshold
    table = fit.responses
    signal_scale, size_scale = fit.scales
    cracked, sound = table[table["size_mm"] > 0.0], table[table["size_mm"] == 0.0]
    size_mm = cracked["size_mm"].to_numpy()
    grid = np.geomspace(size_mm.min() / _BEYOND, size_mm.max() * _BEYOND, _POINTS)
    for side, marker, label in [(-1, "v", "below the floor"), (0, "o", "signal"), (1, "^", "above saturation")]:
        part = cracked[cracked["side"] == side]
        if len(part):
            ax.plot(
                part["size_mm"], part["signal"], marker, color="0.35", markersize=5, markerfacecolor="none", label=label
            )
    level, slope, scatter = fit.line["value"]
    middle = level + slope * (np.log(grid) if size_scale == "log" else grid)
    lines = [middle + ways * scatter for ways in (-_REACH, 0.0, _REACH)]
    low, line, high = (np.exp(line) if signal_scale == "log" else line for line in lines)
    ax.plot(grid, line, color=_CURVE, label="line")
    ax.fill_between(grid, low, high, color=_CURVE, alpha=0.18, linewidth=0, label="90 % of signals")
    ax.axhline(threshold, color=_MARK, linestyle="--", label=f"threshold {threshold:g}")
    q90_mm, (_, bound_mm) = pod.q90_mm, pod.size_bounds(0.9, confidence=confidence, method=method)
    mark = beyond_mark(q90_mm, fit.range_mm)
    ax.plot([q90_mm], [threshold], "D", color=_MARK, markersize=6, label=f"q90 {q90_mm:.3g} mm{mark}")
    if bound_mm is not None:
        mark = beyond_mark(bound_mm, fit.range_mm)
        name = f"q90/{100 * confidence:.0f}"
        ax.plot([bound_mm], [threshold], "|", color=_MARK, markersize=14, label=f"{name} {bound_mm:.3g} mm{mark}")
    if len(sound):
        at = np.full(len(sound), grid[0])
        ax.plot(at, sound["signal"], "_", color="0.2", label=f"{len(sound)} signals at sound places (left)")
    _size_axis(ax)
    if signal_scale == "log":
        ax.set_yscale("log")
    ax.set_ylabel("signal")
    ax.set_title(f"Signals: {fit.source}" if fit.source else "Signals")
    _legend(ax)
    return ax


def trade(fit: SignalFit, ax: Axes | None = None, *, thresholds: npt.ArrayLike, pod: float = 0.9) -> Axes:
    """Size found with a probability against false calls, a point for each threshold; with upper 95 % bounds of both.

    Parameters
    ----------
    fit : SignalFit
        What to draw.
    ax : matplotlib.axes.Axes, optional
        Where to draw; a new figure if left out.
    thresholds : array_like of float
        Thresholds to compare.
    pod : float, between 0 and 1
        The probability.

    Returns
    -------
    matplotlib.axes.Axes
    """
    ax = _axes(ax)
    table = fit.trade(thresholds, pod=pod)
    if table["false_calls"].isna().any():
        raise ArgumentError(
            "thresholds have no false calls to be set against\n    the noise is not known\n"
            "    add signals at sound places (size_mm = 0), at least 10 of them within the limits"
        )
    ax.plot(table["size_mm"], table["false_calls"], "o-", color=_CURVE, markersize=5, label="estimate, by threshold")
    beyond = table["beyond_largest"]
    if beyond.any():
        places = (table["size_high_mm"][beyond], table["false_calls_high"][beyond])
        ax.plot(*places, "x", color="0.2", label="beyond the largest crack")
    ax.plot(
        table["size_high_mm"],
        table["false_calls_high"],
        "o:",
        color=_MARK,
        markersize=4,
        label="upper bounds, each 95 %",
    )
    for line in table.iloc[:: math.ceil(len(table) / _MOST_LABELS)].itertuples():
        place = (line.size_mm, line.false_calls)
        ax.annotate(f"{line.threshold:.3g}", place, textcoords="offset points", xytext=(5, 4))
    ax.set_yscale("log")
    ax.set(
        xlabel=f"size found with probability {pod:g}, mm",
        ylabel="false calls per look at a sound place",
        title="What a threshold trades: better is lower and further left",
    )
    _legend(ax)
    return ax


def _legend(ax: Axes) -> None:
    ax.grid(alpha=0.25)
    ax.set_axisbelow(True)
    ax.legend(loc="upper left", bbox_to_anchor=(1.01, 1.0), frameon=False, fontsize="small")


def _size_axis(ax: Axes) -> None:
    """Name sizes in plain numbers, few enough not to overlap."""
    from matplotlib.ticker import LogLocator, NullFormatter

    ax.set_xscale("log")
    ax.xaxis.set_major_locator(LogLocator(subs=(1.0, 2.0, 5.0)))
    ax.xaxis.set_major_formatter("{x:g}")
    ax.xaxis.set_minor_formatter(NullFormatter())
    ax.set_xlabel("size of the crack, mm")


def _axes(ax: Axes | None) -> Axes:
    if ax is not None:
        return ax
    import matplotlib.pyplot as plt

    return plt.subplots(figsize=SIZE, layout="constrained")[1]
