"""How long the interval between inspections may be, and how sharp a technique must be for it."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, Any

from serrata import inspection_interval_plots as plots
from serrata.about import CAUTION
from serrata.card import Card, of_frame
from serrata.report_blocks import Table, wrapped
from serrata.result import JsonResult
from serrata.wording import in_words

if TYPE_CHECKING:
    import pandas as pd
    from matplotlib.axes import Axes

__all__ = ["InspectionInterval"]

#: Growth times that codes ask the interval to fit into: common practice, no source.
_USUAL_FACTOR = 2.0


class InspectionInterval(JsonResult):
    """How long the interval between inspections may be, by each way of looking. It never changes.

    Made by `Study.inspection_interval`. All chances are of the error of the lives alone: they take the study's inputs
    as they stand.
    """

    __slots__ = ()

    @property
    def summary(self) -> pd.DataFrame:
        """A line for each way of looking.

        Columns are `way`, a technique or "as planned"; `q90_mm`, the size that it finds with 90 % where nothing shifts
        its curve, missing where the curve does not come so high; `longest_outages`, the longest interval that is known
        to keep all limits while no shorter one is known to miss any, missing where none is; `shortest_missed_outages`,
        the shortest that surely misses one, missing where none does; `longest_years` and `shortest_missed_years`, the
        same in years, of the unit whose outages lie furthest apart. Of the plain check beside it: `check_years` from
        `q90_mm` to the loss of a median crack where these are fewest, `check_fast_years` that one crack in twenty falls
        short of, and `check_outages`, the longest interval that fits twice into `check_years`.
        """
        import pandas as pd

        lines = []
        for way in self._content["ways"]:
            check = way["check"]
            lines.append(
                {
                    "way": _called(way),
                    "q90_mm": way["q90_mm"],
                    "longest_outages": way["longest"],
                    "longest_years": _years(way, way["longest"]),
                    "shortest_missed_outages": way["shortest_missed"],
                    "shortest_missed_years": _years(way, way["shortest_missed"]),
                    "check_years": None if check is None else check["years"][0],
                    "check_fast_years": None if check is None else check["fast_years"],
                    "check_outages": None if check is None else _outages_by_check(check),
                }
            )
        whole = ("longest_outages", "shortest_missed_outages", "check_outages")
        sizes = ("q90_mm", "longest_years", "shortest_missed_years", "check_years", "check_fast_years")
        return pd.DataFrame(lines).astype(dict.fromkeys(whole, "Int64") | dict.fromkeys(sizes, float))

    @property
    def by_interval(self) -> pd.DataFrame:
        """A line for each way of looking, interval and limit: the row, unit or fleet that decides, in its worst year.

        Columns are `way` ("nobody looks" without any), `every_outages`, `years_low` and `years_high` (of the units
        whose outages lie closest and furthest apart), `level`, `of`, `year`, `p_loss` with `p_loss_low` and
        `p_loss_high` (the intervals of all years hold together with 95 %), `limit`, `verdict` and `note`.
        """
        import pandas as pd

        ways = [("nobody looks", self._content["unseen"])]
        ways += [(_called(way), held) for way in self._content["ways"] for held in way["held"]]
        lines = []
        for called, held in ways:
            for line in held["limits"]:
                value, low, high = line["p_loss"]
                lines.append(
                    {
                        "way": called,
                        "every_outages": held["every_outages"],
                        "years_low": held["years"][0] if held["every_outages"] else None,
                        "years_high": held["years"][1] if held["every_outages"] else None,
                        "level": line["level"],
                        "of": line["of"],
                        "year": line["year"],
                        "p_loss": value,
                        "p_loss_low": low,
                        "p_loss_high": high,
                        "limit": line["limit"],
                        "verdict": line["verdict"],
                        "note": line["note"],
                    }
                )
        return pd.DataFrame(lines).astype({"every_outages": "Int64", "years_low": float, "years_high": float})

    @property
    def needed(self) -> pd.DataFrame:
        """For each interval the bluntest technique that it bears, by the map; empty where none was asked for.

        Columns are `every_outages`, and the size found with 90 %, in mm: `q90_mm` by the estimates, `surely_mm` that
        surely will do, `surely_not_mm` from which on it surely will not. Infinite where even the bluntest of the map
        does, 0 where even the sharpest does not.
        """
        import pandas as pd

        columns = ["every_outages", "q90_mm", "surely_mm", "surely_not_mm"]
        capability = self._content["capability"]
        needed = [] if capability is None else capability["needed"]
        sizes = {"any": math.inf, "none": 0.0}
        lines = [{key: sizes.get(value, value) for key, value in line.items()} for line in needed]
        return pd.DataFrame(lines, columns=columns)

    @property
    def notes(self) -> list[str]:
        """The answer in sentences."""
        return [
            self._longest(),
            self._unseen(),
            *self._checks(),
            *self._needed(),
            *self._content["warnings"],
            self._taken(),
        ]

    def report(self) -> str:
        """Give the whole answer as plain text."""
        content = self._content
        limits = ", ".join(f"{level} {limit:g}" for level, limit in content["limits"].items() if limit is not None)
        head = (
            f"How long may the interval between inspections be? {content['study']}, {content['horizon_years']:g} "
            f"years; limits on the chance of a loss in a year: {limits}; {content['trials']:,} lives of each plan"
        )
        head += f" and {content['planted_lives']:,} with planted cracks" if content["planted_lives"] else ""
        head += f", seed {content['seed']}"
        # What was asked for may be longer than the calendar of some unit has outages to come.
        head += f"; intervals of up to {_outages(content['ways'][0]['held'][-1]['every_outages'])} were tried"
        table = self._table()
        columns = zip(table.heads, *table.lines, strict=True)
        widths = [max(map(len, column)) for column in columns]
        lines = [
            [cell.ljust(width) for cell, width in zip(line, widths, strict=True)]
            for line in (table.heads, *table.lines)
        ]
        said = [wrapped(text, rest="  ") for text in self.notes]
        return "\n".join(
            [wrapped(head, rest="  "), "", *("  ".join(line).rstrip() for line in lines), "", *said, "", CAUTION, ""]
        )

    def plot(self, ax: Axes | None = None) -> Axes:
        """Draw the chance of a loss in the worst year over its limit against the interval, for each way of looking.

        Parameters
        ----------
        ax : matplotlib.axes.Axes, optional
            Where to draw; a new figure if left out.
        """
        return plots.over_limit(self._content, ax)

    def plot_map(self, ax: Axes | None = None) -> Axes:
        """Draw the map of interval against capability, with the techniques on it.

        Parameters
        ----------
        ax : matplotlib.axes.Axes, optional
            Where to draw; a new figure if left out.

        Raises
        ------
        ArgumentError
            Where no map was asked for.
        """
        return plots.capability(self._content, ax)

    def __repr__(self) -> str:
        longest = ", ".join(f"{_called(way)} {way['longest'] or 'none'}" for way in self._content["ways"])
        return f"<InspectionInterval, longest in outages: {longest}>"

    def _card(self) -> Card:
        tables = [self._table(), of_frame("Each interval against its limits", self.by_interval)]
        tables += [of_frame("The bluntest technique that an interval bears", self.needed)] if len(self.needed) else []
        warnings = self._content["warnings"]
        notes = [note for note in self.notes if note not in warnings]
        return Card(f"How long may the interval be? {self._content['study']}", notes, tables, warnings)

    def _table(self) -> Table:
        """Give a line for each way of looking."""
        heads = ["way of looking", "found with 90 %", "keeps the limits", "surely misses one", "plain check allows"]
        lines = []
        for way in self._content["ways"]:
            check, missed = way["check"], way["shortest_missed"]
            allowed = None if check is None else _outages_by_check(check)
            lines.append(
                [
                    _called(way),
                    "" if way["q90_mm"] is None else f"{way['q90_mm']:.2g} mm",
                    f"up to {_outages(way['longest'])}" if way["longest"] else "none known",
                    f"from {_outages(missed)}" if missed else "none tried",
                    "" if allowed is None else _outages(allowed),
                ]
            )
        return Table("How long the interval may be", heads, lines, left=5)

    def _longest(self) -> str:
        by_longest: dict[int, list[dict[str, Any]]] = {}
        for way in self._content["ways"]:
            by_longest.setdefault(way["longest"] or 0, []).append(way)
        said = []
        for longest, ways in sorted(by_longest.items(), reverse=True):
            names = ", ".join(_called(way) for way in ways)
            if longest == 0:
                said.append(f"none is known to, by {names}")
            else:
                tried = " (longer was not tried)" if longest == ways[0]["held"][-1]["every_outages"] else ""
                said.append(f"{_every(ways[0], longest)} by {names}{tried}")
        # What stands in the way of the best.
        best = max(self._content["ways"], key=lambda way: way["longest"] or 0)
        beyond = best["held"][(best["longest"] or 0) :]
        answer = f"The longest interval that keeps the limits: {'; '.join(said)}."
        if not beyond:
            return answer
        verdict, at = _MISSED[beyond[0]["verdict"]], _outages(beyond[0]["every_outages"])
        return f"{answer} At {at} ({_called(best)}) they are {verdict}: {_worst(beyond[0])}."

    def _unseen(self) -> str:
        unseen = self._content["unseen"]
        if unseen["verdict"] == "meets":
            return "Nobody need look: the limits are kept within the horizon without any inspection."
        return f"If nobody looks they are {_MISSED[unseen['verdict']]}: {_worst(unseen)}."

    def _checks(self) -> list[str]:
        checked = [way for way in self._content["ways"] if way["check"] is not None]
        if not checked:
            return []
        bare = not any(way["check"]["has_confidence"] for way in checked)
        confidence = "; of curves as they stand, without their 95 % confidence, which is too favourable" if bare else ""
        shortest = min(checked, key=lambda way: _finite(way["check"]["years"][0]))
        check = shortest["check"]
        said = (
            f"Plain check: an interval that fits {_USUAL_FACTOR:g} times, as is usually asked (common practice, no "
            "source), into the years that a median crack takes, where these are fewest, from the size found with 90 % "
            f"to the loss of its blade{confidence}. The fewest are {_number(check['years'][0])} years, "
            f"for {shortest['technique']} ({check['hot_spot']} in {check['row']}); one crack in twenty takes less than "
            f"{_number(check['fast_years'])}."
        )
        allowed = {way["technique"]: _outages_by_check(way["check"]) for way in checked}
        bold = [
            way["technique"]
            for way in checked
            if (outages := allowed[way["technique"]]) is not None and outages >= (way["shortest_missed"] or math.inf)
        ]
        shy = [
            way["technique"]
            for way in checked
            if (outages := allowed[way["technique"]]) is not None and outages < (way["longest"] or 0)
        ]
        if bold:
            said += (
                f" It allows what surely misses a limit by {', '.join(bold)}: it counts no crack that grows faster "
                "than the median or is missed twice, and not how many blades may have one."
            )
        if shy:
            said += (
                f" It allows less than keeps the limits by {', '.join(shy)}: it takes a crack at the worst place for "
                "granted, which few blades have."
            )
        return [said]

    def _needed(self) -> list[str]:
        capability = self._content["capability"]
        if capability is None:
            return []
        said = []
        for needed in capability["needed"]:
            size = needed["q90_mm"]
            words = {
                "any": "even the bluntest of the map will do",
                "none": "even the sharpest of the map will not do",
            }
            between = ""
            if size not in words:
                ends = [needed[key] for key in ("surely_mm", "surely_not_mm")]
                will = "none of the map surely will" if ends[0] == "none" else f"surely up to {ends[0]:.2g} mm"
                will_not = (
                    "of none it is sure that it will not"
                    if ends[1] == "any"
                    else f"surely not from {ends[1]:.2g} mm on"
                )
                between = f" ({will}, {will_not})"
            said.append(f"{_outages(needed['every_outages'])}: {words.get(size) or f'{size:.2g} mm'}{between}")
        return [
            f"Size that must be found with 90 %, of a curve with the shape of {capability['technique']} (its own: "
            f"{capability['own_q90_mm']:.2g} mm), for an interval of " + "; ".join(said) + "."
        ]

    def _taken(self) -> str:
        taken = "the study's inputs are taken as they stand"
        if self._content["has_records"]:
            taken = "the study's inputs, and what was drawn from the records, are taken as they stand"
        first = self._content["first_outage"]
        begin = "The first look comes as long after the start of the study as later ones after each other"
        if first is not None:
            begin = f"The first look is at outage {first}, whatever the interval"
        return (
            f"{begin}; what is done about finds and losses is as in {self._content['plan']}. Intervals of chances are "
            f"of all years together, wrong 1 time in 20 at most, and of the lives alone: {taken}."
        )


_MISSED = {"misses": "surely missed", "undecided": "not known to be kept"}


def _finite(years: float | None) -> float:
    return math.inf if years is None else years


def _called(way: dict[str, Any]) -> str:
    called: str = way["technique"] or "as planned"
    return called


def _outages(number: int) -> str:
    return {0: "less than 1 outage", 1: "1 outage"}.get(number, f"{number} outages")


def _years(way: dict[str, Any], outages: int | None) -> float | None:
    return None if outages is None else float(way["held"][outages - 1]["years"][1])


def _every(way: dict[str, Any], outages: int) -> str:
    low, high = way["held"][outages - 1]["years"]
    years = f"{low:.2g}" if f"{low:.2g}" == f"{high:.2g}" else f"{low:.2g} to {high:.2g}"
    every = {1: "every outage", 2: "every second outage", 3: "every third outage"}
    return f"{every.get(outages, f'every {outages}th outage')} ({years} years)"


def _worst(held: dict[str, Any]) -> str:
    """Word the line that is furthest above its limit, or nearest to it."""
    line = max(held["limits"], key=lambda line: (line["verdict"] == "misses", line["p_loss"][2] / line["limit"]))
    of = f"{line['level']} {line['of']}" if line["of"] else "the fleet"
    return f"{of}, {line['year']:g}: {in_words(*line['p_loss'])} against {line['limit']:g}"


def _outages_by_check(check: dict[str, Any]) -> int | None:
    """Outages of the row's unit that fit into the growth time so often as is usually asked."""
    years, outage = check["years"][0], check["outage_years"]
    if years is None or outage is None or not math.isfinite(years):
        return None
    return int(years / (_USUAL_FACTOR * outage) + 1e-9)


def _number(years: float | None) -> str:
    return "endless" if years is None or not math.isfinite(years) else f"{years:.2g}"
