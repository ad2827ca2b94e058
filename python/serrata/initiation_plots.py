"""Figures of when cracks begin: the law, its bounds, and the distribution of any shape."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from serrata.drawing import BLUE, ORANGE, begun, beside, figure
from serrata.errors import ArgumentError

if TYPE_CHECKING:
    import pandas as pd
    from matplotlib.axes import Axes

    from serrata.initiation import InitiationFit

__all__ = ["initiation"]

#: Points of a curve.
_POINTS = 60
#: Reach of the figure beyond the latest look, as a factor.
_BEYOND = 1.2


@figure
def initiation(fit: InitiationFit, ax: Axes | None = None, *, confidence: float = 0.95) -> Axes:
    """Fraction cracked by time: the law with bounds, and the best distribution of any shape beside it.

    That one is shaded between the least and the most that it may be where nothing tells, and left out where there is
    none. Where nothing was found there is the upper bound alone.

    Parameters
    ----------
    fit : InitiationFit
        What to draw; without covariates.
    ax : matplotlib.axes.Axes, optional
        Where to draw; a new figure if left out.
    confidence : float, between 0.5 and 1
        Of each bound by itself.

    Returns
    -------
    matplotlib.axes.Axes
    """
    if fit.covariate_names:
        raise ArgumentError(
            "plot shows one law\n    this fit has one for each value of its covariates\n    fit one group"
        )
    best = fit.nonparametric
    of = "blades" if fit.study_name is None else "origins"
    ax = begun(ax, f"Fraction of {of} with a crack, by time", fit.source)
    grid = np.linspace(0.0, _BEYOND * fit.latest, _POINTS)
    low, high = fit.fraction_bounds(grid, confidence=confidence)
    law = fit.fraction_at(grid)
    if law is not None:
        ax.plot(grid, law, color=BLUE, linewidth=2, label=f"{fit.law} law")
        ax.plot(grid, low, color=BLUE, linewidth=0.9, linestyle=(0, (4, 2)))
        if best is not None:
            _any_shape(ax, best, fit.latest)
    label = f"bounds, each {confidence:.0%}" if law is not None else f"upper bound, {confidence:.0%}: nothing was found"
    ax.plot(grid, high, color=BLUE, linewidth=0.9, linestyle=(0, (4, 2)), label=label)
    ax.axvspan(fit.latest, grid[-1], color="0.5", alpha=0.15, linewidth=0, label="beyond the latest look")
    ax.set(xlabel=f"time, {fit.unit}", ylabel="fraction with a crack", xlim=(0.0, grid[-1]), ylim=(0.0, 1.02))
    beside(ax)
    return ax


def _any_shape(ax: Axes, best: pd.DataFrame, latest: float) -> None:
    """Shade the distribution of any shape between the least and the most that it may be."""
    stretches = best[np.isfinite(best["by"])]
    before = stretches["fraction"] - stretches["mass"]
    for index, (after, by, least, most) in enumerate(
        zip(stretches["after"], stretches["by"], before, stretches["fraction"], strict=True)
    ):
        label = None if index else "any shape, within a box nothing tells where"
        ax.fill_between([after, by], least, most, color=ORANGE, alpha=0.25, linewidth=0, label=label)
    # Between boxes the fraction stays as it is.
    starts = np.r_[0.0, stretches["by"]]
    ends = np.r_[stretches["after"], latest]
    levels = np.r_[0.0, stretches["fraction"]]
    ax.hlines(levels, starts, ends, color=ORANGE, linewidth=1.5)
