"""A comparison in words: one line, a text for the terminal, HTML for a notebook, a directory of files."""

from __future__ import annotations

import math
import textwrap
from collections.abc import Callable, Iterable, Mapping, Sequence
from html import escape
from pathlib import Path
from typing import TYPE_CHECKING, Any, NamedTuple

from serrata import plots
from serrata.about import CAUTION
from serrata.errors import ArgumentError

if TYPE_CHECKING:
    import pandas as pd

    from serrata.comparison import Comparison

__all__ = ["FILES", "PARTS", "Shown", "html", "line", "text", "write"]

#: Note under every table with ranges.
RANGES = (
    "Ranges are 95 % intervals: 1 time in 20 the truth lies outside, so far as the inputs are right; doubt about the "
    "inputs is not in them."
)
_WIDTH = 120
#: Outages that the text shows for one strategy; the table has them all.
_MOST_OUTAGES = 12
#: Rows up to which result.json has all tables, and the tables that it always has.
_MOST_ROWS = 500
_OF_FLEET = ("summary", "by_unit", "differences", "rankings", "limits")
#: Letters that the head of a column may always take.
_NARROWEST = 10
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
_FIGURES: dict[str, Callable[..., Any]] = {
    "risk_by_year": plots.risk_by_year,
    "cost_split": plots.cost_split,
    "longest_crack": plots.longest_crack,
    "cracks": plots.cracks,
    "cost_against_risk": plots.cost_against_risk,
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
#: What `write` may write beside the tables.
FILES = ("result.json", "report.txt", "study.toml", *(f"{name}.png" for name in (*_FIGURES, "differences")))
_RANKED = {
    "p_any_loss": "chance of any loss",
    "losses": "expected losses",
    "cost": "cost",
    "days": "outage days",
}


class Shown(NamedTuple):
    """An estimate to be shown.

    Attributes
    ----------
    value, low, high : float
        The estimate and its 95 % interval.
    unseen : bool
        Whether no trial showed it, so that ``high`` is all that is known.
    always : bool
        Whether every trial showed it, so that ``low`` is all that is known of its chance.
    """

    value: float
    low: float
    high: float
    unseen: bool = False
    always: bool = False

    def ranged(self, trials: int | None = None, scale: float = 1.0) -> str:
        """Word it with its range, such as ``0.0123 (0.0119 to 0.0127)`` or ``< 3.7e-05 (none seen in 100,000)``."""
        value, low, high = self.value / scale, self.low / scale, self.high / scale
        if self.unseen:
            return f"< {high:.2g}" + (f" (none seen in {trials:,})" if trials is not None else "")
        if self.always:
            return f"> {low:.4f}"
        if not high > low:
            return _plain(value)
        number = _rounded_to(0.5 * (high - low), 0.5 * (abs(low) + abs(high)))
        return f"{number(value)} ({number(low)} to {number(high)})"

    def plus_minus(self, scale: float = 1.0) -> str:
        """Word it with half its range, such as ``0.0123 +-0.0004``; by the range alone where half of it is as large."""
        value, low, high = self.value / scale, self.low / scale, self.high / scale
        if self.unseen:
            return f"< {high:.2g}"
        if self.always:
            return f"> {low:.4f}"
        if not high > low:
            return _plain(value)
        half = max(value - low, high - value)
        if low >= 0.0 and half >= value:
            # Seen so seldom that as much to either side would reach below zero.
            return f"{low:.2g} to {high:.2g}"
        number = _rounded_to(half, abs(value))
        return f"{number(value)} ±{number(half)}"


def line(comparison: Comparison) -> str:
    """Word the comparison in one line, with the first estimate that matters."""
    ranking = comparison.rankings
    first = ranking[(ranking["quantity"] == "losses") & (ranking["place"] == 1)].iloc[0]
    summary = comparison.summary
    risk = _pick(summary, strategy=first["strategy"], quantity="p_any_loss")
    return (
        f"<Comparison of {len(comparison.study.strategies)} strategies, {comparison.trials:,} trials, seed "
        f"{comparison.seed}: fewest losses with {first['strategy']}, chance of any loss "
        f"{_shown(risk).ranged(comparison.trials)}>"
    )


def text(comparison: Comparison, part: str | None = None) -> str:
    """Word the whole answer, or one part of it, as plain text.

    Parameters
    ----------
    comparison : Comparison
        What to word.
    part : str, optional
        One of ``PARTS``; all of them if left out.

    Returns
    -------
    str
        Ends with the caution.

    Raises
    ------
    ArgumentError
        For a part that there is not.
    """
    if part is not None and part not in PARTS:
        raise ArgumentError(f"part = {part!r}\n    is no part of the report\n    choose one of {', '.join(PARTS)}")
    chosen = PARTS if part is None else [part]
    parts = [words for name in chosen if (words := _WORDED[name](comparison))]
    return "\n\n".join([*parts, _wrapped(RANGES), _wrapped(CAUTION)]) + "\n"


def html(comparison: Comparison) -> str:
    """Word the main numbers and the differences as HTML tables; needs neither a plot library nor a network."""
    study, summary, differences = comparison.study, comparison.summary, comparison.differences
    scale, money = plots.money_unit(comparison)
    columns = {
        "p_any_loss": "chance of any loss",
        "losses": "expected losses",
        "cracks_found": "cracks found",
        "blades_replaced": "blades replaced",
        "cost": f"cost, {money}",
        "days": "outage days",
    }

    def scaled(quantity: str) -> float:
        return scale if quantity == "cost" else 1.0

    lines = {}
    for strategy in study.strategies:
        marked = f"{strategy} (baseline)" if strategy == study.baseline else strategy
        cells = {name: _shown(_pick(summary, strategy=strategy, quantity=name)) for name in columns}
        lines[marked] = [shown.ranged(comparison.trials, scaled(name)) for name, shown in cells.items()]
    about = f"whole fleet over {study.horizon_years:g} years, {comparison.trials:,} trials, seed {comparison.seed}"
    parts = [_html_table(f"{study.name}: {about}", columns.values(), lines)]
    if len(differences):
        lines = {
            strategy: [
                _difference(_pick(differences, strategy=strategy, quantity=name), scaled(name)) for name in _RANKED
            ]
            for strategy in study.strategies
            if strategy != study.baseline
        }
        heads = [columns[name] for name in _RANKED]
        parts.append(_html_table(f"Differences to {study.baseline}, trial by trial", heads, lines))
    if comparison.warnings:
        parts.append(f"<p>Beware</p><ul>{''.join(f'<li>{escape(one)}</li>' for one in comparison.warnings)}</ul>")
    return "".join([*parts, f"<p>{escape(RANGES)}</p><p>{escape(CAUTION)}</p>"])


def _html_table(caption: str, heads: Iterable[str], lines: Mapping[str, Sequence[str]]) -> str:
    """Set a table with numbers flush right, and ranges below them."""
    left, right = (
        f'style="text-align: {side}; vertical-align: top; padding: 0.2em 0.4em"' for side in ("left", "right")
    )
    head = "".join(f"<th {right}>{escape(words)}</th>" for words in heads)
    rows = ""
    for strategy, cells in lines.items():
        numbers = "".join(f"<td {right}>{_html_number(words)}</td>" for words in cells)
        rows += f"<tr><th {left}>{escape(strategy)}</th>{numbers}</tr>"
    return (
        f'<table><caption style="text-align: left">{escape(caption)}</caption>'
        f"<thead><tr><th {left}>strategy</th>{head}</tr></thead><tbody>{rows}</tbody></table>"
    )


def _html_number(words: str) -> str:
    number, _, rest = words.partition(" (")
    below = f'<br><small style="white-space: nowrap">({escape(rest)}</small>' if rest else ""
    return escape(number) + below


def write(comparison: Comparison, directory: Path) -> None:
    """Write tables, figures, report and JSON into an empty directory."""
    for name in comparison.tables:
        comparison.table(name).to_csv(directory / f"{name}.csv", index=False, lineterminator="\n")
    # Where there are many rows, what is told row by row is in the tables alone.
    tables = None if len(comparison.study.rows) <= _MOST_ROWS else _OF_FLEET
    (directory / "result.json").write_text(comparison.to_json(tables) + "\n", encoding="utf-8")
    (directory / "report.txt").write_text(text(comparison), encoding="utf-8")
    (directory / "study.toml").write_text(comparison.study.to_toml(), encoding="utf-8")
    _write_figures(comparison, directory)


def _write_figures(comparison: Comparison, directory: Path) -> None:
    from matplotlib.figure import Figure

    for name, draw in _FIGURES.items():
        figure = Figure(figsize=plots.SIZE, layout="constrained")
        draw(comparison, figure.subplots())
        figure.savefig(directory / f"{name}.png", dpi=150)
    if len(comparison.differences):
        figure = Figure(figsize=(plots.SIZE[0], 2 * plots.SIZE[1]), layout="constrained")
        upper, lower = figure.subplots(2)
        plots.differences(comparison, upper, quantity="losses")
        plots.differences(comparison, lower, quantity="cost")
        figure.savefig(directory / "differences.png", dpi=150)


def _heading(comparison: Comparison) -> str:
    study = comparison.study
    lines = [
        f"{study.name}: {_counted(len(study.rows), 'row')}, {sum(study.rows.values())} blades, "
        f"{study.horizon_years:g} years from {study.start_year:g}",
        f"{comparison.trials:,} trials, seed {comparison.seed}, {comparison.threads or 'unknown number of'} threads, "
        f"serrata {comparison.version} ({comparison.generator})",
        *_ending(comparison),
        "",
        "Strategies",
    ]
    width = max(map(len, study.strategies))
    for strategy, description in study.strategies.items():
        mark = " (baseline)" if strategy == study.baseline else ""
        lines.append(_wrapped(description + mark, f"  {strategy:<{width}}  ", " " * (width + 4)))
    return "\n".join(lines)


def _ending(comparison: Comparison) -> list[str]:
    """Say why a run ended that might have ended earlier or later."""
    target = comparison.target_relative_error
    if target is None:
        return [] if comparison.ended == "trials lived" else [f"ended early: {comparison.ended}"]
    asked = f"the fleet's losses under each strategy to {target:.3g} of themselves (one standard error)"
    return [_wrapped(f"asked for: {asked}; ended: {comparison.ended}")]


def _risk(comparison: Comparison) -> str:
    by_row = comparison.by_row
    risks = by_row[by_row["quantity"] == "p_any_loss"]
    summary = comparison.summary
    lines = []
    for strategy in comparison.study.strategies:
        of_rows = risks[risks["strategy"] == strategy]
        worst = of_rows.sort_values("value", ascending=False, kind="stable").iloc[0]
        fleet, mean, losses = (
            _shown(_pick(summary, strategy=strategy, quantity=quantity))
            for quantity in ("p_any_loss", "p_any_loss_mean_row", "losses")
        )
        worst_row = "-" if _shown(worst).unseen else f"{_shown(worst).ranged()} {worst['row']}"
        trials = comparison.trials
        lines.append([strategy, fleet.ranged(trials), losses.ranged(), mean.ranged(), worst_row])
    years = f"{comparison.study.horizon_years:g} years"
    head = ["", "fleet: any loss", "fleet: losses", "a row: any loss, mean", "a row: any loss, worst"]
    return f"Blades lost in service within {years}: chance of at least one, and expected number\n" + _table(head, lines)


def _limits(comparison: Comparison) -> str:
    limits = comparison.limits
    if not len(limits):
        return ""
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
                    _shown(worst).ranged(),
                ]
            )
    head = ["", "limit on", "limit", "verdict", "decided by", "chance there"]
    title = (
        "Limits on the chance of a loss in a year, and the row, unit and year that decides (ranges hold for all years\n"
        "of one row or unit together with 95 %; all rows and units: limits)\n"
    )
    return title + _table(head, lines, left=5) + "\n" + _wrapped(_who_meets(comparison))


def _who_meets(comparison: Comparison) -> str:
    """Say in one line which strategies meet all limits."""
    first_lines = comparison.summary.drop_duplicates("strategy").set_index("strategy")["meets_limits"]
    by_verdict = {
        verdict: ", ".join(first_lines.index[first_lines == verdict]) for verdict in ("meets", "misses", "undecided")
    }
    meets = f"Meet all limits: {by_verdict['meets']}." if by_verdict["meets"] else "No strategy is known to meet all."
    misses = f" Miss a limit: {by_verdict['misses']}." if by_verdict["misses"] else ""
    undecided = by_verdict["undecided"]
    return meets + misses + (f" Undecided, which more lives may settle: {undecided}." if undecided else "")


def _by_year(comparison: Comparison) -> str:
    by_year = comparison.by_year
    fleet = by_year[(by_year["level"] == "fleet") & (by_year["quantity"] == "p_any_loss")]
    years = sorted(fleet["year"].unique())
    lines = []
    for year in years:
        of_year = fleet[fleet["year"] == year]
        cells = [_shown(_pick(of_year, strategy=strategy)).plus_minus() for strategy in comparison.study.strategies]
        lines.append([f"{year:g}", *cells])
    title = (
        "Chance of at least one blade lost in the fleet, year by year (< : none seen, upper bound; a to b: seen so\n"
        "seldom that only the range says something)\n"
    )
    return title + _table(["from", *comparison.study.strategies], lines)


def _finds(comparison: Comparison) -> str:
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
    return "Found and replaced, whole fleet, expected numbers within the horizon\n" + _by_strategy(comparison, columns)


def _left(comparison: Comparison) -> str:
    row = comparison.worst_row
    of_row = comparison.by_outage[comparison.by_outage["row"] == row]
    if of_row.empty:
        return "No row has an outage within the horizon."
    head = ["", "outage", "cracks", "any crack", "longest: 50\u00a0%", "95\u00a0%", "99\u00a0%"]
    lines = []
    for strategy in comparison.study.strategies:
        of_strategy = of_row[of_row["strategy"] == strategy]
        # A strategy may put outages off.
        years = sorted(of_strategy["year"].unique())
        step = math.ceil(len(years) / _MOST_OUTAGES)
        # Counted from the last, which always shows.
        for index, year in enumerate(years[(len(years) - 1) % step :: step]):
            outage = of_strategy[of_strategy["year"] == year]
            longest = [_shown(_pick(outage, quantity="longest_mm", probability=p)) for p in (0.5, 0.95, 0.99)]
            lines.append(
                [
                    strategy if index == 0 else "",
                    f"{year:g}",
                    *(_shown(_pick(outage, quantity=name)).plus_minus() for name in ("cracks", "p_any_crack")),
                    *(_length(length) for length in longest),
                ]
            )
    others = "all rows" if step == 1 else "all rows and outages"
    return (
        f"Cracks left in row {row} just after each outage: number, and the length in mm that the longest stays below\n"
        f"with 50, 95 and 99 % (the row with most losses under {comparison.study.baseline}; {others}: by_outage)\n"
        + _table(head, lines, repeat=2)
    )


def _length(length: Shown) -> str:
    if length.value > 0.0:
        return length.plus_minus()
    return f"< {length.high:.2g}" if length.high > 0.0 else "no crack"


def _money(comparison: Comparison) -> str:
    scale, unit = plots.money_unit(comparison)
    return f"Cost, whole fleet, discounted to the start, in {unit}\n" + _by_strategy(comparison, _COSTS, scale)


def _days(comparison: Comparison) -> str:
    return (
        "Days, whole fleet, of work at outages and of forced outages; and of units beyond their windows\n"
        + _by_strategy(comparison, _DAYS)
    )


def _spread(comparison: Comparison) -> str:
    fleet = comparison.spread[comparison.spread["level"] == "fleet"]
    scale, money = plots.money_unit(comparison)
    parts = []
    for quantity, unit, times in (("cost", f"cost, in {money}, discounted to the start", scale), ("days", "days", 1.0)):
        of_quantity = fleet[fleet["quantity"] == quantity]
        columns = list(dict.fromkeys(zip(of_quantity["statistic"], of_quantity["probability"], strict=True)))
        lines = [
            [
                strategy,
                *(
                    _of_spread(_pick(of_quantity, strategy=strategy, statistic=statistic, probability=share), times)
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
        parts.append(f"What a life of the whole fleet stays below: {unit}\n" + _table(["", *heads], lines))
    note = (
        "Of plain lives alone, to 0.8 % of each value. About (~): fewer than 10 lives beyond, so that no range is told."
    )
    return "\n".join([*parts, _wrapped(note)])


def _of_spread(line: pd.Series[Any], scale: float) -> str:
    if math.isnan(line["high"]):
        value = line["value"] / scale
        return f"~{float(f'{value:.2g}'):,.6g}"
    return _shown(line).plus_minus(scale)


def _loss_cost(comparison: Comparison) -> str:
    scale, money = plots.money_unit(comparison)
    fleet = comparison.loss_cost[comparison.loss_cost["level"] == "fleet"]
    levels = sorted(fleet["above"].unique())
    if not levels[-1] > 0.0:
        return ""
    lines = [
        [strategy, *(_shown(_pick(fleet, strategy=strategy, above=level)).plus_minus() for level in levels)]
        for strategy in comparison.study.strategies
    ]
    title = f"Chance that the losses of any one row cost more than, in {money}, discounted to the start\n"
    return title + _table(["", *(_short(level / scale) for level in levels)], lines)


def _hot_spots(comparison: Comparison) -> str:
    row = comparison.worst_row
    of_row = comparison.by_hot_spot[comparison.by_hot_spot["row"] == row]
    spots = list(of_row["hot_spot"].unique())
    if len(spots) < 2:
        return ""
    lines = [
        [strategy, *(_shown(_pick(of_row, strategy=strategy, hot_spot=spot)).plus_minus() for spot in spots)]
        for strategy in comparison.study.strategies
    ]
    title = f"Blades lost from row {row} by the hot spot of the crack, within the horizon (all rows: by_hot_spot)\n"
    return title + _table(["", *spots], lines)


def _differences(comparison: Comparison) -> str:
    differences = comparison.differences
    baseline = comparison.study.baseline
    if not len(differences):
        return f"There is no strategy to compare {baseline} with."
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
                    _difference(line, scale),
                    _short(line["standard_error"] / scale) if known else "-",
                    _short(line["unpaired_standard_error"] / scale),
                ]
            )
    head = ["", "strategy", "difference", "standard error", "if not paired"]
    title = f"Differences to {baseline} over the fleet, trial by trial on the same blades and cracks\n"
    return title + _table(head, lines, left=2) + "\n" + _wrapped(_gain_by_pairing(differences))


def _difference(line: pd.Series[Any], scale: float) -> str:
    """Word a difference with its range; where neither was ever seen, what it can be at most to either side."""
    shown = _shown(line)
    if math.isnan(line["standard_error"]):
        return f"0 (-{shown.high:.2g} to {shown.high:.2g})"
    return shown.ranged(scale=scale)


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


def _rankings(comparison: Comparison) -> str:
    rankings, summary = comparison.rankings, comparison.summary
    columns = {}
    for quantity in _RANKED:
        of_quantity = rankings[rankings["quantity"] == quantity]
        seen = (summary[summary["quantity"] == quantity]["value"] > 0.0).any()
        confidence = float(of_quantity["confidence_in_first"].iloc[0])
        places = [
            str(_pick(of_quantity, strategy=strategy)["place"]) if seen else "-"
            for strategy in comparison.study.strategies
        ]
        columns[quantity] = [*places, ("> 0.99" if confidence > 0.99 else f"{confidence:.2f}") if seen else "-"]
    labels = [*comparison.study.strategies, "confidence in the first"]
    lines = [[label, *(column[index] for column in columns.values())] for index, label in enumerate(labels)]
    return "Places, smallest first (- : none seen under any strategy)\n" + _table(["", *_RANKED.values()], lines)


def _rare_losses(comparison: Comparison) -> str:
    if comparison.planted_lives == 0:
        return ""
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
    return f"Where the losses come from: {lives}\n" + _table(head, lines)


def _by_strategy(comparison: Comparison, columns: dict[str, str], scale: float = 1.0) -> str:
    summary = comparison.summary
    zero = [name for name in _SELDOM if not summary[summary["quantity"] == name]["value"].any()]
    columns = {quantity: words for quantity, words in columns.items() if quantity not in zero}
    lines = [
        [
            strategy,
            *(_shown(_pick(summary, strategy=strategy, quantity=quantity)).plus_minus(scale) for quantity in columns),
        ]
        for strategy in comparison.study.strategies
    ]
    return _table(["", *columns.values()], lines)


def _table(head: Sequence[str], lines: Sequence[Sequence[str]], left: int = 1, repeat: int = 1) -> str:
    """Set a table in columns, `left` of them flush left; too wide ones continue below, the first `repeat` again."""
    heads = [_broken(words, max(len(line[column]) for line in lines)) for column, words in enumerate(head)]
    depth = max(map(len, heads))
    tops = [
        [words[row - depth + len(words)] if row >= depth - len(words) else "" for words in heads]
        for row in range(depth)
    ]
    lines = [*tops, *lines]
    widths = [max(len(line[column]) for line in lines) for column in range(len(head))]
    blocks: list[list[int]] = [[]]
    first = tuple(range(repeat))
    for column in range(repeat, len(head)):
        taken = sum(widths[other] + 2 for other in (*first, *blocks[-1], column))
        if blocks[-1] and taken > _WIDTH:
            blocks.append([])
        blocks[-1].append(column)

    def row(line: Sequence[str], columns: Sequence[int]) -> str:
        cells = [
            f"{line[column]:<{widths[column]}}" if column < left else f"{line[column]:>{widths[column]}}"
            for column in (*first, *columns)
        ]
        return ("  " + "  ".join(cells)).rstrip()

    return "\n\n".join("\n".join(row(line, columns) for line in lines) for columns in blocks)


def _broken(words: str, width: int) -> list[str]:
    """Break a column's head at blanks and hyphens, so that it is hardly wider than what stands below."""
    return textwrap.wrap(words, max(width, _NARROWEST), break_long_words=False) or [""]


def _pick(frame: pd.DataFrame, **where: str | float) -> pd.Series[Any]:
    """Give the one line of a table in which the named columns have the named values."""
    for column, value in where.items():
        frame = frame[frame[column] == value]
    return frame.iloc[0]


def _shown(line: pd.Series[Any]) -> Shown:
    """Give the estimate of a line."""
    value, low, high = (float(line[name]) for name in ("value", "low", "high"))
    unseen = bool(line["events"] == 0.0 and high > 0.0)
    return Shown(value, low, high, unseen, always=line.get("unit") == "probability" and value == 1.0)


def _rounded_to(half: float, size: float) -> Callable[[float], str]:
    """Give a wording of numbers with two figures of their uncertainty."""
    if not half > 0.0:
        return _plain
    digits = 1 - math.floor(math.log10(half))
    if size < 1e-3 or half < 1e-5:
        figures = max(1, digits + (math.floor(math.log10(size)) if size > 0.0 else 0))
        return lambda x: f"{x:.{min(figures, 6)}e}" if x else "0"
    return lambda x: f"{x:,.{max(digits, 0)}f}"


def _plain(value: float) -> str:
    return f"{value:,.6g}"


def _short(value: float) -> str:
    return f"{value:,.0f}" if value >= 100.0 else f"{value:.2g}"


def _warnings(comparison: Comparison) -> str:
    return "\n".join(["Beware", *map(_bullet, comparison.warnings)]) if comparison.warnings else ""


def _assumptions(comparison: Comparison) -> str:
    return "\n".join(["Taken for granted", *map(_bullet, comparison.study.assumptions)])


#: Each part of the report with the function that words it, in order.
_WORDED: dict[str, Callable[[Comparison], str]] = {
    "heading": _heading,
    "losses": _risk,
    "limits": _limits,
    "by_year": _by_year,
    "hot_spots": _hot_spots,
    "found": _finds,
    "left": _left,
    "cost": _money,
    "loss_cost": _loss_cost,
    "days": _days,
    "spread": _spread,
    "differences": _differences,
    "rankings": _rankings,
    "rare_losses": _rare_losses,
    "warnings": _warnings,
    "assumptions": _assumptions,
}
#: Names of the parts of the report, in order.
PARTS = tuple(_WORDED)


def _bullet(sentence: str) -> str:
    return _wrapped(sentence, first="  - ", rest="    ")


def _wrapped(sentence: str, first: str = "", rest: str = "") -> str:
    # A name with hyphens stays whole, so that it can be searched for.
    return textwrap.fill(
        sentence, _WIDTH, initial_indent=first, subsequent_indent=rest, break_on_hyphens=False, break_long_words=False
    )


def _counted(count: int, noun: str) -> str:
    return f"{count:,} {noun}" if count == 1 else f"{count:,} {noun}s"
