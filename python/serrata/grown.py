"""Cracks of one hot spot, grown to the loss of their blades: the window in which a look can find them."""

from __future__ import annotations

import json
import math
import os
from functools import cached_property
from pathlib import Path
from typing import TYPE_CHECKING, Any, ClassVar, NoReturn

from serrata import growth_plots, renamed
from serrata.about import CAUTION
from serrata.card import Card, Carded, of_frame
from serrata.errors import ArgumentError
from serrata.files import write_directory

if TYPE_CHECKING:
    import pandas as pd
    from matplotlib.axes import Axes

    from serrata import _engine as engine
    from serrata.study import Study

__all__ = ["GrownCracks"]

_WORDS = {
    "years_to_loss": "years to the loss of the blade",
    "starts_to_loss": "starts in that time",
    "critical_depth_mm": "depth at the loss, mm",
    "critical_length_mm": "surface length at the loss, mm",
    "years_to_detectable": "years until detectable",
    "detectable_depth_mm": "depth when detectable, mm",
    "detectable_length_mm": "surface length when detectable, mm",
    "window_years": "window: years from detectable to lost",
}


class GrownCracks(Carded):
    """Cracks of one hot spot, each grown from its beginning to the loss of its blade.

    Where the hot spot's cracks join, each is a place with all its origins: time runs from its first crack,
    the others follow as the law of initiation has it in a row of factor 1, the place is detectable as soon as
    any of its cracks is, and its size is that of the deepest.

    Made by `Study.grow`. The time from just detectable to lost is the window into which a look must
    fall; its distribution, not its mean, sets the interval between inspections.

    Examples
    --------
    >>> import serrata
    >>> study = serrata.Study.load("demo-data/reference-study.toml")
    >>> grown = study.grow("curved-tree.tang", technique="in-place-ut", cracks=300)
    >>> len(grown.cracks)
    300
    >>> chance, low, high = grown.chance_of_looks(1, interval_years=3.0)
    >>> low <= chance <= high
    True
    """

    #: Patterns of the names of all files that `write` may write.
    files: ClassVar[tuple[str, ...]] = ("grown-*.csv", "grown-*.png", "grown-report.txt")

    _study: Study
    _engine: engine.GrownCracks
    _asked: dict[str, Any]

    def __init__(self) -> None:
        raise TypeError("GrownCracks are made by study.grow(...)")

    @classmethod
    def _of(cls, study: Study, inner: engine.GrownCracks, asked: dict[str, Any]) -> GrownCracks:
        grown = cls.__new__(cls)
        grown._study, grown._engine, grown._asked = study, inner, asked
        return grown

    @property
    def study(self) -> Study:
        """The study."""
        return self._study

    @property
    def hot_spot(self) -> str:
        """The hot spot, as it was asked for."""
        return str(self._asked["hot_spot"])

    @property
    def row(self) -> str:
        """Id of the row whose duty and surface the cracks meet."""
        return self._engine.row

    @property
    def technique(self) -> str | None:
        """Id of the technique that is to find them."""
        return None if self._asked["technique"] is None else str(self._asked["technique"])

    @property
    def years_between_outages(self) -> float:
        """Years between the outages of the row's unit, on average."""
        return self._engine.mean_years_between_outages

    @property
    def outage_years(self) -> list[float]:
        """Outages of the row's unit within the study, in years since its start."""
        return self._engine.outage_years

    def _table(self, name: str) -> pd.DataFrame:
        import pandas as pd

        return pd.DataFrame(self._engine.table(name))

    @cached_property
    def cracks(self) -> pd.DataFrame:
        """A line for each crack.

        Columns: stress_factor, initial_depth_mm, initial_length_mm, toughness_mpa_sqrt_m (NaN where the
        limit has none), years_to_loss (infinite beyond 1,000 years), starts_to_loss, critical_depth_mm,
        critical_length_mm (NaN where not lost), years_to_detectable, detectable_depth_mm, detectable_length_mm
        (infinite where it never is) and window_years (these four NaN without a technique).
        """
        return self._table("cracks")

    @cached_property
    def quantiles(self) -> pd.DataFrame:
        """Quantiles of life, sizes and window, each with its 95 % interval by order statistics."""
        return self._table("quantiles")

    @cached_property
    def by_row(self) -> pd.DataFrame:
        """Outlook of such cracks in the row and, where none was named, in each other row with its root.

        Columns: row; years_to_loss_05 and _50 (what 5 % and half of the cracks do not outlive), each with _low and
        _high; next_outage and second_outage (years; NaN where the study has none), and p_lost_before_next and
        p_lost_before_second, each with _low and _high: the chance that the blade of a crack that is there at the start
        of the study is lost before that outage, if nobody looks at it and nothing is done before. Cracks that are past
        their limit where they begin are left out of it, since one that is there is not; p_past_limit is their share.
        """
        return self._table("rows")

    @property
    def warnings(self) -> list[str]:
        """Warnings of cracks beyond the range of a published solution, with the side to which that errs."""
        return self._engine.warnings()

    @cached_property
    def looks(self) -> pd.DataFrame:
        """Chance that at least one look, or two, fall into the window, at every outage, every second, and so on."""
        return self._table("looks")

    @cached_property
    def ways(self) -> pd.DataFrame:
        """Some cracks at many moments: years, starts, depth_mm, length_mm and K at both points in MPa sqrt(m)."""
        return self._table("ways")

    @property
    def joins(self) -> bool:
        """Whether each specimen is a place whose cracks join."""
        return self._engine.joins

    @cached_property
    def places(self) -> pd.DataFrame:
        """Some places crack by crack, where cracks join; without lines where they do not.

        Columns: place, crack, years (since the place's first crack began), position_mm (of the crack's middle
        along the serration), depth_mm, length_mm, end ("joins", "lost" or "remains").
        """
        return self._table("places")

    def chance_of_looks(self, at_least: int, interval_years: float) -> tuple[float, float, float]:
        """Give the chance that so many looks fall into the window of a crack, with its 95 % interval.

        Looks come at equal intervals, and a crack becomes detectable at any moment between two.

        Parameters
        ----------
        at_least : int, at least 1
            Number of looks.
        interval_years : float, above 0
            Years between looks.

        Returns
        -------
        chance, low, high : float

        Raises
        ------
        ArgumentError
            Where no technique was asked about, or for numbers out of range.
        """
        if self.technique is None:
            raise ArgumentError("technique = None\n    must be named: without one there is no window\n    grow again")
        if not (isinstance(at_least, int) and 1 <= at_least < 2**31):
            raise ArgumentError(f"at_least = {at_least!r}\n    must be a whole number from 1\n    1 asks for any look")
        if not (math.isfinite(interval_years) and interval_years > 0.0):
            raise ArgumentError(
                f"interval_years = {interval_years!r}\n    must be above 0\n    give years between looks"
            )
        return self._engine.p_looks(at_least, interval_years)

    def report(self) -> str:
        """Give the answer as plain text, as the command line prints it."""
        lines = [
            f"Cracks of {self.hot_spot} in row {self.row}, grown from the start of the study on: "
            f"{len(self.cracks):,}, seed {self._asked['seed']}",
            "Stress, growth, start and toughness scatter as in the study, stress as among blades that crack.",
        ]
        if self.joins:
            lines.append(
                "Each is a place whose cracks join: time runs from its first crack, the others follow by the law of "
                "initiation, and its size is that of the deepest."
            )
        beginning = self._engine.beginning()
        if beginning is not None:
            lines.append(beginning)
        others = [str(row) for row in self.by_row["row"][1:]]
        if others:
            lines.append(f"{self.row} is the first row with that root; the others follow below ({', '.join(others)}).")
        if self.technique is not None:
            lines.append(
                f"Detectable: {self.technique} finds it with {100.0 * self._asked['detectable_at']:g} % in one look of "
                "median quality."
            )
        remain, _, most = self._engine.p_remains()
        if remain > 0.0:
            lines.append(f"{100.0 * remain:.3g} % are not lost within 1,000 years (at most {100.0 * most:.3g} %): inf.")
        heads = [f"{100.0 * p:g} %" if p != 0.5 else "half" for p in self.quantiles["probability"].unique()]
        lines += ["", f"{'':<40}" + "".join(f"{head:>19}" for head in heads)]
        for quantity, table in self.quantiles.groupby("quantity", sort=False):
            lines.append(f"{_WORDS[str(quantity)]:<40}" + "".join(f"{_number(value):>19}" for value in table["value"]))
            ranges = (f"{_number(low)} to {_number(high)}" for _, low, high in _lines(table))
            lines.append(f"{'':<40}" + "".join(f"{words:>19}" for words in ranges))
        lines += self._before_outages()
        if len(self.looks):
            lines += [
                "",
                "Chance that looks fall into the window",
                f"{'looks':<40}{'at least one':>24}{'at least two':>24}",
            ]
            for every, table in enumerate((t for _, t in self.looks.groupby("every_outages")), start=1):
                years = table["interval_years"].iloc[0]
                chances = (f"{v:.3f} ({low:.3f} to {high:.3f})" for v, low, high in _lines(table))
                head = f"at every {_ORDINAL[every]}outage, {years:.3g} years"
                lines.append(f"{head:<40}" + "".join(f"{chance:>24}" for chance in chances))
            lines.append("A look in the window can still miss: this is not the chance of finding the crack.")
        lines += ["", "Ranges are 95 % intervals for the number of cracks."]
        if self.warnings:
            lines += ["", "Beware", *(f"  {warning}" for warning in self.warnings)]
        return "\n".join([*lines, "", CAUTION, ""])

    def _before_outages(self) -> list[str]:
        """Give the lines on losses before the next outages, a line for each row."""
        start = f"{self.study.start_year:g}"
        lines = [
            "",
            "Chance that the blade is lost before the next outage, and before the one after",
            f"  of such a crack that is there at the start of the study ({start}), if nobody looks and nothing is done "
            "before;",
            "  growth is drawn as for any crack, while one found long is more often a fast one: then it is too low.",
        ]
        past = self.by_row["p_past_limit"].max()
        if past > 0.0:
            lines.append(
                f"  {100.0 * past:.3g} % of the cracks drawn are past their limit where they begin; one that is there "
                "is not, so they are left out."
            )
        for line in self.by_row.to_dict("records"):
            chances = []
            for outage in ("next", "second"):
                year, chance = line[f"{outage}_outage"], (line[f"p_lost_before_{outage}{end}"] for end in _INTERVAL)
                chances.append("no outage in the study" if math.isnan(year) else f"{year:g}: {_chance(*chance)}")
            lines.append(f"{line['row']:<40}" + "".join(f"{chance:>34}" for chance in chances))
        if len(self.by_row) > 1:
            lines += ["", f"{'years to the loss, by row':<40}{'5 %':>24}{'half':>24}"]
            for line in self.by_row.to_dict("records"):
                lives = (
                    f"{_number(line[f'years_to_loss_{p}'])} ({_number(line[f'years_to_loss_{p}_low'])} to "
                    f"{_number(line[f'years_to_loss_{p}_high'])})"
                    for p in ("05", "50")
                )
                lines.append(f"{line['row']:<40}" + "".join(f"{life:>24}" for life in lives))
        return lines

    def to_json(self) -> str:
        """Give quantiles, outlook by row and looks as one JSON object; infinite numbers as null."""
        named = {"quantiles": self.quantiles, "by_row": self.by_row, "looks": self.looks}
        tables = {name: _records(table) for name, table in named.items()}
        about = {**self._asked, "row": self.row, "warnings": self.warnings, "caution": CAUTION}
        return json.dumps({**about, **tables}, allow_nan=False)

    def write(self, directory: str | os.PathLike[str]) -> None:
        """Write the tables (CSV), the figures (PNG) and the report into a directory, or nothing.

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
        write_directory(directory, self.files, self._write)

    def _write(self, directory: Path) -> None:
        for name in ("cracks", "quantiles", "by_row", "looks", "ways", *(["places"] if self.joins else [])):
            getattr(self, name).to_csv(directory / f"grown-{name}.csv", index=False)
        (directory / "grown-report.txt").write_text(self.report(), encoding="utf-8")
        growth_plots.write(self, directory)

    def plot_growth(self, ax: Axes | None = None, *, what: str = "depth_mm") -> Axes:
        """Draw depth, length or K against starts; see `serrata.growth_plots.growth`."""
        return growth_plots.growth(self, ax, what=what)

    def plot_shape(self, ax: Axes | None = None) -> Axes:
        """Draw the aspect of cracks against their depth; see `serrata.growth_plots.shape`."""
        return growth_plots.shape(self, ax)

    def plot_critical_size(self, ax: Axes | None = None) -> Axes:
        """Draw depth and length at the loss against toughness; see `serrata.growth_plots.critical_size`."""
        return growth_plots.critical_size(self, ax)

    def plot_joining(self, ax: Axes | None = None, *, place: int | None = None) -> Axes:
        """Draw how the cracks of one place grow and join; see `serrata.growth_plots.joining`."""
        return growth_plots.joining(self, ax, place=place)

    def plot_window(self, ax: Axes | None = None) -> Axes:
        """Draw the distribution of the window beside the outages; see `serrata.growth_plots.window`."""
        return growth_plots.window(self, ax)

    if not TYPE_CHECKING:

        def __getattr__(self, name: str) -> NoReturn:
            renamed.refuse_attribute("GrownCracks", {"rows": "GrownCracks.by_row"}, name)

    def _card(self) -> Card:
        tables = [of_frame("Quantiles over the cracks", self.quantiles), of_frame("Row by row", self.by_row)]
        tables += [of_frame("Chance that looks fall into the window", self.looks)] if len(self.looks) else []
        said = ["Ranges are 95 % intervals for the number of cracks."]
        return Card(f"{len(self.cracks):,} cracks of {self.hot_spot}, row {self.row}", said, tables, self.warnings)

    def __repr__(self) -> str:
        life = self.quantiles[self.quantiles["quantity"] == "years_to_loss"]
        early, _, half, *_ = life["value"]
        return (
            f"<GrownCracks of {self.hot_spot}, row {self.row}: {len(self.cracks):,}, "
            f"half lost after {half:.3g} years, 1 in 20 after {early:.3g}>"
        )

    def __reduce__(self) -> tuple[Any, ...]:
        return _grow_again, (self.study, self._asked)


_INTERVAL = ("", "_low", "_high")
_ORDINAL = {1: "", 2: "second ", 3: "third ", 4: "fourth "}


def _grow_again(study: Study, asked: dict[str, Any]) -> GrownCracks:
    return study.grow(asked["hot_spot"], **{name: value for name, value in asked.items() if name != "hot_spot"})


def _chance(value: float, low: float, high: float) -> str:
    if math.isnan(value):
        return "all are past their limit"
    return f"{value:.3g} ({low:.3g} to {high:.3g})" if value > 0.0 else f"none seen (at most {high:.2g})"


def _number(value: float) -> str:
    return f"{value:,.0f}" if 1000.0 <= value < math.inf else f"{value:.3g}"


def _lines(table: pd.DataFrame) -> zip[tuple[float, float, float]]:
    return zip(table["value"], table["low"], table["high"], strict=True)


def _records(table: pd.DataFrame) -> list[dict[str, Any]]:
    def plain(value: object) -> object:
        return None if isinstance(value, float) and not math.isfinite(value) else value

    return [{str(name): plain(value) for name, value in line.items()} for line in table.to_dict("records")]
