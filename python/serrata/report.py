"""A comparison in words: one line, a text for the terminal, a directory of files."""

from __future__ import annotations

from collections.abc import Callable
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING, Any

from serrata import plots
from serrata.about import CAUTION
from serrata.drawing import save
from serrata.errors import ArgumentError
from serrata.report_blocks import as_text, wrapped
from serrata.report_numbers import pick, shown_of
from serrata.report_parts import PARTS
from serrata.wording import RANGES

if TYPE_CHECKING:
    from serrata.comparison import Comparison

__all__ = ["FILES", "line", "text", "write"]

#: Rows up to which result.json has all tables, and the tables that it always has.
_MOST_ROWS = 500
_OF_FLEET = ("summary", "by_unit", "differences", "rankings", "limits")
_FIGURES: dict[str, Callable[..., Any]] = {
    "risk_by_year": plots.risk_by_year,
    "cost_split": plots.cost_split,
    "longest_crack": plots.longest_crack,
    "cracks": plots.cracks,
    "cost_against_risk": plots.cost_against_risk,
}
#: Quantities whose differences have a figure.
_DIFFERENCES = ("losses", "cost")
#: What `write` may write beside the tables.
FILES = (
    "result.json",
    "report.txt",
    "study.toml",
    *(f"{name}.png" for name in (*_FIGURES, *(f"differences_{quantity}" for quantity in _DIFFERENCES))),
)


def line(comparison: Comparison) -> str:
    """Word the comparison in one line, with the first estimate that matters."""
    ranking = comparison.rankings
    first = ranking[(ranking["quantity"] == "losses") & (ranking["place"] == 1)].iloc[0]
    summary = comparison.summary
    risk = pick(summary, strategy=first["strategy"], quantity="p_any_loss")
    return (
        f"<Comparison of {len(comparison.study.strategies)} strategies, {comparison.trials:,} trials, seed "
        f"{comparison.seed}: fewest losses with {first['strategy']}, chance of any loss "
        f"{shown_of(risk).ranged(comparison.trials)}>"
    )


def text(comparison: Comparison, part: str | None = None) -> str:
    """Word the whole answer, or one part of it, as plain text.

    Parameters
    ----------
    comparison : Comparison
        What to word.
    part : str, optional
        One of ``PARTS``; all of them if left out.

    Returns
    -------
    str
        Ends with the caution.

    Raises
    ------
    ArgumentError
        For a part that there is not.
    """
    if part is not None and part not in PARTS:
        raise ArgumentError(f"part = {part!r}\n    is no part of the report\n    choose one of {', '.join(PARTS)}")
    chosen = PARTS if part is None else [part]
    parts = ["\n".join(map(as_text, blocks)) for name in chosen if (blocks := PARTS[name](comparison))]
    return "\n\n".join([*parts, wrapped(RANGES), wrapped(CAUTION)]) + "\n"


def write(comparison: Comparison, directory: Path) -> None:
    """Write tables, figures, report and JSON into an empty directory."""
    for name in comparison.tables:
        comparison.table(name).to_csv(directory / f"{name}.csv", index=False, lineterminator="\n")
    # Where there are many rows, what is told row by row is in the tables alone.
    tables = None if len(comparison.study.rows) <= _MOST_ROWS else _OF_FLEET
    (directory / "result.json").write_text(comparison.to_json(tables) + "\n", encoding="utf-8")
    (directory / "report.txt").write_text(text(comparison), encoding="utf-8")
    (directory / "study.toml").write_text(comparison.study.to_toml(), encoding="utf-8")
    _write_figures(comparison, directory)


def _write_figures(comparison: Comparison, directory: Path) -> None:
    for name, draw in _FIGURES.items():
        save(partial(draw, comparison), directory / f"{name}.png")
    if len(comparison.differences):
        for quantity in _DIFFERENCES:
            drawn = partial(plots.differences, comparison, quantity=quantity)
            save(drawn, directory / f"differences_{quantity}.png")
