"""Figures of grown cracks: one function, one figure.

Each takes `GrownCracks` and, if wanted, the Axes to draw in, and returns the Axes.
"""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np

from serrata.errors import ArgumentError
from serrata.plots import SIZE, _axes

if TYPE_CHECKING:
    from matplotlib.axes import Axes

    from serrata.grown import GrownCracks

__all__ = ["critical_size", "growth", "joining", "shape", "window", "write"]

_DEPTH, _LENGTH, _GREY = "#0072B2", "#D55E00", "0.6"
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


def growth(grown: GrownCracks, ax: Axes | None = None, *, what: str = "depth_mm") -> Axes:
    """Depth, length or stress intensity against starts: single cracks, and the band of cracks not yet lost.

    The band holds 80 % of the cracks that are still there, and ends where three quarters are lost: beyond that
    it would tell of the slowest cracks alone.

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
    ax = _axes(ax)
    ways = [way for _, way in grown.ways.groupby("crack")]
    for way in ways[:_DRAWN]:
        ax.plot(way["starts"], way[what], color=_GREY, linewidth=0.6, alpha=0.6)
    last = np.array([way["starts"].iloc[-1] for way in ways])
    moments = np.linspace(0.0, np.quantile(last, 0.98), _MOMENTS)
    band = []
    for starts in moments:
        there = [
            np.interp(starts, way["starts"], way[what]) for way, end in zip(ways, last, strict=True) if end >= starts
        ]
        band.append(np.quantile(there, [0.1, 0.5, 0.9]) if 4 * len(there) >= len(ways) else np.full(3, np.nan))
    low, half, high = np.array(band).T
    ax.fill_between(moments, low, high, color=_DEPTH, alpha=0.25, linewidth=0, label="80 % of those not yet lost")
    ax.plot(moments, half, color=_DEPTH, label="half of them")
    ax.plot([], [], color=_GREY, linewidth=0.6, label="single cracks, up to the loss")
    ax.set(xlabel="starts", ylabel=_WORDS[what], xlim=(0.0, moments[-1]), title=f"Growth at {grown.hot_spot}")
    ax.set_ylim(bottom=0.0)
    ax.legend(frameon=False)
    return ax


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
    ax = _axes(ax)
    for _, way in list(grown.ways.groupby("crack"))[:_DRAWN]:
        ax.plot(way["depth_mm"], 2.0 * way["depth_mm"] / way["length_mm"], color=_DEPTH, linewidth=0.7, alpha=0.5)
    ax.set(
        xlabel="depth, mm", ylabel="depth over half length", xscale="log", title=f"Shape of cracks at {grown.hot_spot}"
    )
    ax.set_ylim(bottom=0.0)
    return ax


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
    ax = _axes(ax)
    lost = grown.cracks[np.isfinite(grown.cracks["years_to_loss"])].head(2000)
    tough = lost["toughness_mpa_sqrt_m"].notna().all()
    across, words = (
        (lost["toughness_mpa_sqrt_m"], "toughness, MPa√m")
        if tough
        else (lost["stress_factor"], "stress factor of the blade")
    )
    ax.plot(across, lost["critical_length_mm"], "s", color=_LENGTH, markersize=2.5, alpha=0.4, label="surface length")
    ax.plot(across, lost["critical_depth_mm"], "o", color=_DEPTH, markersize=2.5, alpha=0.4, label="depth")
    ax.set(xlabel=words, ylabel="size at the loss, mm", title=f"Critical size at {grown.hot_spot}")
    ax.set_ylim(bottom=0.0)
    ax.legend(frameon=False, markerscale=2.5)
    return ax


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
    ax = _axes(ax)
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
        ends = [middle[-1] - half[-1], middle[-1] + half[-1]]
        if crack["end"].iloc[-1] == "joins":
            ax.plot(ends, [years[-1]] * 2, color="k", linewidth=0.8)
        elif crack["end"].iloc[-1] == "lost":
            ax.plot(ends, [years[-1]] * 2, color=_LENGTH, linewidth=2.0, zorder=3)
    ax.figure.colorbar(mesh, ax=ax, label="depth, mm")
    ax.plot([], [], color="k", linewidth=0.8, label="joins its neighbour")
    ax.plot([], [], color=_LENGTH, linewidth=2.0, label="the blade is lost")
    ax.set(
        xlabel="along the serration, mm",
        ylabel="years since the first crack",
        title=f"Origins of one place at {grown.hot_spot}",
    )
    ax.set_ylim(0.0, 1.02 * max(crack["years"].iloc[-1] for crack in cracks))
    ax.legend(frameon=False, loc="lower right")
    return ax


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
    ax = _axes(ax)
    years = np.sort(grown.cracks["window_years"].to_numpy())
    share = 1.0 - np.arange(1, len(years) + 1) / len(years)
    ax.step(years, share, where="post", color=_DEPTH, label="cracks with a longer window")
    between = grown.years_between_outages
    for every, style in zip((1, 2, 3), ("-", "--", ":"), strict=True):
        if np.isfinite(between):
            words = {1: "one outage interval", 2: "two", 3: "three"}[every]
            ax.axvline(every * between, color=_LENGTH, linestyle=style, label=f"{words}: {every * between:.3g} years")
    finite = years[np.isfinite(years)]
    if len(finite):
        ax.set_xlim(0.0, max(float(np.quantile(finite, 0.95)), 4.0 * between if np.isfinite(between) else 0.0))
    ax.set(
        xlabel=f"years from detectable by {grown.technique} to lost",
        ylabel="share of cracks",
        ylim=(0.0, 1.02),
        title=f"Window for a look at {grown.hot_spot}",
    )
    ax.legend(frameon=False)
    return ax


def write(grown: GrownCracks, directory: Path) -> None:
    """Write every figure that the cracks have into a directory."""
    from matplotlib.figure import Figure

    figures: dict[str, Any] = {what: lambda ax, what=what: growth(grown, ax, what=what) for what in _WORDS}
    figures["shape"] = lambda ax: shape(grown, ax)
    figures["critical-size"] = lambda ax: critical_size(grown, ax)
    if grown.joins:
        figures["joining"] = lambda ax: joining(grown, ax)
    if grown.technique is not None:
        figures["window"] = lambda ax: window(grown, ax)
    for name, draw in figures.items():
        figure = Figure(figsize=SIZE, layout="constrained")
        draw(figure.add_subplot())
        figure.savefig(directory / f"grown-{name.replace('_', '-')}.png", dpi=120)
