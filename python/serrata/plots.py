"""Figures of a comparison: one function, one figure.

Each takes a comparison and, if wanted, the Axes to draw in, and returns the Axes. Bands and bars are
95 % intervals, and the legend says so. Colours keep apart for most colour-blind readers.
"""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, Any

import numpy as np

from serrata.errors import ArgumentError

if TYPE_CHECKING:
    import numpy.typing as npt
    import pandas as pd
    from matplotlib.axes import Axes

    from serrata.comparison import Comparison

__all__ = ["SIZE", "cost_against_risk", "cost_split", "cracks", "differences", "longest_crack", "risk_by_year"]

#: Width and height of a figure, in inches.
SIZE = (9.0, 4.5)

# Okabe and Ito, "Color universal design" (2008), without black and yellow.
_COLOURS = ("#0072B2", "#D55E00", "#009E73", "#CC79A7", "#56B4E9", "#E69F00", "#7F7F7F")
_MARKERS = "osD^P*X"
_INTERVAL = "95 % interval"
#: A chance axis that spans more than this is drawn in powers of ten.
_SPAN = 30.0
#: Start of such an axis below the smallest estimate, as a factor.
_BELOW = 4.0
#: Ticks on an axis of small numbers, whose labels are wide.
_TICKS = 5
#: Outages that are named on an axis.
_MOST_NAMED = 12
#: Whole sums, with commas between thousands.
_MONEY = "{x:,.0f}"
_WORDS = {
    "p_any_loss": "chance of at least one blade lost",
    "losses": "blades lost",
    "cost": "cost",
    "days": "days of work and forced outage",
}
_COSTS = {
    "look_cost": "looks",
    "blades_out_cost": "blades out and in",
    "replacement_cost": "new blades and rows",
    "extra_day_cost": "days beyond the window",
    "loss_cost": "losses",
}


def risk_by_year(comparison: Comparison, ax: Axes | None = None, *, row: str | None = None) -> Axes:
    """Chance of at least one blade lost in each year, by strategy, with 95 % bands.

    Parameters
    ----------
    comparison : Comparison
        What to draw.
    ax : matplotlib.axes.Axes, optional
        Where to draw; a new figure if left out.
    row : str, optional
        A row; the whole fleet if left out.

    Returns
    -------
    matplotlib.axes.Axes
    """
    ax = _axes(ax)
    table = comparison.by_year[comparison.by_year["quantity"] == "p_any_loss"]
    table = table[table["level"] == "fleet"] if row is None else _of_row(comparison, table, row)
    anything_unseen = False
    for index, strategy in enumerate(comparison.study.strategies):
        line = table[table["strategy"] == strategy]
        years, value = line["year"].to_numpy() + 0.5, line["value"].to_numpy()
        seen = value > 0.0
        low, high = line["low"].to_numpy(), line["high"].to_numpy()
        colour = _colour(index)
        ax.plot(years, np.where(seen, value, np.nan), color=colour, marker=_marker(index), markersize=4, label=strategy)
        ax.fill_between(years, low, high, where=seen.tolist(), color=colour, alpha=0.18, linewidth=0)
        if not seen.all():
            ax.plot(years[~seen], high[~seen], "v", color=colour, markerfacecolor="none", markersize=5)
            anything_unseen = True
    if anything_unseen:
        ax.plot([], [], "v", color="0.3", markerfacecolor="none", label="none seen: upper bound")
    ax.fill_between([], [], [], color="0.5", alpha=0.3, label=_INTERVAL)
    _chance_axis(ax, table["value"], "y")
    where = "fleet" if row is None else f"row {row}"
    ax.set(xlabel="year", ylabel="chance of at least one blade lost, per year", title=f"Risk of the {where} by year")
    _legend(ax)
    return ax


def cost_split(comparison: Comparison, ax: Axes | None = None) -> Axes:
    """Cost of each strategy by what it is spent on, as stacked bars; the whole with its 95 % interval.

    Parameters
    ----------
    comparison : Comparison
        What to draw.
    ax : matplotlib.axes.Axes, optional
        Where to draw; a new figure if left out.

    Returns
    -------
    matplotlib.axes.Axes
    """
    ax = _axes(ax)
    strategies = list(comparison.study.strategies)
    places = np.arange(len(strategies))
    begin = np.zeros(len(strategies))
    for index, (quantity, words) in enumerate(_COSTS.items()):
        part = _values(comparison, quantity)["value"].to_numpy()
        ax.barh(places, part, left=begin, color=_colour(index), label=words, height=0.6)
        begin = begin + part
    whole = _values(comparison, "cost")
    ax.errorbar(whole["value"], places, xerr=_reach(whole), fmt="none", color="black", capsize=4, label=_INTERVAL)
    _strategies_down(ax, strategies)
    ax.xaxis.set_major_formatter(_MONEY)
    ax.locator_params(axis="x", nbins=_TICKS)
    study = comparison.study
    ax.set(
        xlabel=f"cost over {study.horizon_years:g} years, discounted, {study.currency}",
        title="What the fleet costs, and for what",
    )
    _legend(ax)
    return ax


def longest_crack(comparison: Comparison, ax: Axes | None = None, *, row: str | None = None) -> Axes:
    """Length that the longest crack left in a row stays below, just after each outage.

    Parameters
    ----------
    comparison : Comparison
        What to draw.
    ax : matplotlib.axes.Axes, optional
        Where to draw; a new figure if left out.
    row : str, optional
        The row; that with most losses under the baseline if left out.

    Returns
    -------
    matplotlib.axes.Axes
    """
    ax = _axes(ax)
    row = comparison.worst_row if row is None else row
    table = _of_row(comparison, comparison.by_outage, row)
    table = table[table["quantity"] == "longest_mm"]
    strategies = list(comparison.study.strategies)
    years = np.sort(table["year"].unique())
    step = 0.7 * float(np.diff(years).min()) / len(strategies) if len(years) > 1 else 0.1
    for index, strategy in enumerate(strategies):
        of_strategy = table[table["strategy"] == strategy]
        half, most, nearly_all = (of_strategy[of_strategy["probability"] == p] for p in (0.5, 0.95, 0.99))
        at = most["year"].to_numpy() + (index - 0.5 * (len(strategies) - 1)) * step
        colour = _colour(index)
        ax.vlines(at, half["value"], nearly_all["value"], color=colour, linewidth=1)
        ax.vlines(at, half["value"], most["value"], color=colour, linewidth=4, alpha=0.6)
        ax.errorbar(
            at,
            most["value"],
            yerr=_reach(most),
            fmt=_marker(index),
            color=colour,
            markersize=4,
            capsize=2,
            label=strategy,
        )
    ax.vlines([], [], [], color="0.4", linewidth=4, alpha=0.6, label="50 to 95 % of lives")
    ax.vlines([], [], [], color="0.4", linewidth=1, label="up to 99 % of lives")
    ax.errorbar([], [], yerr=[], fmt="o", color="0.4", capsize=2, label=f"95 % of lives, with its {_INTERVAL}")
    named = years[:: math.ceil(len(years) / _MOST_NAMED)] if len(years) else years
    ax.set_xticks(named, [f"{year:g}" for year in named])
    ax.set_ylim(bottom=0.0)
    ax.set(
        xlabel="outage",
        ylabel="surface length of the longest crack, mm",
        title=f"Longest crack left in row {row} just after each outage (0: none)",
    )
    _legend(ax)
    return ax


def cracks(comparison: Comparison, ax: Axes | None = None) -> Axes:
    """Cracks found within the horizon, and left after the last outage, with 95 % intervals.

    Parameters
    ----------
    comparison : Comparison
        What to draw.
    ax : matplotlib.axes.Axes, optional
        Where to draw; a new figure if left out.

    Returns
    -------
    matplotlib.axes.Axes
    """
    ax = _axes(ax)
    strategies = list(comparison.study.strategies)
    places = np.arange(len(strategies))
    parts = {
        "cracks_found": "found by looks that counted",
        "cracks_left_after_last_outage": "left after the last outage",
    }
    for index, (quantity, words) in enumerate(parts.items()):
        values = _values(comparison, quantity)
        at = places + (index - 0.5) * 0.36
        ax.barh(at, values["value"], height=0.34, color=_colour(index), label=words)
        ax.errorbar(
            values["value"],
            at,
            xerr=_reach(values),
            fmt="none",
            color="black",
            capsize=3,
            label=_INTERVAL if index else None,
        )
    _strategies_down(ax, strategies)
    years = f"{comparison.study.horizon_years:g} years"
    ax.set(xlabel=f"expected number of cracks in the fleet over {years}", title="Cracks found and cracks left")
    _legend(ax)
    return ax


def differences(comparison: Comparison, ax: Axes | None = None, *, quantity: str = "cost") -> Axes:
    """Paired difference of each strategy to the baseline, with 95 % intervals.

    Parameters
    ----------
    comparison : Comparison
        What to draw.
    ax : matplotlib.axes.Axes, optional
        Where to draw; a new figure if left out.
    quantity : str
        p_any_loss, losses, cost or days.

    Returns
    -------
    matplotlib.axes.Axes

    Raises
    ------
    ArgumentError
        For another quantity.
    """
    if quantity not in _WORDS:
        raise ArgumentError(
            f"quantity = {quantity!r}\n    has no paired differences\n    choose one of {', '.join(_WORDS)}"
        )
    ax = _axes(ax)
    table = comparison.differences
    table = table[table["quantity"] == quantity]
    places = np.arange(len(table))
    order = list(comparison.study.strategies)
    for place, (_, line) in zip(places, table.iterrows(), strict=True):
        value = float(line["value"])
        reach = [[value - line["low"]], [line["high"] - value]]
        index = order.index(line["strategy"])
        ax.errorbar(value, place, xerr=reach, fmt=_marker(index), color=_colour(index), capsize=4)
    ax.errorbar([], [], xerr=[], fmt="o", color="0.3", capsize=4, label=f"difference, with its {_INTERVAL}")
    ax.axvline(0.0, color="0.3", linewidth=1, linestyle="--", label=f"baseline: {comparison.study.baseline}")
    _strategies_down(ax, list(table["strategy"]))
    ax.margins(y=0.2)
    ax.locator_params(axis="x", nbins=_TICKS)
    study = comparison.study
    unit = f", {study.currency}" if quantity == "cost" else ""
    if quantity == "cost":
        ax.xaxis.set_major_formatter(_MONEY)
    ax.set(
        xlabel=f"difference in {_WORDS[quantity]} over {study.horizon_years:g} years{unit}  (left: less)",
        title=f"Against {study.baseline}, trial by trial",
    )
    _legend(ax)
    return ax


def cost_against_risk(comparison: Comparison, ax: Axes | None = None) -> Axes:
    """Cost of each strategy against its chance of a loss, both with 95 % intervals.

    Parameters
    ----------
    comparison : Comparison
        What to draw.
    ax : matplotlib.axes.Axes, optional
        Where to draw; a new figure if left out.

    Returns
    -------
    matplotlib.axes.Axes
    """
    ax = _axes(ax)
    risk, cost = _values(comparison, "p_any_loss"), _values(comparison, "cost")
    for index, strategy in enumerate(comparison.study.strategies):
        x, y = risk.iloc[[index]], cost.iloc[[index]]
        seen = bool(x["value"].iloc[0] > 0.0)
        ax.errorbar(
            x["value"] if seen else x["high"],
            y["value"],
            xerr=_reach(x) if seen else None,
            yerr=_reach(y),
            fmt=_marker(index) if seen else "<",
            markerfacecolor=None if seen else "none",
            color=_colour(index),
            capsize=3,
            label=strategy if seen else f"{strategy} (none seen: upper bound)",
        )
    ax.errorbar([], [], xerr=[], yerr=[], fmt="none", color="0.4", capsize=3, label=_INTERVAL)
    _chance_axis(ax, risk["value"], "x")
    ax.yaxis.set_major_formatter(_MONEY)
    study = comparison.study
    years = f"{study.horizon_years:g} years"
    ax.set(
        xlabel=f"chance of at least one blade lost in the fleet within {years}",
        ylabel=f"cost over {years}, discounted, {study.currency}",
        title="What safety costs: better is lower and further left",
    )
    _legend(ax)
    return ax


def _axes(ax: Axes | None) -> Axes:
    if ax is not None:
        return ax
    import matplotlib.pyplot as plt

    return plt.subplots(figsize=SIZE, layout="constrained")[1]


def _values(comparison: Comparison, quantity: str) -> pd.DataFrame:
    """Give the lines of the summary for one quantity, in the order of the strategies."""
    summary = comparison.summary
    return summary[summary["quantity"] == quantity].reset_index(drop=True)


def _of_row(comparison: Comparison, table: pd.DataFrame, row: str) -> pd.DataFrame:
    if row not in comparison.study.rows:
        known = ", ".join(comparison.study.rows)
        raise ArgumentError(f"row = {row!r}\n    there is no such row\n    choose one of {known}")
    return table[table["row"] == row]


def _reach(values: pd.DataFrame) -> npt.NDArray[np.float64]:
    """Give the way from an estimate to both ends of its interval, as Axes.errorbar wants it."""
    value = values["value"].to_numpy()
    ways = np.vstack([value - values["low"].to_numpy(), values["high"].to_numpy() - value])
    reach: npt.NDArray[np.float64] = np.maximum(ways, 0.0)
    return reach


def _chance_axis(ax: Axes, values: pd.Series[Any], which: str) -> None:
    """Begin the axis at zero, or draw it in powers of ten where chances lie far apart."""
    seen = values[values > 0.0]
    if len(seen) and seen.max() > _SPAN * seen.min():
        # Bands reach far below what a few events tell; the axis need not.
        lowest = seen.min() / _BELOW
        if which == "y":
            ax.set_yscale("log")
            ax.set_ylim(bottom=lowest)
        else:
            ax.set_xscale("log")
            ax.set_xlim(left=lowest)
    elif which == "y":
        ax.set_ylim(bottom=0.0)
    else:
        ax.set_xlim(left=0.0)
        ax.locator_params(axis="x", nbins=_TICKS)


def _strategies_down(ax: Axes, strategies: list[str]) -> None:
    ax.set_yticks(np.arange(len(strategies)), strategies)
    ax.invert_yaxis()
    ax.set_ylabel("strategy")


def _legend(ax: Axes) -> None:
    """Put the legend beside the figure, where it hides nothing."""
    ax.grid(alpha=0.25)
    ax.set_axisbelow(True)
    ax.legend(loc="upper left", bbox_to_anchor=(1.01, 1.0), frameon=False, fontsize="small")


def _colour(index: int) -> str:
    return _COLOURS[index % len(_COLOURS)]


def _marker(index: int) -> str:
    return _MARKERS[index % len(_MARKERS)]
