"""The command line for laws of initiation that are fitted on a study."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import click

from serrata.command_records import draw, figure_option, load, reads_records
from serrata.study import Study

__all__ = ["initiation"]


@click.command()
@click.argument("study", type=click.Path(path_type=Path))
@reads_records
@click.option("--initiation", help="Name of the law that is fitted, where rows with records have several.")
@click.option("--law", type=click.Choice(["weibull", "lognormal", "exponential"]), help="As in STUDY if left out.")
@click.option("--clock", type=click.Choice(["starts", "hours"]), help="As in STUDY if left out.")
@click.option("--shape", type=float, help="Shape, or sigma_log, where it is assumed; needed without finds.")
@click.option("--row-factor", is_flag=True, help="Let rows differ, and estimate by how much.")
@click.option("--clocks", is_flag=True, help="Say which clock drives cracking: each law on starts and on hours.")
@click.option("--cracks", default=2048, show_default=True, help="Possible cracks of each hot spot; a power of two.")
@click.option("--seed", default=1, show_default=True, help="Where the random numbers begin.")
@figure_option("Draw the fraction cracked by time into this file; not with --clocks.")
def initiation(
    study: Path,
    file: Path,
    columns: tuple[str, ...],
    initiation: str | None,
    law: Any,  # noqa: ANN401
    clock: Any,  # noqa: ANN401
    shape: float | None,
    row_factor: bool,
    clocks: bool,
    cracks: int,
    seed: int,
    figure: Path | None,
    **declared: Any,  # noqa: ANN401
) -> None:
    """Fit the law by which cracks of STUDY begin to what its looks in FILE found and did not find."""
    if clocks and (law is not None or clock is not None or figure is not None):
        raise click.UsageError("--clocks fits every law on every clock: leave out --law, --clock and --figure")
    found = load(file, columns, declared)
    options: dict[str, Any] = {"initiation": initiation, "shape": shape, "row_factor": row_factor}
    options |= {"cracks": cracks, "seed": seed}
    if clocks:
        click.echo(Study.load(study).initiation_clocks(found, **options).report(), nl=False)
        return
    fit = Study.load(study).fit_initiation(found, law=law, clock=clock, **options)
    if figure is not None:
        draw(fit.plot, figure)
    click.echo(fit.report(), nl=False)
