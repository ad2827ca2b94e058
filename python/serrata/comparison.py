"""Results of a run: tables as data frames, figures, a one-line summary."""

from __future__ import annotations

import os
from collections.abc import Sequence
from functools import cached_property
from pathlib import Path
from typing import TYPE_CHECKING, Any, ClassVar

import numpy as np

import serrata
from serrata import _engine as engine
from serrata import plots, report, report_page
from serrata.card import Card, Carded
from serrata.columns import Columns
from serrata.errors import ArgumentError
from serrata.files import check_file, write_directory, write_file
from serrata.report_answer import plans, question, three_sentences
from serrata.report_blocks import Table
from serrata.report_parts import PARTS
from serrata.which_plan import WhichPlan

if TYPE_CHECKING:
    import pandas as pd
    from matplotlib.axes import Axes

    from serrata.belief import Belief
    from serrata.study import Study

__all__ = ["TABLES", "Comparison"]

#: Names of all tables.
TABLES = tuple(engine.TABLES)


class Comparison(Carded):
    """The strategies of a study side by side, each number with its standard error and 95 % interval.

    Made by `Study.simulate`. Tables are in long form: one line for each number, and in all but `rankings`, `limits` and
    `rare_losses` the same columns, so that lines can be put together and joined:

    - ``level`` (fleet or row), ``row``, ``strategy``, ``year`` (NaN for the whole horizon), ``quantity``,
      ``probability`` (of a quantile, else NaN) say what the number is of;
    - ``unit``, ``value``, ``standard_error``, ``low``, ``high`` (95 % interval), ``events`` (trials in which it
      happened, or those that would be as sure where planted lives tell of it; NaN for means) and ``note`` are the
      number.

    Where nothing was seen in any trial, ``high`` is an upper bound and ``note`` says so; the standard error is then
    NaN.

    Examples
    --------
    >>> import serrata
    >>> study = serrata.Study.load("demo-data/reference-study.toml")
    >>> comparison = study.simulate(trials=100, seed=1)
    >>> comparison.trials, comparison.seed
    (100, 1)
    """

    #: Names of all tables.
    tables: ClassVar[tuple[str, ...]] = TABLES
    #: Names of all files that `write` may write.
    files: ClassVar[tuple[str, ...]] = (*report.FILES, *(f"{name}.csv" for name in TABLES))
    #: Endings of the names of files that `write_report` may write.
    report_forms: ClassVar[tuple[str, ...]] = tuple(report_page.FORMS)

    _engine: engine.Comparison
    _belief: Belief | None

    def __init__(self) -> None:
        raise TypeError("a Comparison is made by study.simulate(...)")

    @classmethod
    def _of(cls, inner: engine.Comparison, belief: Belief | None = None) -> Comparison:
        comparison = cls.__new__(cls)
        comparison._engine, comparison._belief = inner, belief
        return comparison

    @property
    def study(self) -> Study:
        """The study; what is believed of it given its records is not kept in bytes."""
        # Named by the package, since its module stands on this one.
        return serrata.Study._of(self._engine.study, self._belief)

    @property
    def belief(self) -> Belief | None:
        """What was believed of the fleet given its records, if the study was given any; not kept in bytes."""
        return self._belief

    @property
    def trials(self) -> int:
        """Trials finished."""
        return self._engine.trials

    @property
    def planted_lives(self) -> int:
        """Lives of each row in which a crack was planted."""
        return self._engine.planted_lives

    @property
    def ended(self) -> str:
        """Why it ended: trials lived, target reached or time over."""
        return self._engine.ended

    @property
    def target_relative_error(self) -> float | None:
        """Standard error over value that was asked for, of the fleet's losses under each strategy."""
        return self._engine.target_relative_error

    @property
    def seed(self) -> int:
        """Seed; the same study, trials and seed give the same numbers."""
        return self._engine.seed

    @property
    def threads(self) -> int:
        """Threads that did the work; the numbers do not depend on it."""
        return self._engine.threads

    @property
    def version(self) -> str:
        """Version of serrata that ran it, which need not be the one that reads it."""
        return self._engine.version

    @property
    def generator(self) -> str:
        """Name of the random numbers; with seed and version it fixes every digit. Others are refused on reading."""
        return engine.GENERATOR

    @cached_property
    def worst_row(self) -> str:
        """Id of the row with most losses under the baseline."""
        rows = self.by_row
        losses = rows[(rows["quantity"] == "losses") & (rows["strategy"] == self.study.baseline)]
        return str(losses.sort_values("value", ascending=False, kind="stable")["row"].iloc[0])

    @property
    def warnings(self) -> list[str]:
        """Warnings in sentences: thin evidence, unsure rankings, inputs at odds with the past."""
        return self._engine.warnings()

    def columns(self, name: str) -> Columns:
        """Give a table by name as arrays, one for each column; needs no pandas.

        Parameters
        ----------
        name : str
            summary, by_unit, by_row, by_year, by_outage, by_hot_spot, loss_cost, spread, differences, rankings, limits
            or rare_losses.

        Returns
        -------
        Columns
            A dict of names to arrays, all of the same length, which libraries of data frames take as it is;
            texts, numbers or whole numbers.

        Raises
        ------
        ArgumentError
            For another name.

        Examples
        --------
        >>> import serrata
        >>> study = serrata.Study.load("demo-data/reference-study.toml")
        >>> columns = study.simulate(trials=100, seed=1).columns("summary")
        >>> cost = columns["value"][(columns["quantity"] == "cost") & (columns["strategy"] == study.baseline)]
        >>> bool(cost[0] > 0.0)
        True
        """
        return Columns({column: np.asarray(cells) for column, cells in self._engine.table(name).items()})

    def table(self, name: str) -> pd.DataFrame:
        """Give a table by name, as a new data frame.

        Parameters
        ----------
        name : str
            summary, by_unit, by_row, by_year, by_outage, by_hot_spot, loss_cost, spread, differences, rankings, limits
            or rare_losses.

        Returns
        -------
        pandas.DataFrame

        Raises
        ------
        ArgumentError
            For another name.
        """
        import pandas as pd

        return pd.DataFrame(self._engine.table(name))

    @cached_property
    def summary(self) -> pd.DataFrame:
        """Every quantity over the fleet and the horizon, for each strategy; costs are discounted.

        Where the study has limits on the chance of a loss, one column more: ``meets_limits``, of the strategy: meets,
        misses or undecided; `limits` says of each limit why.
        """
        return self.table("summary")

    @cached_property
    def by_unit(self) -> pd.DataFrame:
        """Blades lost from each unit within the horizon, and the chance of any: one column more, ``of_unit``.

        A strategy that looks at sister rows is left out unless planted lives tell of it: its rows hang together.
        """
        return self.table("by_unit")

    @cached_property
    def by_row(self) -> pd.DataFrame:
        """As `summary`, for each row.

        Where planted lives tell of losses, rows that nothing but their names tells apart share what their lives tell:
        they have one number, whose errors hang together. Do not add them up as if they were independent; `summary`
        has the fleet.
        """
        return self.table("by_row")

    @cached_property
    def by_year(self) -> pd.DataFrame:
        """Losses, and the chance of any, in each study year: for the fleet and for each row.

        ``year`` is the beginning of the study year. ``p_any_loss_until`` is the chance that a loss has come by its
        end.
        """
        return self.table("by_year")

    @cached_property
    def by_outage(self) -> pd.DataFrame:
        """Cracks left in each row just after each outage.

        Quantities are ``cracks``, ``p_any_crack``, ``mean_length_mm`` and ``longest_mm``; ``year`` is the moment of the
        outage. ``longest_mm`` is the length in mm that the longest crack stays below with
        a ``probability``: 0.5, 0.9, 0.95 and 0.99; 0 where there is no crack with that probability.
        """
        return self.table("by_outage")

    @cached_property
    def by_hot_spot(self) -> pd.DataFrame:
        """Blades lost from each row within the horizon, by the hot spot of the crack: one column more, ``hot_spot``."""
        return self.table("by_hot_spot")

    @cached_property
    def loss_cost(self) -> pd.DataFrame:
        """Chance that the losses of one row cost more than some levels, in present value.

        One column more: ``above``, in the study's currency: 1/4, 1/2, 1, 2, 4 and 8 times the mean cost of one
        loss. For the fleet it is the chance that those of any one row do; where a strategy sends people to sister
        rows and planted lives tell of it, an upper bound: the sum over rows.
        """
        return self.table("loss_cost")

    @cached_property
    def spread(self) -> pd.DataFrame:
        """How far lives lie apart in cost and days: percentiles, and the mean of the worst share of lives.

        For the fleet, each unit and each row; two columns more: ``of_unit``, and ``statistic``. A ``percentile`` is the
        least value at or below which a share of lives lies, its ``probability``: 0.5, 0.9, 0.95 and 0.99; ``low`` and
        ``high`` are values of two lives in order (95 %, by the binomial distribution). A ``mean of the worst`` is the
        mean over the share of lives with the largest values: 0.1, 0.05 and 0.01; with its standard error. ``events``
        are the lives beyond. Where these are fewer than 10, ``note`` says so, and a mean over them has no interval.

        Lives are kept in bins, so that a value may be off by one part in 128 (0.8 %) of itself; zero, and what is the
        same in all lives, is exact. All numbers are of plain lives alone: lives with a planted crack tell what a loss
        costs, not what a life does, so that they make no percentile sharper.

        Examples
        --------
        >>> import serrata
        >>> study = serrata.Study.load("demo-data/reference-study.toml")
        >>> spread = study.simulate(trials=100, seed=1).spread
        >>> fleet = spread[(spread["level"] == "fleet") & (spread["strategy"] == study.baseline)]
        >>> cost = fleet[(fleet["quantity"] == "cost") & (fleet["statistic"] == "percentile")]
        >>> list(cost["probability"]), bool(cost["value"].is_monotonic_increasing)
        ([0.5, 0.9, 0.95, 0.99], True)
        """
        return self.table("spread")

    @cached_property
    def limits(self) -> pd.DataFrame:
        """The study's limits on the chance of a loss in a year, held against each strategy; empty where it has none.

        Columns: strategy, ``level`` (row, unit or fleet), row, ``of_unit``, limit, ``year`` (beginning of the study
        year whose interval reaches highest; of a limit that is missed, of the one that lies highest above), ``value``
        (chance of any loss in it), ``low``, ``high``, events, verdict, note. The intervals of all years of a line hold
        together with 95 %: each has one minus 0.05 over the number of years. The verdict is ``meets`` where that of no
        year reaches above the limit, ``misses`` where that of some year lies above it, else ``undecided``. A strategy
        is said to meet all limits only if each line does, which is as sure as the least sure of them: wrong in 2.5 % of
        runs at most.

        Where planted lives tell badly of a row (`rare_losses`), plain lives alone decide. Where rows share what is
        uncertain, planted lives give an upper bound for units and the fleet, which can show that a limit is met and
        never that it is missed. A year of which no life shows a loss has the bound of plain lives, so that a small
        limit takes many of them: over 30 years some 7 over the limit. The last year, where the horizon cuts it, counts
        by the part that is there.

        Examples
        --------
        >>> import serrata
        >>> study = serrata.Study.load("demo-data/reference-study.toml")
        >>> limits = study.simulate(trials=100, seed=1).limits
        >>> sorted(set(limits["level"])), set(limits["verdict"]) <= {"meets", "misses", "undecided"}
        (['fleet', 'row', 'unit'], True)
        """
        return self.table("limits")

    @cached_property
    def differences(self) -> pd.DataFrame:
        """Each strategy against the baseline (strategy minus baseline), paired trial by trial.

        Two columns more: ``baseline``, and ``unpaired_standard_error``: what it would be had the two been simulated
        apart. A terminal is too narrow for them and hides the numbers: ``comparison.report("differences")`` shows them.
        """
        return self.table("differences")

    @cached_property
    def rankings(self) -> pd.DataFrame:
        """The strategies in order, smallest first, by four quantities, with the confidence in the first place.

        Columns: strategy, quantity, place, confidence_in_first.
        """
        return self.table("rankings")

    @cached_property
    def rare_losses(self) -> pd.DataFrame:
        """How the number of losses of each row under each strategy was got, and how much it can be relied on.

        Columns: row, strategy, ``planted_share`` (share of the answer from lives with a planted crack; plain lives
        have the rest), ``planted_lives`` (of the row and of those that are like it), ``planted_losses`` (lives in which
        the planted crack was lost), ``effective_losses`` (equal weights that would scatter as much), ``largest_share``
        (of one life in all weight), ``tail_index`` (of the weights; above 0.7 they are not to be relied on),
        ``halves_apart`` (even batches against odd ones, in standard errors), note (``thin: ...`` where the number is
        not to be relied on).
        """
        return self.table("rare_losses")

    def to_json(self, tables: Sequence[str] | None = None) -> str:
        """Give everything as one JSON object; the same run gives the same bytes on any number of threads.

        Parameters
        ----------
        tables : sequence of str, optional
            Names of the tables in it; all if left out. Those by row are long in a large fleet: 10,000 rows come to
            hundreds of megabytes. ``tables_left_out`` names the others.

        Returns
        -------
        str

        Raises
        ------
        ArgumentError
            For the name of no table.
        """
        return self._engine.to_json(None if tables is None else list(tables))

    def to_bytes(self) -> bytes:
        """Give bytes from which `from_bytes` makes the same comparison, to the last bit."""
        return self._engine.to_bytes()

    @staticmethod
    def from_bytes(data: bytes, threads: int = 0) -> Comparison:
        """Read what `to_bytes` wrote.

        Parameters
        ----------
        data : bytes
            As written.
        threads : int
            Number of threads to remember as having done the work; 0 for unknown.

        Returns
        -------
        Comparison

        Raises
        ------
        ArgumentError
            For bytes that are something else, or damaged.
        """
        return Comparison._of(engine.Comparison.from_bytes(data, threads))

    def report(self, part: str | None = None) -> str:
        """Give the whole answer as plain text, as the command line prints it, or one part of it.

        Parameters
        ----------
        part : str, optional
            answer (which a screen has room for), heading, losses, limits, by_year, hot_spots, found, left, cost,
            loss_cost, days, spread, differences, rankings, rare_losses, warnings or assumptions.

        Returns
        -------
        str

        Raises
        ------
        ArgumentError
            For another part.

        Examples
        --------
        >>> import serrata
        >>> study = serrata.Study.load("demo-data/reference-study.toml")
        >>> print(study.simulate(trials=100, seed=1).report("differences").splitlines()[0])
        Differences to in-place-always over the fleet, trial by trial on the same blades and cracks
        """
        return report.text(self, part)

    def write(self, directory: str | os.PathLike[str]) -> None:
        """Write tables (CSV), figures (PNG), the report (text) and everything as JSON into a directory, or nothing.

        Parameters
        ----------
        directory : path-like
            Made if it is not there. Those of `files` that an earlier run wrote are replaced or removed, and all else
            stays; SHA256SUMS says which were written.

        Raises
        ------
        FileError
            For a place that cannot be written to, a full disk, or a file by one of these names that was not written by
            serrata or was changed since.
        """
        write_directory(directory, self.files, lambda place: report.write(self, place))

    def write_report(
        self,
        file: str | os.PathLike[str],
        *,
        answers: Sequence[report_page.Answer] = (),
        without_records: Comparison | None = None,
    ) -> None:
        """Write the report into one file that needs no other and no network, whole or not at all.

        It begins with the question, the answer and how sure it is; then what the records say, what is left in the row,
        when it must be looked at, what it costs and what was taken for granted; the long tables come last. The same
        comparison gives the same bytes.

        Parameters
        ----------
        file : path-like
            The ending of its name says the form: ``.html``, with figures, to be read on a screen or printed; or
            ``.md``, Markdown without figures.
        answers : sequence of results
            Further answers about the study, each with what it says, its table and its picture: of
            `Study.inspection_interval`, `Study.cheapest_plan`, `Study.left_in_row`, `Study.can_it_run`,
            `how_many_blades`.
        without_records : Comparison, optional
            Of a study that was given its records, the same plans compared without them: the report then says whether
            the records changed the plan.

        Raises
        ------
        ArgumentError
            For a comparison without records of other plans, or where there is none to tell apart.
        FileError
            For another ending, a place that cannot be written to, or a full disk.

        Examples
        --------
        >>> import serrata
        >>> study = serrata.Study.load("demo-data/reference-study.toml")
        >>> import pathlib, tempfile
        >>> with tempfile.TemporaryDirectory() as place:
        ...     study.simulate(trials=100, seed=1).write_report(pathlib.Path(place, "report.md"))
        ...     pathlib.Path(place, "report.md").read_text(encoding="utf-8")[:18]
        '# Which of 5 plans'
        """
        check_file(file, self.report_forms)
        if without_records is not None:
            self._check_without_records(without_records)
        text = report_page.page(self, Path(file).suffix.lower(), answers, without_records)
        write_file(file, lambda place: place.write_text(text, encoding="utf-8"))

    def _check_without_records(self, other: Comparison) -> None:
        """Refuse a comparison that does not tell what records changed in this one."""
        if not self.study.is_given_records:
            raise ArgumentError(
                f"without_records: the study {self.study.name!r} was not given records\n    there is nothing that they "
                "could have changed\n    leave it out, or compare study.given(records)"
            )
        if other.study.is_given_records:
            raise ArgumentError(
                f"without_records: the study {other.study.name!r} was given records too\n    it must be the one "
                "without them\n    compare the study as it stands"
            )
        if other.study.strategies != self.study.strategies:
            raise ArgumentError(
                "without_records: its plans are other ones\n    must be those of this comparison: "
                f"{', '.join(self.study.strategies)}\n    compare the same study without its records"
            )

    def which_plan(self) -> WhichPlan:
        """Say which plan to take, by risk, cost and outage days: chances to be best, ties, the frontier, the limits.

        Returns
        -------
        WhichPlan
            A table, a picture and a paragraph.

        Examples
        --------
        >>> import serrata
        >>> study = serrata.Study.load("demo-data/reference-study.toml")
        >>> which = study.simulate(trials=500, seed=1).which_plan()
        >>> sorted(which.summary["strategy"]) == sorted(study.strategies)
        True
        >>> round(float(which.summary["cost_best"].sum()), 6)
        1.0
        """
        return WhichPlan(self._engine.which_plan())

    def plot_risk_by_year(self, ax: Axes | None = None, *, row: str | None = None) -> Axes:
        """Chance of any loss in each year; see `serrata.plots.risk_by_year`."""
        return plots.risk_by_year(self, ax, row=row)

    def plot_cost_split(self, ax: Axes | None = None) -> Axes:
        """Cost by what it is spent on; see `serrata.plots.cost_split`."""
        return plots.cost_split(self, ax)

    def plot_longest_crack(self, ax: Axes | None = None, *, row: str | None = None) -> Axes:
        """Longest crack left after each outage; see `serrata.plots.longest_crack`."""
        return plots.longest_crack(self, ax, row=row)

    def plot_cracks(self, ax: Axes | None = None) -> Axes:
        """Cracks found, and left at the end; see `serrata.plots.cracks`."""
        return plots.cracks(self, ax)

    def plot_differences(self, ax: Axes | None = None, *, quantity: str = "cost") -> Axes:
        """Paired differences to the baseline; see `serrata.plots.differences`."""
        return plots.differences(self, ax, quantity=quantity)

    def plot_cost_against_risk(self, ax: Axes | None = None) -> Axes:
        """Cost against the chance of a loss; see `serrata.plots.cost_against_risk`."""
        return plots.cost_against_risk(self, ax)

    def __eq__(self, other: object) -> bool:
        return self.to_bytes() == other.to_bytes() if isinstance(other, Comparison) else NotImplemented

    def __hash__(self) -> int:
        return hash(self.to_bytes())

    def __repr__(self) -> str:
        return report.line(self)

    def _card(self) -> Card:
        which = self.which_plan()
        tables = [plans(self, which, list(self.study.strategies))]
        tables += [block for block in PARTS["differences"](self) if isinstance(block, Table)]
        return Card(f"{self.study.name}: {question(self)}", three_sentences(self, which), tables, self.warnings)

    def __reduce__(self) -> tuple[Any, ...]:
        return _again, (self.to_bytes(), self.threads, self._belief)

    def __copy__(self) -> Comparison:
        return Comparison._of(self._engine, self._belief)

    def __deepcopy__(self, memo: dict[int, Any]) -> Comparison:
        return Comparison._of(self._engine, self._belief)


def _again(data: bytes, threads: int, belief: Belief | None) -> Comparison:
    return Comparison._of(engine.Comparison.from_bytes(data, threads), belief)
