"""What all figures share: one look, the mark of each plan, titles, legends, names that do not overlap."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from functools import wraps
from pathlib import Path
from typing import TYPE_CHECKING, Any, BinaryIO, Literal, NamedTuple, ParamSpec, TypeVar

if TYPE_CHECKING:
    from matplotlib.artist import Artist
    from matplotlib.axes import Axes
    from matplotlib.transforms import Bbox

__all__ = [
    "BLUE",
    "GREY",
    "HATCHES",
    "ORANGE",
    "SIZE",
    "Mark",
    "Reach",
    "begun",
    "below",
    "beside",
    "figure",
    "look",
    "mark",
    "named_at_right",
    "named_nearby",
    "plain",
    "room_for",
    "save",
    "sizes_along",
    "within",
]

#: Width and height of a figure, in inches.
SIZE = (8.0, 4.5)

# Okabe and Ito, "Color universal design" (2008), without yellow: most colour-blind readers tell them apart.
BLUE, ORANGE = "#0072B2", "#D55E00"
#: Of what is out of the question, and of what is common to all.
GREY = "#999999"
_COLOURS = (BLUE, ORANGE, "#009E73", "#CC79A7", "#E69F00", "#56B4E9", "#222222")
#: Ten marks and seven colours: the first 70 plans have no two alike. Triangles to the side and down mean bounds.
_MARKERS = ("o", "s", "D", "^", "P", "X", "*", "p", "d", "h")
_DASHES: tuple[str | tuple[int, tuple[float, ...]], ...] = (
    "-",
    (0, (5, 1.5)),
    (0, (1.5, 1.2)),
    (0, (5, 1.5, 1.5, 1.5)),
)
#: Patterns of the parts of a bar, for prints in grey.
HATCHES = ("", "////", "....", "\\\\\\\\", "xxxx")

#: Height of a line of small letters, and of what stands above and below the axes, in inches.
_LINE, _AROUND = 0.165, 1.2
_POINTS_PER_INCH = 72.0
#: Ways from a point to its name: to the upper right first, where no error bar runs; in points and degrees.
_DISTANCES = (9.0, 16.0, 26.0, 40.0, 60.0, 85.0)
_ANGLES = (35.0, -35.0, 145.0, -145.0, 65.0, -65.0, 115.0, -115.0, 0.0, 180.0)
#: From this distance on a thread leads from a name to its point.
_THREAD = 16.0

#: Half the width of a mark, in points.
_MARK = 6.0

#: Ends of the error bars of a point, along both axes, in data.
Reach = tuple[tuple[float, float], tuple[float, float]]

_Asked = ParamSpec("_Asked")
_Drawn = TypeVar("_Drawn")


class Mark(NamedTuple):
    """How a plan is drawn in every figure.

    Attributes
    ----------
    colour, marker : str
        Of its points.
    dashes : str or tuple
        Of its lines.
    """

    colour: str
    marker: str
    dashes: str | tuple[int, tuple[float, ...]]

    @property
    def line(self) -> dict[str, Any]:
        """How it is drawn by `Axes.plot`."""
        return {"color": self.colour, "marker": self.marker, "linestyle": self.dashes}

    @property
    def points(self) -> dict[str, Any]:
        """How it is drawn by `Axes.errorbar`."""
        return {"color": self.colour, "fmt": self.marker}


def mark(place: int) -> Mark:
    """Give the mark of a plan, or of whatever stands in a list, by its place there."""
    return Mark(_COLOURS[place % len(_COLOURS)], _MARKERS[place % len(_MARKERS)], _DASHES[place % len(_DASHES)])


@contextmanager
def look() -> Iterator[None]:
    """Draw in our look within this context; settings are afterwards as they were."""
    import matplotlib as mpl

    ours = mpl.rc_params_from_file(Path(__file__).with_name("serrata.mplstyle"), use_default_template=False)
    # Those alone: what a notebook sets when the first figure is made, to show the next ones, has to stay.
    before = {name: mpl.rcParams[name] for name in ours}
    mpl.rcParams.update(ours)
    try:
        yield
    finally:
        mpl.rcParams.update(before)


def figure(draw: Callable[_Asked, _Drawn]) -> Callable[_Asked, _Drawn]:
    """Have a function draw in our look."""

    @wraps(draw)
    def drawn(*args: _Asked.args, **kwargs: _Asked.kwargs) -> _Drawn:
        with look():
            return draw(*args, **kwargs)

    return drawn


def save(draw: Callable[[Axes], object], file: Path | BinaryIO, form: Literal["svg"] | None = None) -> None:
    """Draw one figure into a file, without a screen; equal figures are equal bytes.

    Parameters
    ----------
    draw : function
        Draws into the Axes that it is given.
    file : path or binary file
        The ending of its name says the form, such as PNG.
    form : {"svg"}, optional
        The form of a file without a name.
    """
    from matplotlib.figure import Figure

    with look():
        made = Figure(figsize=SIZE, layout="constrained")
        draw(made.subplots())
        is_svg = form == "svg" or (isinstance(file, Path) and file.suffix.lower() == ".svg")
        made.savefig(file, format=form, metadata={"Date": None, "Creator": None} if is_svg else None)


def begun(ax: Axes | None, what: str, about: str = "", lines: int = 0) -> Axes:
    """Give the Axes to draw in, with a title: what is shown, of what; and with room for that many lines of names."""
    if ax is None:
        import matplotlib.pyplot as plt

        ax = plt.subplots(figsize=SIZE, layout="constrained")[1]
    ax.set_title(plain(f"{what}\n{about}" if about else what), x=0.0, ha="left")
    ax.spines[["top", "right"]].set_visible(False)
    room_for(ax, lines)
    return ax


def room_for(ax: Axes, lines: int) -> None:
    """Make the figure tall enough for that many lines of names, if nothing else is drawn in it."""
    made = ax.get_figure(root=True)
    needed = _LINE * lines + _AROUND
    if made is not None and made.axes == [ax] and made.get_figheight() < needed:
        made.set_size_inches(made.get_figwidth(), needed, forward=False)


def plain(text: str) -> str:
    """Give a name from a study or from records so that it is not set as a formula."""
    return text.replace("$", r"\$")


def below(ax: Axes, columns: int = 3, *, from_edge: bool = False) -> None:
    """Put the legend below the axes, or from the edge of the figure on, where names stand to the left."""
    from matplotlib.transforms import ScaledTranslation, blended_transform_factory

    made = ax.get_figure(root=True)
    assert made is not None, "an Axes is part of a figure"
    lines = ax.get_xlabel().count("\n") + 1
    # So far below that numbers and words of the axis have room, however tall it is.
    down = ScaledTranslation(0.0, -(0.36 + 0.19 * lines), made.dpi_scale_trans)
    across = made.transFigure if from_edge and made.axes == [ax] else ax.transAxes
    ax.legend(
        loc="upper left",
        bbox_to_anchor=(0.0, 0.0),
        bbox_transform=blended_transform_factory(across, ax.transAxes + down),
        ncols=columns,
        columnspacing=1.5,
        handlelength=1.8,
    )


def beside(ax: Axes, handles: Sequence[Artist] | None = None) -> None:
    """Put the legend beside the figure, where it hides nothing; of what is labelled, or of these handles."""
    given = {} if handles is None else {"handles": handles}
    ax.legend(loc="upper left", bbox_to_anchor=(1.01, 1.0), **given)


def within(ax: Axes, loc: Literal["upper left", "upper right", "lower right"]) -> None:
    """Put the legend where the figure leaves room."""
    ax.legend(loc=loc, frameon=True, framealpha=0.85, edgecolor="none")


def named_at_right(ax: Axes, ends: Sequence[tuple[float, float, str, Mark]]) -> None:
    """Name lines to the right of the axes, as near to their ends as other names leave room.

    Parameters
    ----------
    ax : matplotlib.axes.Axes
        With its lines, limits, scales and legend.
    ends : sequence of (x, y, name, mark)
        Where each line ends, and how it is drawn.
    """
    from matplotlib.patches import ConnectionPatch

    made = ax.get_figure(root=True)
    assert made is not None, "an Axes is part of a figure"
    made.draw_without_rendering()
    apart = _LINE * made.dpi / ax.get_window_extent().height
    to_axes = ax.transData + ax.transAxes.inverted()
    heights = [float(to_axes.transform((x, y))[1]) for x, y, *_ in ends]
    order = sorted(range(len(ends)), key=lambda place: (heights[place], ends[place][2]))
    wanted = [min(max(heights[place], 0.0), 1.0) for place in order]
    for place, at in zip(order, _spread(wanted, apart), strict=True):
        x, y, name, of = ends[place]
        thread = ConnectionPatch((x, y), (1.035, at), "data", "axes fraction", axesA=ax, axesB=ax)
        thread.set(color=of.colour, linewidth=0.7, clip_on=False, in_layout=False)
        ax.add_artist(thread)
        ax.plot([1.04], [at], of.marker, color=of.colour, transform=ax.transAxes, clip_on=False)
        ax.text(1.06, at, plain(name), transform=ax.transAxes, fontsize="small", va="center")


def _spread(wanted: Sequence[float], apart: float) -> list[float]:
    """Give places in order, at least so far apart, as near as can be to those that are wanted (least squares)."""
    blocks: list[list[float]] = []
    for place, at in enumerate(wanted):
        blocks.append([at - place * apart])
        while len(blocks) > 1 and _mean(blocks[-2]) > _mean(blocks[-1]):
            last = blocks.pop()
            blocks[-1] += last
    level = [_mean(block) for block in blocks for _ in block]
    places = [at + place * apart for place, at in enumerate(level)]
    over = max(places[-1] - 1.0, 0.0) if places else 0.0
    return [at - over for at in places]


def _mean(numbers: Sequence[float]) -> float:
    return sum(numbers) / len(numbers)


def named_nearby(
    ax: Axes, points: Sequence[tuple[float, float]], reaches: Sequence[Reach], names: Sequence[str]
) -> None:
    """Name points as near to them as other names and points leave room; a thread leads to a name that is far off.

    Parameters
    ----------
    ax : matplotlib.axes.Axes
        With all else already drawn, since what is drawn later moves the axes.
    points : sequence of (x, y)
        In data.
    reaches : sequence of ((x_low, x_high), (y_low, y_high))
        How far their error bars reach.
    names : sequence of str
        One for each.
    """
    from matplotlib.transforms import Bbox

    made = ax.get_figure(root=True)
    assert made is not None, "an Axes is part of a figure"
    made.draw_without_rendering()
    scale = made.dpi / _POINTS_PER_INCH
    frame = ax.get_window_extent()
    at = [ax.transData.transform(point) for point in points]
    half = _MARK * scale
    taken = [Bbox([[x - half, y - half], [x + half, y + half]]) for x, y in at]
    for (x, y), (across, up) in zip(points, reaches, strict=True):
        for ends in ([(low, y) for low in across], [(x, low) for low in up]):
            (left, bottom), (right, top) = ax.transData.transform(ends)
            taken.append(Bbox([[left, bottom - scale], [right + scale, top + scale]]))

    def fault(box: Bbox, place: int) -> tuple[float, bool]:
        """Give how much of a name would be hidden, and whether it would stand nearer to another point."""
        to_points = [_distance(box, *point) for point in at]
        return _covered(box, taken, frame), min(to_points) < to_points[place]

    for place, ((x, y), point, name) in enumerate(zip(at, points, names, strict=True)):
        text = ax.annotate(plain(name), point, (0, 0), textcoords="offset points", fontsize="small", va="center")
        text.set_in_layout(False)
        size = text.get_window_extent()

        def box(distance: float, angle: float, x: float = x, y: float = y, size: Bbox = size) -> Bbox:
            across, up = (distance * scale * part(math.radians(angle)) for part in (math.cos, math.sin))
            left = x + across - (size.width if abs(angle) > 90.0 else 0.0)
            return Bbox.from_bounds(left, y + up - 0.5 * size.height, size.width, size.height)

        ways = [(distance, angle) for distance in _DISTANCES for angle in _ANGLES]
        distance, angle = min(ways, key=lambda way: fault(box(*way), place))
        taken.append(box(distance, angle))
        text.set(ha="right" if abs(angle) > 90.0 else "left")
        text.xyann = (distance * math.cos(math.radians(angle)), distance * math.sin(math.radians(angle)))
        if distance >= _THREAD:
            thread = ax.annotate(
                "",
                point,
                text.xyann,
                textcoords="offset points",
                arrowprops={"arrowstyle": "-", "color": GREY, "linewidth": 0.7, "shrinkA": 0, "shrinkB": 5},
            )
            thread.set_in_layout(False)


def _distance(box: Bbox, x: float, y: float) -> float:
    """Give how far a point is from a box."""
    return math.hypot(max(box.x0 - x, 0.0, x - box.x1), max(box.y0 - y, 0.0, y - box.y1))


def _covered(box: Bbox, taken: Sequence[Bbox], frame: Bbox) -> float:
    """Give how much of a name would lie on others, or outside the axes."""
    from matplotlib.transforms import Bbox

    def area(shared: Bbox | None) -> float:
        return 0.0 if shared is None else shared.width * shared.height

    outside = box.width * box.height - area(Bbox.intersection(box, frame))
    return outside + sum(area(Bbox.intersection(box, other)) for other in taken)


def sizes_along(ax: Axes) -> None:
    """Show sizes on the logarithmic axis below in plain numbers, few enough not to overlap."""
    from matplotlib.ticker import LogLocator, NullFormatter

    ax.set_xscale("log")
    ax.xaxis.set_major_locator(LogLocator(subs=(1.0, 2.0, 5.0)))
    ax.xaxis.set_major_formatter("{x:g}")
    ax.xaxis.set_minor_formatter(NullFormatter())
