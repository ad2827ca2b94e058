"""Which plan to take: the answer of a comparison in one table, one picture and one paragraph."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from serrata import which_plan_plots as plots
from serrata.about import CAUTION
from serrata.card import Card, of_frame
from serrata.report_blocks import Table, wrapped
from serrata.result import JsonResult
from serrata.wording import Shown, in_words, money_unit, two_figures

if TYPE_CHECKING:
    import pandas as pd
    from matplotlib.axes import Axes

__all__ = ["WhichPlan"]

#: Confidence from which on a plan counts as beaten, or as the cheapest.
_SURE = 0.95
#: Confidence beyond which no figure is told.
_NEARLY = 0.999
#: What a loss avoided costs, and the ends of its interval.
_EACH = ("cost_of_each_loss_avoided", "cost_of_each_loss_avoided_low", "cost_of_each_loss_avoided_high")
#: What the measures are called.
_CALLED = {"p_any_loss": "the chance of any loss", "cost": "cost", "days": "outage days"}


class WhichPlan(JsonResult):
    """Which plan to take, by risk, cost and outage days. It never changes. Made by `comparison.which_plan`.

    All chances in it are of the error of the lives alone: they take the study's inputs as they stand.
    """

    __slots__ = ()

    @property
    def summary(self) -> pd.DataFrame:
        """A line for each plan.

        Columns are `strategy`; `p_any_loss`, `cost` and `days` over the fleet and the horizon, each with `_low`
        and `_high` of its 95 % interval, and `_best`, the chance that the plan has the smallest, missing where one
        life says nothing of it; `limits`, "meets", "misses" or "undecided", missing where the study has none;
        `beaten_by`, a plan that is no worse on any of the three and better on one, with `beaten_confidence` that it is
        no worse on any: plans without one are the frontier; `cost_of_each_loss_avoided` beside the baseline, or saved
        for each loss more, with `_low` and `_high` by Bonferroni's bound on both differences, missing where the lives
        do not tell both, or where a plan is better or worse on both.
        """
        import pandas as pd

        lines = []
        for plan in self._content["plans"]:
            line = {"strategy": plan["strategy"]}
            for measure, best in zip(plan["measures"], plan["chances_to_be_best"], strict=True):
                name = measure["quantity"]
                line |= {
                    name: measure["value"],
                    f"{name}_low": measure["low"],
                    f"{name}_high": measure["high"],
                    f"{name}_best": best,
                }
            line |= {key: plan[key] for key in ("limits", "beaten_by", "beaten_confidence")}
            each = plan["cost_of_each_loss_avoided"] or [None] * 3
            line |= dict(zip(_EACH, each, strict=True))
            lines.append(line)
        numbers = ["beaten_confidence", *_EACH, *(f"{name}_best" for name in _CALLED)]
        return pd.DataFrame(lines).astype(dict.fromkeys(numbers, float))

    @property
    def ties(self) -> pd.DataFrame:
        """Plans that the lives do not tell apart from the one with the smallest estimate.

        Columns are `quantity`, `first`, `other`, the `difference` of the other to the first with `low` and `high`, and
        `trials_needed` to tell them apart, were the difference what it is estimated to be, with planted lives in
        proportion; missing where they do not differ; `is_unseen`, whether it never happened under either.
        """
        import pandas as pd

        columns = ["quantity", "first", "other", "difference", "low", "high", "trials_needed", "is_unseen"]
        lines = [
            [tie["quantity"], tie["first"], tie["other"]]
            + [tie["difference"][key] for key in ("value", "low", "high")]
            + [tie["trials_needed"], tie["is_unseen"]]
            for tie in self._content["ties"]
        ]
        return pd.DataFrame(lines, columns=columns).astype({"trials_needed": "Int64"})

    @property
    def cheapest(self) -> str | None:
        """The cheapest plan of those that are known to meet the study's limits; none where none is, or it has none."""
        cheapest: str | None = self._content["cheapest"]
        return cheapest

    @property
    def answer(self) -> str:
        """What to take, in one sentence; where no limit decides, what is smallest."""
        return self._answer()

    @property
    def how_sure(self) -> str:
        """How sure the smallest of each measure is, and what the lives do not tell apart, as far as the lives say."""
        plans = self._content["plans"]
        surest: dict[str, list[str]] = {}
        for place, called in enumerate(_CALLED.values()):
            best = max(plans, key=lambda plan: plan["chances_to_be_best"][place] or 0.0)
            words = f"{called.removeprefix('the ')} ({_percent(best['chances_to_be_best'][place])})"
            surest.setdefault(best["strategy"], []).append(words)
        said = "; ".join(f"{strategy} has the smallest {', and '.join(of)}" for strategy, of in surest.items())
        return " ".join([f"by the lives alone, {said}.", *self._ties()])

    @property
    def what_would_change_it(self) -> str:
        """What might turn the answer, and what of that was not examined."""
        undecided = [plan["strategy"] for plan in self._content["plans"] if plan["limits"] == "undecided"]
        where = ["do not tell plans apart"] if self._content["ties"] else []
        where += [f"leave a limit undecided ({', '.join(undecided)})"] if undecided else []
        lives = f"more lives may, where they {' or '.join(where)}; " if where else ""
        return f"{lives}other inputs may, which is not examined here: what is not known of them can matter more."

    @property
    def frontier(self) -> str:
        """Which plans are beaten by none on risk, cost and days together, and which by what other."""
        return self._frontier()

    @property
    def notes(self) -> list[str]:
        """The answer in sentences."""
        return [self._answer(), self._frontier(), *self._ties(), *self._limits(), self._lives_alone()]

    def report(self) -> str:
        """Give the whole answer as plain text."""
        content = self._content
        head = f"Which plan? {content['study']}, {content['horizon_years']:g} years, {content['trials']:,} lives"
        head += f" and {content['planted_lives']:,} with planted cracks" if content["planted_lives"] else ""
        said = [wrapped(text, rest="  ") for text in [head, *self.notes]]
        return "\n".join([*said, "", CAUTION, ""])

    def plot(self, ax: Axes | None = None) -> Axes:
        """Draw cost against risk: plans of the frontier joined, beaten ones open, those that miss the limits grey.

        Parameters
        ----------
        ax : matplotlib.axes.Axes, optional
            Where to draw; a new figure if left out.
        """
        return plots.frontier(self._content, ax)

    def _card(self) -> Card:
        lines = [
            [plan["strategy"], *self._words(plan), plan["limits"] or "\N{EN DASH}", plan["beaten_by"] or "\N{EN DASH}"]
            for plan in self._content["plans"]
        ]
        heads = ["plan", "chance of any loss", "cost", "outage days", "limits on risk", "beaten by"]
        tables = [Table("The plans", heads, lines)]
        tables += [of_frame("What the lives do not tell apart", self.ties)] if len(self.ties) else []
        return Card(f"Which plan? {self._content['study']}", self.notes, tables)

    def __repr__(self) -> str:
        cheapest, has_limits = self.cheapest, self._content["has_limits"]
        answer = "no plan is known to meet the limits" if has_limits else "the study states no limit"
        if cheapest is not None:
            answer = f"{cheapest} is the cheapest that meets the limits"
        return f"<WhichPlan of {len(self._content['plans'])}: {answer}>"

    def _words(self, plan: dict[str, Any]) -> tuple[str, str, str]:
        """Word the risk, cost and days of a plan."""
        risk, cost, days = plan["measures"]
        scale, unit = money_unit(cost["value"], self._content["currency"])
        return (
            in_words(risk["value"], risk["low"], risk["high"]),
            f"{_shown(cost).ranged(scale=scale, figures=1)} {unit}",
            _shown(days).ranged(figures=1),
        )

    def _answer(self) -> str:
        cheapest = self.cheapest
        if not self._content["has_limits"]:
            return self._smallest()
        if cheapest is None:
            return (
                "No plan is known to meet the study's limits: take none of these as it stands, or live more where a "
                "verdict is undecided."
            )
        sure = _percent(self._content["cheapest_chance"])
        plan = next(plan for plan in self._content["plans"] if plan["strategy"] == cheapest)
        risk, cost, days = self._words(plan)
        said = (
            f"{cheapest} is the cheapest of the plans that meet the study's limits ({sure}): a chance of any loss of "
            f"{risk}, a cost of {cost} and {days} outage days."
        )
        cheaper = [
            other["strategy"]
            for other in self._content["plans"]
            if other["limits"] == "undecided" and other["measures"][1]["value"] < plan["measures"][1]["value"]
        ]
        if cheaper:
            said += (
                f" Cheaper, and left undecided by these lives: {', '.join(cheaper)}; more lives may show that they do."
            )
        return said

    def _smallest(self) -> str:
        """Name the plan with the smallest of each measure, where no limit decides between them."""
        plans = self._content["plans"]
        smallest: dict[str, list[str]] = {}
        for place, called in enumerate(_CALLED.values()):
            best = min(plans, key=lambda plan: plan["measures"][place]["value"])
            words = f"{called.removeprefix('the ')}, {self._words(best)[place]}"
            smallest.setdefault(best["strategy"], []).append(words)
        said = "; ".join(f"{strategy} has the smallest {', and '.join(of)}" for strategy, of in smallest.items())
        return f"The study states no limit on risk, so that cost alone decides nothing. {said}."

    def _frontier(self) -> str:
        plans = self._content["plans"]
        frontier = [plan["strategy"] for plan in plans if plan["beaten_by"] is None]
        said = f"Beaten by none on risk, cost and days together: {', '.join(frontier)}."
        surely = [plan for plan in plans if plan["beaten_by"] is not None and plan["beaten_confidence"] >= _SURE]
        maybe = [plan for plan in plans if plan["beaten_by"] is not None and plan["beaten_confidence"] < _SURE]
        if surely:
            pairs = ", ".join(f"{plan['strategy']} (by {plan['beaten_by']})" for plan in surely)
            said += f" Another is no worse on any: {pairs}."
        if maybe:
            pairs = ", ".join(
                f"{plan['strategy']} (by {plan['beaten_by']}, {100 * plan['beaten_confidence']:.0f} % sure)"
                for plan in maybe
            )
            said += f" So it seems, not surely: {pairs}."
        return said

    def _ties(self) -> list[str]:
        said = []
        for quantity, called in _CALLED.items():
            ties = [tie for tie in self._content["ties"] if tie["quantity"] == quantity]
            if not ties:
                continue
            others = ", ".join(f"{tie['other']} ({_lives_needed(tie)})" for tie in ties)
            said.append(f"On {called} the lives do not tell {ties[0]['first']} from {others}.")
        return said

    def _limits(self) -> list[str]:
        said = []
        for verdict, words in (
            ("misses", "Miss the limits"),
            ("undecided", "Neither shown to meet the limits nor to miss them"),
        ):
            plans = [plan["strategy"] for plan in self._content["plans"] if plan["limits"] == verdict]
            if plans:
                said.append(f"{words}: {', '.join(plans)}.")
        return said

    def _lives_alone(self) -> str:
        taken = "the study's inputs are taken as they stand"
        if self._content["has_records"]:
            taken = "the study's inputs, and what was drawn from the records, are taken as they stand"
        return f"How sure is said of the lives alone: {taken}, and what is not known of them can matter more."


def _percent(chance: float | None) -> str:
    if chance is None:
        return "how sure is not known"
    return "more than 99.9 % sure" if chance > _NEARLY else f"{100.0 * chance:.3g} % sure"


def _lives_needed(tie: dict[str, Any]) -> str:
    if tie["trials_needed"] is not None:
        return f"some {two_figures(tie['trials_needed'])} lives would"
    if tie["is_unseen"]:
        return "never seen under either: only a bound is known of both"
    return "alike in all lives" if tie["difference"]["value"] == 0.0 else "too few lives to say how many would"


def _shown(measure: dict[str, Any]) -> Shown:
    return Shown(measure["value"], measure["low"], measure["high"])
