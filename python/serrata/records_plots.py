"""Figures of what records show: one function, one figure."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from serrata.drawing import BLUE, ORANGE, begun, beside, figure, plain

if TYPE_CHECKING:
    from matplotlib.axes import Axes

    from serrata.latent_classes import LatentClasses
    from serrata.missed_cracks import MissedCracks
    from serrata.side_by_side import SideBySide

__all__ = ["latent_classes", "missed_cracks", "overlap"]


@figure
def overlap(side_by_side: SideBySide, ax: Axes | None = None) -> Axes:
    """Blades found by each set of techniques: a bar for each set, and below it who is of the set.

    Where no blade was looked at by all techniques, each pair is drawn by itself, on the blades that both looked at.

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
    patterns = side_by_side.patterns
    patterns = patterns[patterns["class"] == "all"]
    if not len(patterns):
        return _pairs(side_by_side, ax)
    none = side_by_side.found_by_none
    ax = begun(ax, "Found by just these techniques", f"called by none: {none} blades, free of cracks or missed by all")
    sets = [found_by.split(" + ") for found_by in patterns["found_by"]]
    heights = patterns["blades"].to_numpy()
    places = np.arange(len(sets))
    techniques = side_by_side.techniques
    alone = np.array([len(members) == 1 for members in sets])
    for chosen, colour, hatch, words in (
        (alone, ORANGE, "//", "by one technique alone"),
        (~alone, BLUE, "", "by several"),
    ):
        label = f"found {words}"
        ax.bar(places[chosen], heights[chosen], color=colour, hatch=hatch, edgecolor="white", width=0.7, label=label)
    for place, height in zip(places, heights, strict=True):
        ax.annotate(str(height), (place, height), ha="center", va="bottom", fontsize="small")
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
        [*map(plain, techniques), *(f"{tick:g}" for tick in ticks)],
    )
    ax.set_ylim(-step * (len(techniques) + 0.7), 1.12 * max(1, heights.max(initial=1)))
    ax.axhline(0.0, color="0.3", linewidth=0.8)
    ax.set_xticks([])
    ax.set(xlabel="set of techniques (filled: found it)", ylabel="blades found")
    beside(ax)
    return ax


def _pairs(side_by_side: SideBySide, ax: Axes | None) -> Axes:
    """Draw for each pair the blades found by the first alone, by both, and by the second alone."""
    ax = begun(
        ax, "Found by two techniques, pair by pair", "no blade was looked at by all: each pair has blades of its own"
    )
    pairs = side_by_side.pairs
    pairs = pairs[(pairs["class"] == "all") & (pairs["blades"] > 0)].reset_index(drop=True)
    places = np.arange(len(pairs))
    begin = np.zeros(len(pairs))
    parts = (
        ("only_first", ORANGE, "//", "the first alone"),
        ("both", BLUE, "", "both"),
        ("only_second", "#E69F00", "..", "the second alone"),
    )
    for name, colour, hatch, words in parts:
        found = pairs[name].to_numpy()
        label = f"found by {words}"
        ax.barh(places, found, left=begin, color=colour, hatch=hatch, edgecolor="white", height=0.6, label=label)
        begin = begin + found
    for place, numbers in enumerate(pairs[["only_first", "both", "only_second"]].itertuples(index=False)):
        ax.annotate(
            "  ".join(map(str, numbers)),
            (sum(numbers), place),
            xytext=(5, 0),
            textcoords="offset points",
            va="center",
            fontsize="small",
        )
    names = zip(pairs["first"], pairs["second"], pairs["blades"], strict=True)
    ax.set_yticks(places, [plain(f"{first}, {second} ({blades})") for first, second, blades in names])
    ax.invert_yaxis()
    ax.margins(x=0.2)
    ax.set(xlabel="blades found", ylabel="pair (blades both looked at)")
    beside(ax)
    return ax


@figure
def missed_cracks(missed: MissedCracks, ax: Axes | None = None) -> Axes:
    """Cracked blades that nobody found: the range that the methods leave together, each method, and each pair.

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
    ax = begun(ax, "Cracked blades that every technique missed", f"beside {missed.found} found")
    methods, pairs = missed.methods, missed.pairs
    lines = [
        *(
            (words, *numbers, BLUE)
            for words, *numbers in methods[["words", "missed", "low", "high"]].itertuples(index=False)
        ),
        *(
            (f"{first} and {second}", value, low, high, "0.55")
            for first, second, value, low, high in pairs[["first", "second", "missed", "low", "high"]].itertuples(
                index=False
            )
        ),
    ]
    if missed.method == "two-lists" or (missed.method == "lower-bound" and len(missed.techniques) == 2):
        lines = lines[1:]  # The pair is the method.
    least, most = missed.range
    ends = [end for _, value, low, high, _ in lines for end in (value, low, high) if np.isfinite(end)]
    edge = 1.1 * max([1.0, least, *([most] if most is not None else []), *ends])
    level = f"{100 * missed.level:g} %"
    ax.axvspan(least, edge if most is None else most, color=ORANGE, alpha=0.12, linewidth=0)
    words = f"{least:g} and more" if most is None else f"{least:g} to {most:g}" if most > least else f"{least:g}"
    ax.plot([least, least], [-0.6, len(lines) - 0.4], color=ORANGE, label=f"together: {words}")
    if most is not None:
        ax.plot([most, most], [-0.6, len(lines) - 0.4], color=ORANGE)
    unbounded = most is None
    for place, (_, value, low, high, colour) in enumerate(lines):
        ax.plot([value], [place], "o" if colour == BLUE else "s", color=colour)
        if np.isfinite(high):
            ax.plot([low, high], [place, place], color=colour)
        elif np.isfinite(low):
            unbounded = True
            ax.annotate("", (edge, place), (low, place), arrowprops={"arrowstyle": "->", "color": colour})
    ax.plot([], [], "o-", color=BLUE, label=f"all techniques, {level} interval")
    ax.plot([], [], "s-", color="0.55", label=f"two as if independent, {level}")
    if unbounded:
        ax.plot([], [], ">", color="0.3", label="no upper bound")
    ax.set_yticks(range(len(lines)), [plain(name) for name, *_ in lines], fontsize="small")
    ax.set(ylim=(len(lines) - 0.4, -0.6), xlim=(0.0, edge))
    ax.set(xlabel="cracked blades that nobody found", ylabel="method")
    beside(ax)
    return ax


@figure
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
    if found.contradicted:
        about = f"contradicted by {found._contradicted_by}: not to be relied on"
    else:
        number, least, most = found.cracked_called_by_none
        about = (
            f"cracked and called by none: about {number:.1f} ({least:g} to {most:g}) of {found.called_by_none} blades"
        )
    ax = begun(ax, "Detection without known truth", about)
    techniques = found.by_technique
    places = np.arange(len(techniques))
    fade = 0.35 if found.contradicted else 1.0
    for name, colour, marker, shift, words in (
        ("detection", BLUE, "o", -0.12, "on cracked blades: detection"),
        ("false_calls", ORANGE, "s", 0.12, "on sound blades: false calls"),
    ):
        low, middle, high = (techniques[column] for column in (f"{name}_low", name, f"{name}_high"))
        ax.hlines(places + shift, low, high, color=colour, alpha=fade)
        label = f"{words}, {100 * found.level:g} % interval"
        ax.plot(middle, places + shift, marker, color=colour, alpha=fade, label=label)
    ax.set_yticks(places, list(map(plain, techniques["technique"])))
    ax.set_ylim(len(places) - 0.5, -0.5)
    ax.set_xlim(-0.02, 1.02)
    ax.set(xlabel="chance of a call", ylabel="technique")
    beside(ax)
    return ax
