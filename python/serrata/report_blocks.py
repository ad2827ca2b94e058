"""What reports are made of: tables, lists, sentences and figures; and how they are set as plain text."""

from __future__ import annotations

import textwrap
from collections.abc import Sequence
from typing import NamedTuple

__all__ = ["WIDTH", "Block", "Bullets", "Figure", "Sentences", "Table", "as_text", "split", "wrapped"]

#: Columns of a printed page.
WIDTH = 120
#: Letters that the head of a column may always take.
_NARROWEST = 10


class Table(NamedTuple):
    """A table of words and numbers.

    Attributes
    ----------
    title : str
        What it shows, in one sentence.
    heads : sequence of str
        Words above the columns.
    lines : sequence of sequences of str
        A cell for each column.
    left : int
        Columns that are flush left; the first of them name the line.
    repeat : int
        Columns that are there again where a wide table continues below.
    note : str
        What to know of it.
    """

    title: str
    heads: Sequence[str]
    lines: Sequence[Sequence[str]]
    left: int = 1
    repeat: int = 1
    note: str = ""


class Bullets(NamedTuple):
    """A list of sentences under a title."""

    title: str
    sentences: Sequence[str]


class Sentences(NamedTuple):
    """Paragraphs."""

    paragraphs: Sequence[str]


class Figure(NamedTuple):
    """A picture, with what it shows in words for those who cannot see it."""

    words: str
    data: str


Block = Table | Bullets | Sentences | Figure


def as_text(block: Block) -> str:
    """Set a block as plain text; of a figure its words."""
    match block:
        case Table(title, _, _, note=note):
            parts = split(block, WIDTH)
            tables = "\n\n".join(_columns(part) for part in parts)
            return "\n".join([wrapped(title), tables, *([wrapped(note)] if note else [])])
        case Bullets(title, sentences):
            return "\n".join([title, *(wrapped(sentence, "  - ", "    ") for sentence in sentences)])
        case Sentences(paragraphs):
            return "\n".join(map(wrapped, paragraphs))
        case Figure():
            return wrapped(block.words)


def wrapped(sentence: str, first: str = "", rest: str = "") -> str:
    """Break a sentence into lines of a page."""
    # A name with hyphens stays whole, so that it can be searched for.
    return textwrap.fill(
        sentence, WIDTH, initial_indent=first, subsequent_indent=rest, break_on_hyphens=False, break_long_words=False
    )


def split(table: Table, width: int) -> list[Table]:
    """Cut a table that is too wide into several, each with the first columns again."""
    first = range(table.repeat)
    blocks: list[list[int]] = [[]]
    widths = [max(map(len, cells)) + 2 for cells in zip(*_with_heads(table), strict=True)]
    for column in range(table.repeat, len(table.heads)):
        if blocks[-1] and sum(widths[other] for other in (*first, *blocks[-1], column)) > width:
            blocks.append([])
        blocks[-1].append(column)

    def of(columns: Sequence[int], cells: Sequence[str]) -> list[str]:
        return [cells[column] for column in (*first, *columns)]

    return [
        table._replace(
            heads=of(columns, table.heads),
            lines=[of(columns, line) for line in table.lines],
            left=sum(column < table.left for column in (*first, *columns)),
        )
        for columns in blocks
    ]


def _with_heads(table: Table) -> list[Sequence[str]]:
    """Give the lines of a table, those of its heads first, which are broken so that they are hardly wider."""
    below = [max((len(line[column]) for line in table.lines), default=0) for column in range(len(table.heads))]
    heads = [
        textwrap.wrap(words, max(width, _NARROWEST), break_long_words=False) or [""]
        for words, width in zip(table.heads, below, strict=True)
    ]
    depth = max(map(len, heads))
    tops = [[words[row - depth] if row >= depth - len(words) else "" for words in heads] for row in range(depth)]
    return [*tops, *table.lines]


def _columns(table: Table) -> str:
    """Set a table in columns."""
    lines = _with_heads(table)
    widths = [max(map(len, cells)) for cells in zip(*lines, strict=True)]

    def row(line: Sequence[str]) -> str:
        cells = [
            f"{cell:<{width}}" if column < table.left else f"{cell:>{width}}"
            for column, (cell, width) in enumerate(zip(line, widths, strict=True))
        ]
        return ("  " + "  ".join(cells)).rstrip()

    return "\n".join(map(row, lines))
