"""What all figures share: size, colours, axes, titles, legends."""

from __future__ import annotations

from typing import TYPE_CHECKING, Literal

if TYPE_CHECKING:
    from matplotlib.axes import Axes

__all__ = ["BLUE", "ORANGE", "SIZE", "begun", "below", "beside", "plain", "sizes_along", "within"]

#: Width and height of a figure, in inches.
SIZE = (9.0, 4.5)

# Okabe and Ito, "Color universal design" (2008): most colour-blind readers tell them apart.
BLUE, ORANGE = "#0072B2", "#D55E00"


def begun(ax: Axes | None, what: str, about: str = "") -> Axes:
    """Give the Axes to draw in, those of a new figure if there are none yet, with a title: what is shown, of what."""
    if ax is None:
        import matplotlib.pyplot as plt

        ax = plt.subplots(figsize=SIZE, layout="constrained")[1]
    ax.set_title(plain(f"{what}\n{about}" if about else what), fontsize="medium")
    ax.spines[["top", "right"]].set_visible(False)
    ax.grid(alpha=0.25)
    ax.set_axisbelow(True)
    return ax


def plain(text: str) -> str:
    """Give a name from a study or from records so that it is not set as a formula."""
    return text.replace("$", r"\$")


def below(ax: Axes) -> None:
    """Put the legend below the figure, where the right side is taken."""
    ax.legend(
        loc="upper left",
        bbox_to_anchor=(-0.08, -0.14),
        ncols=3,
        frameon=False,
        fontsize="small",
        columnspacing=1.0,
        handlelength=1.5,
    )


def beside(ax: Axes) -> None:
    """Put the legend beside the figure, where it hides nothing."""
    ax.legend(loc="upper left", bbox_to_anchor=(1.01, 1.0), frameon=False, fontsize="small")


def within(ax: Axes, loc: Literal["upper left", "upper right", "lower right"]) -> None:
    """Put the legend where the figure leaves room."""
    ax.legend(loc=loc, fontsize="small", framealpha=0.85, edgecolor="none")


def sizes_along(ax: Axes) -> None:
    """Show sizes on the logarithmic axis below in plain numbers, few enough not to overlap."""
    from matplotlib.ticker import LogLocator, NullFormatter

    ax.set_xscale("log")
    ax.xaxis.set_major_locator(LogLocator(subs=(1.0, 2.0, 5.0)))
    ax.xaxis.set_major_formatter("{x:g}")
    ax.xaxis.set_minor_formatter(NullFormatter())
