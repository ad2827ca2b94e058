"""Inspection records: what each technique answered on each blade at each inspection."""

from __future__ import annotations

import os
from collections.abc import Mapping, Sequence
from typing import TYPE_CHECKING, Any, Literal, NoReturn

from serrata import _engine as engine
from serrata import frames, hit_miss_fitting, renamed, signal_response
from serrata.card import Card, Carded, of_frame
from serrata.errors import ArgumentError, Fault
from serrata.latent_classes import LatentClasses
from serrata.missed_cracks import MissedCracks
from serrata.side_by_side import SideBySide

if TYPE_CHECKING:
    import pandas as pd
    from narwhals.typing import IntoDataFrame

    from serrata.detection import Link, Scale, Size
    from serrata.hit_miss import HitMissFit
    from serrata.signal_response import SignalFit

__all__ = ["Records"]

Dates = Literal["year-month-day", "day-month-year", "month-day-year"]
BadLines = Literal["refuse", "leave-out"]
#: Names of earlier versions, with what took their place.
_RENAMED = {"summary": "Records.report", "unseen": "Records.missed_cracks"}


class Records(Carded):
    """Inspection records that keep every rule. They never change.

    Made by `Records.load`, `Records.parse` or `Records.from_frame`, not by calling the class. The columns and
    what they may hold stand in `Records.template`. Nothing is guessed: a blank cell is unknown, and a file
    that can be read in two ways is refused until the way is declared.

    Examples
    --------
    >>> import serrata
    >>> records = serrata.Records.load("demo-data/demo-records.csv", dates="day-month-year")
    >>> records.techniques[:2]
    ['eddy-array', 'eddy-current']
    >>> len(records) + len(records.left_out) == records.lines_read
    True
    """

    __slots__ = ("_engine", "_made_by")

    _engine: engine.Records
    _made_by: tuple[Any, ...]

    def __init__(self) -> None:
        raise TypeError("Records are made by Records.load(path), Records.parse(text) or Records.from_frame(frame)")

    @classmethod
    def _of(cls, inner: engine.Records, made_by: tuple[Any, ...]) -> Records:
        records = cls.__new__(cls)
        object.__setattr__(records, "_engine", inner)
        object.__setattr__(records, "_made_by", made_by)
        return records

    def __setattr__(self, name: str, value: object) -> None:
        raise AttributeError("Records do not change; make new ones")

    @staticmethod
    def load(
        path: str | os.PathLike[str],
        *,
        delimiter: str | None = None,
        decimal: Literal["point", "comma"] | None = None,
        dates: Dates = "year-month-day",
        columns: Mapping[str, str] | None = None,
        values: Mapping[str, str] | None = None,
        bad_lines: BadLines = "refuse",
    ) -> Records:
        """Read a CSV file.

        Parameters
        ----------
        path : path-like
            A CSV file in UTF-8, with or without a byte-order mark.
        delimiter : str, optional
            Comma, semicolon or tab between cells; read off the header if left out.
        decimal : {"point", "comma"}, optional
            The decimal mark; read off the numbers if left out, and an ambiguous file is refused.
        dates : {"year-month-day", "day-month-year", "month-day-year"}
            Order of the parts of dates, the same in the whole file.
        columns : mapping of str to str, optional
            Names that differ: ours to the file's, such as ``{"blade": "Blade No."}``.
        values : mapping of str to str, optional
            Cells that say something in other words: what is written to what it stands for, such as
            ``{"NRI": "no", "n/a": ""}``. Case does not count; names of rows, blades and the like stay as they are;
            `notes` say how many cells there were.
        bad_lines : {"refuse", "leave-out"}
            Whether one line that breaks a rule refuses the file, or is left out and reported.

        Returns
        -------
        Records

        Raises
        ------
        RecordsError
            With the first faults: line, column, value, rule, remedy; and how many there are in all.
        FileError
            For a file that cannot be read, is a workbook, or is not UTF-8 text.
        ArgumentError
            For a declaration that cannot be.
        """
        return Records.parse(
            engine.records_text(path),
            os.fspath(path),
            delimiter=delimiter,
            decimal=decimal,
            dates=dates,
            columns=columns,
            values=values,
            bad_lines=bad_lines,
        )

    @staticmethod
    def parse(
        text: str,
        source: str = "records",
        *,
        delimiter: str | None = None,
        decimal: Literal["point", "comma"] | None = None,
        dates: Dates = "year-month-day",
        columns: Mapping[str, str] | None = None,
        values: Mapping[str, str] | None = None,
        bad_lines: BadLines = "refuse",
    ) -> Records:
        r"""Read the text of a CSV file; `source` names it in messages. All else as `load`.

        Examples
        --------
        >>> import serrata
        >>> text = "row,blade,year,technique,called\nR1,007,2031,penetrant,yes\n"
        >>> list(serrata.Records.parse(text).frame["blade"])
        ['007']
        """
        if delimiter is not None and len(delimiter) != 1:
            rule = "must be a comma, a semicolon or a tab"
            raise ArgumentError(f"delimiter = {delimiter!r}\n    {rule}\n    leave it out to have it read off")
        declared: dict[str, Any] = {
            "delimiter": delimiter,
            "decimal": decimal,
            "dates": dates,
            "columns": list((columns or {}).items()),
            "values": list((values or {}).items()),
            "bad_lines": bad_lines,
        }
        inner = engine.Records.parse(text, source, **declared)
        return Records._of(inner, ("parse", (text, source), declared))

    @staticmethod
    def from_frame(
        frame: IntoDataFrame | Mapping[str, Sequence[Any]],
        source: str = "data frame",
        *,
        dates: Dates = "year-month-day",
        columns: Mapping[str, str] | None = None,
        values: Mapping[str, str] | None = None,
        bad_lines: BadLines = "refuse",
    ) -> Records:
        """Take a data frame of any library, or a mapping of column names to values.

        Parameters
        ----------
        frame : DataFrame or mapping
            Columns as in `template`. Missing values (None, NaN, NaT, NA) are unknown; True and False are yes and no;
            a whole number among floats, as data frames make it beside missing values, is written without
            decimals, so that blade 7.0 is blade 7.
        source : str
            What it is called in messages.
        dates, columns, values, bad_lines
            As `load`; dates matter for texts alone.

        Returns
        -------
        Records

        Raises
        ------
        RecordsError
            As `load`; lines count from 1.

        Examples
        --------
        >>> import serrata
        >>> table = {"row": ["R1", "R1"], "blade": [7, 8], "year": [2031, 2031], "technique": ["penetrant"] * 2}
        >>> len(serrata.Records.from_frame({**table, "called": [True, False]}))
        2
        """
        header, rows = frames.cells(frame, dates)
        declared: dict[str, Any] = {
            "dates": dates,
            "columns": list((columns or {}).items()),
            "values": list((values or {}).items()),
            "bad_lines": bad_lines,
        }
        inner = engine.Records.from_cells(header, rows, source, **declared)
        return Records._of(inner, ("from_cells", (header, rows, source), declared))

    @staticmethod
    def template() -> str:
        """Give the text of a file to begin with: every column, what it may hold, and two invented lines."""
        return engine.records_template()

    @property
    def frame(self) -> pd.DataFrame:
        """The lines as a new data frame: all columns of the template, then the file's further ones.

        ``line`` is the place in the file, counted from 1; ``year`` has the day as its fraction. What is unknown
        is missing: NaN for numbers, None or NaN for all else.
        """
        import pandas as pd

        return pd.DataFrame(self._engine.columns())

    @property
    def source(self) -> str:
        """Source of the records."""
        return self._engine.source

    @property
    def style(self) -> str:
        """Format of the file, such as ``semicolons between cells, decimal comma``."""
        return self._engine.style

    @property
    def techniques(self) -> list[str]:
        """The techniques, in alphabetical order."""
        return self._engine.techniques

    @property
    def extra_columns(self) -> list[str]:
        """Columns of the file that serrata does not know; they are kept."""
        return self._engine.extra_columns

    @property
    def notes(self) -> list[str]:
        """Notes on values that are allowed but may be slips, in sentences."""
        return self._engine.notes

    @property
    def lines_read(self) -> int:
        """Lines with content: those kept and those left out."""
        return self._engine.lines_read

    @property
    def left_out(self) -> list[int]:
        """Places of the lines that were left out on request."""
        return self._engine.left_out

    @property
    def left_out_faults(self) -> list[Fault]:
        """Their faults; the first fifty."""
        return [Fault(*fault) for fault in self._engine.left_out_faults]

    def report(self) -> str:
        """Give one screen of text: how much of what there is, and what may be a slip."""
        return self._engine.summary()

    def fit_hit_miss(
        self,
        technique: str,
        *,
        size: Size = "length",
        sizes_by: str | None = None,
        factors: Sequence[str] = (),
        reference: Mapping[str, str] | None = None,
        link: Link = "logit",
        scale: Scale = "log",
        penalised: bool = False,
        floor: float | Literal["fitted"] = 0.0,
        ceiling: float | Literal["fitted"] = 1.0,
        between_inspectors: bool = False,
        size_error_log: float = 0.0,
    ) -> HitMissFit:
        """Fit a probability-of-detection curve to the looks of one technique.

        A line's size is the confirmed one of its blade, place and inspection. Lines whose size or factor is blank
        are not used, and the fit's report counts them; lines confirmed to be free of cracks tell of false calls.

        Parameters
        ----------
        technique : str
            The technique.
        size : {"length", "depth", "geometric-mean"}
            The size that detection hangs on.
        sizes_by : str, optional
            A technique whose measured sizes are taken for true; the confirmed sizes where left out. Give
            `size_error_log` with it: measured sizes carry error, and a curve that ignores it is too flat.
        factors : sequence of str
            Columns that shift the curve: ``surface``, ``grade``, ``access`` or ``inspector``.
        reference, link, scale, penalised, floor, ceiling, between_inspectors, size_error_log
            As in `serrata.fit_hit_miss`.

        Returns
        -------
        HitMissFit

        Raises
        ------
        DataError, ArgumentError
            As `serrata.fit_hit_miss`.

        Examples
        --------
        >>> import serrata
        >>> records = serrata.Records.load("demo-data/demo-sectioned.csv", dates="day-month-year")
        >>> fit = records.fit_hit_miss("penetrant", factors=["surface"])
        >>> fit.q50_mm < fit.q90_mm < fit.q90_95_mm
        True
        """
        return hit_miss_fitting.fit_records(
            self,
            technique,
            size=size,
            sizes_by=sizes_by,
            factors=factors,
            reference=reference,
            link=link,
            scale=scale,
            penalised=penalised,
            floor=floor,
            ceiling=ceiling,
            between_inspectors=between_inspectors,
            size_error_log=size_error_log,
        )

    def fit_signal(
        self,
        technique: str,
        *,
        floor: float | None = None,
        saturation: float | None = None,
        size: Size = "length",
        sizes_by: str | None = None,
        signal_scale: Scale = "log",
        size_scale: Scale = "log",
        size_error_log: float = 0.0,
    ) -> SignalFit:
        """Fit a line to the signals of one technique, from the column `signal`.

        A line's size is the confirmed one of its blade, place and inspection. Lines whose size or signal is blank are
        not used, and the fit's report counts them; lines confirmed to be free of cracks tell of the noise.

        Parameters
        ----------
        technique : str
            The technique.
        sizes_by : str, optional
            A technique whose measured sizes are taken; the confirmed sizes where left out. Give `size_error_log` with
            it.
        floor, saturation, size, signal_scale, size_scale, size_error_log
            As in `serrata.fit_signal`.

        Returns
        -------
        SignalFit

        Raises
        ------
        DataError, ArgumentError
            As `serrata.fit_signal`.

        Examples
        --------
        >>> import serrata
        >>> records = serrata.Records.load("demo-data/demo-sectioned.csv", dates="day-month-year")
        >>> array = records.fit_signal("eddy-array").at_threshold(1.0)
        >>> array.q50_mm < array.q90_mm < array.q90_95_mm
        True
        """
        return signal_response.fit_records(
            self,
            technique,
            floor=floor,
            saturation=saturation,
            size=size,
            sizes_by=sizes_by,
            signal_scale=signal_scale,
            size_scale=size_scale,
            size_error_log=size_error_log,
        )

    def side_by_side(
        self,
        techniques: Sequence[str] | None = None,
        *,
        by: Literal["surface", "grade", "length"] | None = None,
        lengths_mm: Sequence[float] = (),
        level: float = 0.95,
    ) -> SideBySide:
        """Set techniques side by side on the blades that they looked at at the same inspection.

        Parameters
        ----------
        techniques : sequence of str, optional
            From 2 to 10 of them; all if left out.
        by : {"surface", "grade", "length"}, optional
            Tells blades apart, beside all blades together.
        lengths_mm : sequence of float
            With ``by="length"``: the lengths between classes, in mm, rising.
        level : float, from 0.5 to below 1
            Confidence of every interval.

        Returns
        -------
        SideBySide

        Raises
        ------
        ArgumentError
            For a technique that is not in the records, or lengths that do not rise.
        DataError
            If no two of the techniques looked at the same blade at the same inspection.

        Examples
        --------
        >>> import serrata
        >>> records = serrata.Records.load("demo-data/demo-records.csv", dates="day-month-year")
        >>> both = records.side_by_side(["mpi-enhanced", "penetrant"])
        >>> int(both.pairs["both"].iloc[0]) <= both.found_by_any
        True
        """
        chosen = self.techniques if techniques is None else list(techniques)
        if lengths_mm and by != "length":
            shown = list(lengths_mm)
            raise ArgumentError(
                f'lengths_mm = {shown}\n    counts with by="length" alone\n    say by="length", or leave it out'
            )
        return SideBySide(
            self._engine.side_by_side(chosen, by=by, lengths_mm=[float(x) for x in lengths_mm], level=level)
        )

    def missed_cracks(
        self, techniques: Sequence[str] | None = None, *, level: float = 0.95, length_error_log: float = 0.0
    ) -> MissedCracks:
        """Estimate how many cracked blades every technique missed.

        Parameters
        ----------
        techniques : sequence of str, optional
            From 2 to 10 of them; all if left out. Blades that all of them looked at count.
        level : float, from 0.5 to below 1
            Confidence of every interval.
        length_error_log : float, from 0 to 3
            Standard deviation of the logarithm of one measured length about that of the true one; confirmed lengths
            have none. An error that is left out makes detection against length look flatter than it is.

        Returns
        -------
        MissedCracks

        Raises
        ------
        ArgumentError
            For a technique that is not in the records.
        DataError
            If some technique found nothing on these blades.

        Examples
        --------
        >>> import serrata
        >>> records = serrata.Records.load("demo-data/demo-records.csv", dates="day-month-year")
        >>> missed = records.missed_cracks(["mpi-enhanced", "penetrant", "eddy-array"])
        >>> low, high = missed.interval
        >>> low < high
        True
        """
        chosen = self.techniques if techniques is None else list(techniques)
        return MissedCracks(engine.missed_cracks_of_records(self._engine, chosen, level, length_error_log))

    @renamed.refuse_arguments(kindred="dependent_pairs")
    def latent_classes(
        self,
        techniques: Sequence[str] | None = None,
        *,
        dependent_pairs: Sequence[tuple[str, str]] = (),
        level: float = 0.95,
        resamples: int = 200,
        seed: int = 1,
    ) -> LatentClasses:
        """Estimate detection, false calls and what all missed, without known truth.

        Parameters
        ----------
        techniques : sequence of str, optional
            From 3 to 8 of them; all if left out. Blades that any of them looked at count.
        dependent_pairs : sequence of (str, str)
            Pairs of techniques that may miss the same cracks or call the same sound blades; no technique is of two.
        level : float, from 0.5 to below 1
            Confidence of every interval.
        resamples : int, from 0 to 10000
            Campaigns simulated from the fit, for its goodness where counts are small.
        seed : int
            Seed of these.

        Returns
        -------
        LatentClasses

        Raises
        ------
        ArgumentError
            For a technique that is not in the records, or dependent pairs that share one.
        DataError
            Where the calls cannot tell cracked from sound blades; ``reason`` says why, such as ``not-identified``.

        Examples
        --------
        >>> import serrata
        >>> records = serrata.Records.load("demo-data/demo-records.csv", dates="day-month-year")
        >>> found = records.latent_classes(["mpi-enhanced", "penetrant", "eddy-array"])
        >>> value, low, high = found.cracked
        >>> low <= value <= high
        True
        """
        chosen = self.techniques if techniques is None else list(techniques)
        pairs = [(first, second) for first, second in dependent_pairs]
        return LatentClasses(engine.latent_classes_of_records(self._engine, chosen, pairs, level, resamples, seed))

    if not TYPE_CHECKING:

        def __getattr__(self, name: str) -> NoReturn:
            renamed.refuse_attribute("Records", _RENAMED, name)

    def __len__(self) -> int:
        return len(self._engine)

    def __eq__(self, other: object) -> bool:
        return self._engine == other._engine if isinstance(other, Records) else NotImplemented

    __hash__ = None  # type: ignore[assignment]

    def _card(self) -> Card:
        by_technique = self.frame.groupby("technique", sort=True)
        counts = by_technique.agg(
            lines=("line", "size"), rows=("row", "nunique"), called=("called", "sum")
        ).reset_index()
        left_out = len(self.left_out)
        said = [f"{len(self):,} looks, {left_out:,} lines left out; {self.style}."]
        return Card(f"Records {self.source}", said, [of_frame("By technique", counts)], self.notes)

    def __str__(self) -> str:
        return self.report()

    def __repr__(self) -> str:
        return f"<Records {self.source!r}: {len(self)} lines, techniques {', '.join(self.techniques)}>"

    def __reduce__(self) -> tuple[Any, ...]:
        return _again, self._made_by

    def __copy__(self) -> Records:
        return self

    def __deepcopy__(self, memo: dict[int, Any]) -> Records:
        return self


def _again(maker: str, arguments: tuple[Any, ...], declared: dict[str, Any]) -> Records:
    """Make the same records once more, for pickle."""
    return Records._of(getattr(engine.Records, maker)(*arguments, **declared), (maker, arguments, declared))
