"""Figures of what is believed given records: one function, one figure.

Each takes a `Belief` and, if wanted, the Axes to draw in, and returns the Axes.
"""

from __future__ import annotations

from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np

from serrata.drawing import (
    BLUE,
    GREY,
    ORANGE,
    begun,
    below,
    beside,
    figure,
    mark,
    named_at_right,
    plain,
    room_for,
    save,
    sizes_along,
    within,
)

if TYPE_CHECKING:
    from matplotlib.axes import Axes

    from serrata.belief import Belief
    from serrata.explanations import Explanations
    from serrata.hindcast import Hindcast

__all__ = ["explained", "foreseen", "inputs", "lengths", "losses", "rows", "write"]

#: Rows that have lines of their own; more would not be told apart.
_MOST_LINES = 8


@figure
def rows(belief: Belief, ax: Axes | None = None) -> Axes:
    """Draw the chance that each row loses a blade to its next outage if nobody looks, with the cracks that are there.

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
    to_next = belief._of_rows("p_loss_to_next_outage")
    cracks, called = (belief._of_rows(what) for what in ("cracks", "blades_called"))
    losses = belief.losses
    for place, name in enumerate(names):
        own = losses[losses["row"] == name].iloc[0 if name in to_next else -1]
        value, low, high = (float(own[what]) for what in ("p_loss_until", "low", "high"))
        if value > 0.0:
            ax.plot([max(low, value / 1e3), high], [place, place], color=BLUE, linewidth=2)
            ax.plot(value, place, "o", color=BLUE)
            known = f"{value:.0e}"
        else:
            # None seen is no chance of zero: what is drawn is the most that it may be.
            ax.plot(high, place, "<", color=GREY)
            known = f"< {high:.0e}"
        words = f"{known}; {cracks[name]:.2f} cracks now; {called[name]:.0f} called"
        ax.text(1.01, place, words, va="center", fontsize="small", transform=ax.get_yaxis_transform())
    ax.plot([], [], "o-", color=BLUE, label="chance, with its 95 % interval")
    ax.plot([], [], "<", color=GREY, linestyle="", label="none seen: at most (95 %)")
    ax.set_xscale("log")
    ax.set_yticks(range(len(names)), [plain(name) for name in names])
    ax.set_xlabel("chance of a loss to the next outage" if to_next else "chance of a loss in 5 years")
    below(ax, from_edge=True)
    return ax


@figure
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
    ax.axvspan(-1.0, 1.0, color=GREY, alpha=0.2, linewidth=0, label="before: one standard deviation")
    ax.axvline(0.0, color=GREY, linewidth=1)
    now, sd = (table["mean"].to_numpy() - before) / scale, table["sd"].to_numpy() / scale
    ax.errorbar(now, places, xerr=sd, fmt="o", color=BLUE, capsize=3, label="given the records")
    names = [f"{row or 'all rows'}: {what}" for row, what in zip(table["row"], table["input"], strict=True)]
    ax.set_yticks(places, [plain(name) for name in names], fontsize="small")
    ax.set_xlabel("standard deviations from the mean before")
    room_for(ax, len(names))
    below(ax, from_edge=True)
    return ax


@figure
def lengths(belief: Belief, ax: Axes | None = None) -> Axes:
    """Draw the chance that a row has a crack longer than a length, for the rows most at risk.

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
    shortest, longest = 1.0, 0.0
    for place, name in enumerate(belief.rows_by_risk()[:_MOST_LINES]):
        of = mark(place)
        own = belief.lengths[(belief.lengths["row"] == name) & (belief.lengths["length_mm"] > 0.0)]
        chance = 1.0 - own["p_none_longer"].to_numpy()
        ax.plot(own["length_mm"], chance, color=of.colour, linestyle=of.dashes, label=plain(name))
        longest = max(longest, float(own["length_mm"][chance > 1e-4].max()) if (chance > 1e-4).any() else 0.0)
        # To the left of the shortest cracks nothing changes.
        changing = own["length_mm"][chance < 0.999 * chance[0]]
        shortest = min(shortest, float(changing.min()) if len(changing) else shortest)
    sizes_along(ax)
    ax.set(xlabel="surface length, mm", ylabel="chance of a longer crack", yscale="log", ylim=(1e-4, 1.0))
    ax.set_xlim(0.7 * shortest, max(longest, 2.0 * shortest))
    beside(ax)
    return ax


@figure
def losses(belief: Belief, ax: Axes | None = None) -> Axes:
    """Draw the chance that a row has lost a blade by a moment if nobody looks, for the rows most at risk.

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
    ends = []
    for place, name in enumerate(belief.rows_by_risk()[:_MOST_LINES]):
        of = mark(place)
        own = belief.losses[belief.losses["row"] == name]
        chance = np.where(own["p_loss_until"] > 0.0, own["p_loss_until"], np.nan)
        ax.plot(own["year"], chance, **of.line)
        seen = own["p_loss_until"] > 0.0
        ax.fill_between(own["year"], own["low"], own["high"], where=seen, color=of.colour, alpha=0.12, linewidth=0)
        if seen.any():
            last = own[seen].iloc[-1]
            ends.append((float(last["year"]), float(last["p_loss_until"]), name, of))
    ax.fill_between([], [], [], color="0.5", alpha=0.3, label="band: 95 % interval")
    ax.set(xlabel="year", ylabel="chance of a loss", yscale="log")
    below(ax)
    named_at_right(ax, ends)
    return ax


@figure
def foreseen(hindcast: Hindcast, ax: Axes | None = None) -> Axes:
    """Blades that past looks called, beside what was to be expected from all looks before.

    Parameters
    ----------
    hindcast : Hindcast
        What to draw.
    ax : matplotlib.axes.Axes, optional
        Where to draw; a new figure if left out.

    Returns
    -------
    matplotlib.axes.Axes
    """
    ax = begun(ax, "Past looks: found, and expected from all looks before", hindcast._study)
    looks = hindcast.looks
    places = np.arange(len(looks))
    low, high, expected = (looks[name].to_numpy(dtype=float) for name in ("low", "high", "expected"))
    ax.vlines(places, low, high, color=GREY, linewidth=6, alpha=0.6, label="5 to 95 % of what was expected")
    ax.plot(places, expected, "_", color="black", markersize=10, label="mean of that")
    ax.plot(places, looks["called"], "o", color=ORANGE, markersize=5, label="found")
    names = [f"{row} {year:.4g}" for row, year in zip(looks["row"], looks["year"], strict=True)]
    ax.set_xticks(places, [plain(name) for name in names], rotation=90, fontsize="x-small")
    ax.set(ylabel="blades called", ylim=(-0.3, None))
    within(ax, loc="upper left")
    return ax


@figure
def explained(explanations: Explanations, ax: Axes | None = None) -> Axes:
    """How much more probable the records would be with one assumption changed, against the factor on it.

    Parameters
    ----------
    explanations : Explanations
        What to draw.
    ax : matplotlib.axes.Axes, optional
        Where to draw; a new figure if left out.

    Returns
    -------
    matplotlib.axes.Axes
    """
    ax = begun(ax, "Records: how many times as probable if one assumption were otherwise", explanations._study)
    for place, (name, own) in enumerate(explanations.summary.groupby("assumption", sort=False)):
        ratio = np.where(own["times_as_probable"] > 0.0, own["times_as_probable"], np.nan)
        ax.plot(own["factor"], ratio, label=plain(str(name)), **mark(place).line)
    ax.axhline(1.0, color=GREY, linewidth=1)
    sizes_along(ax)
    lowest = max(float(explanations.summary["times_as_probable"].min()), 1e-4)
    ax.set(xlabel="factor on the assumption", ylabel="times as probable", yscale="log")
    ax.set_ylim(bottom=0.5 * lowest)
    beside(ax)
    return ax


def write(belief: Belief, directory: Path) -> None:
    """Write all figures into a directory."""
    for name, draw in {"rows": rows, "inputs": inputs, "lengths": lengths, "losses": losses}.items():
        save(partial(draw, belief), directory / f"belief-{name}.png")
