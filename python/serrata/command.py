"""The command line."""

from __future__ import annotations

from pathlib import Path

import click

from serrata import CAUTION, Error, Study, __version__

__all__ = ["main"]

#: What a shell reports for a program that Ctrl-C ended.
_INTERRUPTED = 130
_REFUSED = 2


class _Commands(click.Group):
    """Turns what serrata refuses into a plain message, and Ctrl-C into its usual exit code."""

    def invoke(self, ctx: click.Context) -> object:
        try:
            return super().invoke(ctx)
        except Error as error:
            click.echo(str(error), err=True)
            ctx.exit(_REFUSED)
        except KeyboardInterrupt:
            click.echo("stopped on request", err=True)
            ctx.exit(_INTERRUPTED)


@click.group(cls=_Commands, epilog=CAUTION)
@click.version_option(__version__, prog_name="serrata", message="%(prog)s %(version)s")
def main() -> None:
    """Compare inspection strategies for cracks in the roots of turbine last-stage blades."""


@main.command()
@click.argument("study", type=click.Path(path_type=Path))
@click.option("--trials", default=10_000, show_default=True, help="Lives of the whole fleet.")
@click.option("--seed", type=int, help="Where the random numbers begin; drawn and shown if left out.")
@click.option("--threads", default=0, show_default=True, help="0 takes SERRATA_THREADS, else what the machine gives.")
@click.option("--json", "as_json", is_flag=True, help="Print one JSON object instead of the report.")
@click.option("--out", type=click.Path(path_type=Path), help="Write tables, figures and result.json here.")
@click.option("--quiet", is_flag=True, help="Show neither progress nor report.")
def compare(
    study: Path, trials: int, seed: int | None, threads: int, as_json: bool, out: Path | None, quiet: bool
) -> None:
    """Simulate STUDY under each of its strategies and compare them."""
    comparison = Study.load(study).simulate(
        trials=trials, seed=seed, threads=threads, progress=False if quiet else None
    )
    if as_json:
        click.echo(comparison.to_json())
    elif not quiet:
        click.echo(comparison.report(), nl=False)
    if out is not None:
        comparison.write(out)
        if not quiet and not as_json:
            click.echo(f"\nTables, figures and result.json are in {out}")


@main.command()
@click.argument("study", type=click.Path(path_type=Path))
def check(study: Path) -> None:
    """Read STUDY, say what is wrong with it, or what it holds and takes for granted."""
    found = Study.load(study)
    click.echo(f"{found.name}: no faults")
    click.echo(f"  {found.horizon_years:g} years from {found.start_year:g}, costs in {found.currency}")
    click.echo(f"  units: {', '.join(found.units)}")
    click.echo(f"  rows: {', '.join(f'{row} ({blades} blades)' for row, blades in found.rows.items())}")
    click.echo(f"  techniques: {', '.join(found.techniques) or 'none'}")
    click.echo("  strategies:")
    for strategy, description in found.strategies.items():
        mark = " (baseline)" if strategy == found.baseline else ""
        click.echo(f"    {strategy}: {description}{mark}")
    click.echo("\nTaken for granted:")
    for assumption in found.assumptions():
        click.echo(f"  - {assumption}")
    click.echo(f"\n{CAUTION}")
