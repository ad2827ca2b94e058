"""The figure of how many blades to look at."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from serrata.drawing import BLUE, ORANGE, begun, figure

if TYPE_CHECKING:
    from matplotlib.axes import Axes

__all__ = ["chance_left"]

#: How each reading is drawn: colour, dashes, and what it is called.
_READINGS = {
    "if there": (BLUE, "-", "that none is called, were {k} there"),
    "if left": (ORANGE, "--", "that no more are called, were {k} left"),
    "by prior": ("#009E73", "-.", "that {k} or more remain"),
}


@figure
def chance_left(content: dict[str, Any], ax: Axes | None = None) -> Axes:
    """Draw the chance that is left against the number of blades looked at, a curve for each reading."""
    question = content["question"]
    ax = begun(ax, f"How many of {question['blades']} blades to look at", f"chance of detection {question['pod']:g}")
    limit = 1.0 - question["confidence"]
    ax.axhline(limit, color="0.4", linewidth=1.0, linestyle=":")
    ax.annotate(f"{100 * limit:g} %", (0, limit), (4, 3), textcoords="offset points", fontsize="small", color="0.3")
    for one in content["readings"]:
        colour, dashes, words = _READINGS[one["reading"]]
        curve = [(n, chance) for n, chance in enumerate(one["chance_left_at"]) if chance is not None]
        number = one["answer"]["blades"]
        answer = "no number is enough" if number is None else f"{number} blades"
        words = f"{words.format(k=question['fewer_than'])}: {answer}"
        ax.plot(*zip(*curve, strict=True), color=colour, linestyle=dashes, label=words)
        if number is not None:
            ax.plot([number], [one["answer"]["chance_left"]], "o", color=colour, markersize=6)
    ax.set_xlim(0, question["blades"])
    ax.set_ylim(0, 1)
    ax.set_xlabel("blades looked at")
    ax.set_ylabel("chance left")
    ax.legend(loc="upper right", frameon=False, fontsize="small")
    return ax
