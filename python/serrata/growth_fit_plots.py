"""The figure of growth from records: sizes against starts, with the fitted growth and its band."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from serrata.drawing import begun, beside, figure, mark, plain

if TYPE_CHECKING:
    from matplotlib.axes import Axes

    from serrata.growth_fit import GrowthFit

__all__ = ["growth_fit"]

#: Cracks that a figure has room for.
_MOST = 12


@figure
def growth_fit(fit: GrowthFit, ax: Axes | None = None) -> Axes:
    """Sizes of each crack against starts, with its growth by the fitted factor and the band between its bounds.

    Sizes are without the bias of their technique, with two standard deviations of their errors to either side. Each
    curve begins where the first size is best explained with its factor; a crack that scatters leaves the band. Where
    there is no estimate, the upper bound is drawn alone.

    Parameters
    ----------
    fit : GrowthFit
        What to draw: the first 12 cracks.
    ax : matplotlib.axes.Axes, optional
        Where to draw; a new figure if left out.

    Returns
    -------
    matplotlib.axes.Axes
    """
    from matplotlib.ticker import LogLocator, NullFormatter

    names = list(fit.cracks["crack"])
    shown = names[:_MOST]
    about = fit.source if len(shown) == len(names) else f"{fit.source}; {len(shown)} of {len(names)} cracks"
    ax = begun(ax, "Sizes of cracks that were followed, and growth by the fitted factor", about)
    for place, name in enumerate(shown):
        colour, marker, _ = mark(place)
        sizes, curve = (table[table["crack"] == name] for table in (fit.sizes, fit.curves))
        size, sigma = sizes["size_mm"].to_numpy(), sizes["sizing_sigma_log"].to_numpy()
        ends = np.abs(size * np.exp(np.array([[-2.0], [2.0]]) * sigma) - size)
        label = plain(f"{name}, {sizes['kind'].iloc[0]}")
        ax.errorbar(sizes["starts"], size, yerr=ends, fmt=marker, ms=4, lw=1, capsize=2, color=colour, label=label)
        ax.plot(curve["starts"], curve["fitted_mm"], color=colour, linewidth=1.8)
        ax.fill_between(curve["starts"], curve["low_mm"], curve["high_mm"], color=colour, alpha=0.15, linewidth=0)
        ax.plot(curve["starts"], curve["high_mm"], color=colour, linewidth=0.8, linestyle=(0, (4, 2)))
    ax.set_yscale("log")
    ax.yaxis.set_major_locator(LogLocator(subs=(1.0, 1.5, 2.0, 3.0, 5.0, 7.0)))
    ax.yaxis.set_major_formatter("{x:g}")
    ax.yaxis.set_minor_formatter(NullFormatter())
    ax.set(xlabel="starts", ylabel="size, mm")
    beside(ax)
    return ax
