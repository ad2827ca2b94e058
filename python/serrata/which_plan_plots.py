"""The figure of which plan to take."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from serrata.drawing import GREY, begun, beside, figure, mark, named_nearby, plain
from serrata.wording import money_unit

if TYPE_CHECKING:
    from matplotlib.axes import Axes

__all__ = ["frontier"]

#: Chances further apart than this have an axis in powers of ten.
_SPAN = 30.0
#: From this on such an axis names powers of ten alone.
_DECADES = 100.0
#: Plans up to which each is named where it stands; beyond, by its number.
_FEW = 8
#: Ticks on an axis of small numbers, whose labels are wide.
_TICKS = 6


@figure
def frontier(content: dict[str, Any], ax: Axes | None = None) -> Axes:
    """Draw cost against risk, each plan by its own mark.

    Plans of the frontier are filled and joined where they are so on these two measures; beaten ones are open; those
    that miss the limits grey. A plan without a seen loss stands at its bound, with a mark that points to the left.
    """
    from matplotlib.lines import Line2D
    from matplotlib.ticker import LogLocator, NullFormatter

    plans = content["plans"]
    is_few = len(plans) <= _FEW
    what = "Which plan, by risk and cost: better is lower and further left"
    ax = begun(ax, what, content["study"], 0 if is_few else len(plans) + 8)
    scale, unit = money_unit(max(plan["measures"][1]["value"] for plan in plans), content["currency"])
    seen = [plan["measures"][0]["value"] for plan in plans if plan["measures"][0]["value"] > 0.0]
    points, reaches, joined, key = [], [], [], []
    for place, plan in enumerate(plans):
        risk, cost = plan["measures"][0], plan["measures"][1]
        is_seen, is_open = risk["value"] > 0.0, plan["beaten_by"] is not None
        x, y = (risk["value"] if is_seen else risk["high"]), cost["value"]
        of = mark(place)
        colour = GREY if plan["limits"] == "misses" else of.colour
        marker = of.marker if is_seen else "<"
        face = "white" if is_open or not is_seen else colour
        if not is_open and is_seen:
            joined.append((x, y))
        ax.errorbar(
            [x],
            [y],
            xerr=[[max(x - risk["low"], 0.0)], [max(risk["high"] - x, 0.0)]] if is_seen else None,
            yerr=[[max(y - cost["low"], 0.0)], [max(cost["high"] - y, 0.0)]],
            fmt=marker,
            markerfacecolor=face,
            markersize=8,
            color=colour,
            linewidth=1.2,
            capsize=2,
        )
        points.append((x, y))
        reaches.append(((risk["low"], risk["high"]) if is_seen else (x, x), (cost["low"], cost["high"])))
        named = Line2D([], [], linestyle="none", marker=marker, color=colour, markerfacecolor=face)
        named.set_label(plain(f"{place + 1}  {plan['strategy']}"))
        key.append(named)
    stairs = _falling(sorted(joined))
    if stairs:
        ax.step(*zip(*stairs, strict=True), where="post", color="0.6", linewidth=1.0, zorder=0)
    if seen and max(seen) > _SPAN * min(seen):
        ax.set_xscale("log")
        is_long = max(seen) > _DECADES * min(seen)
        ax.xaxis.set_major_locator(LogLocator(subs=(1.0,) if is_long else (1.0, 2.0, 5.0)))
        ax.xaxis.set_major_formatter("{x:g}")
        ax.xaxis.set_minor_formatter(NullFormatter())
    else:
        ax.set_xlim(left=0.0)
        ax.locator_params(axis="x", nbins=_TICKS)
    ax.margins(x=0.1, y=0.15)
    ax.yaxis.set_major_formatter(lambda sum_, _: f"{sum_ / scale:,g}")
    years = f"{content['horizon_years']:g} years"
    ax.set_xlabel(f"chance of at least one blade lost in the fleet within {years}")
    ax.set_ylabel(f"cost over {years}, discounted, {plain(unit)}")
    meanings = [Line2D([], [], linestyle="none", marker="o", color="0.3", label="beaten by none")]
    if any(plan["beaten_by"] is not None for plan in plans):
        words = "another is no worse on\nrisk, cost and days"
        meanings.append(Line2D([], [], linestyle="none", marker="o", color="0.3", markerfacecolor="white", label=words))
    if any(plan["limits"] == "misses" for plan in plans):
        meanings.append(Line2D([], [], linestyle="none", marker="o", color=GREY, label="misses the limits"))
    if len(seen) < len(plans):
        words = "none seen: upper bound"
        meanings.append(Line2D([], [], linestyle="none", marker="<", color="0.3", markerfacecolor="white", label=words))
    meanings.append(Line2D([], [], color="0.3", linewidth=1.2, marker="", label="95 % interval"))
    # A key stands beside the figure, where twenty plans overlap nothing.
    beside(ax, meanings if is_few else [*key, *meanings])
    strategies = [plan["strategy"] for plan in plans]
    named_nearby(ax, points, reaches, strategies if is_few else [f"{place + 1}" for place in range(len(plans))])
    return ax


def _falling(points: list[tuple[float, float]]) -> list[tuple[float, float]]:
    """Give the points, from the left, that lie below all before them."""
    kept: list[tuple[float, float]] = []
    for point in points:
        if not kept or point[1] < kept[-1][1]:
            kept.append(point)
    return kept
