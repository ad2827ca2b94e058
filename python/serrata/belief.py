"""What to believe of a fleet given its records: what is in each row now, and what the records say of the inputs."""

from __future__ import annotations

import json
import os
from collections.abc import Sequence
from functools import cached_property
from pathlib import Path
from typing import TYPE_CHECKING, Any, ClassVar

import numpy as np

from serrata import belief_plots
from serrata.about import CAUTION
from serrata.card import Card, Carded, of_frame
from serrata.columns import Columns
from serrata.errors import ArgumentError
from serrata.files import write_directory
from serrata.report_blocks import Table

if TYPE_CHECKING:
    import pandas as pd
    from matplotlib.axes import Axes

    from serrata import _engine as engine

__all__ = ["Belief"]

#: Its tables.
TABLES = ("summary", "by_row", "inputs", "lengths", "losses", "losses_by_month", "next_look")
#: Rows of the report, with the words above each.
_OF_ROWS = {
    "looks": "looks",
    "blades_called": "called",
    "cracks": "cracks now",
    "p_no_crack": "P(none)",
    "longest_95_mm": "95 % longest",
    "p_loss_to_next_outage": "P(loss, next)",
    "p_loss_in_5_years": "P(loss, 5 y)",
}
#: The same where there is room.
_IN_FULL = (
    "looks",
    "blades called",
    "cracks now",
    "chance of no crack",
    "longest crack, 95 %",
    "chance of a loss to the next outage",
    "chance of a loss in 5 years",
)
#: Those that are chances of a loss: none seen is no risk of zero.
_RISKS = ("P(loss, next)", "P(loss, 5 y)")
#: Standard error, as a share of the number, from which one figure is shown.
_COARSE = 0.1
#: Change of a mean, in standard deviations before, from which an input is shown to have moved.
_MOVED = 0.3


class Belief(Carded):
    """What is believed of a fleet given its records, at the start of the study. It never changes.

    Made by `Study.given`, as the ``belief`` of the study that it gives. Chances of losses are those if nobody looks;
    strategies are compared by simulating that study. Standard errors are those of sampling: what they are of is the
    belief itself, which has its own spread.

    Examples
    --------
    >>> import serrata
    >>> study = serrata.Study.load("tests/engine/data/given/a.toml")
    >>> records = serrata.Records.load("tests/engine/data/given/b.csv")
    >>> belief = study.given(records, draws=64, cracks=256).belief
    >>> rows = belief.by_row.set_index("quantity")["value"]
    >>> int(rows["blades_called"]), bool(2.5 < rows["cracks"] < 3.3)
    (3, True)
    """

    _about: dict[str, Any]
    _tables: dict[str, dict[str, Any]]

    #: Patterns of the names of all files that `write` may write.
    files: ClassVar[tuple[str, ...]] = ("belief-*.csv", "belief-*.png", "belief-report.txt")

    def __init__(self) -> None:
        raise TypeError("a Belief is made by study.given(records)")

    @classmethod
    def _of(cls, inner: engine.Given, about: dict[str, Any]) -> Belief:
        tables = {name: dict(inner.table(name)) for name in TABLES}
        return cls._again({**about, "warnings": inner.warnings()}, tables)

    @classmethod
    def _again(cls, about: dict[str, Any], tables: dict[str, dict[str, Any]]) -> Belief:
        belief = cls.__new__(cls)
        belief._about, belief._tables = about, tables
        return belief

    def columns(self, name: str) -> Columns:
        """Give a table by name as arrays, one for each column; needs no pandas.

        Parameters
        ----------
        name : str
            summary, by_row, inputs, lengths, losses, losses_by_month or next_look.

        Returns
        -------
        Columns
            A dict of names to arrays, all of the same length, which libraries of data frames take as it is;
            texts or numbers.

        Raises
        ------
        ArgumentError
            For another name.
        """
        if name not in self._tables:
            raise ArgumentError(f"name = {name!r}\n    must be a table\n    there are {', '.join(TABLES)}")
        return Columns({column: np.array(cells) for column, cells in self._tables[name].items()})

    def table(self, name: str) -> pd.DataFrame:
        """Give a table by name, as a new data frame.

        Parameters
        ----------
        name : str
            summary, by_row, inputs, lengths, losses, losses_by_month or next_look.

        Returns
        -------
        pandas.DataFrame

        Raises
        ------
        ArgumentError
            For another name.
        """
        import pandas as pd

        return pd.DataFrame(self.columns(name))

    @cached_property
    def summary(self) -> pd.DataFrame:
        """What was learned from, and how well it was sampled: quantity, value, standard_error.

        ln_evidence is the logarithm of the probability of the records, and that no blade was lost, under the study:
        the difference of two studies says which the records speak for.
        """
        return self.table("summary")

    @cached_property
    def by_row(self) -> pd.DataFrame:
        """What is in each row at the start of the study, and what comes of it if nobody looks.

        Columns: row, quantity, unit, value, standard_error.
        """
        return self.table("by_row")

    @cached_property
    def inputs(self) -> pd.DataFrame:
        """What was believed of inputs before the records and what is now.

        Columns: row ("" for what all rows share), input, technique, year, mean_before, sd_before, mean, sd,
        standard_error (of the mean).
        """
        return self.table("inputs")

    @cached_property
    def lengths(self) -> pd.DataFrame:
        """Chance that no crack of a row is longer: row, length_mm, p_none_longer, standard_error; 0 mm for no crack."""
        return self.table("lengths")

    @cached_property
    def losses(self) -> pd.DataFrame:
        """Chance that a row loses a blade until the next outage, and year by year, from lives with planted cracks.

        Columns: row, year, p_loss_until, standard_error, low, high (95 %).
        """
        return self.table("losses")

    @cached_property
    def losses_by_month(self) -> pd.DataFrame:
        """The same month by month, from sums over possible cracks; NaN where it is not known to a fifth.

        Columns: row, year, p_loss_until, standard_error.
        """
        return self.table("losses_by_month")

    @cached_property
    def next_look(self) -> pd.DataFrame:
        """Blades that each technique would call at the next outage: a prediction to hold it to.

        Columns: row, year, technique, blades_called (false calls among them), standard_error.
        """
        return self.table("next_look")

    @property
    def warnings(self) -> list[str]:
        """What to beware of, in sentences."""
        return list(self._about["warnings"])

    def rows_by_risk(self) -> list[str]:
        """Give the rows, the one first that is most likely to lose a blade before its next outage if nobody looks."""
        next_outage, years = self._of_rows("p_loss_to_next_outage"), self._of_rows("p_loss_in_5_years")
        return sorted(years, key=lambda row: (-next_outage.get(row, 0.0), -years[row]))

    def _of_rows(self, quantity: str, what: str = "value") -> dict[str, float]:
        rows = self._tables["by_row"]
        lines = zip(rows["row"], rows["quantity"], rows[what], strict=True)
        return {row: float(value) for row, own, value in lines if own == quantity}

    def report(self) -> str:
        """Give the whole answer as plain text."""
        about = self._about
        summary = dict(zip(self._tables["summary"]["quantity"], self._tables["summary"]["value"], strict=True))
        lines = [
            f"{about['study']} given {about['records']}",
            "",
            f"{summary['looks']:.0f} looks at {summary['rows']:.0f} rows called {summary['blades_called']:.0f} blades; "
            f"each was replaced. What is believed at {about['start_year']:g}, if nobody looks:",
            "",
        ]
        _, rows = self.rows_in_words()
        width = max(len(row[0]) for row in rows)
        lines += [
            f"{first:{width}}" + "".join(f"{cell:>15}" for cell in cells)
            for first, *cells in [["row", *_OF_ROWS.values()], *rows]
        ]
        lines += [
            "",
            "Most likely to lose a blade first; lengths in mm; what is known to no better than a tenth has ~.",
        ]
        moved = [f"  {line}" for line in self.moved_inputs()]
        lines += ["", *(["The records moved:", *moved] if moved else ["The records moved no input by much."])]
        lines += ["", *self._predicted()]
        lines += [f"Sampled with {summary['effective_draws']:.0f} draws that count in full.", ""]
        if self.warnings:
            lines += ["Beware:", *(f"  - {warning}" for warning in self.warnings), ""]
        return "\n".join([*lines, CAUTION, ""])

    def _most(self, row: str, head: str) -> float | None:
        """Upper end of a chance of a loss of which none was seen."""
        losses = self._tables["losses"]
        highs = [high for own, high in zip(losses["row"], losses["high"], strict=True) if own == row]
        if not highs:
            return None
        return float(highs[0] if "next" in head else highs[-1])

    def rows_in_words(self) -> tuple[Sequence[str], list[list[str]]]:
        """Give heads and cells of a table of the rows, the one most likely to lose a blade first."""
        columns = {
            head: (self._of_rows(quantity), self._of_rows(quantity, "standard_error"))
            for quantity, head in _OF_ROWS.items()
        }
        lines = []
        for row in self.rows_by_risk():
            cells = [
                _bound(self._most(row, head))
                if head in _RISKS and not numbers.get(row)
                else _cell(numbers.get(row), errors.get(row))
                for head, (numbers, errors) in columns.items()
            ]
            lines.append([row, *cells])
        return ["row", *_IN_FULL], lines

    def moved_inputs(self) -> list[str]:
        """Say what is believed otherwise than before, an input in each line: mean and standard deviation."""
        inputs = self._tables["inputs"]
        lines = []
        for number in range(len(inputs["input"])):
            row, what, technique = (inputs[name][number] for name in ("row", "input", "technique"))
            before, sd_before, mean, sd = (inputs[name][number] for name in ("mean_before", "sd_before", "mean", "sd"))
            if abs(mean - before) > _MOVED * sd_before:
                where = f"{row}: " if row else "all rows: "
                looked = f" by {technique}, {inputs['year'][number]:.1f}" if technique else ""
                lines.append(f"{where}{what}{looked}: {before:.2f} +- {sd_before:.2f} -> {mean:.2f} +- {sd:.2f}")
        return lines

    def _predicted(self) -> list[str]:
        looks = self._tables["next_look"]
        if not len(looks["row"]):
            return []
        lines = ["Blades that the next outage would find, by technique:"]
        by_row: dict[str, list[str]] = {}
        for row, year, technique, called in zip(
            looks["row"], looks["year"], looks["technique"], looks["blades_called"], strict=True
        ):
            by_row.setdefault(f"{row} {year:g}", []).append(f"{technique} {called:.2f}")
        return [*lines, *(f"  {row}: {', '.join(looks)}" for row, looks in by_row.items()), ""]

    def to_json(self) -> str:
        """Give all tables as one JSON object; numbers that are not known are null."""
        tables = {name: self.table(name).to_dict(orient="records") for name in TABLES}
        plain = {
            name: [{key: None if value != value else value for key, value in line.items()} for line in lines]
            for name, lines in tables.items()
        }
        return json.dumps({**self._about, **plain, "caution": CAUTION}, allow_nan=False)

    def write(self, directory: str | os.PathLike[str]) -> None:
        """Write the tables (CSV), the figures (PNG) and the report into a directory, or nothing.

        Parameters
        ----------
        directory : path-like
            Made if it is not there. Those of `files` that an earlier run wrote are replaced, and all else stays;
            SHA256SUMS says which were written.

        Raises
        ------
        FileError
            For a place that cannot be written to, a full disk, or a file by one of these names that was not written by
            serrata or was changed since.
        """
        write_directory(directory, self.files, self._write)

    def _write(self, directory: Path) -> None:
        for name in TABLES:
            self.table(name).to_csv(directory / f"belief-{name}.csv", index=False)
        (directory / "belief-report.txt").write_text(self.report(), encoding="utf-8")
        belief_plots.write(self, directory)

    def plot_rows(self, ax: Axes | None = None) -> Axes:
        """Draw the chance of a loss to the next outage, row by row; see `serrata.belief_plots.rows`."""
        return belief_plots.rows(self, ax)

    def plot_inputs(self, ax: Axes | None = None) -> Axes:
        """Draw what was believed of rows before and now; see `serrata.belief_plots.inputs`."""
        return belief_plots.inputs(self, ax)

    def plot_lengths(self, ax: Axes | None = None) -> Axes:
        """Draw how long the longest crack of each row may be; see `serrata.belief_plots.lengths`."""
        return belief_plots.lengths(self, ax)

    def plot_losses(self, ax: Axes | None = None) -> Axes:
        """Draw the chance of a loss against time, row by row; see `serrata.belief_plots.losses`."""
        return belief_plots.losses(self, ax)

    def _card(self) -> Card:
        about = self._about
        heads, rows = self.rows_in_words()
        tables = [Table("Rows, most likely to lose a blade first; lengths in mm", heads, rows)]
        tables += [of_frame("Inputs before and now", self.inputs), of_frame("What the next look finds", self.next_look)]
        title = (
            f"{about['study']} given {about['records']}: what is believed at {about['start_year']:g}, if nobody looks"
        )
        moved = self.moved_inputs()
        return Card(title, moved or ["The records moved no input by much."], tables, self.warnings)

    def __str__(self) -> str:
        return self.report()

    def __repr__(self) -> str:
        called = sum(self._of_rows("blades_called").values())
        return f"<Belief: {len(self._of_rows('cracks'))} rows, {called:.0f} blades called, {self._about['study']!r}>"

    def __reduce__(self) -> tuple[Any, ...]:
        return Belief._again, (self._about, self._tables)


def _cell(number: float | None, error: float | None) -> str:
    if number is None:
        return "-"
    if number == int(number):
        return f"{number:.0f}"
    # What is not known to a tenth gets no second figure.
    is_coarse = error is not None and error > _COARSE * number
    return f"~{number:.0e}" if is_coarse else f"{number:.3g}"


def _bound(number: float | None) -> str:
    return f"< {number:.0e}" if number is not None else "-"
