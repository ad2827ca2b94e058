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
    """Draw cost against risk, with plans named where they stand.

    Plans of the frontier are filled and joined where they are so on these two measures; beaten ones are open; those
    that miss the limits grey. A plan without a seen loss stands at its bound, with a mark that points to the left.
    """
    plans = content["plans"]
    ax = begun(ax, "Which plan: better is lower and further left", content["study"])
    largest = max(plan["measures"][1]["value"] for plan in plans)
    scale, unit = next((at for at in ((1e6, "million "), (1e3, "thousand ")) if largest >= at[0]), (1.0, ""))
    seen = [plan["measures"][0]["value"] for plan in plans if plan["measures"][0]["value"] > 0.0]
    is_log = bool(seen) and max(seen) > _SPAN * min(seen)
    joined = []
    for plan in plans:
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
            markerfacecolor="white" if is_beaten else colour,
            markersize=7,
            color=colour,
            capsize=2,
        )
        ax.annotate(plain(plan["strategy"]), (x, y), (7, 5), textcoords="offset points", fontsize="small", color=colour)
    stairs = _falling(sorted(joined))
    ax.plot(*zip(*stairs, strict=True), color=BLUE, linewidth=1.0, alpha=0.5, zorder=0) if stairs else None
    if is_log:
        ax.set_xscale("log")
    else:
        ax.set_xlim(left=0.0)
    ax.margins(x=0.18, y=0.12)
    ax.set_xlabel(f"chance of at least one blade lost in the fleet within {content['horizon_years']:g} years")
    ax.set_ylabel(f"cost, discounted, {plain(unit + content['currency'])}")
    marks = [("o", BLUE, BLUE, "beaten by none"), ("o", "white", BLUE, "another is no worse on risk, cost and days")]
    if any(plan["limits"] == "misses" for plan in plans):
        marks.append(("o", _GREY, _GREY, "misses the limits"))
    if len(seen) < len(plans):
        marks.append(("<", "white", BLUE, "none seen: upper bound"))
    for marker, face, edge, words in marks:
        ax.plot([], [], marker, markerfacecolor=face, color=edge, label=words)
    ax.legend(loc="best", frameon=False, fontsize="small")
    return ax


def _falling(points: list[tuple[float, float]]) -> list[tuple[float, float]]:
    """Give the points, from the left, that lie below all before them."""
    kept: list[tuple[float, float]] = []
    for point in points:
        if not kept or point[1] < kept[-1][1]:
            kept.append(point)
    return kept
