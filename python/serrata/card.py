"""Results as cards of HTML for notebooks: a title, sentences, tables, warnings; no plot library, no network."""

from __future__ import annotations

import math
from collections.abc import Sequence
from html import escape
from numbers import Integral, Real
from typing import TYPE_CHECKING, NamedTuple

import numpy as np

from serrata.about import CAUTION
from serrata.report_blocks import Table

if TYPE_CHECKING:
    import pandas as pd

    from serrata import _engine as engine

__all__ = ["Card", "Carded", "of_evidence", "of_frame"]

#: Lines of a table that a card shows.
_MOST_LINES = 40
_BOX = "border-left: 4px solid #0072B2; padding: 0.2em 0 0.2em 0.9em; max-width: 70em"
_CELL = "vertical-align: top; padding: 0.15em 0.6em"
_LEFT, _RIGHT = f"text-align: left; {_CELL}", f"text-align: right; {_CELL}; font-variant-numeric: tabular-nums"
#: Names and numbers stay whole; a wide table scrolls.
_WHOLE = "white-space: nowrap"


class Card(NamedTuple):
    """What a card shows.

    Attributes
    ----------
    title : str
        What it is, in one line.
    sentences : sequence of str
        What it says.
    tables : sequence of Table
        The first is shown; the others open on a click.
    warnings : sequence of str
        What to beware of.
    """

    title: str
    sentences: Sequence[str] = ()
    tables: Sequence[Table] = ()
    warnings: Sequence[str] = ()


class Carded:
    """A result that notebooks show as a card."""

    __slots__ = ()

    def _card(self) -> Card:
        raise NotImplementedError

    def _repr_html_(self) -> str:
        return _html(self._card())


def of_frame(title: str, frame: pd.DataFrame) -> Table:
    """Make a table of a data frame: numbers to four figures, what is missing as a dash; no column without anything."""
    frame = frame if frame.index.name is None else frame.reset_index()
    frame = frame.loc[:, (frame.notna() & (frame != "")).any().to_numpy()] if len(frame) else frame
    numbers = [name for name in frame if frame[name].dtype.kind in "iufb"]
    texts = [name for name in frame if name not in numbers]
    ordered = frame[[*texts, *numbers]]
    lines = [
        [_cell(value, 6 if name == "year" else 4) for name, value in zip(ordered, line, strict=True)]
        for line in ordered.itertuples(index=False, name=None)
    ]
    heads = [str(name).replace("_", " ") for name in ordered]
    return Table(title, heads, lines, left=max(len(texts), 1))


def of_evidence(evidence: engine.Evidence | engine.GrowthEvidence) -> str:
    """Show what a fit says as inputs of a study, as HTML: compiled classes make no card by themselves."""
    of = "a technique" if hasattr(evidence, "pod") else "growth"
    lines = []
    for name in dir(evidence):
        if name.startswith("_") or name == "basis":
            continue
        value = getattr(evidence, name)
        if name == "pod":
            named = zip(("q50_mm", "spread", "floor", "ceiling"), value, strict=True)
            lines += [[f"pod.{key}", _cell(part, 4)] for key, part in named]
        elif isinstance(value, list):
            lines += [[f"{name}.{key}", _cell(part, 4)] for key, part in value]
        elif value is not None:
            lines.append([name, _cell(value, 4)])
    table = Table("Inputs", ["input", "value"], lines)
    return _html(Card(f"What records say of {of}, as inputs of a study", [f"Based on: {evidence.basis}"], [table]))


def _cell(value: object, figures: int) -> str:
    if isinstance(value, (bool, np.bool_)):
        return "yes" if value else "no"
    if isinstance(value, Integral):
        return f"{int(value):,}" if abs(int(value)) >= 10_000 else f"{int(value)}"
    if isinstance(value, Real):
        number = float(value)
        if math.isnan(number):
            return "\N{EN DASH}"
        return f"{number:,.0f}" if 1e4 <= abs(number) < 1e15 else f"{number:.{figures}g}"
    return "\N{EN DASH}" if value is None or str(value) in ("<NA>", "NaT") else str(value)


def _html(card: Card) -> str:
    parts = [f'<div style="font-weight: 600">{escape(card.title)}</div>']
    parts += [f'<p style="margin: 0.4em 0">{escape(sentence)}</p>' for sentence in card.sentences]
    parts += [_table(table) for table in card.tables[:1]]
    for table in card.tables[1:]:
        parts.append(f"<details><summary>{escape(table.title)}</summary>{_table(table)}</details>")
    if card.warnings:
        items = "".join(f"<li>{escape(warning)}</li>" for warning in card.warnings)
        parts.append(f'<p style="margin: 0.4em 0 0; font-weight: 600">Beware</p><ul style="margin: 0">{items}</ul>')
    parts.append(f'<p style="margin: 0.4em 0; font-size: 0.9em"><em>{escape(CAUTION)}</em></p>')
    return f'<div style="{_BOX}">{"".join(parts)}</div>'


def _table(table: Table) -> str:
    def side(column: int) -> str:
        return f'style="{_LEFT if column < table.left else _RIGHT}"'

    heads = "".join(f'<th scope="col" {side(column)}>{escape(head)}</th>' for column, head in enumerate(table.heads))
    rows = []
    for line in table.lines[:_MOST_LINES]:
        cells = "".join(
            f'<th scope="row" style="{_LEFT}; {_WHOLE}">{escape(cell)}</th>'
            if column == 0
            else f"<td {side(column)}>{_number(cell) if column >= table.left else escape(cell)}</td>"
            for column, cell in enumerate(line)
        )
        rows.append(f"<tr>{cells}</tr>")
    more = len(table.lines) - _MOST_LINES
    note = f"{more:,} more lines are in the data frame." if more > 0 else table.note
    below = f'<p style="margin: 0.2em 0; font-size: 0.9em">{escape(note)}</p>' if note else ""
    return (
        f'<div style="overflow-x: auto"><table style="border-collapse: collapse">'
        f'<caption style="text-align: left; font-weight: 600; white-space: nowrap">{escape(table.title)}</caption>'
        f"<thead><tr>{heads}</tr></thead><tbody>{''.join(rows)}</tbody></table></div>{below}"
    )


def _number(words: str) -> str:
    """Set the range of a number below it."""
    number, _, rest = words.partition(" (")
    below = f'<br><small style="white-space: nowrap">({escape(rest)}</small>' if rest else ""
    return escape(number) + below
