"""Figures of what a technique detects: the fit, its bounds and the looks it is made from."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

import numpy as np

from serrata.detection import beyond_mark
from serrata.drawing import BLUE, ORANGE, begun, beside, figure, sizes_along
from serrata.errors import ArgumentError

if TYPE_CHECKING:
    import numpy.typing as npt
    from matplotlib.axes import Axes

    from serrata.detection import Method
    from serrata.hit_miss import HitMissFit
    from serrata.signal_pod import SignalPod
    from serrata.signal_response import SignalFit

__all__ = ["hit_miss", "signals", "trade"]

#: Points of a curve: enough for a smooth line, and for bounds in well under a second.
_POINTS = 60
#: Height of the strip of looks below the curve, on the scale of the probability.
_STRIP = 0.45
#: Columns of looks in it.
_COLUMNS = 60
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


@figure
def hit_miss(
    fit: HitMissFit, ax: Axes | None = None, *, confidence: float = 0.95, method: Method | None = None
) -> Axes:
    """Probability of detection by size with bounds, shares found in groups of size, and every look below the curve.

    Looks pile up in narrow columns of size: hits upwards, filled, and misses downwards, open.

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
    method = method or fit.usual_method
    looks = fit.looks.sort_values("size_mm")
    smallest_mm, largest_mm = looks["size_mm"].iloc[[0, -1]]
    for factor, level in fit.levels.items():
        looks = looks[looks[factor] == level]
    size_mm, called = looks["size_mm"].to_numpy(), looks["called"].to_numpy()
    about = ", ".join(
        [*([fit.source] if fit.source else []), *(f"{name} {level}" for name, level in fit.levels.items())]
    )
    ax = begun(ax, "How surely a crack of some size is found", about)
    q90_mm, (_, bound_mm) = fit.q90_mm, fit.size_bounds(0.9, confidence=confidence, method=method)
    # As far as the claim, unless that is far from any look.
    claimed = min(max(q90_mm or 0.0, bound_mm or 0.0), _FAR * largest_mm)
    grid = np.geomspace(smallest_mm / _BEYOND, max(largest_mm, claimed) * _BEYOND, _POINTS)
    low, high = fit.pod_bounds(grid, confidence=confidence, method=method)
    curve, words = fit.pod_at(grid), method.replace("-", " ")
    ax.fill_between(grid, 0.0, curve, color=BLUE, alpha=0.13, linewidth=0)
    ax.plot(grid, curve, color=BLUE, linewidth=2, label="probability of detection")
    bounds = f"bounds, each {confidence:.0%} ({words})"
    for edge, label in ((low, bounds), (high, None)):
        ax.plot(grid, edge, color=BLUE, linewidth=0.9, linestyle=(0, (4, 2)), label=label)
    _looks_below(ax, size_mm, called, grid)
    _marks_down(ax, q90_mm, bound_mm, confidence, fit.range_mm)
    if max(q90_mm or 0.0, bound_mm or 0.0) > largest_mm:
        ax.axvspan(largest_mm, grid[-1], color="0.5", alpha=0.15, linewidth=0, label="beyond the largest crack")
    ax.axhline(0.0, color="0.3", linewidth=1)
    sizes_along(ax)
    ax.set(xlabel="size of the crack, mm", ylabel="probability of detection  ", xlim=(grid[0], grid[-1]))
    ax.set(ylim=(-_STRIP, 1.02), yticks=np.linspace(0.0, 1.0, 6))
    beside(ax)
    return ax


def _looks_below(
    ax: Axes, size_mm: npt.NDArray[np.float64], called: npt.NDArray[np.bool_], grid: npt.NDArray[np.float64]
) -> None:
    """Pile the looks up below the curve, hits upwards and misses downwards, and draw the shares of hits in groups."""
    count = min(max(len(size_mm) // _PER_GROUP, 2), len(size_mm))
    for index, part in enumerate(np.array_split(np.arange(len(size_mm)), count) if count else []):
        label = None if index else "share found, over its group of sizes"
        share, ends = called[part].mean(), (size_mm[part[0]], size_mm[part[-1]])
        ax.plot(ends, [share, share], color="0.25", linewidth=1.5, marker="|", markersize=5, label=label)
    columns = np.geomspace(grid[0], grid[-1], _COLUMNS + 1)
    place = np.digitize(size_mm, columns) - 1
    middles = np.sqrt(columns[1:] * columns[:-1])
    piles = [np.bincount(place[called == side], minlength=_COLUMNS) for side in (True, False)]
    step = 0.45 * _STRIP / max(1, *(pile.max(initial=0) for pile in piles))
    for pile, way, filled, word in zip(piles, (1, -1), (True, False), ("hits", "misses"), strict=True):
        heights = [way * (row + 0.5) * step for at in pile for row in range(at)]
        across = np.repeat(middles, pile)
        fill = "0.25" if filled else "white"
        label = f"{pile.sum()} {word}"
        middle = -0.5 * _STRIP
        ax.plot(
            across, middle + np.array(heights), "o", color="0.25", markersize=3.2, markerfacecolor=fill, label=label
        )
    ax.axhline(-0.5 * _STRIP, color="0.7", linewidth=0.6)


def _marks_down(
    ax: Axes, q90_mm: float | None, bound_mm: float | None, confidence: float, range_mm: tuple[float, float]
) -> None:
    """Drop lines from 0.9 to the looks at q90 and at its bound, with their sizes."""
    name = f"q90/{100 * confidence:.0f}"
    ax.axhline(0.9, color=ORANGE, linewidth=0.6, alpha=0.6)
    if q90_mm is not None:
        label = f"q90 {q90_mm:.3g} mm{beyond_mark(q90_mm, range_mm)}"
        ax.plot(
            [q90_mm] * 2, [0.9, -_STRIP], "D-", color=ORANGE, markevery=[0], markersize=6, linewidth=1.2, label=label
        )
    if bound_mm is None:
        ax.plot([], [], ":", color=ORANGE, label=f"no {name}: nothing is excluded")
    else:
        label = f"{name} {bound_mm:.3g} mm{beyond_mark(bound_mm, range_mm)}"
        ax.plot([bound_mm] * 2, [0.9, -_STRIP], "D:", color=ORANGE, markevery=[0], markerfacecolor="white", label=label)


@figure
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
    fit, threshold = pod.fit, pod.threshold
    ax = begun(ax, "Signals by size of crack, and the threshold", fit.source)
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
    ax.plot(grid, line, color=BLUE, label="line")
    ax.fill_between(grid, low, high, color=BLUE, alpha=0.18, linewidth=0, label="90 % of signals")
    ax.axhline(threshold, color=ORANGE, linestyle="--", label=f"threshold {threshold:g}")
    q90_mm, (_, bound_mm) = pod.q90_mm, pod.size_bounds(0.9, confidence=confidence, method=method)
    mark = beyond_mark(q90_mm, fit.range_mm)
    ax.plot([q90_mm], [threshold], "D", color=ORANGE, markersize=6, label=f"q90 {q90_mm:.3g} mm{mark}")
    if bound_mm is not None:
        mark = beyond_mark(bound_mm, fit.range_mm)
        name = f"q90/{100 * confidence:.0f}"
        ax.plot([bound_mm], [threshold], "|", color=ORANGE, markersize=14, label=f"{name} {bound_mm:.3g} mm{mark}")
    if len(sound):
        at = np.full(len(sound), grid[0])
        ax.plot(at, sound["signal"], "_", color="0.2", label=f"{len(sound)} signals at sound places (left)")
    sizes_along(ax)
    if signal_scale == "log":
        ax.set_yscale("log")
    ax.set(xlabel="size of the crack, mm", ylabel="signal")
    beside(ax)
    return ax


@figure
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
    ax = begun(ax, "What a threshold trades: better is lower and further left", fit.source)
    table = fit.trade(thresholds, pod=pod)
    if table["false_calls"].isna().any():
        raise ArgumentError(
            "thresholds have no false calls to be set against\n    the noise is not known\n"
            "    add signals at sound places (size_mm = 0), at least 10 of them within the limits"
        )
    ax.plot(table["size_mm"], table["false_calls"], "o-", color=BLUE, markersize=5, label="estimate, by threshold")
    beyond = table["beyond_largest"]
    if beyond.any():
        places = (table["size_high_mm"][beyond], table["false_calls_high"][beyond])
        ax.plot(*places, "x", color="0.2", label="beyond the largest crack")
    ax.plot(
        table["size_high_mm"],
        table["false_calls_high"],
        "o:",
        color=ORANGE,
        markersize=4,
        label="upper bounds, each 95 %",
    )
    for line in table.iloc[:: math.ceil(len(table) / _MOST_LABELS)].itertuples():
        place = (line.size_mm, line.false_calls)
        ax.annotate(f"{line.threshold:.3g}", place, textcoords="offset points", xytext=(-6, -3), ha="right", va="top")
    ax.margins(x=0.12)
    ax.set_yscale("log")
    ax.set(
        xlabel=f"size found with probability {pod:g}, mm",
        ylabel="false calls per look at a sound place",
    )
    beside(ax)
    return ax
