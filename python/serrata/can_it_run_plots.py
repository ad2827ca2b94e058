"""The figure of whether a row can run on."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np

from serrata.drawing import BLUE, ORANGE, begun, beside, figure, plain

if TYPE_CHECKING:
    from matplotlib.axes import Axes

__all__ = ["by_month"]

_GREY = "0.45"
#: Below this share of the last month's chance nothing is drawn.
_DECADES = 1e-4


@figure
def by_month(content: dict[str, Any], ax: Axes | None = None) -> Axes:
    """Draw the chance of a loss month by month, with the next outage, its deferrals and the limit."""
    question = content["question"]
    found = "found nothing" if question["found"] == 0 else f"found {question['found']}"
    look = "nobody looked" if question["technique"] is None else f"{question['technique']} {found}"
    ax = begun(ax, f"Can {question['row']} run on? {look} in {content['year']:g}", content["study"])
    months = content["by_month"]
    number = np.array([at["month"] for at in months])
    until = _ends([at["until"]["row"] for at in months])
    yearly = _ends([at["in_year_before"]["row"] for at in months])
    floor = _DECADES * max(until[0][-1], until[2][-1])
    seen = until[0] > 0.0
    ax.plot(number, np.where(seen, until[0], np.nan), color=BLUE, linewidth=2.4, label="loss until then")
    ax.fill_between(number, np.maximum(until[1], floor), until[2], where=seen, color=BLUE, alpha=0.2, linewidth=0)
    if not seen.all():
        # None seen is no chance of zero: what is drawn is the most that it may be.
        ax.plot(number[~seen], until[2][~seen], "v", color=BLUE, markersize=4, label="none seen: at most (95 %)")
    ax.plot(
        number,
        np.where(yearly[0] > 0.0, yearly[0], np.nan),
        color=BLUE,
        linewidth=1.3,
        linestyle="--",
        label="loss in the 12 months before",
    )
    if months[0]["until"]["both"] is not None:
        least, most = (np.array([at["until"]["both"][key] for at in months]) for key in ("least", "most"))
        ax.fill_between(
            number,
            np.maximum(least, floor),
            most,
            color=ORANGE,
            alpha=0.3,
            linewidth=0,
            label="with the cracks left in:\nleast to most",
        )
        ax.plot(number, np.maximum(most, floor), color=ORANGE, linewidth=1.5)
        most_yearly = [at["in_year_before"]["both"]["most"] for at in months]
        ax.plot(number, most_yearly, color=ORANGE, linewidth=1.3, linestyle="--", label="most in the 12 months before")
    limit = content["limit"]
    if limit is not None:
        ax.axhline(limit["limit"], color="black", linewidth=1.0, linestyle="-.", label="limit for 12 months")
    next_months = 12.0 * (content["next_outage_year"] - content["year"])
    marks = [(next_months, "next outage")]
    marks += [(next_months + one["months"], f"+{one['months']}") for one in content["deferrals"]]
    for at, words in marks:
        ax.axvline(at, color=_GREY, linewidth=1.0, linestyle=":")
        ax.annotate(
            plain(words),
            (at, 0.0),
            (-3, 4),
            xycoords=("data", "axes fraction"),
            textcoords="offset points",
            rotation=90,
            ha="right",
            va="bottom",
            fontsize="x-small",
            color=_GREY,
        )
    ax.set(xlabel="months after the look", ylabel="chance of a loss", yscale="log")
    ax.set_xlim(0.0, number[-1])
    beside(ax)
    return ax


def _ends(chances: list[dict[str, float]]) -> list[np.ndarray[Any, Any]]:
    return [np.array([chance[key] for chance in chances]) for key in ("value", "low", "high")]
