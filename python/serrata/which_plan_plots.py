"""The figure of which plan to take."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from serrata.drawing import BLUE, begun, plain

if TYPE_CHECKING:
    from matplotlib.axes import Axes

__all__ = ["frontier"]

_GREY = "0.6"
#: Chances further apart than this have an axis in powers of ten.
_SPAN = 30.0


def frontier(content: dict[str, Any], ax: Axes | None = None) -> Axes:
    """Draw cost against risk, plans by number in the study's order.

    Plans of the frontier are filled and joined where they are so on these two measures; beaten ones are open; those
    that miss the limits grey. A plan without a seen loss stands at its bound, with a mark that points to the left.
    """
    from matplotlib.lines import Line2D
    from matplotlib.ticker import LogLocator, NullFormatter

    plans = content["plans"]
    ax = begun(ax, "Which plan: better is lower and further left", content["study"])
    largest = max(plan["measures"][1]["value"] for plan in plans)
    scale, unit = next((at for at in ((1e6, "million "), (1e3, "thousand ")) if largest >= at[0]), (1.0, ""))
    seen = [plan["measures"][0]["value"] for plan in plans if plan["measures"][0]["value"] > 0.0]
    is_log = bool(seen) and max(seen) > _SPAN * min(seen)
    joined = []
    names: list[Line2D] = []
    for number, plan in enumerate(plans, start=1):
        risk, cost = plan["measures"][0], plan["measures"][1]
        is_seen = risk["value"] > 0.0
        x, y = (risk["value"] if is_seen else risk["high"]), cost["value"] / scale
        colour = _GREY if plan["limits"] == "misses" else BLUE
        is_beaten = plan["beaten_by"] is not None
        if not is_beaten and is_seen:
            joined.append((x, y))
        ax.errorbar(
            [x],
            [y],
            xerr=[[max(x - risk["low"], 0.0)], [max(risk["high"] - x, 0.0)]] if is_seen else None,
            yerr=[[max(cost["value"] - cost["low"], 0.0) / scale], [max(cost["high"] - cost["value"], 0.0) / scale]],
            fmt="o" if is_seen else "<",
            markerfacecolor="white" if is_beaten or not is_seen else colour,
            markersize=12,
            color=colour,
            capsize=2,
        )
        inside = colour if is_beaten or not is_seen else "white"
        ax.annotate(f"{number}", (x, y), ha="center", va="center", fontsize=8, color=inside, fontweight="bold")
        names.append(
            Line2D([], [], linestyle="none", marker=f"${number}$", color=colour, label=plain(plan["strategy"]))
        )
    stairs = _falling(sorted(joined))
    if stairs:
        ax.step(*zip(*stairs, strict=True), where="post", color=BLUE, linewidth=1.0, alpha=0.5, zorder=0)
    if is_log:
        ax.set_xscale("log")
        ax.xaxis.set_major_locator(LogLocator(subs=(1.0, 2.0, 5.0)))
        ax.xaxis.set_major_formatter("{x:g}")
        ax.xaxis.set_minor_formatter(NullFormatter())
    else:
        ax.set_xlim(left=0.0)
    ax.margins(x=0.08, y=0.12)
    ax.set_xlabel(f"chance of at least one blade lost in the fleet within {content['horizon_years']:g} years")
    ax.set_ylabel(f"cost, discounted, {plain(unit + content['currency'])}")
    marks = [("o", BLUE, BLUE, "beaten by none"), ("o", "white", BLUE, "another is no worse on risk, cost and days")]
    if any(plan["limits"] == "misses" for plan in plans):
        marks.append(("o", _GREY, _GREY, "misses the limits"))
    if len(seen) < len(plans):
        marks.append(("<", "white", BLUE, "none seen: upper bound"))
    meanings = [
        Line2D([], [], linestyle="none", marker=marker, markerfacecolor=face, color=edge, label=words)
        for marker, face, edge, words in marks
    ]
    # Names stand beside the figure, where twenty of them overlap nothing.
    ax.legend(handles=names + meanings, loc="upper left", bbox_to_anchor=(1.01, 1.0), frameon=False, fontsize="small")
    return ax


def _falling(points: list[tuple[float, float]]) -> list[tuple[float, float]]:
    """Give the points, from the left, that lie below all before them."""
    kept: list[tuple[float, float]] = []
    for point in points:
        if not kept or point[1] < kept[-1][1]:
            kept.append(point)
    return kept
