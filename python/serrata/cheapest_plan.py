"""Which plan of a family is the cheapest that meets the limits on the chance of a loss."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from serrata import cheapest_plan_plots as plots
from serrata.about import CAUTION
from serrata.card import Card, of_frame
from serrata.report_blocks import Table, wrapped
from serrata.result import JsonResult
from serrata.wording import Shown, in_words, money_unit, two_figures

if TYPE_CHECKING:
    import pandas as pd
    from matplotlib.axes import Axes

__all__ = ["CheapestPlan"]

#: Plans that a sentence names, and lines of the table in the text.
_FEW, _LINES = 5, 10


class CheapestPlan(JsonResult):
    """The cheapest plan of a family that meets the limits, and what became of the others. It never changes.

    Made by `Study.cheapest_plan`. All confidence is of the lives alone: they take the study's inputs as they stand.
    """

    __slots__ = ()

    @property
    def cheapest(self) -> str | None:
        """Name of the cheapest plan that is known to meet the limits, by the estimates; None where none is known to."""
        found: str | None = self._content["cheapest"]
        return found

    @property
    def outcome(self) -> str:
        """How the search ended: "found", "open", "none known" or "none meets".

        "found" means that the plan named meets the limits, and that no other which does is cheaper by more than the
        indifference, with the confidence that was asked for. "open" means that a plan is known to meet them, but others
        may too, and be cheaper by more.
        """
        ended: str = self._content["outcome"]
        return ended

    @property
    def summary(self) -> pd.DataFrame:
        """A line for each plan that was tried, in the order of the family.

        Columns are `strategy`; of a grid one for each path that was varied, with the value as a study file has it;
        `cost` over the fleet and the horizon with `cost_low` and `cost_high`, and `p_any_loss` likewise, by the lives
        that the plan had, with plain intervals of 95 %; `limits`, "meets", "misses" or "undecided" with the confidence
        of the search; `lives` that it had; `dropped_after`, the round after which it was dropped, missing for a plan
        that stayed; `why`, "misses" a limit or "dearer" than the plan in `dearer_than`, by `at_least`; and of plans
        that stayed beside the one named, how much `dearer` they are with `dearer_low` and `dearer_high`, and the
        `lives_needed` to tell the two apart, were the difference what it is estimated to be.
        """
        import pandas as pd

        paths = [varied["path"] for varied in self._content["vary"]]
        lines = []
        for plan in self._content["plans"]:
            dropped = plan["dropped"] or {}
            line: dict[str, Any] = {"strategy": plan["strategy"]}
            line |= dict(zip(paths, plan["values"] or [], strict=True))
            line |= _ranged("cost", plan["cost"]) | _ranged("p_any_loss", plan["p_any_loss"])
            line |= {"limits": plan["verdict"], "lives": plan["lives"], "dropped_after": dropped.get("round")}
            line |= {"why": dropped.get("why"), "dearer_than": dropped.get("than"), "at_least": dropped.get("by")}
            line |= _ranged("dearer", plan["dearer"] or [None] * 3) | {"lives_needed": plan["lives_needed"]}
            lines.append(line)
        money = ("at_least", "dearer", "dearer_low", "dearer_high")
        kinds = dict.fromkeys(("dropped_after", "lives_needed"), "Int64") | dict.fromkeys(money, "float64")
        return pd.DataFrame(lines).astype(kinds)

    @property
    def refused(self) -> pd.DataFrame:
        """Combinations of values that the study refuses: `plan` and `why`."""
        import pandas as pd

        return pd.DataFrame(self._content["refused"], columns=["plan", "why"])

    @property
    def rounds(self) -> pd.DataFrame:
        """A line for each round: `plans` that were lived, and `lives` of the fleet that each of them has after it."""
        import pandas as pd

        return pd.DataFrame(self._content["rounds"], columns=["plans", "lives"])

    @property
    def notes(self) -> list[str]:
        """The answer in sentences."""
        said = [self._answer(), self._beside(), self._dropped(), self._refused()]
        return [*filter(None, said), *self._content["warnings"], self._lives(), self._taken()]

    def report(self) -> str:
        """Give the whole answer as plain text."""
        content = self._content
        limits = ", ".join(f"{level} {limit:g}" for level, limit in content["limits"].items() if limit is not None)
        of = "" if content["plan"] is None else f" like {content['plan']}"
        head = (
            f"Which of {len(content['plans'])} plans{of} is the cheapest that meets the limits? {content['study']}, "
            f"{content['horizon_years']:g} years; limits on the chance of a loss in a year: {limits}"
        )
        table = self._table(most=_LINES)
        widths = [max(map(len, column)) for column in zip(table.heads, *table.lines, strict=True)]
        lines = [
            "  ".join(cell.ljust(width) for cell, width in zip(line, widths, strict=True)).rstrip()
            for line in (table.heads, *table.lines)
        ]
        more = len(content["plans"]) - len(table.lines)
        shown = [*lines, *([f"{more} more were dropped."] if more > 0 else []), ""]
        said = [wrapped(text, rest="  ") for text in self.notes]
        return "\n".join([wrapped(head, rest="  "), "", *shown, *said, "", CAUTION, ""])

    def plot(self, ax: Axes | None = None) -> Axes:
        """Draw the cost of each plan against its chance of a loss in the worst year over the limit.

        Parameters
        ----------
        ax : matplotlib.axes.Axes, optional
            Where to draw; a new figure if left out.
        """
        return plots.cost_against_limit(self._content, ax)

    def __repr__(self) -> str:
        found = self.cheapest or "no plan"
        return f"<CheapestPlan of {len(self._content['plans'])}: {found} ({self.outcome})>"

    def _card(self) -> Card:
        warnings = self._content["warnings"]
        tables = [self._table()]
        tables += [of_frame("What the study refuses", self.refused)] if len(self.refused) else []
        tables.append(of_frame("Rounds", self.rounds))
        notes = [note for note in self.notes if note not in warnings]
        return Card(
            f"Which plan is the cheapest that meets the limits? {self._content['study']}", notes, tables, warnings
        )

    def _table(self, most: int | None = None) -> Table:
        """Give a line for each plan, those that stayed first, by cost; no more than some."""
        heads = ["plan", "limits", "outcome", "chance of any loss", "cost", "lives"]
        order = sorted(self._content["plans"], key=lambda plan: (plan["dropped"] is not None, plan["cost"][0]))
        lines = [
            [
                plan["strategy"],
                plan["verdict"],
                self._became(plan),
                in_words(*plan["p_any_loss"]),
                self._cost(plan),
                f"{plan['lives']:,}",
            ]
            for plan in order[:most]
        ]
        return Table("The plans", heads, lines, left=3)

    def _became(self, plan: dict[str, Any]) -> str:
        if plan["dropped"] is not None:
            words = {"misses": "misses a limit", "dearer": "surely dearer"}[plan["dropped"]["why"]]
            return f"dropped: {words}"
        return "the cheapest" if plan["strategy"] == self.cheapest else "stayed"

    def _cost(self, plan: dict[str, Any]) -> str:
        scale, unit = money_unit(plan["cost"][0], self._content["currency"])
        return f"{Shown(*plan['cost']).ranged(scale=scale, figures=1)} {unit}"

    def _money(self, money: float) -> str:
        scale, unit = money_unit(abs(money), self._content["currency"])
        return f"{money / scale:,.3g} {unit}"

    def _answer(self) -> str:
        content, count = self._content, len(self._content["plans"])
        sure = f"{100.0 * content['confidence']:g} % confidence"
        if self.outcome == "none meets":
            return f"None of the {count} plans meets the limits: each surely misses one, with {sure}."
        left = [plan for plan in content["plans"] if plan["dropped"] is None]
        if self.cheapest is None:
            return (
                f"Of none of the {count} plans it is known that it meets the limits, with {sure}; {len(left)} are not "
                "known to miss them. More lives may tell."
            )
        best = next(plan for plan in left if plan["strategy"] == self.cheapest)
        what = f"a cost of {self._cost(best)} and a chance of any loss of {in_words(*best['p_any_loss'])}"
        of = "" if content["indifference_is_stated"] else " (a hundredth of the least cost of the first round)"
        indifference = f"{self._money(content['indifference'])}{of}"
        if self.outcome == "found":
            return (
                f"{self.cheapest} is the cheapest of {count} plans that meets the limits: {what}. With {sure} it meets "
                f"them, and no other that does is cheaper by more than {indifference}."
            )
        return (
            f"{self.cheapest} is the cheapest of {count} plans that is known to meet the limits, with {sure}: {what}. "
            f"It is not known to be the cheapest that does to within {indifference}: the lives leave that open."
        )

    def _beside(self) -> str:
        plans = [plan for plan in self._content["plans"] if plan["dropped"] is None]
        others = sorted(
            (plan for plan in plans if plan["strategy"] != self.cheapest), key=lambda plan: float(plan["cost"][0])
        )
        if not others:
            return ""
        said = [f"{plan['strategy']} ({self._apart(plan)})" for plan in others[:_FEW]]
        said += [f"{len(others) - _FEW} more"] if len(others) > _FEW else []
        return f"{'Beside it stay' if self.cheapest else 'There stay'}: {'; '.join(said)}."

    def _apart(self, plan: dict[str, Any]) -> str:
        unknown = "" if plan["verdict"] == "meets" else "not known whether it meets the limits"
        if plan["dearer"] is None:
            return unknown
        value, low, high = plan["dearer"]
        scale, unit = money_unit(max(abs(low), abs(high)), self._content["currency"])
        words = f"dearer by {Shown(value, low, high).ranged(scale=scale, figures=1)} {unit}"
        if plan["lives_needed"] is not None and low <= 0.0 <= high:
            words += f"; some {two_figures(plan['lives_needed'])} lives of each would tell"
        return f"{unknown}; {words}" if unknown else words

    def _dropped(self) -> str:
        whys = [plan["dropped"]["why"] for plan in self._content["plans"] if plan["dropped"] is not None]
        missed, dearer = whys.count("misses"), whys.count("dearer")
        said = [f"{missed} that surely {_verb(missed, 'miss')} a limit"] if missed else []
        said += [f"{dearer} that {_verb(dearer, 'are')} surely dearer than one which meets all"] if dearer else []
        return f"Dropped on the way: {', and '.join(said)}." if said else ""

    def _refused(self) -> str:
        names = [line["plan"] for line in self._content["refused"]]
        if not names:
            return ""
        more = f" and {len(names) - _FEW} more" if len(names) > _FEW else ""
        return f"Left out, since the study refuses them: {'; '.join(names[:_FEW])}{more}."

    def _lives(self) -> str:
        content = self._content
        lives, of_all = content["plan_lives"], content["plan_lives_of_all"]
        share = 100.0 * lives / of_all
        planted = (
            f", with {content['planted_lives']:,} more of each row with a planted crack"
            if content["planted_lives"]
            else ""
        )
        most = content["most_plan_lives"]
        budget = "" if most is None else f" and a budget of {most:,}"
        return (
            f"It took {lives:,} lives of the fleet, one plan at a time: {share:.2g} % of the {of_all:,} of all plans "
            f"with {content['trials']:,} lives each{planted}{budget}; seed {content['seed']}."
        )

    def _taken(self) -> str:
        taken = "the study's inputs are taken as they stand"
        if self._content["has_records"]:
            taken = "the study's inputs, and what was drawn from the records, are taken as they stand"
        return (
            "The confidence holds for all rounds and plans together, and is of the lives alone: "
            f"{taken}, and what is not known of them can matter more. Plans meet the same cracks, life by life."
        )


def _ranged(name: str, numbers: list[Any]) -> dict[str, Any]:
    return dict(zip((name, f"{name}_low", f"{name}_high"), numbers, strict=True))


def _verb(count: int, plural: str) -> str:
    return plural if count != 1 else {"are": "is"}.get(plural, f"{plural}es")
