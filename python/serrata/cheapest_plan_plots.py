"""The figure of which plan is the cheapest that meets the limits."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from serrata.drawing import GREY, Reach, begun, beside, figure, mark, named_nearby, plain, sizes_along
from serrata.inspection_interval_plots import worst_over_limit
from serrata.wording import money_unit

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.lines import Line2D

__all__ = ["cost_against_limit"]

#: Least chance over its limit that is drawn.
_LEAST = 1e-3
#: Plans that stayed up to which each is named; beyond, the cheapest alone.
_FEW = 8
#: Letters of a name in the key, beyond which it goes on in the next line.
_WIDE = 34
#: How dropped plans are drawn.
_DROPPED = {"misses": ("x", "dropped:\nsurely misses a limit"), "dearer": ("o", "dropped:\nsurely dearer")}


@figure
def cost_against_limit(content: dict[str, Any], ax: Axes | None = None) -> Axes:
    """Draw the cost of each plan against its chance of a loss in the worst year over the limit, with intervals.

    Dropped plans are small and grey, a cross where they miss a limit; those that stayed have marks of their own, open
    where it is not known whether they meet the limits; the cheapest has a ring. A chance that is not seen stands at its
    bound, with a mark that points to the left.
    """
    from matplotlib.lines import Line2D

    plans = content["plans"]
    kept = [plan for plan in plans if plan["dropped"] is None]
    is_few = len(kept) <= _FEW
    what = f"Which of {len(plans)} plans is the cheapest that meets the limits: the lowest left of the line"
    ax = begun(ax, what, content["study"], len(kept) + 8 if is_few else 0)
    scale, unit = money_unit(max(plan["cost"][0] for plan in plans), content["currency"])
    key: list[Line2D] = []
    points: list[tuple[float, float]] = []
    reaches: list[Reach] = []
    names: list[str] = []
    for place, plan in enumerate(plans):
        value, low, high = worst_over_limit(plan["limits"])
        is_seen = value > 0.0
        x, (y, y_low, y_high) = max(value if is_seen else high, _LEAST), plan["cost"]
        low, high = (max(low, _LEAST), max(high, _LEAST)) if is_seen else (x, x)
        if plan["dropped"] is not None:
            marker, _ = _DROPPED[plan["dropped"]["why"]]
            ax.plot([x], [y], marker, color=GREY, markersize=4, markerfacecolor="none", zorder=1)
            continue
        of = mark(place)
        ax.plot([low, high], [y, y], color=of.colour, linewidth=1.2, zorder=2)
        ax.plot([x, x], [y_low, y_high], color=of.colour, linewidth=1.2, zorder=2)
        marker = of.marker if is_seen else "<"
        face = of.colour if plan["verdict"] == "meets" else "white"
        ax.plot([x], [y], marker, color=of.colour, markersize=8, markerfacecolor=face, zorder=3)
        is_best = plan["strategy"] == content["cheapest"]
        if is_best:
            ax.plot([x], [y], "o", color="black", markersize=16, markerfacecolor="none", zorder=3)
        if is_few or is_best:
            points.append((x, y))
            reaches.append(((low, high), (y_low, y_high)))
            names.append(f"{len(names) + 1}")
            drawn = Line2D([], [], linestyle="none", marker=marker, color=of.colour, markerfacecolor=face)
            drawn.set_label(plain(f"{len(names)}  {_broken(plan['strategy'])}"))
            key.append(drawn)
    ax.axvline(1.0, color="black", linewidth=1.2)
    ax.annotate(
        "limit",
        (1.0, 1.0),
        xycoords=("data", "axes fraction"),
        xytext=(-3, -2),
        textcoords="offset points",
        ha="right",
        va="top",
    )
    if content["cheapest"] is not None:
        ring = Line2D([], [], linestyle="none", marker="o", color="black", markersize=12, markerfacecolor="none")
        ring.set_label("cheapest known\nto meet the limits")
        key.append(ring)
    if any(plan["verdict"] != "meets" for plan in kept):
        key.append(_meaning("s", "0.3", "stayed: not known whether\nit meets the limits"))
    if any(worst_over_limit(plan["limits"])[0] == 0.0 for plan in kept):
        key.append(_meaning("<", "0.3", "none seen: upper bound"))
    whys = {plan["dropped"]["why"] for plan in plans if plan["dropped"] is not None}
    key += [_meaning(marker, GREY, words) for why, (marker, words) in _DROPPED.items() if why in whys]
    sizes_along(ax)
    ax.margins(x=0.1, y=0.12)
    ax.yaxis.set_major_formatter(lambda money, _: f"{money / scale:,g}")
    is_cut = any(value < _LEAST for plan in plans for value in worst_over_limit(plan["limits"]) if value > 0.0)
    edge = f"; {_LEAST:g} stands for less" if is_cut else ""
    ax.set_xlabel(
        f"chance of a loss in the worst year, over its limit\n(bars: intervals with the confidence of the search{edge})"
    )
    ax.set_ylabel(f"cost over {content['horizon_years']:g} years, discounted, {plain(unit)}\n(bars: 95 %)")
    beside(ax, key)
    named_nearby(ax, points, reaches, names)
    return ax


def _meaning(marker: str, colour: str, words: str) -> Line2D:
    from matplotlib.lines import Line2D

    return Line2D([], [], linestyle="none", marker=marker, color=colour, markerfacecolor="none", label=words)


def _broken(name: str) -> str:
    """Break a long name between its values."""
    lines: list[str] = []
    for part in name.split(", "):
        if lines and len(lines[-1]) + len(part) < _WIDE:
            lines[-1] += f", {part}"
        else:
            lines.append(part)
    return ",\n    ".join(lines)
