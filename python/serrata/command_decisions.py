"""The command line for answers in one call."""

from __future__ import annotations

import tomllib
from collections.abc import Callable
from functools import wraps
from pathlib import Path
from typing import Any

import click

from serrata.about import CAUTION
from serrata.blades_to_look_at import how_many_blades
from serrata.command_records import declares_format, draw, figure_option, load
from serrata.study import Study

__all__ = ["blades", "cheapest", "interval", "left", "run_on"]


@click.command(epilog=CAUTION)
@click.argument("blades", type=int)
@click.option("--fewer-than", default=1, show_default=True, help="Fewer cracked blades than this are to remain.")
@click.option("--pod", type=float, required=True, help="Chance that a cracked blade that matters is called.")
@click.option("--found", default=0, show_default=True, help="Cracked blades that were called, and replaced.")
@click.option("--confidence", default=0.95, show_default=True, help="How sure to be.")
@click.option("--cracked-probability", type=float, help="Chance that a blade is cracked before anybody looks.")
@click.option("--worth-blades", type=float, help="How many blades' looks that chance is worth, where rows differ.")
@click.option("--json", "as_json", is_flag=True, help="Print one JSON object instead of the report.")
@click.option("--figure", type=click.Path(path_type=Path), help="Draw the chance that is left into this file.")
def blades(
    blades: int,
    fewer_than: int,
    pod: float,
    found: int,
    confidence: float,
    cracked_probability: float | None,
    worth_blades: float | None,
    as_json: bool,
    figure: Path | None,
) -> None:
    """Say how many of the BLADES of a row to look at, to be sure that few cracked ones remain."""
    answer = how_many_blades(
        blades,
        fewer_than,
        pod,
        found=found,
        confidence=confidence,
        cracked_probability=cracked_probability,
        worth_blades=worth_blades,
    )
    if figure is not None:
        draw(answer.plot, figure)
    click.echo(answer.to_json() if as_json else answer.report(), nl=as_json)


@click.command(epilog=CAUTION)
@click.argument("study", type=click.Path(path_type=Path))
@click.option(
    "--technique",
    "techniques",
    multiple=True,
    help="A technique that is to look, alone; those of the plans if left out.",
)
@click.option("--plan", help="The plan of which all but the looks is kept; the baseline if left out.")
@click.option("--most-outages", default=4, show_default=True, help="Longest interval that is tried, in outages.")
@click.option("--first-outage", type=int, help="Outage of the first look; as far off as later ones if left out.")
@click.option("--row-limit", type=float, help="Chance of a loss of a row in a year that is not to be passed.")
@click.option("--unit-limit", type=float, help="Likewise of a unit.")
@click.option("--fleet-limit", type=float, help="Likewise of the fleet. The study's own limits if none is given.")
@click.option("--map-of", help="A technique to make sharper and blunter: what capability does an interval need?")
@click.option("--trials", default=4_000, show_default=True, help="Lives of the whole fleet, for each plan.")
@click.option("--planted-lives", default=12_000, show_default=True, help="Lives of each row with a planted crack.")
@click.option("--seed", type=int, help="Where the random numbers begin; drawn if left out.")
@click.option("--threads", default=0, show_default=True, help="0 takes SERRATA_THREADS, else what the machine gives.")
@click.option("--json", "as_json", is_flag=True, help="Print one JSON object instead of the answer.")
@click.option("--figure", type=click.Path(path_type=Path), help="Draw risk against interval into this file.")
@click.option("--map-figure", type=click.Path(path_type=Path), help="Draw the map into this file.")
def interval(
    study: Path,
    techniques: tuple[str, ...],
    as_json: bool,
    figure: Path | None,
    map_figure: Path | None,
    **options: Any,  # noqa: ANN401
) -> None:
    """Say how long the interval between inspections of STUDY may be, by each technique."""
    if map_figure is not None and options["map_of"] is None:
        raise click.UsageError("--map-figure asks for --map-of: the technique to make sharper and blunter")
    answer = Study.load(study).inspection_interval(techniques=techniques, **options)
    if figure is not None:
        draw(answer.plot, figure)
    if map_figure is not None:
        draw(answer.plot_map, map_figure)
    click.echo(answer.to_json() if as_json else answer.report(), nl=as_json)


@click.command(epilog=CAUTION)
@click.argument("study", type=click.Path(path_type=Path))
@click.option("--plan", help="The plan whose values vary; the baseline if left out.")
@click.option(
    "--vary",
    multiple=True,
    metavar="PATH=VALUE,...",
    help="Values of a key of the plan, as a study file has them; the study's own plans are compared without any.",
)
@click.option("--row-limit", type=float, help="Chance of a loss of a row in a year that is not to be passed.")
@click.option("--unit-limit", type=float, help="Likewise of a unit.")
@click.option("--fleet-limit", type=float, help="Likewise of the fleet. The study's own limits if none is given.")
@click.option("--indifference", type=float, help="Difference in cost that is as good as none; 1 % if left out.")
@click.option("--confidence", default=0.95, show_default=True, help="How sure to be.")
@click.option("--most-plan-lives", type=int, help="Lives of the fleet that all plans may have together.")
@click.option("--trials", default=8_192, show_default=True, help="Lives of the fleet, for a plan that stays.")
@click.option("--planted-lives", default=24_576, show_default=True, help="Lives of each row with a planted crack.")
@click.option("--seed", type=int, help="Where the random numbers begin; drawn if left out.")
@click.option("--threads", default=0, show_default=True, help="0 takes SERRATA_THREADS, else what the machine gives.")
@click.option("--json", "as_json", is_flag=True, help="Print one JSON object instead of the answer.")
@figure_option("Draw cost against risk into this file.")
def cheapest(
    study: Path,
    vary: tuple[str, ...],
    as_json: bool,
    figure: Path | None,
    **options: Any,  # noqa: ANN401
) -> None:
    """Find the cheapest plan of STUDY, or of a grid around one of its plans, that meets the limits on a loss."""
    varied: dict[str, list[Any]] = {}
    for one in vary:
        path, values = _values(one)
        if path in varied:
            raise click.BadParameter(f"{path} stands twice; give all its values at once", param_hint="--vary")
        varied[path] = values
    answer = Study.load(study).cheapest_plan(varied or None, **options)
    if figure is not None:
        draw(answer.plot, figure)
    click.echo(answer.to_json() if as_json else answer.report(), nl=as_json)


def _values(given: str) -> tuple[str, list[Any]]:
    """Read the values of a key, as a list of a study file without its brackets."""
    path, equals, values = given.partition("=")
    try:
        listed = tomllib.loads(f"values = [{values}\n]")["values"] if equals else []
    except tomllib.TOMLDecodeError:
        listed = []
    if not listed:
        words = "is not PATH=VALUE,... with values as in a study file, such as looks[1].every_outages=1,2,3"
        raise click.BadParameter(f"{given!r} {words}", param_hint="--vary")
    return path.strip(), listed


def _asks_about_a_row(command: Callable[..., None]) -> Callable[..., None]:
    """Add the study, its records, the row, the look and the lives; the command takes a study and what is asked."""

    @wraps(command)
    def read(study: Path, records: Path | None, columns: tuple[str, ...], **options: Any) -> None:  # noqa: ANN401
        declared = {name: options.pop(name) for name in ("bad_lines", "values", "dates", "decimal", "delimiter")}
        found = Study.load(study)
        if records is not None:
            known = load(records, columns, declared)
            found = found._given_for(options["row"], known, seed=options["seed"], threads=options["threads"])
        command(found, **options)

    whole: Callable[..., None] = read
    for option in (
        click.option("--json", "as_json", is_flag=True, help="Print one JSON object instead of the report."),
        declares_format,
        click.option("--threads", default=0, show_default=True, help="0 takes SERRATA_THREADS, else the machine's."),
        click.option("--seed", default=1, show_default=True, help="Where the random numbers begin."),
        click.option("--lives", default=100_000, show_default=True, help="Lives of the row."),
        click.option(
            "--records",
            type=click.Path(path_type=Path),
            help="Give the study the records of its looks in this file first.",
        ),
        click.option("--found", default=0, show_default=True, help="Blades that it called, which are replaced."),
        click.option("--technique", help="The technique that looked at the row now; nobody did if left out."),
        click.option("--row", required=True, help="The row."),
        click.argument("study", type=click.Path(path_type=Path)),
    ):
        whole = option(whole)
    return whole


@click.command(epilog=CAUTION)
@_asks_about_a_row
@figure_option("Draw how long the longest crack left may be into this file.")
def left(
    study: Study,
    *,
    row: str,
    technique: str | None,
    found: int,
    lives: int,
    seed: int,
    threads: int,
    as_json: bool,
    figure: Path | None,
) -> None:
    """Say what is still in a row of STUDY after a look at it now that was clean, or found some."""
    answer = study.left_in_row(row, technique, found=found, lives=lives, seed=seed, threads=threads)
    if figure is not None:
        draw(answer.plot, figure)
    click.echo(answer.to_json() if as_json else answer.report(), nl=as_json)


@click.command(epilog=CAUTION)
@_asks_about_a_row
@click.option(
    "--left-in",
    "cracks",
    type=(str, float),
    multiple=True,
    metavar="HOT_SPOT MM",
    help="A crack of this length is left in there on purpose.",
)
@click.option(
    "--yearly-limit", type=float, help="Chance of a loss in 12 months; that of the study's limits if left out."
)
@click.option("--planted-lives", default=100_000, show_default=True, help="Lives with a planted crack.")
@figure_option("Draw the chance of a loss month by month into this file.")
def run_on(
    study: Study,
    *,
    row: str,
    technique: str | None,
    found: int,
    cracks: tuple[tuple[str, float], ...],
    yearly_limit: float | None,
    lives: int,
    planted_lives: int,
    seed: int,
    threads: int,
    as_json: bool,
    figure: Path | None,
) -> None:
    """Say how probable a loss is in a row of STUDY after a look now, to the next outage and to later ones."""
    answer = study.can_it_run(
        row,
        technique,
        found=found,
        left_in=cracks,
        yearly_limit=yearly_limit,
        lives=lives,
        planted_lives=planted_lives,
        seed=seed,
        threads=threads,
    )
    if figure is not None:
        draw(answer.plot, figure)
    click.echo(answer.to_json() if as_json else answer.report(), nl=as_json)
