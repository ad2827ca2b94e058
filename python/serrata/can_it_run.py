"""Whether a row can run on after a look: month by month, to the next outage, and to one that is put off."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from serrata import can_it_run_plots as plots
from serrata.about import CAUTION
from serrata.card import Card, of_frame
from serrata.left_in_row import outcome_in_words, taken_for_granted
from serrata.report_blocks import wrapped
from serrata.result import JsonResult
from serrata.wording import in_words

if TYPE_CHECKING:
    import pandas as pd
    from matplotlib.axes import Axes

__all__ = ["RunOn"]


class RunOn(JsonResult):
    """How probable it is that a row loses a blade after a look, if nobody looks again. It never changes.

    Made by `Study.can_it_run`. Ranges are 95 % intervals of the error of the lives, and of the draws that a study given
    its records goes on from; the study's inputs are taken as they stand.
    """

    __slots__ = ()

    @property
    def summary(self) -> pd.DataFrame:
        """A line for the next outage and for each deferral of it.

        Columns are `months`, by which the outage is put off; `year`; `p_loss`, the chance of a loss until then, and
        `added`, what of it putting off adds, each with `_low` and `_high`; and where cracks are left in on purpose
        `p_loss_least` and `p_loss_most`, between which the chance of the row with them lies, whatever they share.
        """
        import pandas as pd

        next_outage = {"months": 0, "year": self._content["next_outage_year"], "until": self._content["to_next"]}
        none = {"value": 0.0, "low": 0.0, "high": 0.0}
        lines = []
        for at in [{**next_outage, "added": none}, *self._content["deferrals"]]:
            line = {"months": at["months"], "year": at["year"]}
            for name, number in (("p_loss", at["until"]["row"]), ("added", at["added"])):
                line |= {name: number["value"], f"{name}_low": number["low"], f"{name}_high": number["high"]}
            lines.append(line | _both(at["until"]))
        return pd.DataFrame(lines)

    @property
    def by_month(self) -> pd.DataFrame:
        """Month by month the chance of a loss.

        Columns are `month`, `year`; `p_loss` until then, and `p_loss_in_12_months` before it. Chances have `_low` and
        `_high`; with cracks left in, `_least` and `_most` of both are as in `summary`.
        """
        import pandas as pd

        lines = []
        for at in self._content["by_month"]:
            line = {"month": at["month"], "year": at["year"]}
            for name, number in (("p_loss", at["until"]["row"]), ("p_loss_in_12_months", at["in_year_before"]["row"])):
                line |= {name: number["value"], f"{name}_low": number["low"], f"{name}_high": number["high"]}
            lines.append(line | _both(at["until"]) | _both(at["in_year_before"], "p_loss_in_12_months"))
        return pd.DataFrame(lines)

    @property
    def left_in(self) -> pd.DataFrame:
        """Cracks left in on purpose: `hot_spot`, `length_mm`; `p_lost`, before the next outage, with `_low`, `_high`.

        `p_past_limit` is the share of such cracks that are past their limit already; one that is there is not, so that
        they are left out.
        """
        import pandas as pd

        columns = ["hot_spot", "length_mm", "p_past_limit", "p_lost", "p_lost_low", "p_lost_high"]
        lines = [
            [one[name] for name in columns[:3]] + [one["to_next"][key] for key in ("value", "low", "high")]
            for one in self._content["left_in"]
        ]
        return pd.DataFrame(lines, columns=columns)

    @property
    def notes(self) -> list[str]:
        """The answer in sentences."""
        return [self._answer(), self._deferred(), *self._limit(), *self._cracks(), *self.warnings, self._basis()]

    @property
    def warnings(self) -> list[str]:
        """What to beware of."""
        return list(self._content["warnings"])

    def report(self) -> str:
        """Give the whole answer as plain text."""
        question = self._content["question"]
        head = f"Can {question['row']} run to the next outage? {self._content['study']}, {self._content['year']:g}"
        said = [wrapped(text, rest="  ") for text in [head, *self.notes]]
        return "\n".join([*said, "", *self._table(), "", CAUTION, ""])

    def plot(self, ax: Axes | None = None) -> Axes:
        """Draw the chance of a loss month by month, with the next outage, its deferrals and the limit.

        Parameters
        ----------
        ax : matplotlib.axes.Axes, optional
            Where to draw; a new figure if left out.
        """
        return plots.by_month(self._content, ax)

    def __repr__(self) -> str:
        chance = _words(self._content["to_next"]["row"])
        return f"<RunOn of {self._content['question']['row']}: {chance} to {self._content['next_outage_year']:g}>"

    def _card(self) -> Card:
        tables = [of_frame("Until the next outage, and with it put off", self.summary)]
        tables += [of_frame("Cracks left in on purpose", self.left_in)] if len(self.left_in) else []
        notes = [note for note in self.notes if note not in self.warnings]
        title = f"Can {self._content['question']['row']} run to the next outage? {self._content['study']}"
        return Card(title, notes, [*tables, of_frame("Month by month", self.by_month)], self.warnings)

    def _answer(self) -> str:
        content = self._content
        months = 12.0 * (content["next_outage_year"] - content["year"])
        return (
            f"{outcome_in_words(content)} the chance that the row loses a blade before the next outage "
            f"({content['next_outage_year']:g}, in {months:.3g} months) is {_words(content['to_next']['row'])}."
        )

    def _deferred(self) -> str:
        each = ", ".join(f"{one['months']} months: {_words(one['added'])}" for one in self._content["deferrals"])
        return f"Putting that outage off adds to it, by {each}."

    def _limit(self) -> list[str]:
        limit = self._content["limit"]
        if limit is None:
            return ["No limit on the yearly chance of a loss is stated: whether that is little nobody says here."]
        alone = " (of its unit; the unit's other rows come on top)" if limit["on"] == "unit" else ""
        added = " with what is left in, chances added," if self._content["left_in"] else ""
        head = f"The chance of a loss in twelve months{added} passes the limit of {limit['limit']:g}{alone}"
        last = self._content["by_month"][-1]["month"]
        if limit["may_be_passed"] is None:
            return [f"{head} in none of the {last} months."]
        may_be = f"by the upper end of its interval from month {_month(self._content, limit['may_be_passed'])}"
        if limit["passed"] is None:
            return [f"{head} {may_be}, and by the estimate in none of the {last} months."]
        return [f"{head} by the estimate from month {_month(self._content, limit['passed'])}, and {may_be}."]

    def _cracks(self) -> list[str]:
        content = self._content
        said = []
        for one in content["left_in"]:
            past = one["p_past_limit"]
            left_out = f" ({100.0 * past:.2g} % of such cracks are past their limit and left out)" if past > 0.0 else ""
            said.append(
                f"A crack of {one['length_mm']:g} mm left in at {one['hot_spot']} loses its blade before the next "
                "outage with a "
                f"chance of {_words(one['to_next'])}{left_out}."
            )
        both = content["to_next"]["both"]
        if both is not None:
            said.append(
                f"The row with what is left in: at most {_at(both['most'])}, the sum of the upper ends of all "
                "chances, which holds "
                f"whatever cracks and row share, and at least {_at(both['least'])}, the largest lower end. A "
                "crack that is left in grows as any of its size would "
                "have, while one found long is more often a fast one, and its row with it: then these chances "
                "are too low."
            )
        return said

    def _basis(self) -> str:
        content = self._content
        how = (
            f"{content['planted_lives']:,} lives with a planted crack"
            if content["are_planted"]
            else f"{content['question']['lives']:,} plain lives"
        )
        return (
            f"Told by {how}: the first loss, if nobody looks again; new blades in the place of called ones are "
            "taken to last. "
            f"{taken_for_granted(content)}"
        )

    def _table(self) -> list[str]:
        lines = [f"{'outage':<24}{'chance of a loss until then':>43}{'added by putting it off':>43}"]
        for line in self.summary.to_dict("records"):
            name = f"{line['year']:.2f}" + (f", {line['months']} months later" if line["months"] else ", the next")
            until, added = (
                in_words(line[name], line[f"{name}_low"], line[f"{name}_high"]) for name in ("p_loss", "added")
            )
            lines.append(f"{name:<24}{until:>43}{added if line['months'] else '':>43}")
        return [line.rstrip() for line in lines]


def _both(chance: dict[str, Any], name: str = "p_loss") -> dict[str, float]:
    both = chance["both"]
    return {} if both is None else {f"{name}_least": both["least"], f"{name}_most": both["most"]}


def _month(content: dict[str, Any], year: float) -> str:
    month = next(at["month"] for at in content["by_month"] if at["year"] == year)
    return f"{month} ({year:.2f})"


def _at(chance: float) -> str:
    """Word a bound as chances are worded."""
    return in_words(chance, chance, chance).partition(" (")[0]


def _words(chance: dict[str, float]) -> str:
    return in_words(chance["value"], chance["low"], chance["high"])
