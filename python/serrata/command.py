"""The command line."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from serrata import CAUTION, Error, FileError, Study, __version__, fit_hit_miss_records, fit_signal_records
from serrata.command_records import demonstration, load, reads_records, records
from serrata.hit_miss import Link, Size

if TYPE_CHECKING:
    from matplotlib.axes import Axes

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


main.add_command(records)
main.add_command(demonstration)


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
@click.option("--hot-spot", required=True, help="The hot spot, as root.hot-spot or by its own id.")
@click.option("--row", help="The row whose duty and surface the cracks meet; the first with that root if left out.")
@click.option("--technique", help="The technique that is to find them.")
@click.option("--detectable-at", default=0.5, show_default=True, help="Probability of detection that counts as found.")
@click.option("--from-depth-mm", type=float, help="Depth at which cracks begin; as the study says if left out.")
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
    cracks: int,
    seed: int,
    as_json: bool,
    out: Path | None,
) -> None:
    """Grow cracks of one hot spot of STUDY to the loss of their blades: life, critical size, window for a look."""
    grown = Study.load(study).grow(
        hot_spot,
        row=row,
        technique=technique,
        detectable_at=detectable_at,
        from_depth_mm=from_depth_mm,
        cracks=cracks,
        seed=seed,
    )
    click.echo(grown.to_json() if as_json else grown.report(), nl=as_json)
    if out is not None:
        grown.write(out)
        if not as_json:
            click.echo(f"\nTables, figures and report are in {out}")


@main.command()
@click.argument("study", type=click.Path(path_type=Path))
def check(study: Path) -> None:
    """Read STUDY, say what is wrong with it, or what it holds and takes for granted."""
    found = Study.load(study)
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
    click.echo("\nTaken for granted:")
    for assumption in found.assumptions():
        click.echo(f"  - {assumption}")
    click.echo(f"\n{CAUTION}")


@main.command("hit-miss")
@reads_records
@click.option("--technique", required=True, help="The technique whose looks are fitted.")
@click.option("--size", default="length", show_default=True, type=click.Choice(["length", "depth", "geometric-mean"]))
@click.option("--sizes-by", help="Take the sizes that this technique measured; else the confirmed ones.")
@click.option("--size-error-log", default=0.0, help="Standard deviation of ln(measured size / true size).")
@click.option("--factor", "factors", multiple=True, help="Column that shifts the curve; may be repeated.")
@click.option("--link", default="logit", show_default=True, type=click.Choice(["logit", "probit"]))
@click.option("--penalised", is_flag=True, help="Penalise the likelihood, for few or separated looks.")
@click.option("--ceiling", is_flag=True, help="Fit the probability at the largest sizes; else it is 1.")
@click.option("--floor", is_flag=True, help="Fit the probability at the smallest sizes; else it is 0.")
@click.option("--json", "as_json", is_flag=True, help="Print one JSON object instead of the summary.")
@click.option("--figure", type=click.Path(path_type=Path), help="Draw the curve with bounds and looks here.")
@click.option("--study", type=click.Path(path_type=Path), help="A study that holds the technique.")
@click.option("--out", type=click.Path(path_type=Path), help="Write that study, with the fit in it, here.")
def hit_miss(
    file: Path,
    columns: tuple[str, ...],
    technique: str,
    size: Size,
    sizes_by: str | None,
    size_error_log: float,
    factors: tuple[str, ...],
    link: Link,
    penalised: bool,
    ceiling: bool,
    floor: bool,
    as_json: bool,
    figure: Path | None,
    study: Path | None,
    out: Path | None,
    **declared: Any,  # noqa: ANN401
) -> None:
    """Fit the probability of detection of a technique to its hits and misses in FILE of inspection records."""
    _check_study(study, out)
    fit = fit_hit_miss_records(
        load(file, columns, declared),
        technique,
        size=size,
        sizes_by=sizes_by,
        size_error_log=size_error_log,
        factors=factors,
        link=link,
        penalised=penalised,
        floor="fitted" if floor else 0.0,
        ceiling="fitted" if ceiling else 1.0,
    )
    if as_json:
        click.echo(fit.to_json())
    else:
        click.echo(fit.summary(), nl=False)
        click.echo(f"\n{CAUTION}")
    if figure is not None:
        _drawn(figure, fit.plot)
    if study is not None and out is not None:
        Study.load(study).with_technique(technique, fit.evidence()).save(out)


@main.command("signal")
@reads_records
@click.option("--technique", required=True, help="The technique whose signals are fitted.")
@click.option("--threshold", type=float, required=True, help="Signal above which a call is made.")
@click.option("--floor", type=float, help="Signals at or below it are lost in the noise.")
@click.option("--saturation", type=float, help="Signals at or above it are cut off.")
@click.option("--json", "as_json", is_flag=True, help="Print one JSON object instead of the summary.")
@click.option("--figure", type=click.Path(path_type=Path), help="Draw signals, line and threshold here.")
@click.option("--study", type=click.Path(path_type=Path), help="A study that holds the technique.")
@click.option("--out", type=click.Path(path_type=Path), help="Write that study, with the fit in it, here.")
def signal_response(
    file: Path,
    columns: tuple[str, ...],
    technique: str,
    threshold: float,
    floor: float | None,
    saturation: float | None,
    as_json: bool,
    figure: Path | None,
    study: Path | None,
    out: Path | None,
    **declared: Any,  # noqa: ANN401
) -> None:
    """Fit detection and false calls by a technique to its signals in FILE of inspection records."""
    _check_study(study, out)
    fit = fit_signal_records(load(file, columns, declared), technique, floor=floor, saturation=saturation)
    if as_json:
        click.echo(fit.to_json(threshold=threshold))
    else:
        click.echo(fit.summary(threshold=threshold), nl=False)
        click.echo(f"\n{CAUTION}")
    if figure is not None:
        _drawn(figure, lambda ax: fit.plot(ax, threshold=threshold))
    if study is not None and out is not None:
        Study.load(study).with_technique(technique, fit.evidence(threshold=threshold)).save(out)


def _check_study(study: Path | None, out: Path | None) -> None:
    if (study is None) != (out is None):
        raise click.UsageError("--study and --out go together: a study to read and where to write the changed one")


def _drawn(place: Path, draw: Callable[[Axes], Axes]) -> None:
    """Draw one figure into a file, without a screen."""
    from matplotlib.figure import Figure

    from serrata.plots import SIZE

    figure = Figure(figsize=SIZE, layout="constrained")
    draw(figure.subplots())
    try:
        figure.savefig(place, dpi=150)
    except (OSError, ValueError) as error:
        raise FileError(
            f"{place}: {error}\n    name a file such as detection.png in a directory that is there"
        ) from None
