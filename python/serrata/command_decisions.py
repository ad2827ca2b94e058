"""The command line for answers that need no study."""

from __future__ import annotations

from pathlib import Path

import click

from serrata.about import CAUTION
from serrata.blades_to_look_at import how_many_blades
from serrata.command_records import draw

__all__ = ["blades"]


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
