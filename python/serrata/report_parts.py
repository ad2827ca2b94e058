"""What each part of the report of a comparison says: tables, lists and sentences, however they are set."""

from __future__ import annotations

import math
from collections.abc import Callable
from typing import TYPE_CHECKING, Any

from serrata import plots
from serrata.report_answer import answer
from serrata.report_blocks import Block, Bullets, Sentences, Table
from serrata.report_numbers import difference, pick, shown_of
from serrata.wording import Shown

if TYPE_CHECKING:
    import pandas as pd

    from serrata.comparison import Comparison

__all__ = ["PARTS", "left", "money", "strategies", "who_meets"]

#: Outages that the text shows for one strategy; the table has them all.
_MOST_OUTAGES = 12
_COSTS = {
    "cost": "all",
    "look_cost": "looks",
    "blades_out_cost": "blades out and in",
    "replacement_cost": "new blades, rows",
    "dressing_cost": "dressing",
    "stop_cost": "extra stops",
    "surface_cost": "cleaning, peening",
    "extra_day_cost": "days beyond window",
    "starts_limit_cost": "limited starts",
    "spares_cost": "holding spares",
    "loss_cost": "losses",
}
_DAYS = {
    "days": "all",
    "look_days": "looks",
    "blades_out_days": "blades out and in",
    "replacement_days": "fitting new blades",
    "dressing_days": "dressing",
    "stop_days": "extra stops",
    "wait_days": "waiting for blades",
    "surface_days": "cleaning, peening",
    "forced_days": "forced outages",
    "days_beyond_window": "beyond windows",
}
#: Left out of the text where they are 0 under every strategy.
_SELDOM = (
    "blades_damaged",
    "blades_run_on",
    "used_blades_fitted",
    "blades_dressed",
    "dressing_cost",
    "dressing_days",
    "extra_stops",
    "stop_cost",
    "stop_days",
    "surface_cost",
    "surface_days",
    "starts_limit_cost",
    "spares_cost",
    "wait_days",
)
_RANKED = {
    "p_any_loss": "chance of any loss",
    "losses": "expected losses",
    "cost": "cost",
    "days": "outage days",
}


def _heading(comparison: Comparison) -> list[Block]:
    study = comparison.study
    about = [
        f"{study.name}: {_counted(len(study.rows), 'row')}, {sum(study.rows.values())} blades, "
        f"{study.horizon_years:g} years from {study.start_year:g}",
        f"{comparison.trials:,} trials, seed {comparison.seed}, {comparison.threads or 'unknown number of'} threads, "
        f"serrata {comparison.version} ({comparison.generator})",
        *_ending(comparison),
    ]
    return [Sentences(about), Bullets("Strategies", strategies(comparison))]


def strategies(comparison: Comparison) -> list[str]:
    """Say what each strategy does, in the words of the study."""
    study = comparison.study
    return [
        f"{strategy}: {description}{' (baseline)' if strategy == study.baseline else ''}"
        for strategy, description in study.strategies.items()
    ]


def _ending(comparison: Comparison) -> list[str]:
    """Say why a run ended that might have ended earlier or later."""
    target = comparison.target_relative_error
    if target is None:
        return [] if comparison.ended == "trials lived" else [f"ended early: {comparison.ended}"]
    asked = f"the fleet's losses under each strategy to {target:.3g} of themselves (one standard error)"
    return [f"asked for: {asked}; ended: {comparison.ended}"]


def _risk(comparison: Comparison) -> list[Block]:
    by_row = comparison.by_row
    risks = by_row[by_row["quantity"] == "p_any_loss"]
    summary = comparison.summary
    lines = []
    for strategy in comparison.study.strategies:
        of_rows = risks[risks["strategy"] == strategy]
        worst = of_rows.sort_values("value", ascending=False, kind="stable").iloc[0]
        fleet, mean, losses = (
            shown_of(pick(summary, strategy=strategy, quantity=quantity))
            for quantity in ("p_any_loss", "p_any_loss_mean_row", "losses")
        )
        worst_row = "-" if shown_of(worst).unseen else f"{shown_of(worst).ranged()} {worst['row']}"
        trials = comparison.trials
        lines.append([strategy, fleet.ranged(trials), losses.ranged(), mean.ranged(), worst_row])
    years = f"{comparison.study.horizon_years:g} years"
    head = ["", "fleet: any loss", "fleet: losses", "a row: any loss, mean", "a row: any loss, worst"]
    title = f"Blades lost in service within {years}: chance of at least one, and expected number"
    return [Table(title, head, lines)]


def _limits(comparison: Comparison) -> list[Block]:
    limits = comparison.limits
    if not len(limits):
        return []
    strategies = comparison.study.strategies
    worst_first = {"misses": 0, "undecided": 1, "meets": 2}
    lines = []
    for strategy in strategies:
        of_strategy = limits[limits["strategy"] == strategy]
        for index, level in enumerate(of_strategy["level"].unique()):
            of_level = of_strategy[of_strategy["level"] == level]
            by_verdict = of_level.assign(place=of_level["verdict"].map(worst_first))
            worst = by_verdict.sort_values(["place", "high"], ascending=[True, False], kind="stable").iloc[0]
            name = worst["row"] or worst["of_unit"]
            lines.append(
                [
                    strategy if index == 0 else "",
                    f"a {level}" if level != "fleet" else "the fleet",
                    f"{worst['limit']:g}",
                    str(worst["verdict"]),
                    f"{name}, {worst['year']:g}" if name else f"{worst['year']:g}",
                    shown_of(worst).ranged(),
                ]
            )
    head = ["", "limit on", "limit", "verdict", "decided by", "chance there"]
    title = (
        "Limits on the chance of a loss in a year, and the row, unit and year that decides (ranges hold for all years "
        "of one row or unit together with 95 %; all rows and units: limits)"
    )
    return [Table(title, head, lines, left=5, note=who_meets(comparison))]


def who_meets(comparison: Comparison) -> str:
    """Say in one line which strategies meet all limits."""
    first_lines = comparison.summary.drop_duplicates("strategy").set_index("strategy")["meets_limits"]
    by_verdict = {
        verdict: ", ".join(first_lines.index[first_lines == verdict]) for verdict in ("meets", "misses", "undecided")
    }
    meets = f"Meet all limits: {by_verdict['meets']}." if by_verdict["meets"] else "No strategy is known to meet all."
    misses = f" Miss a limit: {by_verdict['misses']}." if by_verdict["misses"] else ""
    undecided = by_verdict["undecided"]
    return meets + misses + (f" Undecided, which more lives may settle: {undecided}." if undecided else "")


def _by_year(comparison: Comparison) -> list[Block]:
    by_year = comparison.by_year
    fleet = by_year[(by_year["level"] == "fleet") & (by_year["quantity"] == "p_any_loss")]
    years = sorted(fleet["year"].unique())
    lines = []
    for year in years:
        of_year = fleet[fleet["year"] == year]
        cells = [shown_of(pick(of_year, strategy=strategy)).plus_minus() for strategy in comparison.study.strategies]
        lines.append([f"{year:g}", *cells])
    title = (
        "Chance of at least one blade lost in the fleet, year by year (< : none seen, upper bound; a to b: seen so "
        "seldom that only the range says something)"
    )
    return [Table(title, ["from", *comparison.study.strategies], lines)]


def _finds(comparison: Comparison) -> list[Block]:
    columns = {
        "cracks_found": "cracks found",
        "cracks_left_after_last_outage": "left after the last",
        "blades_replaced": "blades replaced",
        "blades_replaced_on_false_calls": "of them false calls",
        "blades_damaged": "of them damaged",
        "blades_run_on": "ran on without a spare",
        "used_blades_fitted": "used blades fitted",
        "blades_dressed": "blades dressed",
        "rows_replaced": "rows replaced",
        "times_blades_out": "times blades out",
        "extra_stops": "extra stops",
    }
    return [_by_strategy(comparison, "Found and replaced, whole fleet, expected numbers within the horizon", columns)]


def left(comparison: Comparison, *, last_only: bool = False) -> list[Block]:
    """Set what is left in the row with most losses, after each outage or, more coarsely, the last one alone."""
    figures = 1 if last_only else 2
    row = comparison.worst_row
    of_row = comparison.by_outage[comparison.by_outage["row"] == row]
    if of_row.empty:
        return [Sentences(["No row has an outage within the horizon."])]
    head = ["", "outage", "cracks", "any crack", "longest: 50\u00a0%", "longest: 95\u00a0%", "longest: 99\u00a0%"]
    lines = []
    for strategy in comparison.study.strategies:
        of_strategy = of_row[of_row["strategy"] == strategy]
        # A strategy may put outages off.
        years = sorted(of_strategy["year"].unique())
        step = len(years) if last_only else math.ceil(len(years) / _MOST_OUTAGES)
        # Counted from the last, which always shows.
        for index, year in enumerate(years[(len(years) - 1) % step :: step]):
            outage = of_strategy[of_strategy["year"] == year]
            longest = [shown_of(pick(outage, quantity="longest_mm", probability=p)) for p in (0.5, 0.95, 0.99)]
            lines.append(
                [
                    strategy if index == 0 else "",
                    f"{year:g}",
                    *(
                        shown_of(pick(outage, quantity=name)).plus_minus(figures=figures)
                        for name in ("cracks", "p_any_crack")
                    ),
                    *(_length(length, figures) for length in longest),
                ]
            )
    after = "the last outage" if last_only else "each outage"
    others = "all rows and outages" if last_only or step > 1 else "all rows"
    title = (
        f"Cracks left in row {row} just after {after}: number, and the length in mm that the longest stays below "
        f"with 50, 95 and 99 % (the row with most losses under {comparison.study.baseline}; {others}: by_outage)"
    )
    return [Table(title, head, lines, repeat=2)]


def _length(length: Shown, figures: int) -> str:
    if length.value > 0.0:
        return length.plus_minus(figures=figures)
    return f"< {length.high:.2g}" if length.high > 0.0 else "no crack"


def money(comparison: Comparison, figures: int = 2) -> list[Block]:
    """Set what each strategy costs and for what, with so many figures of each uncertainty."""
    scale, unit = plots.money_unit(comparison)
    return [_by_strategy(comparison, f"Cost, whole fleet, discounted to the start, in {unit}", _COSTS, scale, figures)]


def _days(comparison: Comparison) -> list[Block]:
    title = "Days, whole fleet, of work at outages and of forced outages; and of units beyond their windows"
    return [_by_strategy(comparison, title, _DAYS)]


def _spread(comparison: Comparison) -> list[Block]:
    fleet = comparison.spread[comparison.spread["level"] == "fleet"]
    scale, money = plots.money_unit(comparison)
    note = (
        "Of plain lives alone, to 0.8 % of each value. About (~): fewer than 10 lives beyond, so that no range is told."
    )
    tables: list[Block] = []
    for quantity, unit, times in (("cost", f"cost, in {money}, discounted to the start", scale), ("days", "days", 1.0)):
        of_quantity = fleet[fleet["quantity"] == quantity]
        columns = list(dict.fromkeys(zip(of_quantity["statistic"], of_quantity["probability"], strict=True)))
        lines = [
            [
                strategy,
                *(
                    _of_spread(pick(of_quantity, strategy=strategy, statistic=statistic, probability=share), times)
                    for statistic, share in columns
                ),
            ]
            for strategy in comparison.study.strategies
        ]
        heads = [
            f"{100.0 * share:g}\u00a0% of lives"
            if statistic == "percentile"
            else f"worst {100.0 * share:g}\u00a0%, mean"
            for statistic, share in columns
        ]
        title = f"What a life of the whole fleet stays below: {unit}"
        tables.append(Table(title, ["", *heads], lines, note=note if quantity == "days" else ""))
    return tables


def _of_spread(line: pd.Series[Any], scale: float) -> str:
    if math.isnan(line["high"]):
        value = line["value"] / scale
        return f"~{float(f'{value:.2g}'):,.6g}"
    return shown_of(line).plus_minus(scale)


def _loss_cost(comparison: Comparison) -> list[Block]:
    scale, money = plots.money_unit(comparison)
    fleet = comparison.loss_cost[comparison.loss_cost["level"] == "fleet"]
    levels = sorted(fleet["above"].unique())
    if not levels[-1] > 0.0:
        return []
    lines = [
        [strategy, *(shown_of(pick(fleet, strategy=strategy, above=level)).plus_minus() for level in levels)]
        for strategy in comparison.study.strategies
    ]
    title = f"Chance that the losses of any one row cost more than, in {money}, discounted to the start"
    return [Table(title, ["", *(_short(level / scale) for level in levels)], lines)]


def _hot_spots(comparison: Comparison) -> list[Block]:
    row = comparison.worst_row
    of_row = comparison.by_hot_spot[comparison.by_hot_spot["row"] == row]
    spots = list(of_row["hot_spot"].unique())
    if len(spots) < 2:
        return []
    lines = [
        [strategy, *(shown_of(pick(of_row, strategy=strategy, hot_spot=spot)).plus_minus() for spot in spots)]
        for strategy in comparison.study.strategies
    ]
    title = f"Blades lost from row {row} by the hot spot of the crack, within the horizon (all rows: by_hot_spot)"
    return [Table(title, ["", *spots], lines)]


def _differences(comparison: Comparison) -> list[Block]:
    differences = comparison.differences
    baseline = comparison.study.baseline
    if not len(differences):
        return [Sentences([f"There is no strategy to compare {baseline} with."])]
    money, currency = plots.money_unit(comparison)
    lines = []
    for quantity, words in _RANKED.items():
        scale, unit = (money, f", {currency}") if quantity == "cost" else (1.0, "")
        for index, (_, line) in enumerate(differences[differences["quantity"] == quantity].iterrows()):
            known = not math.isnan(line["standard_error"])
            lines.append(
                [
                    words + unit if index == 0 else "",
                    str(line["strategy"]),
                    difference(line, scale),
                    _short(line["standard_error"] / scale) if known else "-",
                    _short(line["unpaired_standard_error"] / scale),
                ]
            )
    head = ["measure", "strategy", "difference", "standard error", "if not paired"]
    title = f"Differences to {baseline} over the fleet, trial by trial on the same blades and cracks"
    return [Table(title, head, lines, left=2, note=_gain_by_pairing(differences))]


def _gain_by_pairing(differences: pd.DataFrame) -> str:
    """Say how much smaller pairing made the standard errors in this run, quantity by quantity."""
    gains = []
    for quantity, words in _RANKED.items():
        of_quantity = differences[differences["quantity"] == quantity]
        known = of_quantity[of_quantity["unpaired_standard_error"] > 0.0]
        percent = (100.0 * (1.0 - known["standard_error"] / known["unpaired_standard_error"])).dropna().round()
        if len(percent):
            least, most = int(percent.min()), int(percent.max())
            gains.append(f"{words} {least} %" if least == most else f"{words} {least} to {most} %")
    if not gains:
        return "Nothing was seen that pairing could make sharper."
    return f"Standard errors are smaller by pairing by: {', '.join(gains)}."


def _rankings(comparison: Comparison) -> list[Block]:
    rankings, summary = comparison.rankings, comparison.summary
    columns = {}
    for quantity in _RANKED:
        of_quantity = rankings[rankings["quantity"] == quantity]
        seen = (summary[summary["quantity"] == quantity]["value"] > 0.0).any()
        confidence = float(of_quantity["confidence_in_first"].iloc[0])
        places = [
            str(pick(of_quantity, strategy=strategy)["place"]) if seen else "-"
            for strategy in comparison.study.strategies
        ]
        columns[quantity] = [*places, ("> 0.99" if confidence > 0.99 else f"{confidence:.2f}") if seen else "-"]
    labels = [*comparison.study.strategies, "confidence in the first"]
    lines = [[label, *(column[index] for column in columns.values())] for index, label in enumerate(labels)]
    return [Table("Places, smallest first (- : none seen under any strategy)", ["", *_RANKED.values()], lines)]


def _rare_losses(comparison: Comparison) -> list[Block]:
    if comparison.planted_lives == 0:
        return []
    lines = []
    for strategy in comparison.study.strategies:
        own = comparison.rare_losses[comparison.rare_losses["strategy"] == strategy]
        thin = own["note"].str.startswith("thin").sum()
        cells = [own["planted_share"].min(), own["planted_share"].max()]
        lines.append(
            [
                strategy,
                f"{cells[0]:.0%} to {cells[1]:.0%}",
                f"{own['effective_losses'].min():,.0f}",
                f"{own['largest_share'].max():.1%}",
                f"{thin} of {len(own)}",
            ]
        )
    head = ["", "told by planted lives", "effective losses, least", "largest share of one", "thin rows"]
    lives = f"{comparison.planted_lives:,} lives of each row with a planted crack, and plain ones"
    return [Table(f"Where the losses come from: {lives}", head, lines)]


def _by_strategy(
    comparison: Comparison, title: str, columns: dict[str, str], scale: float = 1.0, figures: int = 2
) -> Table:
    summary = comparison.summary
    zero = [name for name in _SELDOM if not summary[summary["quantity"] == name]["value"].any()]
    columns = {quantity: words for quantity, words in columns.items() if quantity not in zero}
    lines = [
        [
            strategy,
            *(
                shown_of(pick(summary, strategy=strategy, quantity=quantity)).plus_minus(scale, figures)
                for quantity in columns
            ),
        ]
        for strategy in comparison.study.strategies
    ]
    return Table(title, ["", *columns.values()], lines)


def _short(value: float) -> str:
    return f"{value:,.0f}" if value >= 100.0 else f"{value:.2g}"


def _warnings(comparison: Comparison) -> list[Block]:
    return [Bullets("Beware", comparison.warnings)] if comparison.warnings else []


def _assumptions(comparison: Comparison) -> list[Block]:
    return [Bullets("Taken for granted", comparison.study.assumptions)]


#: Each part of the report with the function that words it, in order.
PARTS: dict[str, Callable[[Comparison], list[Block]]] = {
    "answer": answer,
    "heading": _heading,
    "losses": _risk,
    "limits": _limits,
    "by_year": _by_year,
    "hot_spots": _hot_spots,
    "found": _finds,
    "left": left,
    "cost": money,
    "loss_cost": _loss_cost,
    "days": _days,
    "spread": _spread,
    "differences": _differences,
    "rankings": _rankings,
    "rare_losses": _rare_losses,
    "warnings": _warnings,
    "assumptions": _assumptions,
}


def _counted(count: int, noun: str) -> str:
    return f"{count:,} {noun}" if count == 1 else f"{count:,} {noun}s"
