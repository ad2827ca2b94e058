"""Figures of what is believed given records: one function, one figure.

Each takes a `Belief` and, if wanted, the Axes to draw in, and returns the Axes.
"""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np

from serrata.drawing import BLUE, ORANGE, SIZE, begun, beside, plain, sizes_along, within

if TYPE_CHECKING:
    from matplotlib.axes import Axes

    from serrata.belief import Belief

__all__ = ["inputs", "lengths", "losses", "rows", "write"]

_GREY = "0.6"
#: Rows that have lines of their own; more would not be told apart.
_MOST_LINES = 8
#: Names beside a figure of the usual height.
_MOST_NAMES = 16
#: Colours and strokes of lines, Okabe and Ito's, darkest first.
_LINES = [
    (colour, stroke) for stroke in ("-", "--") for colour in (BLUE, ORANGE, "#009E73", "#CC79A7", "#000000", "#E69F00")
]


def rows(belief: Belief, ax: Axes | None = None) -> Axes:
    """The chance that each row loses a blade to its next outage if nobody looks, with the expected cracks beside it.

    Parameters
    ----------
    belief : Belief
        What to draw.
    ax : matplotlib.axes.Axes, optional
        Where to draw; a new figure if left out.

    Returns
    -------
    matplotlib.axes.Axes
    """
    ax = begun(ax, "Rows by their chance of a loss to the next outage, if nobody looks", belief._about["study"])
    names = belief.rows_by_risk()[::-1]
    quantity = "p_loss_to_next_outage" if belief._of_rows("p_loss_to_next_outage") else "p_loss_in_5_years"
    risks, cracks, called = (belief._of_rows(what) for what in (quantity, "cracks", "blades_called"))
    shown = [name for name in names if name in risks]
    values = [max(risks[name], 1e-12) for name in shown]
    ax.barh(range(len(shown)), values, color=BLUE, height=0.6)
    ax.set_xscale("log")
    ax.set_yticks(range(len(shown)), [plain(name) for name in shown])
    lowest, highest = min(values), max(values)
    ax.set_xlim(lowest / 3, highest * 30)
    for place, (name, value) in enumerate(zip(shown, values, strict=True)):
        words = f" {value:.1e}: {cracks[name]:.2f} cracks now, {called[name]:.0f} blades called so far"
        ax.text(value, place, words, va="center", fontsize="small")
    ax.set_xlabel("chance of a loss to the next outage" if "next" in quantity else "chance of a loss in 5 years")
    return ax


def inputs(belief: Belief, ax: Axes | None = None) -> Axes:
    """Row factors, growth of rows and what is uncertain: before the records and now, in standard deviations before.

    Parameters
    ----------
    belief : Belief
        What to draw.
    ax : matplotlib.axes.Axes, optional
        Where to draw; a new figure if left out.

    Returns
    -------
    matplotlib.axes.Axes
    """
    ax = begun(ax, "What the records changed: mean and standard deviation", belief._about["study"])
    table = belief.inputs[belief.inputs["technique"] == ""].iloc[::-1]
    places = np.arange(len(table))
    before, scale = table["mean_before"].to_numpy(), table["sd_before"].to_numpy()
    ax.axvspan(-1.0, 1.0, color=_GREY, alpha=0.2, linewidth=0, label="before: one standard deviation")
    ax.axvline(0.0, color=_GREY, linewidth=1)
    now, sd = (table["mean"].to_numpy() - before) / scale, table["sd"].to_numpy() / scale
    ax.errorbar(now, places, xerr=sd, fmt="o", color=BLUE, capsize=3, label="given the records")
    names = [f"{row or 'all rows'}: {what}" for row, what in zip(table["row"], table["input"], strict=True)]
    ax.set_yticks(places, [plain(name) for name in names], fontsize="small")
    ax.set_xlabel("standard deviations from the mean before")
    figure = ax.get_figure(root=True)
    if figure is not None and len(names) > _MOST_NAMES:
        figure.set_size_inches(SIZE[0], 0.28 * len(names), forward=False)
    within(ax, loc="lower right")
    return ax


def lengths(belief: Belief, ax: Axes | None = None) -> Axes:
    """The chance that a row has a crack longer than a length, for the rows most at risk.

    Parameters
    ----------
    belief : Belief
        What to draw.
    ax : matplotlib.axes.Axes, optional
        Where to draw; a new figure if left out.

    Returns
    -------
    matplotlib.axes.Axes
    """
    ax = begun(ax, f"Longest crack in a row now, {belief._about['start_year']:g}", belief._about["study"])
    longest = 0.0
    for (colour, stroke), name in zip(_LINES, belief.rows_by_risk()[:_MOST_LINES], strict=False):
        own = belief.lengths[(belief.lengths["row"] == name) & (belief.lengths["length_mm"] > 0.0)]
        chance = 1.0 - own["p_none_longer"].to_numpy()
        ax.plot(own["length_mm"], chance, color=colour, linestyle=stroke, label=plain(name))
        longest = max(longest, float(own["length_mm"][chance > 1e-4].max()) if (chance > 1e-4).any() else 0.0)
    sizes_along(ax)
    ax.set(xlabel="surface length, mm", ylabel="chance of a longer crack", yscale="log", ylim=(1e-4, 1.0))
    ax.set_xlim(float(belief.lengths["length_mm"][belief.lengths["length_mm"] > 0].min()), max(longest, 1.0))
    beside(ax)
    return ax


def losses(belief: Belief, ax: Axes | None = None) -> Axes:
    """The chance that a row has lost a blade by a moment if nobody looks, for the rows most at risk.

    Parameters
    ----------
    belief : Belief
        What to draw.
    ax : matplotlib.axes.Axes, optional
        Where to draw; a new figure if left out.

    Returns
    -------
    matplotlib.axes.Axes
    """
    ax = begun(ax, "Chance that a row has lost a blade, if nobody looks", belief._about["study"])
    for (colour, stroke), name in zip(_LINES, belief.rows_by_risk()[:_MOST_LINES], strict=False):
        own = belief.losses[belief.losses["row"] == name]
        chance = np.where(own["p_loss_until"] > 0.0, own["p_loss_until"], np.nan)
        ax.plot(own["year"], chance, color=colour, linestyle=stroke, label=plain(name))
    ax.set(xlabel="year", ylabel="chance of a loss", yscale="log")
    beside(ax)
    return ax


def write(belief: Belief, directory: Path) -> None:
    """Write all figures into a directory."""
    from matplotlib.figure import Figure

    for name, draw in {"rows": rows, "inputs": inputs, "lengths": lengths, "losses": losses}.items():
        figure = Figure(figsize=SIZE, layout="constrained")
        draw(belief, figure.add_subplot())
        figure.savefig(directory / f"belief-{name}.png", dpi=120)
