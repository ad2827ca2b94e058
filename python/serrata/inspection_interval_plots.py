"""The figures of how long the interval between inspections may be."""

from __future__ import annotations

from itertools import pairwise
from typing import TYPE_CHECKING, Any

from serrata.drawing import begun, beside, figure, mark, named_nearby, plain
from serrata.errors import ArgumentError

if TYPE_CHECKING:
    from matplotlib.axes import Axes

__all__ = ["capability", "over_limit", "worst_over_limit"]

#: Colour, hatch and words.
_VERDICTS = {
    "meets": ("#CDE5CD", "", "keeps the limits"),
    "undecided": ("#F2F2F2", "..", "not decided"),
    "misses": ("#E8C4B0", "////", "misses a limit"),
}
#: Least chance over its limit that is drawn.
_LEAST = 0.01
#: Where techniques stand of which no interval is known to keep the limits.
_BELOW = 0.25


@figure
def over_limit(content: dict[str, Any], ax: Axes | None = None) -> Axes:
    """Draw the chance of a loss in the worst year over its limit against the interval, with its 95 % interval.

    A way whose chance is not seen stands at its bound, with an open mark. Ends of intervals below a hundredth of the
    limit are cut off.
    """
    ax = begun(ax, "How long may the interval be: what lies below the line keeps the limits", content["study"])
    ways = content["ways"]
    for number, way in enumerate(ways):
        of = mark(number)
        shift = 0.6 * ((number + 0.5) / len(ways) - 0.5)
        points = [(held["every_outages"] + shift, *worst_over_limit(held["limits"])) for held in way["held"]]
        at, shown = [x for x, *_ in points], [value if value > 0.0 else high for _, value, _, high in points]
        ax.plot(at, shown, color=of.colour, linestyle=of.dashes, linewidth=0.8, alpha=0.6)
        for (x, value, low, high), y in zip(points, shown, strict=True):
            ax.plot([x, x], [max(low, _LEAST) if value > 0.0 else y, high], color=of.colour, linewidth=1.2)
            ax.plot([x], [y], of.marker, color=of.colour, markerfacecolor=of.colour if value > 0.0 else "white")
        ax.plot([], [], **of.line, label=plain(way["technique"] or "as planned"))
    ax.axhline(1.0, color="black", linewidth=1.2)
    lines = [(1.0, "limit", "black")]
    unseen = worst_over_limit(content["unseen"]["limits"])[0]
    if unseen > 0.0:
        ax.axhline(unseen, color="0.5", linewidth=1.0, linestyle=":")
        lines.append((unseen, "nobody looks", "0.4"))
    for y, words, colour in lines:
        ax.annotate(words, (1.0, y), xycoords=("axes fraction", "data"), ha="right", va="bottom", color=colour)
    ax.set_yscale("log")
    ax.set_ylim(bottom=max(ax.get_ylim()[0], _LEAST))
    ax.yaxis.set_major_formatter("{x:g}")
    ax.set_xticks([held["every_outages"] for held in ways[0]["held"]])
    ax.set_xlabel("outages from look to look")
    ax.set_ylabel("chance of a loss in the worst year, over its limit\n(bars: intervals of all years together, 95 %)")
    beside(ax)
    return ax


@figure
def capability(content: dict[str, Any], ax: Axes | None = None) -> Axes:
    """Draw which intervals which capability bears, with the techniques at their longest intervals.

    A technique of which no interval is known to keep the limits stands below the lowest, with an open mark; the first
    look of the present plan has a ring.
    """
    from matplotlib.patches import Patch

    found = content["capability"]
    if found is None:
        raise ArgumentError(
            "map_of = None\n    no map was asked for\n    call inspection_interval again, with map_of='a technique'"
        )
    ax = begun(
        ax,
        f"What capability an interval needs: a curve shaped as that of {found['technique']}, sharper and blunter",
        content["study"],
    )
    sizes = sorted({cell["q90_mm"] for cell in found["cells"]})
    most = max(cell["every_outages"] for cell in found["cells"])
    edges = [sizes[0] / (sizes[1] / sizes[0]) ** 0.5]
    edges += [(one * other) ** 0.5 for one, other in pairwise(sizes)]
    edges.append(sizes[-1] * (sizes[-1] / sizes[-2]) ** 0.5)
    for cell in found["cells"]:
        place = sizes.index(cell["q90_mm"])
        colour, hatch, _ = _VERDICTS[cell["verdict"]]
        ax.barh(
            cell["every_outages"],
            edges[place + 1] - edges[place],
            left=edges[place],
            height=1.0,
            color=colour,
            hatch=hatch,
            edgecolor="white",
            linewidth=0.5,
            zorder=0,
        )
    beyond = {"any": edges[-1], "none": edges[0]}
    for needed in found["needed"]:
        every, ends = needed["every_outages"], [needed[key] for key in ("surely_mm", "surely_not_mm")]
        ax.plot([beyond.get(end, end) for end in ends], [every, every], color="black", linewidth=1.2)
        value = beyond.get(needed["q90_mm"], needed["q90_mm"])
        ax.plot([value, value], [every - 0.5, every + 0.5], color="black", linewidth=2.0)
    ax.plot([], [], color="black", label="bluntest that will do, 95 %")
    inside = [
        (way["q90_mm"], number, way)
        for number, way in enumerate(content["ways"])
        if way["q90_mm"] and edges[0] < way["q90_mm"] < edges[-1]
    ]
    present = content["present"]
    points = [(q90_mm, float(way["longest"] or _BELOW)) for q90_mm, _, way in inside]
    for (q90_mm, y), (_, number, way) in zip(points, inside, strict=True):
        of = mark(number)
        face = of.colour if way["longest"] else "white"
        ax.plot([q90_mm], [y], of.marker, color=of.colour, markersize=8, markerfacecolor=face, zorder=3)
        if present is not None and present["technique"] == way["technique"] and present["every_outages"] <= most:
            ax.plot([q90_mm], [present["every_outages"]], "ko", markersize=15, markerfacecolor="none")
            ax.plot([], [], "ko", markersize=9, markerfacecolor="none", label="first look of the plan")
    ax.set_xscale("log")
    ax.xaxis.set_major_formatter("{x:g}")
    ax.set_xlim(edges[0], edges[-1])
    ax.set_ylim(0.0, most + 0.5)
    ax.set_yticks(range(1, most + 1))
    ax.grid(visible=False)
    ax.set_xlabel("size found with 90 %, mm (each technique by its own measure of size)")
    ax.set_ylabel("outages from look to look")
    patches = [
        Patch(facecolor=colour, hatch=hatch, edgecolor="0.6", label=words)
        for colour, hatch, words in _VERDICTS.values()
    ]
    lines = ax.get_legend_handles_labels()[0]
    beside(ax, [*patches, *lines])
    named_nearby(ax, points, [((x, x), (y, y)) for x, y in points], [way["technique"] for _, _, way in inside])
    return ax


def worst_over_limit(limits: list[dict[str, Any]]) -> tuple[float, float, float]:
    """Give the largest chance over its limit, with its ends."""
    over = [[number / line["limit"] for number in line["p_loss"]] for line in limits]
    value, low, high = (max(line[place] for line in over) for place in range(3))
    return value, low, high
