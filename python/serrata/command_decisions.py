"""The command line for answers beside the comparison of strategies."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import click

from serrata.about import CAUTION
from serrata.blades_to_look_at import how_many_blades
from serrata.command_records import draw
from serrata.study import Study

__all__ = ["blades", "interval"]


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
