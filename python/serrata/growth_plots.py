"""Figures of grown cracks: one function, one figure.

Each takes `GrownCracks` and, if wanted, the Axes to draw in, and returns the Axes.
"""

from __future__ import annotations

import math
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np

from serrata.drawing import BLUE, GREY, ORANGE, begun, figure, save, sizes_along, within
from serrata.errors import ArgumentError

if TYPE_CHECKING:
    import pandas as pd
    from matplotlib.axes import Axes

    from serrata.grown import GrownCracks

__all__ = ["critical_size", "growth", "joining", "shape", "window", "write"]

_WORDS = {
    "depth_mm": "depth, mm",
    "length_mm": "surface length, mm",
    "deepest_mpa_sqrt_m": "highest K of a start at the deepest point, MPa√m",
    "surface_mpa_sqrt_m": "highest K of a start at the surface, MPa√m",
}
#: Ways that are drawn one by one behind the bands.
_DRAWN = 60
#: Moments at which the bands are worked out.
_MOMENTS = 120


@figure
def growth(grown: GrownCracks, ax: Axes | None = None, *, what: str = "depth_mm") -> Axes:
    """Depth, length or stress intensity against starts: single cracks, and how far half of all cracks are.

    A crack whose blade is lost counts as beyond every size, so that no line falls for want of fast cracks: that of half
    of the cracks ends where half of the blades are lost, the upper edge of the band where a tenth is.
    Years stand above, with the outages of the row's unit as far as the study has them.

    Parameters
    ----------
    grown : GrownCracks
        What to draw.
    ax : matplotlib.axes.Axes, optional
        Where to draw; a new figure if left out.
    what : str
        depth_mm, length_mm, deepest_mpa_sqrt_m or surface_mpa_sqrt_m.

    Returns
    -------
    matplotlib.axes.Axes
    """
    if what not in _WORDS:
        raise ArgumentError(f"what = {what!r}\n    must be one of {', '.join(_WORDS)}\n    depth_mm shows the depth")
    ax = begun(ax, f"Growth at {grown.hot_spot}", f"row {grown.row}, {grown.study.name}")
    ways = [way for _, way in grown.ways.groupby("crack")]
    for way in ways[:_DRAWN]:
        ax.plot(way["starts"], way[what], color=GREY, linewidth=0.6, alpha=0.6)
    last = np.array([way["starts"].iloc[-1] for way in ways])
    moments = np.linspace(0.0, np.quantile(last, 0.98), _MOMENTS)
    columns = [(way["starts"].to_numpy(dtype=float), way[what].to_numpy(dtype=float)) for way in ways]
    sizes = np.array([np.interp(moments, starts, of, right=np.inf) for starts, of in columns])
    # Ranks, not means of neighbours: one of the two may be lost.
    low, half, high = np.quantile(sizes, [0.1, 0.5, 0.9], axis=0, method="inverted_cdf")
    low, half, high = (np.where(np.isfinite(edge), edge, np.nan) for edge in (low, half, high))
    highest = max(float(way[what].max()) for way in ways)
    both = np.where(np.isnan(high) & ~np.isnan(low), 1.05 * highest, high)
    ax.fill_between(moments, low, both, color=BLUE, alpha=0.2, linewidth=0, label="80 % of cracks, lost ones as beyond")
    ax.plot(moments, half, color=BLUE, linewidth=2, label="half of cracks are smaller, until half are lost")
    ax.plot([], [], color=GREY, linewidth=0.6, label="single cracks, up to the loss")
    ax.set(xlabel="starts", ylabel=_WORDS[what], xlim=(0.0, moments[-1]), ylim=(0.0, 1.05 * highest))
    _years_above(grown, ax, ways)
    within(ax, loc="upper right" if what.endswith("_mm") else "lower right")
    return ax


def _years_above(grown: GrownCracks, ax: Axes, ways: list[pd.DataFrame]) -> None:
    """Put years since the beginning on an axis above, and mark outages there."""
    longest = max(ways, key=lambda way: float(way["starts"].iloc[-1]))
    years, starts = (longest[name].to_numpy(dtype=float) for name in ("years", "starts"))
    to_years, to_starts = (lambda at: np.interp(at, starts, years)), (lambda at: np.interp(at, years, starts))
    above = ax.secondary_xaxis("top", functions=(to_years, to_starts))
    above.set_xlabel("years since the beginning of the study", fontsize="small")
    outages = np.array(grown.outage_years)
    at = np.interp(outages[outages <= years[-1]], years, starts)
    if len(at):
        first, end = (f"{grown.study.start_year + outages[k]:g}" for k in (0, -1))
        across = ax.get_xaxis_transform()
        label = f"outages of the study, {first} to {end}"
        ax.plot(at, np.ones(len(at)), "v", color=ORANGE, markersize=6, transform=across, clip_on=False, label=label)


@figure
def shape(grown: GrownCracks, ax: Axes | None = None) -> Axes:
    """Aspect, depth over half the surface length, against depth: the ways of single cracks.

    Parameters
    ----------
    grown : GrownCracks
        What to draw.
    ax : matplotlib.axes.Axes, optional
        Where to draw; a new figure if left out.

    Returns
    -------
    matplotlib.axes.Axes
    """
    ax = begun(ax, f"Shape of cracks at {grown.hot_spot}", f"row {grown.row}, {grown.study.name}")
    for index, (_, way) in enumerate(list(grown.ways.groupby("crack"))[:_DRAWN]):
        label = None if index else "single cracks, up to the loss"
        aspect = 2.0 * way["depth_mm"] / way["length_mm"]
        ax.plot(way["depth_mm"], aspect, color=BLUE, linewidth=0.7, alpha=0.5, label=label)
    sizes_along(ax)
    ax.set(xlabel="depth, mm", ylabel="depth over half the surface length")
    ax.set_ylim(bottom=0.0)
    within(ax, loc="lower right")
    return ax


@figure
def critical_size(grown: GrownCracks, ax: Axes | None = None) -> Axes:
    """Depth and surface length at the loss, against toughness where the limit has one, else by stress factor.

    Parameters
    ----------
    grown : GrownCracks
        What to draw.
    ax : matplotlib.axes.Axes, optional
        Where to draw; a new figure if left out.

    Returns
    -------
    matplotlib.axes.Axes
    """
    ax = begun(ax, f"Critical size at {grown.hot_spot}", f"row {grown.row}, {grown.study.name}")
    lost = grown.cracks[np.isfinite(grown.cracks["years_to_loss"])].head(2000)
    tough = lost["toughness_mpa_sqrt_m"].notna().all()
    across, words = (
        (lost["toughness_mpa_sqrt_m"], "toughness, MPa√m")
        if tough
        else (lost["stress_factor"], "stress factor of the blade")
    )
    ax.plot(across, lost["critical_length_mm"], "s", color=ORANGE, markersize=2.5, alpha=0.4, label="surface length")
    ax.plot(across, lost["critical_depth_mm"], "o", color=BLUE, markersize=2.5, alpha=0.4, label="depth")
    ax.set(xlabel=words, ylabel="size at the loss, mm")
    ax.set_ylim(bottom=0.0)
    within(ax, loc="upper left")
    return ax


@figure
def joining(grown: GrownCracks, ax: Axes | None = None, *, place: int | None = None) -> Axes:
    """One place over time: where along the serration its cracks reach, how deep they are, and where they join.

    Parameters
    ----------
    grown : GrownCracks
        What to draw.
    ax : matplotlib.axes.Axes, optional
        Where to draw; a new figure if left out.
    place : int, optional
        Which of `grown.places`; the one with the most joins if left out.

    Returns
    -------
    matplotlib.axes.Axes
    """
    from matplotlib.colors import Normalize

    if not grown.joins:
        raise ArgumentError(
            f"hot_spot = {grown.hot_spot!r}\n    must have several origins and a joining rule\n    state joining"
        )
    places = grown.places
    if place is None:
        joined = places.loc[places["end"] == "joins", ["place", "crack"]].drop_duplicates()
        place = int(joined["place"].mode().iloc[0]) if len(joined) else 0
    if place not in set(places["place"]):
        raise ArgumentError(
            f"place = {place!r}\n    must be one of grown.places\n    leave it out for the one with the most joins"
        )
    cracks = [crack for _, crack in places[places["place"] == place].groupby("crack")]
    ax = begun(ax, f"Origins of one place at {grown.hot_spot}", f"row {grown.row}, {grown.study.name}")
    deepest = max(crack["depth_mm"].max() for crack in cracks)
    colours = Normalize(0.0, deepest)
    for crack in cracks:
        years, middle = crack["years"].to_numpy(), crack["position_mm"].to_numpy()
        half = 0.5 * crack["length_mm"].to_numpy()
        if years[-1] > years[0]:
            mesh = ax.pcolormesh(
                np.vstack([middle - half, middle + half]),
                np.vstack([years, years]),
                0.5 * (crack["depth_mm"].to_numpy()[1:] + crack["depth_mm"].to_numpy()[:-1])[np.newaxis],
                norm=colours,
                cmap="viridis_r",
                rasterized=True,
            )
        if crack["end"].iloc[-1] == "joins":
            ends = [middle[-1] - half[-1], middle[-1] + half[-1]]
            ax.plot(ends, [years[-1]] * 2, color="k", linewidth=0.8)
    # The crack that is lost may be one that came of joining at that very moment.
    loss = float(grown.cracks["years_to_loss"].iloc[place])
    if math.isfinite(loss):
        ax.axhline(loss, color=ORANGE, linewidth=2.0, zorder=3)
    ax.figure.colorbar(mesh, ax=ax, label="depth, mm")
    ax.plot([], [], color="k", linewidth=0.8, label="joins its neighbour")
    ax.plot([], [], color=ORANGE, linewidth=2.0, label="the blade is lost")
    ax.set(xlabel="along the serration, mm", ylabel="years since the first crack")
    ax.set_ylim(0.0, 1.02 * max(crack["years"].iloc[-1] for crack in cracks))
    within(ax, loc="lower right")
    return ax


@figure
def window(grown: GrownCracks, ax: Axes | None = None) -> Axes:
    """Share of cracks with a window longer than so many years, beside looks at every outage and every second.

    Parameters
    ----------
    grown : GrownCracks
        What to draw.
    ax : matplotlib.axes.Axes, optional
        Where to draw; a new figure if left out.

    Returns
    -------
    matplotlib.axes.Axes
    """
    if grown.technique is None:
        raise ArgumentError("technique = None\n    must be named: without one there is no window\n    grow again")
    ax = begun(ax, f"Window for a look at {grown.hot_spot}", f"row {grown.row}, {grown.study.name}")
    years = np.sort(grown.cracks["window_years"].to_numpy())
    share = 1.0 - np.arange(1, len(years) + 1) / len(years)
    ax.step(years, share, where="post", color=BLUE, label="cracks with a longer window")
    between = grown.years_between_outages
    for every, style in zip((1, 2, 3), ("-", "--", ":"), strict=True):
        if np.isfinite(between):
            words = {1: "one outage interval", 2: "two", 3: "three"}[every]
            ax.axvline(every * between, color=ORANGE, linestyle=style, label=f"{words}: {every * between:.3g} years")
    finite = years[np.isfinite(years)]
    if len(finite):
        ax.set_xlim(0.0, max(float(np.quantile(finite, 0.95)), 4.0 * between if np.isfinite(between) else 0.0))
    ax.set(
        xlabel=f"years from detectable by {grown.technique} to lost",
        ylabel="share of cracks",
        ylim=(0.0, 1.02),
    )
    within(ax, loc="upper right")
    return ax


def write(grown: GrownCracks, directory: Path) -> None:
    """Write every figure that the cracks have into a directory."""
    figures: dict[str, Any] = {what: lambda ax, what=what: growth(grown, ax, what=what) for what in _WORDS}
    figures["shape"] = lambda ax: shape(grown, ax)
    figures["critical-size"] = lambda ax: critical_size(grown, ax)
    if grown.joins:
        figures["joining"] = lambda ax: joining(grown, ax)
    if grown.technique is not None:
        figures["window"] = lambda ax: window(grown, ax)
    for name, draw in figures.items():
        save(draw, directory / f"grown-{name.replace('_', '-')}.png")
