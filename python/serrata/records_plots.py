"""Figures of what records show: one function, one figure."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    from matplotlib.axes import Axes

    from serrata.latent_classes import LatentClasses
    from serrata.missed_cracks import MissedCracks
    from serrata.side_by_side import SideBySide

__all__ = ["latent_classes", "missed_cracks", "overlap"]

#: Width and height of a figure, in inches.
SIZE = (9.0, 4.5)
_BAR = "#0072B2"
_ALONE = "#D55E00"


def overlap(side_by_side: SideBySide, ax: Axes | None = None) -> Axes:
    """Blades found by each set of techniques: a bar for each set, and below it who is of the set.

    Parameters
    ----------
    side_by_side : SideBySide
        What to draw; all blades, whatever classes there are.
    ax : matplotlib.axes.Axes, optional
        Where to draw; a new figure if left out.

    Returns
    -------
    matplotlib.axes.Axes
    """
    ax = _axes(ax)
    patterns = side_by_side.patterns
    patterns = patterns[patterns["class"] == "all"]
    sets = [found_by.split(" + ") for found_by in patterns["found_by"]]
    heights = patterns["blades"].to_numpy()
    places = np.arange(len(sets))
    techniques = side_by_side.techniques
    colours = [_ALONE if len(members) == 1 else _BAR for members in sets]
    ax.bar(places, heights, color=colours, width=0.7)
    for place, height in zip(places, heights, strict=True):
        ax.annotate(str(height), (place, height), ha="center", va="bottom", fontsize="small")
    ax.bar([0], [0], color=_ALONE, label="found by one technique alone")
    ax.bar([0], [0], color=_BAR, label="found by several")
    # Each technique has a line of dots below the bars: filled where it is of the set.
    step = 0.07 * max(1, heights.max(initial=1))
    for line, technique in enumerate(techniques):
        below = -step * (line + 1)
        member = np.array([technique in members for members in sets], dtype=bool)
        ax.scatter(places[~member], np.full((~member).sum(), below), s=18, color="0.85")
        ax.scatter(places[member], np.full(member.sum(), below), s=30, color="0.2")
    ticks = [tick for tick in ax.get_yticks() if tick >= 0 and tick == int(tick)]
    ax.set_yticks(
        [*(-step * (line + 1) for line in range(len(techniques))), *ticks],
        [*techniques, *(f"{tick:g}" for tick in ticks)],
    )
    ax.set_ylim(-step * (len(techniques) + 0.7), 1.12 * max(1, heights.max(initial=1)))
    ax.axhline(0.0, color="0.3", linewidth=0.8)
    ax.set_xticks([])
    none = side_by_side.found_by_none
    ax.set(
        xlabel=f"set of techniques; called by none: {none} blades, free of cracks or missed by all",
        ylabel="blades found",
        title="Found by just these techniques",
    )
    ax.legend(frameon=False, fontsize="small")
    return ax


def missed_cracks(missed: MissedCracks, ax: Axes | None = None) -> Axes:
    """Cracked blades that nobody found, by each method, with intervals.

    Parameters
    ----------
    missed : MissedCracks
        What to draw.
    ax : matplotlib.axes.Axes, optional
        Where to draw; a new figure if left out.

    Returns
    -------
    matplotlib.axes.Axes
    """
    ax = _axes(ax)
    low, high = missed.interval
    about = math.nan if missed.estimate is None else missed.estimate
    lines = [(f"answer: {missed.method}", about, low, high)]
    pairs = missed.pairs
    for first, second, value, lower, upper in zip(
        *(pairs[name] for name in ("first", "second", "missed", "low", "high")), strict=True
    ):
        bounded = upper is not None and math.isfinite(upper)
        lines.append((f"{first} and {second}\nas if independent", value, lower, upper if bounded else None))
    unbounded = False
    for place, (_, value, lower, upper) in enumerate(lines):
        colour = _ALONE if place == 0 else _BAR
        ax.plot([value], [place], "o", color=colour)
        if upper is None:
            unbounded = True
            beyond = 1.15 * (lower if math.isnan(value) else value) + 1.0
            ax.annotate("", (beyond, place), (lower, place), arrowprops={"arrowstyle": "->", "color": colour})
        else:
            ax.plot([lower, upper], [place, place], color=colour)
    ax.plot([], [], "o-", color="0.3", label=f"estimate, {100 * missed.level:g} % interval")
    if unbounded:
        ax.plot([], [], ">", color="0.3", label="no upper bound")
    ax.set_yticks(range(len(lines)), [name for name, *_ in lines])
    ax.invert_yaxis()
    ax.set_xlim(left=0.0)
    ax.grid(alpha=0.25)
    ax.set(
        xlabel=f"cracked blades that nobody found, beside {missed.found} found",
        ylabel="method",
        title="What every technique missed",
    )
    ax.legend(frameon=False, fontsize="small")
    return ax


def latent_classes(found: LatentClasses, ax: Axes | None = None) -> Axes:
    """Chance of a call on cracked and on sound blades of each technique, with intervals.

    Parameters
    ----------
    found : LatentClasses
        What to draw.
    ax : matplotlib.axes.Axes, optional
        Where to draw; a new figure if left out.

    Returns
    -------
    matplotlib.axes.Axes
    """
    ax = _axes(ax)
    techniques = found.by_technique
    places = np.arange(len(techniques))
    for name, colour, shift, words in (
        ("detection", _BAR, -0.12, "on cracked blades: detection"),
        ("false_calls", _ALONE, 0.12, "on sound blades: false calls"),
    ):
        low, middle, high = (techniques[column] for column in (f"{name}_low", name, f"{name}_high"))
        ax.hlines(places + shift, low, high, color=colour)
        ax.plot(middle, places + shift, "o", color=colour, label=f"{words}, {100 * found.level:g} % interval")
    ax.set_yticks(places, list(techniques["technique"]))
    ax.invert_yaxis()
    ax.set_xlim(-0.02, 1.02)
    ax.grid(alpha=0.25)
    doubt = ": contradicted by blades of known truth, not to be relied on" if found.contradicted else ""
    number, least, most = found.cracked_called_by_none
    missed = f"cracked and called by none: about {number:.1f} ({least:g} to {most:g}) of {found.called_by_none}"
    ax.set(xlabel=f"chance of a call; {missed}", ylabel="technique", title=f"Detection without known truth{doubt}")
    ax.legend(frameon=False, fontsize="small")
    return ax


def _axes(ax: Axes | None) -> Axes:
    if ax is not None:
        return ax
    import matplotlib.pyplot as plt

    return plt.subplots(figsize=SIZE, layout="constrained")[1]
