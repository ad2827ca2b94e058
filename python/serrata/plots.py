"""Figures of a comparison: one function, one figure.

Each takes a comparison and, if wanted, the Axes to draw in, and returns the Axes. Bands and bars are
95 % intervals, and the legend says so. Strategies differ by mark and line as well as by colour, by their place in the
study.
"""

from __future__ import annotations

import math
from functools import lru_cache
from typing import TYPE_CHECKING, Any

import numpy as np

from serrata import wording
from serrata.drawing import HATCHES, Mark, begun, below, figure, mark, named_at_right, plain
from serrata.errors import ArgumentError

if TYPE_CHECKING:
    import numpy.typing as npt
    import pandas as pd
    from matplotlib.axes import Axes
    from matplotlib.axis import Axis

    from serrata.comparison import Comparison
    from serrata.study import Study

__all__ = [
    "cost_against_risk",
    "cost_split",
    "cracks",
    "differences",
    "longest_crack",
    "money_unit",
    "risk_by_year",
]

_INTERVAL = "95 % interval"
#: A chance axis that spans more than this is drawn in powers of ten.
_SPAN = 30.0
#: Start of such an axis below the smallest estimate, as a factor.
_BELOW = 4.0
#: Ticks on an axis of small numbers, whose labels are wide.
_TICKS = 5
#: Lines of names that the axes of longest cracks are as tall as, and what its legend has beside plans.
_AXES_LINES, _OTHERS = 20, 7
#: Outages that are named on an axis.
_MOST_NAMED = 12
#: Cracks of each hot spot that critical and detectable sizes are taken from: the 5 % size within about 3 %.
_GROWN = 2_000
#: Seed of these.
_SEED = 1
#: Strategies up to which their bands are dark enough to be read one by one.
_FEW = 8
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
    "dressing_cost": "dressing",
    "stop_cost": "extra stops",
    "surface_cost": "cleaning and peening",
    "starts_limit_cost": "limited starts",
    "spares_cost": "holding spares",
}
#: Left out where they are 0 under every strategy.
_SELDOM = ("dressing_cost", "stop_cost", "surface_cost", "starts_limit_cost", "spares_cost")


@figure
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
    from matplotlib.ticker import MaxNLocator

    where = "the fleet" if row is None else f"row {row}"
    strategies = list(comparison.study.strategies)
    ax = begun(ax, f"Risk of {where} by year", comparison.study.name, len(strategies))
    table = comparison.by_year[comparison.by_year["quantity"] == "p_any_loss"]
    table = table[table["level"] == "fleet"] if row is None else _of_row(comparison, table, row)
    anything_unseen, ends = False, []
    for index, strategy in enumerate(strategies):
        line = table[table["strategy"] == strategy]
        years, value = line["year"].to_numpy() + 0.5, line["value"].to_numpy()
        seen = value > 0.0
        low, high = line["low"].to_numpy(), line["high"].to_numpy()
        of = mark(index)
        shown = np.where(seen, value, np.nan)
        ax.plot(years, shown, **of.line)
        shade = 0.15 if len(strategies) <= _FEW else 0.05
        ax.fill_between(years, low, high, where=seen.tolist(), color=of.colour, alpha=shade, linewidth=0)
        if not seen.all():
            ax.plot(years[~seen], high[~seen], "v", color=of.colour, markerfacecolor="none")
            anything_unseen = True
        ends.append((float(years[-1]), float(value[-1] if seen[-1] else high[-1]), strategy, of))
    if anything_unseen:
        ax.plot([], [], "v", color="0.3", markerfacecolor="none", label="none seen: upper bound")
    ax.fill_between([], [], [], color="0.5", alpha=0.3, label=f"band: {_INTERVAL}")
    limits = comparison.limits
    limits = limits[limits["level"] == "fleet"] if row is None else limits[limits["row"] == row]
    if len(limits):
        limit = float(limits["limit"].iloc[0])
        ax.axhline(limit, color="black", linewidth=1.2, linestyle=(0, (8, 3)), label=f"limit for {where}: {limit:g}")
    ax.xaxis.set_major_locator(MaxNLocator(integer=True))
    _chance_axis(ax, table["value"])
    ax.set(xlabel="year", ylabel="chance of at least one blade lost, per year")
    below(ax)
    named_at_right(ax, ends)
    return ax


@figure
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
    study = comparison.study
    strategies = list(study.strategies)
    ax = begun(ax, "What the fleet costs, and for what", study.name, len(strategies))
    places = np.arange(len(strategies))
    begin = np.zeros(len(strategies))
    for index, (quantity, words) in enumerate(_COSTS.items()):
        part = _values(comparison, quantity)["value"].to_numpy()
        if quantity in _SELDOM and not part.any():
            continue
        ax.barh(places, part, left=begin, label=words, height=0.6, **_told_apart(index))
        begin = begin + part
    whole = _values(comparison, "cost")
    ax.errorbar(whole["value"], places, xerr=_reach(whole), fmt="none", color="black", label=_INTERVAL)
    _strategies_down(ax, strategies)
    ax.locator_params(axis="x", nbins=_TICKS)
    ax.set_xlabel(f"cost over {study.horizon_years:g} years, discounted, {_in_money(comparison, ax.xaxis)}")
    below(ax, from_edge=True)
    return ax


@figure
def longest_crack(comparison: Comparison, ax: Axes | None = None, *, row: str | None = None) -> Axes:
    """Length that the longest crack left in a row stays below, just after each outage.

    Beside it stand the lengths at which cracks of the row lose their blades, and those from which on each technique
    finds nine in ten. Both are of cracks grown by `Study.grow`, 2,000 for each hot spot of the row: critical is the
    length that 5 %, or half, of the cracks do not exceed when the blade is lost, at the hot spot where that is least;
    found is the median length from which on one look of median quality finds with 90 %, where that is largest. A
    technique that comes to it in fewer than half of the cracks is named below the others.

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
    row = comparison.worst_row if row is None else row
    table = _of_row(comparison, comparison.by_outage, row)
    table = table[table["quantity"] == "longest_mm"]
    strategies = list(comparison.study.strategies)
    what = f"Longest crack left in row {row} just after each outage (0: none)"
    # The legend below has two columns, of plans and of what else is drawn.
    ax = begun(ax, what, comparison.study.name, _AXES_LINES + (len(strategies) + _OTHERS) // 2)
    years = np.sort(table["year"].unique())
    step = 0.7 * float(np.diff(years).min()) / len(strategies) if len(years) > 1 else 0.1
    for index, strategy in enumerate(strategies):
        of_strategy = table[table["strategy"] == strategy]
        half, most, nearly_all = (of_strategy[of_strategy["probability"] == p] for p in (0.5, 0.95, 0.99))
        at = most["year"].to_numpy() + (index - 0.5 * (len(strategies) - 1)) * step
        of = mark(index)
        ax.vlines(at, half["value"], nearly_all["value"], color=of.colour, linewidth=1)
        ax.vlines(at, half["value"], most["value"], color=of.colour, linewidth=4, alpha=0.6)
        ax.errorbar(at, most["value"], yerr=_reach(most), label=plain(strategy), capsize=2, **of.points)
    ax.vlines([], [], [], color="0.4", linewidth=4, alpha=0.6, label="50 to 95 % of lives")
    ax.vlines([], [], [], color="0.4", linewidth=1, label="up to 99 % of lives")
    ax.errorbar([], [], yerr=[], fmt="o", color="0.4", capsize=2, label=f"95 % of lives, {_INTERVAL}")
    named = years[:: math.ceil(len(years) / _MOST_NAMED)] if len(years) else years
    ax.set_xticks(named, [f"{year:g}" for year in named])
    ax.set(xlabel="outage", ylabel="length of the longest crack, mm")
    _critical_lines(comparison.study, row, ax)
    _found_marks(comparison.study, row, ax)
    return ax


def _critical_lines(study: Study, row: str, ax: Axes) -> None:
    """Draw the lengths at which cracks of a row lose their blades: 5 % and half of them, at the worst hot spot."""
    for (probability, spot, length_mm), style in zip(_critical_mm(study, row), ("-", "--"), strict=False):
        words = "half" if probability == 0.5 else f"{100.0 * probability:g} %"
        label = f"critical for {words} of cracks: {length_mm:.3g} mm ({spot.partition('.')[2]})"
        ax.axhline(length_mm, color="black", linestyle=style, linewidth=1.2, label=label)


def _found_marks(study: Study, row: str, ax: Axes) -> None:
    """Mark at the right edge, by name, from which length on each technique finds nine in ten."""
    found = _found_mm(study, row)
    reached = {name: length_mm for name, length_mm in found.items() if math.isfinite(length_mm)}
    never = [name for name in found if name not in reached]
    across = ax.get_yaxis_transform()
    label = "90 % of looks find it from there on"
    at = np.ones(len(reached)), list(reached.values())
    ax.plot(*at, "<", color="black", transform=across, clip_on=False, label=label)
    ax.set_ylim(bottom=0.0)
    below(ax, columns=2)
    edge = ax.get_xlim()[1]
    of = Mark("black", "", "-")
    named_at_right(ax, [(edge, length_mm, f"{name} {length_mm:.2g}", of) for name, length_mm in reached.items()])
    if never:
        words = "\n".join(["not in half of", "the cracks:", *map(plain, never)])
        ax.text(1.05, -0.02, words, transform=ax.transAxes, fontsize="small", va="top")


@lru_cache(maxsize=32)
def _critical_mm(study: Study, row: str) -> tuple[tuple[float, str, float], ...]:
    """Give for 5 % and for half of the cracks the hot spot and the length at which so many blades are lost."""
    spots = {spot: study.grow(spot, row=row, cracks=_GROWN, seed=_SEED).quantiles for spot in _hot_spots(study, row)}
    critical = []
    for probability in (0.05, 0.5):
        lengths = {spot: _quantile(quantiles, "critical_length_mm", probability) for spot, quantiles in spots.items()}
        lengths = {spot: length_mm for spot, length_mm in lengths.items() if math.isfinite(length_mm)}
        if lengths:
            spot = min(lengths, key=lambda name: lengths[name])
            critical.append((probability, spot, lengths[spot]))
    return tuple(critical)


@lru_cache(maxsize=32)
def _found_mm(study: Study, row: str) -> dict[str, float]:
    """Give for each technique the length from which on it finds nine in ten, shortest first; infinite if never."""
    found = {}
    for technique in study.techniques:
        try:
            grown = [
                study.grow(spot, row=row, technique=technique, detectable_at=0.9, cracks=_GROWN, seed=_SEED)
                for spot in _hot_spots(study, row)
            ]
        except ArgumentError:  # It finds fewer than nine in ten of any size.
            found[technique] = math.inf
        else:
            found[technique] = max(_quantile(one.quantiles, "detectable_length_mm", 0.5) for one in grown)
    return dict(sorted(found.items(), key=lambda of: of[1]))


def _hot_spots(study: Study, row: str) -> list[str]:
    """Give the hot spots of a row's root."""
    return [spot for spot in study.hot_spots if row in set(study.grow(spot, cracks=1).by_row["row"])]


def _quantile(quantiles: pd.DataFrame, quantity: str, probability: float) -> float:
    line = quantiles[(quantiles["quantity"] == quantity) & (quantiles["probability"] == probability)]
    return float(line["value"].iloc[0])


@figure
def cracks(comparison: Comparison, ax: Axes | None = None) -> Axes:
    """Cracks found within the horizon to the left; those left on one date, the last outage, to the right.

    The two are not parts of one whole: finds add up over years, while what is left is counted once.

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
    study = comparison.study
    strategies = list(study.strategies)
    ax = begun(ax, "Cracks found over the years, and cracks left on one date", study.name, len(strategies))
    places = np.arange(len(strategies))
    sides = {
        "cracks_found": (-1.0, f"found over {study.horizon_years:g} years, by looks that counted"),
        "cracks_left_after_last_outage": (1.0, "left just after the last outage of each unit"),
    }
    for index, (quantity, (side, words)) in enumerate(sides.items()):
        values = _values(comparison, quantity)
        number = values["value"].to_numpy()
        ax.barh(places, side * number, height=0.6, label=words, **_told_apart(index))
        reach = _reach(values)[:: int(side)]
        label = _INTERVAL if index else None
        ax.errorbar(side * number, places, xerr=reach, fmt="none", color="black", label=label)
        for place, (value, end) in enumerate(zip(number, reach[1 if side > 0.0 else 0], strict=True)):
            ax.annotate(
                f"{value:.3g}",
                (side * (value + end), place),
                xytext=(4.0 * side, 0.0),
                textcoords="offset points",
                fontsize="small",
                ha="left" if side > 0.0 else "right",
                va="center",
            )
    ax.axvline(0.0, color="0.3", linewidth=1)
    ax.margins(x=0.15)
    _strategies_down(ax, strategies)
    ax.xaxis.set_major_formatter(lambda x, _: f"{abs(x):g}")
    halves = f"found over {study.horizon_years:g} years   |   left on one date"
    ax.set_xlabel(f"{halves}\nexpected number of cracks in the fleet")
    below(ax, from_edge=True)
    return ax


@figure
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
    study = comparison.study
    table = comparison.differences
    table = table[table["quantity"] == quantity]
    what = f"Difference in {_WORDS[quantity]} to {study.baseline}, trial by trial"
    ax = begun(ax, what, study.name, len(table))
    places = np.arange(len(table))
    order = list(study.strategies)
    for place, (_, line) in zip(places, table.iterrows(), strict=True):
        value = float(line["value"])
        reach = [[value - line["low"]], [line["high"] - value]]
        of = mark(order.index(line["strategy"]))
        ax.errorbar(value, place, xerr=reach, **of.points)
    ax.errorbar([], [], xerr=[], fmt="o", color="0.3", label=f"difference, with its {_INTERVAL}")
    ax.axvline(0.0, color="0.3", linewidth=1, linestyle="--", label=plain(f"baseline: {study.baseline}"))
    _strategies_down(ax, list(table["strategy"]))
    ax.locator_params(axis="x", nbins=_TICKS)
    unit = f", {_in_money(comparison, ax.xaxis)}" if quantity == "cost" else ""
    ax.set_xlabel(f"difference in {_WORDS[quantity]} over {study.horizon_years:g} years{unit}  (left: less)")
    below(ax, from_edge=True)
    return ax


def cost_against_risk(comparison: Comparison, ax: Axes | None = None) -> Axes:
    """Cost of each strategy against its chance of a loss, both with 95 % intervals: the figure of `which_plan`.

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
    return comparison.which_plan().plot(ax)


def money_unit(comparison: Comparison) -> tuple[float, str]:
    """Give a unit in which the largest cost has few figures, and its name."""
    costs = comparison.summary[comparison.summary["quantity"] == "cost"]["value"]
    return wording.money_unit(float(costs.max()), comparison.study.currency)


def _in_money(comparison: Comparison, axis: Axis) -> str:
    """Show sums on an axis in their unit, and name it."""
    scale, unit = money_unit(comparison)
    axis.set_major_formatter(lambda sum_, _: f"{sum_ / scale:,g}")
    return plain(unit)


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


def _chance_axis(ax: Axes, values: pd.Series[Any]) -> None:
    """Begin the axis at zero, or draw it in powers of ten where chances lie far apart."""
    seen = values[values > 0.0]
    if len(seen) and seen.max() > _SPAN * seen.min():
        ax.set_yscale("log")
        # Bands reach far below what a few events tell; the axis need not.
        ax.set_ylim(bottom=seen.min() / _BELOW)
    else:
        ax.set_ylim(bottom=0.0)


def _strategies_down(ax: Axes, strategies: list[str]) -> None:
    ax.set_yticks(np.arange(len(strategies)), [plain(strategy) for strategy in strategies])
    ax.set_ylim(len(strategies) - 0.4, -0.6)
    ax.set_ylabel("strategy")


def _told_apart(index: int) -> dict[str, Any]:
    """Give the parts of bars a colour, and a pattern for prints in grey."""
    return {"color": mark(index).colour, "edgecolor": "white", "hatch": HATCHES[index % len(HATCHES)]}
