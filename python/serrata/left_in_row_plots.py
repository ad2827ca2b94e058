"""The figure of what is still in a row."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np

from serrata.drawing import BLUE, ORANGE, begun, beside, figure, mark, plain, sizes_along

if TYPE_CHECKING:
    from matplotlib.axes import Axes

__all__ = ["longest_left"]

_GREY = "0.55"
#: Chances below are not drawn.
_LEAST = 1e-4


@figure
def longest_left(content: dict[str, Any], ax: Axes | None = None) -> Axes:
    """Draw the chance that the longest crack left is longer than a length, look by look, beside the critical size."""
    question = content["question"]
    found = "found nothing" if question["found"] == 0 else f"found {question['found']}"
    look = "nobody looked" if question["technique"] is None else f"{question['technique']} {found}"
    ax = begun(ax, f"Longest crack left in {question['row']}, {content['year']:g}: {look}", content["study"])
    others = [(one["technique"], one["left"]) for one in content["if_clean"] if one["left"] is not None]
    is_asked = question["found"] == 0
    others = [other for other in others if not (is_asked and other[0] == question["technique"])]
    reach = 1.0
    if question["technique"] is not None:
        reach = max(reach, _line(ax, content["unseen"], (_GREY, "-", 1.5), "nobody looks"))
    # The first two marks have the colours of the look asked about and of the critical size.
    for place, (technique, left) in enumerate(others, start=2):
        of = mark(place)
        reach = max(reach, _line(ax, left, (of.colour, of.dashes, 1.2), f"{technique}, if clean"))
    lengths, _, low, high = _curve(content["left"])
    ax.fill_between(lengths, np.maximum(low, _LEAST), np.maximum(high, _LEAST), color=BLUE, alpha=0.2, linewidth=0)
    reach = max(reach, _line(ax, content["left"], (BLUE, "-", 2.4), look))
    critical = [spot for spot in content["critical"] if spot["length_05_mm"] is not None]
    for place, spot in enumerate(critical):
        ax.axvline(spot["length_05_mm"], color=ORANGE, linewidth=1.2, linestyle=("-", "--", "-.", ":")[place % 4])
        words = f"{spot['hot_spot']}: 1 lost blade in 20 below"
        ax.annotate(
            plain(words),
            (spot["length_05_mm"], 1.0),
            (-3, -4),
            xycoords=("data", "axes fraction"),
            textcoords="offset points",
            rotation=90,
            ha="right",
            va="top",
            fontsize="x-small",
            color=ORANGE,
        )
        reach = max(reach, 1.2 * spot["length_05_mm"])
    sizes_along(ax)
    ax.set(xlabel="surface length, mm", ylabel="chance that the longest is longer", yscale="log", ylim=(_LEAST, 1.0))
    ax.set_xlim(0.3, reach)
    beside(ax)
    return ax


def _curve(left: dict[str, Any]) -> np.ndarray[Any, Any]:
    """Lengths, chances and the ends of their intervals."""
    return np.array(
        [[at["length_mm"], *(at["p_any"][key] for key in ("value", "low", "high"))] for at in left["longer"]]
    ).T


def _line(ax: Axes, left: dict[str, Any], how: tuple[str, Any, float], label: str) -> float:
    """Draw one curve as far as lives show it: returns the length that it reaches."""
    lengths, chance, _, _ = _curve(left)
    seen = chance > _LEAST
    colour, stroke, width = how
    ax.plot(
        lengths, np.where(seen, chance, np.nan), color=colour, linestyle=stroke, linewidth=width, label=plain(label)
    )
    return float(lengths[seen].max()) if seen.any() else 0.0
