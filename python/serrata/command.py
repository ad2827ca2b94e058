"""The command line."""

from __future__ import annotations

import os
import sys
from pathlib import Path
from typing import Any, NoReturn

import click

from serrata.about import CAUTION, __version__
from serrata.command_decisions import blades, cheapest, interval, left, run_on
from serrata.command_detection import hit_miss, signal_response
from serrata.command_given import explain, given, hindcast
from serrata.command_initiation import initiation
from serrata.command_records import demonstration, draw, in_options, records
from serrata.comparison import Comparison
from serrata.errors import Error
from serrata.files import check_directory, check_file
from serrata.grown import GrownCracks
from serrata.study import Study

__all__ = ["main"]

_REFUSED = 2
#: Exit code that shells report for a program that Ctrl-C ended.
_INTERRUPTED = 130


class _Commands(click.Group):
    """Turns what serrata or the system refuses into a plain message."""

    def main(self, *args: Any, **kwargs: Any) -> Any:  # noqa: ANN401
        try:
            return super().main(*args, **kwargs)
        except OSError as error:
            _stop_printing(error)

    def invoke(self, ctx: click.Context) -> object:
        try:
            return super().invoke(ctx)
        except Error as error:
            click.echo(in_options(str(error)), err=True)
            ctx.exit(_REFUSED)
        except KeyboardInterrupt:
            click.echo("stopped on request", err=True)
            ctx.exit(_INTERRUPTED)
        except BrokenPipeError as error:
            # Click would end without a word.
            _stop_printing(error)


def _stop_printing(error: OSError) -> NoReturn:
    """Say what takes no more, standard output if it has no name, and end."""
    if error.filename is not None:
        click.echo(f"{error.filename}: {error.strerror}", err=True)
        sys.exit(_REFUSED)
    click.echo(f"standard output: {error.strerror}; what was to be printed is not complete", err=True)
    # What waits to be printed would fail again when the program ends.
    os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
    sys.exit(_REFUSED)


@click.group(cls=_Commands, epilog=CAUTION)
@click.version_option(__version__, prog_name="serrata", message="%(prog)s %(version)s")
def main() -> None:
    """Compare inspection strategies for cracks in the roots of turbine last-stage blades."""


main.add_command(given)
main.add_command(hindcast)
main.add_command(explain)
main.add_command(records)
main.add_command(demonstration)
main.add_command(blades)
main.add_command(interval)
main.add_command(cheapest)
main.add_command(left)
main.add_command(run_on)
main.add_command(hit_miss)
main.add_command(signal_response)
main.add_command(initiation)


@main.command()
@click.argument("study", type=click.Path(path_type=Path))
@click.option("--trials", default=10_000, show_default=True, help="Lives of the whole fleet.")
@click.option("--planted-lives", default=0, show_default=True, help="Lives of each row with a planted crack.")
@click.option("--seed", type=int, help="Where the random numbers begin; drawn and shown if left out.")
@click.option("--threads", default=0, show_default=True, help="0 takes SERRATA_THREADS, else what the machine gives.")
@click.option("--json", "as_json", is_flag=True, help="Print one JSON object instead of the answer.")
@click.option("--figure", type=click.Path(path_type=Path), help="Draw cost against risk into this file.")
def choose(
    study: Path,
    trials: int,
    planted_lives: int,
    seed: int | None,
    threads: int,
    as_json: bool,
    figure: Path | None,
) -> None:
    """Say which of the plans of STUDY to take, by risk, cost and outage days."""
    comparison = Study.load(study).simulate(trials=trials, planted_lives=planted_lives, seed=seed, threads=threads)
    which = comparison.which_plan()
    if figure is not None:
        draw(which.plot, figure)
    # The answer knows of no seed, and one that was drawn is needed to have it again.
    click.echo(which.to_json() if as_json else f"Seed {comparison.seed}\n{which.report()}", nl=as_json)


@main.command()
@click.argument("study", type=click.Path(path_type=Path))
@click.option("--trials", type=int, help="Lives of the whole fleet: 10000, or the most where the run may end early.")
@click.option("--planted-lives", type=int, help="Lives of each row with a planted crack, which tell of rare losses.")
@click.option(
    "--target-relative-error",
    type=float,
    help="End when the fleet's losses are known to this share of themselves (one standard error).",
)
@click.option("--most-seconds", type=float, help="End after so long, with what is finished.")
@click.option("--checkpoints", type=click.Path(path_type=Path), help="Keep finished parts here, and take those there.")
@click.option("--seed", type=int, help="Where the random numbers begin; drawn and shown if left out.")
@click.option("--threads", default=0, show_default=True, help="0 takes SERRATA_THREADS, else what the machine gives.")
@click.option("--json", "as_json", is_flag=True, help="Print one JSON object instead of the answer.")
@click.option("--out", type=click.Path(path_type=Path), help="Write tables, figures, report.txt and result.json here.")
@click.option("--report", type=click.Path(path_type=Path), help="Write the report into this file: .html or .md.")
@click.option(
    "--without-records",
    type=click.Path(path_type=Path),
    help="This study before it was given its records, lived too: the report says whether they changed the plan.",
)
@click.option("--quiet", is_flag=True, help="Show neither progress nor answer.")
def compare(
    study: Path,
    trials: int | None,
    planted_lives: int | None,
    target_relative_error: float | None,
    most_seconds: float | None,
    checkpoints: Path | None,
    seed: int | None,
    threads: int,
    as_json: bool,
    out: Path | None,
    report: Path | None,
    without_records: Path | None,
    quiet: bool,
) -> None:
    """Simulate STUDY under each of its strategies and compare them.

    The screen shows the first part of the answer; --report and --out write all of it.
    """
    if out is not None:
        check_directory(out, Comparison.files)
    if report is not None:
        check_file(report, Comparison.report_forms)
    elif without_records is not None:
        raise click.UsageError("--without-records asks for --report, which says what the records changed")

    def live(of: Study, seed: int | None, checkpoints: Path | None) -> Comparison:
        return of.simulate(
            trials=trials,
            planted_lives=planted_lives,
            target_relative_error=target_relative_error,
            most_seconds=most_seconds,
            checkpoints=checkpoints,
            seed=seed,
            threads=threads,
            progress=False if quiet else None,
        )

    before = None if without_records is None else Study.load(without_records)
    comparison = live(Study.load(study), seed, checkpoints)
    # Files first: they are there even if nobody reads what is printed.
    if out is not None:
        comparison.write(out)
    if report is not None:
        compared = None if before is None else live(before, comparison.seed, None)
        comparison.write_report(report, without_records=compared)
    if as_json:
        click.echo(comparison.to_json())
    elif not quiet:
        click.echo(comparison.report("answer"), nl=False)
        written = [f"The report is {report}."] if report is not None else []
        written += [f"Tables, figures, report.txt and result.json are in {out}."] if out is not None else []
        click.echo("\n" + (" ".join(written) or "For the whole answer give --report FILE.html, or --out DIRECTORY."))


@main.command()
@click.argument("study", type=click.Path(path_type=Path))
@click.option("--hot-spot", required=True, help="The hot spot, as root.hot-spot or by its own id.")
@click.option("--row", help="The row whose duty and surface the cracks meet; each one with that root if left out.")
@click.option("--technique", help="The technique that is to find them.")
@click.option("--detectable-at", default=0.5, show_default=True, help="Probability of detection that counts as found.")
@click.option("--from-depth-mm", type=float, help="Depth at which cracks begin; as the study says if left out.")
@click.option("--from-length-mm", type=float, help="Surface length at which they begin, likewise.")
@click.option("--cracks", default=10_000, show_default=True, help="How many cracks.")
@click.option("--seed", default=1, show_default=True, help="Where the random numbers begin.")
@click.option("--json", "as_json", is_flag=True, help="Print one JSON object instead of the report.")
@click.option("--out", type=click.Path(path_type=Path), help="Write tables, figures and report here.")
def grow(
    study: Path,
    hot_spot: str,
    row: str | None,
    technique: str | None,
    detectable_at: float,
    from_depth_mm: float | None,
    from_length_mm: float | None,
    cracks: int,
    seed: int,
    as_json: bool,
    out: Path | None,
) -> None:
    """Grow cracks of one hot spot of STUDY to the loss of their blades: life, critical size, window for a look."""
    if out is not None:
        check_directory(out, GrownCracks.files)
    grown = Study.load(study).grow(
        hot_spot,
        row=row,
        technique=technique,
        detectable_at=detectable_at,
        from_depth_mm=from_depth_mm,
        from_length_mm=from_length_mm,
        cracks=cracks,
        seed=seed,
    )
    if out is not None:
        grown.write(out)
    click.echo(grown.to_json() if as_json else grown.report(), nl=as_json)
    if out is not None and not as_json:
        click.echo(f"\nTables, figures and report are in {out}")


@main.command()
def template() -> None:
    """Print a small study to begin with: commented, and ready to run."""
    click.echo(Study.template(), nl=False)


@main.command()
@click.argument("study", type=click.Path(path_type=Path))
@click.option("--calendar", is_flag=True, help="Print what each strategy schedules, outage by outage, and no more.")
def check(study: Path, *, calendar: bool) -> None:
    """Read STUDY, say what is wrong with it, or what it holds and takes for granted."""
    found = Study.load(study)
    if calendar:
        click.echo(found._work_calendar_text(), nl=False)
        click.echo(f"\nWhat looks find comes on top. {CAUTION}")
        return
    click.echo(f"{found.name}: no faults")
    click.echo(f"  {found.horizon_years:g} years from {found.start_year:g}, costs in {found.currency}")
    click.echo(f"  units: {', '.join(found.units)}")
    click.echo(f"  rows: {', '.join(f'{row} ({blades} blades)' for row, blades in found.rows.items())}")
    click.echo(f"  hot spots: {', '.join(found.hot_spots)}")
    click.echo(f"  techniques: {', '.join(found.techniques) or 'none'}")
    click.echo("  strategies:")
    for strategy, description in found.strategies.items():
        mark = " (baseline)" if strategy == found.baseline else ""
        click.echo(f"    {strategy}: {description}{mark}")
    if found.warnings:
        click.echo("\nBeware:")
        for warning in found.warnings:
            click.echo(f"  - {warning}")
    click.echo("\nTaken for granted:")
    for assumption in found.assumptions:
        click.echo(f"  - {assumption}")
    click.echo(f"\n{CAUTION}")
