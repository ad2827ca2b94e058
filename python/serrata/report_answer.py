"""The first part of a report: the question, the answer in three sentences, the plans in one table."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

from serrata import plots
from serrata.report_blocks import Block, Bullets, Sentences, Table, as_text
from serrata.report_numbers import difference, pick, shown_of
from serrata.wording import Shown, in_words, money_unit

if TYPE_CHECKING:
    from serrata.comparison import Comparison
    from serrata.which_plan import WhichPlan

__all__ = ["MOST_LINES", "answer", "beware", "changed_by_records", "plans", "question", "three_sentences"]

#: Lines of a screen that the first part may take, with the range, the caution and where the rest is.
MOST_LINES = 40
#: Of them, what stands around it.
_AROUND = 8
#: Warnings that stand beside the answer.
_FIRST_WARNINGS = 2


def question(comparison: Comparison) -> str:
    """Ask what the comparison answers."""
    study = comparison.study
    rows, blades = len(study.rows), sum(study.rows.values())
    of = f"{rows} rows of {blades:,} blades" if rows > 1 else f"a row of {blades:,} blades"
    end = study.start_year + study.horizon_years
    plans = list(study.strategies)
    asked = f"Which of {len(plans)} plans" if len(plans) > 1 else f"What comes of {plans[0]}"
    return f"{asked} for {of}, from {study.start_year:g} to {end:g}?"


def three_sentences(comparison: Comparison, which: WhichPlan) -> list[str]:
    """Answer: what to take, how sure that is, and what would change it."""
    # No confidence of the lives knows of what there is to beware of.
    besides = " What stands under Beware is not in that." if comparison.warnings else ""
    is_thin = bool(comparison.rare_losses["note"].str.startswith("thin").any())
    planted = "more planted lives may, where they tell losses badly; " if is_thin else ""
    return [
        which.answer,
        f"How sure: {which.how_sure}{besides}",
        f"What would change it: {planted}{which.what_would_change_it}",
    ]


def beware(comparison: Comparison) -> list[Block]:
    """Say beside the answer how much there is to beware of, with the first of it: nobody should read on without it."""
    warned = comparison.warnings
    more = len(warned) - _FIRST_WARNINGS
    rest = (
        [f"{more} more {'stand' if more > 1 else 'stands'} under the warnings of the whole report."] if more > 0 else []
    )
    return [Bullets("Beware", [*warned[:_FIRST_WARNINGS], *rest])] if warned else []


def answer(comparison: Comparison) -> list[Block]:
    """Word the first part so that it fits a screen; plans that another beats are left out first."""
    which = comparison.which_plan()
    said: list[Block] = [Sentences([question(comparison), "", *three_sentences(comparison, which), ""])]
    warned = beware(comparison)
    beaten_last = which.summary.sort_values("beaten_by", na_position="first", kind="stable")["strategy"]
    order = list(comparison.study.strategies)
    blocks: list[Block] = []
    for count in range(len(order), 0, -1):
        kept = set(beaten_last.iloc[:count])
        table = plans(comparison, which, [name for name in order if name in kept], is_brief=True)
        if count < len(order):
            table = table._replace(note=f"{len(order) - count} more plans are in the whole report.")
        blocks = [*said, table, *warned]
        if sum(as_text(block).count("\n") + 1 for block in blocks) <= MOST_LINES - _AROUND:
            break
    return blocks


def plans(comparison: Comparison, which: WhichPlan, names: list[str], *, is_brief: bool = False) -> Table:
    """Set plans side by side: risk, forced days, parts and money apart, each with its interval.

    Parameters
    ----------
    comparison : Comparison
        What to word.
    which : WhichPlan
        Its answer.
    names : list of str
        The plans.
    is_brief : bool
        With half of each interval, and without decimals and what a loss avoided costs, for a narrow page.
    """
    study, summary, differences = comparison.study, comparison.summary, comparison.differences
    scale, money = plots.money_unit(comparison)
    verdicts = which.summary.set_index("strategy")["limits"]
    has_limits = bool(verdicts.notna().any())
    heads = ["plan", "chance of any loss", "as a decimal", "days of forced outage", "new blades fitted"]
    heads += [f"cost, {money}", f"cost beyond the baseline, {money}", "cost of each loss avoided"]
    heads += ["limits on risk"] if has_limits else []
    lines = []
    for name in names:
        risk, forced, parts, cost = (
            shown_of(pick(summary, strategy=name, quantity=quantity))
            for quantity in ("p_any_loss", "forced_days", "blades_replaced", "cost")
        )
        is_baseline = name == study.baseline
        beyond = None if is_baseline else pick(differences, strategy=name, quantity="cost")
        line = [name, in_words(risk.value, risk.low, risk.high), _decimal(risk)]
        if is_brief:
            line += [forced.plus_minus(figures=1), parts.plus_minus(figures=1), cost.plus_minus(scale, figures=1)]
            line.append("baseline" if beyond is None else shown_of(beyond).plus_minus(scale, figures=1))
        else:
            line += [forced.ranged(figures=1), parts.ranged(figures=1), cost.ranged(scale=scale, figures=1)]
            line.append("baseline" if beyond is None else difference(beyond, scale, figures=1))
        line.append(_each_avoided(comparison, which, name))
        lines.append([*line, str(verdicts[name])] if has_limits else line)
    title = f"The plans, whole fleet over {study.horizon_years:g} years; costs discounted to the start"
    table = Table(title, heads, lines)
    if not is_brief:
        return table
    chosen = [at for at, head in enumerate(heads) if head not in ("as a decimal", "cost of each loss avoided")]
    return table._replace(heads=[heads[at] for at in chosen], lines=[[line[at] for at in chosen] for line in lines])


def changed_by_records(comparison: Comparison, without_records: Comparison) -> list[Block]:
    """Say whether records changed the plan, and what they did to the risk and the cost of each."""
    before, after = without_records.which_plan(), comparison.which_plan()
    scale, money = plots.money_unit(comparison)
    lines = []
    for name in comparison.study.strategies:
        line = [name]
        for quantity in ("p_any_loss", "cost"):
            for run in (without_records, comparison):
                shown = shown_of(pick(run.summary, strategy=name, quantity=quantity))
                is_risk = quantity == "p_any_loss"
                words = in_words(shown.value, shown.low, shown.high) if is_risk else shown.ranged(None, scale, 1)
                line.append(words)
        lines.append(line)
    heads = ["plan", "any loss, without", "any loss, with", f"cost, {money}, without", f"cost, {money}, with"]
    said = [_change(before, after), f"Without the records: {before.answer}", f"With them: {after.answer}"]
    return [Sentences(said), Table("The plans without the records, and with them", heads, lines)]


def _change(before: WhichPlan, after: WhichPlan) -> str:
    """Say in a sentence what records did to the choice of a plan."""
    has_limits = after.summary["limits"].notna().any()
    if has_limits:
        called = [which.cheapest or "none that is known to meet the limits" for which in (before, after)]
        if before.cheapest == after.cheapest:
            is_one = after.cheapest is not None
            by = f"it is {called[1]} by either" if is_one else "none is known to meet the limits by either"
            return f"The records did not change the plan: {by}."
        return f"By the estimates the records changed the plan: from {called[0]} to {called[1]}."
    changed = []
    for quantity, words in (("p_any_loss", "the smallest risk"), ("cost", "the smallest cost")):
        one, other = (which.summary.set_index("strategy")[quantity].idxmin() for which in (before, after))
        changed += [f"{words}, from {one} to {other}"] if one != other else []
    if not changed:
        return "The records changed neither which plan has the smallest risk nor which has the smallest cost."
    return f"By the estimates the records changed which plan has {'; and '.join(changed)}."


def _decimal(risk: Shown) -> str:
    """Give a chance for those who work with it, beside its words, which have the range."""
    return f"< {risk.high:.2g}" if risk.unseen else f"{risk.value:.2g}"


def _each_avoided(comparison: Comparison, which: WhichPlan, name: str) -> str:
    """Word what a loss avoided costs, where the lives tell both the losses and the money from those of the baseline."""
    if name == comparison.study.baseline:
        return "baseline"
    of = comparison.differences
    losses, cost = (pick(of, strategy=name, quantity=quantity) for quantity in ("losses", "cost"))
    is_safer, is_dearer = losses["value"] < 0.0, cost["value"] > 0.0
    own = pick(which.summary, strategy=name)
    value, low, high = (float(own[f"cost_of_each_loss_avoided{end}"]) for end in ("", "_low", "_high"))
    if not math.isnan(value):
        scale, money = money_unit(high, comparison.study.currency)
        words = f"{Shown(value, low, high).ranged(scale=scale, figures=1)} {money}"
        return words if is_safer else f"saves {words} for each loss more"
    is_told = all(line["low"] > 0.0 or line["high"] < 0.0 for line in (losses, cost))
    if not is_told or is_safer == is_dearer:
        return "not told by the lives"
    return "safer and cheaper" if is_safer else "more losses at a higher cost"
