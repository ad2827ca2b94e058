"""The look of figures: twenty plans break none, a plan has one mark everywhere, a reader's settings stay."""

import io
from itertools import combinations, product

import matplotlib as mpl
import matplotlib.pyplot as plt
import numpy as np
import pytest
from matplotlib.colors import to_rgb
from matplotlib.figure import Figure
from matplotlib.text import Text

import serrata
from conftest import DEMO_STUDY
from serrata import drawing

#: Share of the smaller of two texts that the other may lie on: the white around letters.
_OVERLAP = 0.15
_PLAN = """
[strategies.{name}]
description = "{technique} at every {every}. outage"
dispositions = [{{ action = "replace" }}]
after_loss = "replace-blade"
[[strategies.{name}.looks]]
techniques = ["{technique}"]
first_outage = 1
every_outages = {every}
"""
FIGURES = {
    "risk_by_year": lambda run, ax: run.plot_risk_by_year(ax),
    "cost_split": lambda run, ax: run.plot_cost_split(ax),
    "longest_crack": lambda run, ax: run.plot_longest_crack(ax),
    "cracks": lambda run, ax: run.plot_cracks(ax),
    "differences": lambda run, ax: run.plot_differences(ax),
    "cost_against_risk": lambda run, ax: run.plot_cost_against_risk(ax),
    "which_plan": lambda run, ax: run.which_plan().plot(ax),
}


def with_twenty_plans():
    """Give the demo study with thirteen plans more."""
    techniques = ("phased-array", "pulse-echo", "eddy-array", "mpi-enhanced")
    more = list(product(techniques, (1, 2, 3, 4)))[:13]
    text = DEMO_STUDY.read_text(encoding="utf-8")
    plans = [_PLAN.format(name=f"{of}-every-{every}", technique=of, every=every) for of, every in more]
    return serrata.Study.parse(text + "".join(plans))


@pytest.fixture(scope="module")
def twenty():
    run = with_twenty_plans().simulate(trials=200, planted_lives=300, seed=1)
    assert len(run.study.strategies) == 20
    return run


def drawn(draw, run):
    with drawing.look():
        figure = Figure(figsize=drawing.SIZE, layout="constrained")
        ax = draw(run, figure.subplots())
    figure.draw_without_rendering()
    return figure, ax


def shown_texts(figure):
    """Give every text that can be seen, with its box."""
    texts = [
        text
        for text in figure.findobj(Text)
        if text.get_visible() and text.get_text().strip() and getattr(text, "arrow_patch", None) is None
    ]
    boxes = [(text, text.get_window_extent()) for text in texts]
    # Ticks beyond the limits of their axis are made, and not drawn.
    ticks = {
        id(label): axis
        for ax in figure.axes
        for axis in (ax.xaxis, ax.yaxis)
        for label in axis.get_ticklabels(which="both")
    }
    frame = figure.axes[0].get_window_extent()
    kept = []
    for text, box in boxes:
        axis = ticks.get(id(text))
        if axis is not None:
            at = text.get_position()[0 if axis.axis_name == "x" else 1]
            low, high = sorted(axis.get_view_interval())
            if not low <= at <= high:
                continue
        kept.append((text.get_text(), box))
    assert frame.width > 0
    return kept


@pytest.mark.parametrize("name", FIGURES)
def test_twenty_plans_break_no_figure(name, twenty):
    figure, ax = drawn(FIGURES[name], twenty)
    texts = shown_texts(figure)
    assert len(texts) > 20
    canvas = figure.bbox
    for words, box in texts:
        assert box.x0 >= canvas.x0 - 1.0, words
        assert box.x1 <= canvas.x1 + 1.0, words
        assert box.y0 >= canvas.y0 - 1.0, words
        assert box.y1 <= canvas.y1 + 1.0, words
    for (one, a), (other, b) in combinations(texts, 2):
        width = min(a.x1, b.x1) - max(a.x0, b.x0)
        height = min(a.y1, b.y1) - max(a.y0, b.y0)
        if width > 0.0 and height > 0.0:
            share = width * height / min(a.width * a.height, b.width * b.height)
            assert share <= _OVERLAP, (one, other)
    # What is drawn is left enough room by what is written.
    frame = ax.get_window_extent()
    assert frame.width > 0.4 * canvas.width
    assert frame.height > 0.4 * canvas.height


def test_a_plan_has_one_mark_in_every_figure(losses):
    figures = {name: drawn(FIGURES[name], losses) for name in ("risk_by_year", "longest_crack", "which_plan")}
    names = list(losses.study.strategies)
    lines = [line for line in figures["risk_by_year"][1].lines if len(line.get_xdata()) > 1]
    # A triangle that points down is a bound, in the colour of its plan.
    by_year = {line.get_color(): line.get_marker() for line in lines if line.get_marker() != "v"}
    for place, name in enumerate(names):
        of = drawing.mark(place)
        assert by_year[of.colour] == of.marker, name
    for figure in ("longest_crack", "which_plan"):
        points = [line for line in figures[figure][1].lines if line.get_linestyle() == "None"]
        seen = {(line.get_color(), line.get_marker()) for line in points}
        for place in range(len(names)):
            of = drawing.mark(place)
            assert (of.colour, of.marker) in seen


def test_twenty_marks_are_told_apart_without_colour():
    marks = [drawing.mark(place) for place in range(20)]
    assert len({(of.marker, of.dashes) for of in marks}) == 20
    # Nor is any too light to be seen on white: contrast of 1.8 at least, with a form of its own.
    for of in marks:
        linear = [part / 12.92 if part <= 0.04045 else ((part + 0.055) / 1.055) ** 2.4 for part in to_rgb(of.colour)]
        luminance = float(np.dot([0.2126, 0.7152, 0.0722], linear))
        assert 1.05 / (luminance + 0.05) >= 1.8


def test_a_readers_settings_stay_as_they_were(losses):
    with mpl.rc_context({"font.size": 23.0, "axes.grid": False}):
        before = dict(mpl.rcParams)
        ax = losses.plot_risk_by_year()
        assert dict(mpl.rcParams) == before
        # And do not change ours.
        assert ax.xaxis.label.get_fontsize() == 10.0
        plt.close(ax.figure)


def test_equal_figures_are_equal_bytes(losses):
    first, second = io.BytesIO(), io.BytesIO()
    for file in (first, second):
        drawing.save(losses.plot_risk_by_year, file, "svg")
    assert first.getvalue() == second.getvalue()
    assert b"<svg" in first.getvalue()


def test_names_stand_in_order_and_apart_as_near_as_can_be():
    wanted = [0.1, 0.11, 0.12, 0.9]
    places = drawing._spread(wanted, 0.1)
    assert np.diff(places).min() >= 0.1 - 1e-12
    assert places == pytest.approx([0.01, 0.11, 0.21, 0.9])
    # None above the axes, as long as they have room.
    assert drawing._spread([1.0, 1.0], 0.1) == pytest.approx([0.9, 1.0])


def test_what_is_set_while_a_figure_is_made_stays():
    # As notebooks do when pyplot is first loaded, to show this figure and the next ones.
    before = mpl.rcParams["interactive"]
    try:
        with drawing.look():
            mpl.rcParams["interactive"] = not before
        assert mpl.rcParams["interactive"] is (not before)
    finally:
        mpl.rcParams["interactive"] = before
