"""Every figure draws without a screen, and says what it shows."""

import matplotlib.pyplot as plt
import pytest
from matplotlib.figure import Figure

import serrata
from serrata import plots

FIGURES = [
    ("plot_risk_by_year", {}),
    ("plot_cost_split", {}),
    ("plot_longest_crack", {}),
    ("plot_cracks", {}),
    *[("plot_differences", {"quantity": quantity}) for quantity in ("p_any_loss", "losses", "cost", "days")],
    ("plot_cost_against_risk", {}),
]


@pytest.fixture(scope="module", params=["reference", "losing", "rare"])
def run(request):
    return request.getfixturevalue(request.param).simulate(trials=300, seed=1)


@pytest.mark.parametrize(("name", "arguments"), FIGURES)
def test_every_figure_has_labels_a_legend_and_its_level(run, name, arguments):
    ax = getattr(run, name)(**arguments)
    figure = ax.figure
    figure.canvas.draw()
    assert ax.get_xlabel()
    assert ax.get_ylabel()
    assert ax.get_title()
    legend = [text.get_text() for text in ax.get_legend().get_texts()]
    assert any("95 %" in text for text in legend)
    assert ax.has_data()
    plt.close(figure)


@pytest.mark.parametrize(("name", "arguments"), FIGURES)
def test_every_figure_draws_where_it_is_told_to(losses, name, arguments):
    ax = Figure().subplots()
    assert getattr(losses, name)(ax, **arguments) is ax


def test_a_row_can_be_drawn_by_itself(comparison):
    for draw in (plots.risk_by_year, plots.longest_crack):
        ax = draw(comparison, Figure().subplots(), row="south-a")
        assert "south-a" in ax.get_title()
        with pytest.raises(serrata.ArgumentError, match="choose one of north-a, south-a"):
            draw(comparison, Figure().subplots(), row="nowhere")


def test_an_unknown_quantity_is_refused(comparison):
    with pytest.raises(serrata.ArgumentError, match="choose one of p_any_loss, losses, cost, days"):
        comparison.plot_differences(quantity="price")


def test_the_bars_of_the_cost_split_end_at_the_whole(comparison):
    ax = comparison.plot_cost_split(Figure().subplots())
    cost = comparison.summary[comparison.summary["quantity"] == "cost"]["value"]
    ends = {}
    for bar in ax.patches:
        middle = round(bar.get_y() + bar.get_height() / 2, 6)
        ends[middle] = max(ends.get(middle, 0.0), bar.get_x() + bar.get_width())
    assert [ends[key] for key in sorted(ends)] == pytest.approx(list(cost), rel=1e-9)
