"""The command line for inspection records and demonstration tests."""

from __future__ import annotations

import re
import shlex
from collections.abc import Callable
from pathlib import Path
from typing import Any

import click

from serrata.about import CAUTION
from serrata.demonstration import Demonstration, DemonstrationPlan
from serrata.drawing import save
from serrata.files import check_file, write_file
from serrata.records import Records
from serrata.study import Study

__all__ = [
    "declares_format",
    "demonstration",
    "draw",
    "figure_option",
    "growth",
    "in_options",
    "load",
    "reads_records",
    "records",
]


def reads_records(command: Callable[..., None]) -> Callable[..., None]:
    """Add the file and the options to declare its format."""
    return click.argument("file", type=click.Path(path_type=Path))(declares_format(command))


def declares_format(command: Callable[..., None]) -> Callable[..., None]:
    """Add the options to declare the format of records."""
    for decorate in (
        click.option(
            "--bad-lines",
            type=click.Choice(["refuse", "leave-out"]),
            default="refuse",
            show_default=True,
            help="What becomes of lines that break a rule.",
        ),
        click.option(
            "--value",
            "values",
            multiple=True,
            metavar="WRITTEN=MEANT",
            help="A cell in other words, such as NRI=no or n/a= (not known).",
        ),
        click.option("--column", "columns", multiple=True, metavar="OURS=THEIRS", help="A name that differs."),
        click.option(
            "--dates",
            type=click.Choice(["year-month-day", "day-month-year", "month-day-year"]),
            default="year-month-day",
            show_default=True,
            help="Order of the parts of dates.",
        ),
        click.option("--decimal", type=click.Choice(["point", "comma"]), help="Read off the numbers if left out."),
        click.option("--delimiter", help="Comma, semicolon or tab; read off the header if left out."),
    ):
        command = decorate(command)
    return command


#: Endings of the names of figures.
_FIGURES = (".png", ".svg", ".pdf")


def figure_option(explanation: str) -> Callable[[Callable[..., None]], Callable[..., None]]:
    """Add the option for a figure, whose place is checked before the work that it shows."""

    def checked(_context: click.Context, _option: click.Parameter, file: Path | None) -> Path | None:
        if file is not None:
            check_file(file, _FIGURES)
        return file

    return click.option("--figure", type=click.Path(path_type=Path), callback=checked, help=explanation)


def load(file: Path, columns: tuple[str, ...], declared: dict[str, Any]) -> Records:
    """Load a file by the options declared about it."""
    values = _pairs("--value", "WRITTEN=MEANT", declared.pop("values"))
    return Records.load(file, columns=_pairs("--column", "OURS=THEIRS", columns), values=values, **declared)


def _pairs(option: str, form: str, given: tuple[str, ...]) -> dict[str, str]:
    pairs = {}
    for pair in given:
        one, equals, other = pair.partition("=")
        if not equals:
            raise click.BadParameter(f"{pair!r} is not {form}", param_hint=option)
        pairs[one] = other
    return pairs


@click.group(epilog=CAUTION)
def records() -> None:
    """Read inspection records, and say what they show."""


@records.command()
@reads_records
def check(file: Path, columns: tuple[str, ...], **declared: Any) -> None:  # noqa: ANN401
    """Read FILE, say what is wrong with it, or what it holds."""
    found = load(file, columns, declared)
    click.echo(found.report(), nl=False)
    for fault in found.left_out_faults:
        click.echo(
            in_options(f"  line {fault.line}, {fault.path} = {fault.value}\n    {fault.rule}\n    {fault.remedy}")
        )


@records.command()
def template() -> None:
    """Print a file of records to begin with."""
    click.echo(Records.template(), nl=False)


@records.command("side-by-side")
@reads_records
@click.option("--technique", "techniques", multiple=True, help="One to set beside the others; all if left out.")
@click.option("--by", type=click.Choice(["surface", "grade", "length"]), help="Also apart for each class of blades.")
@click.option(
    "--length-mm", "lengths_mm", type=float, multiple=True, help="A length between classes, with --by length."
)
@click.option("--level", default=0.95, show_default=True, help="Confidence of the intervals.")
@click.option("--json", "as_json", is_flag=True, help="Print JSON instead of the report.")
@figure_option("Draw who found what together into this file.")
def side_by_side(
    file: Path,
    columns: tuple[str, ...],
    techniques: tuple[str, ...],
    by: Any,  # noqa: ANN401
    lengths_mm: tuple[float, ...],
    level: float,
    as_json: bool,
    figure: Path | None,
    **declared: Any,  # noqa: ANN401
) -> None:
    """Set the techniques of FILE side by side on the same blades."""
    found = load(file, columns, declared).side_by_side(techniques or None, by=by, lengths_mm=lengths_mm, level=level)
    if figure is not None:
        draw(found.plot, figure)
    click.echo(found.to_json() if as_json else found.report())


@records.command()
@reads_records
@click.option("--technique", "techniques", multiple=True, help="One to count; all if left out.")
@click.option("--level", default=0.95, show_default=True, help="Confidence of the intervals.")
@click.option(
    "--length-error-log", default=0.0, show_default=True, help="Error of a measured length, on the log scale."
)
@click.option("--json", "as_json", is_flag=True, help="Print JSON instead of the report.")
@figure_option("Draw the estimates into this file.")
def missed(
    file: Path,
    columns: tuple[str, ...],
    techniques: tuple[str, ...],
    level: float,
    length_error_log: float,
    as_json: bool,
    figure: Path | None,
    **declared: Any,  # noqa: ANN401
) -> None:
    """Estimate how many cracked blades all techniques of FILE missed."""
    found = load(file, columns, declared).missed_cracks(
        techniques or None, level=level, length_error_log=length_error_log
    )
    if figure is not None:
        draw(found.plot, figure)
    click.echo(found.to_json() if as_json else found.report())


@records.command("unseen", hidden=True, context_settings={"ignore_unknown_options": True, "allow_extra_args": True})
def unseen() -> None:
    """Refuse the old name of `missed`."""
    raise click.UsageError("'records unseen' is no longer a command: use 'records missed'.")


def _refuse_kindred(context: click.Context, _: click.Parameter, value: tuple[tuple[str, str], ...]) -> None:
    """Refuse the old name of ``--dependent-pair``."""
    if value:
        raise click.UsageError("--kindred is no longer an option: use --dependent-pair.", ctx=context)


@records.command("latent-classes")
@reads_records
@click.option("--technique", "techniques", multiple=True, help="One to count; all if left out.")
@click.option(
    "--dependent-pair",
    "dependent_pairs",
    type=(str, str),
    multiple=True,
    metavar="ONE OTHER",
    help="Two that may miss the same cracks.",
)
@click.option("--kindred", nargs=2, multiple=True, hidden=True, expose_value=False, callback=_refuse_kindred)
@click.option("--level", default=0.95, show_default=True, help="Confidence of the intervals.")
@click.option("--resamples", default=200, show_default=True, help="Campaigns simulated for the goodness of fit.")
@click.option("--seed", default=1, show_default=True, help="Seed of these.")
@click.option("--json", "as_json", is_flag=True, help="Print JSON instead of the report.")
@figure_option("Draw detection and false calls into this file.")
def latent_classes(
    file: Path,
    columns: tuple[str, ...],
    techniques: tuple[str, ...],
    dependent_pairs: tuple[tuple[str, str], ...],
    level: float,
    resamples: int,
    seed: int,
    as_json: bool,
    figure: Path | None,
    **declared: Any,  # noqa: ANN401
) -> None:
    """Estimate detection by the techniques of FILE without known truth."""
    found = load(file, columns, declared).latent_classes(
        techniques or None, dependent_pairs=dependent_pairs, level=level, resamples=resamples, seed=seed
    )
    if figure is not None:
        draw(found.plot, figure)
    click.echo(found.to_json() if as_json else found.report())


@records.command("growth")
@click.argument("study", type=click.Path(path_type=Path))
@click.argument("file", type=click.Path(path_type=Path))
@click.option("--hot-spot", help="As root.hot-spot, for lines that do not say so.")
@click.option("--row", help="Id of the row, for lines that do not say so.")
@click.option("--delimiter", help="Comma, semicolon or tab; read off the header if left out.")
@click.option("--decimal", type=click.Choice(["point", "comma"]), help="Read off the numbers if left out.")
@click.option("--column", "columns", multiple=True, metavar="OURS=THEIRS", help="A name that differs.")
@click.option("--value", "values", multiple=True, metavar="WRITTEN=MEANT", help="A cell in other words.")
@click.option("--out", type=click.Path(path_type=Path), help="Write the study with the factor in it here.")
@click.option("--uncertain", help="With --out: name of the uncertain input that takes what the sizes leave open.")
@click.option("--json", "as_json", is_flag=True, help="Print JSON instead of the report.")
@figure_option("Draw sizes against starts, with the fitted growth, into this file.")
def growth(
    study: Path,
    file: Path,
    hot_spot: str | None,
    row: str | None,
    delimiter: str | None,
    decimal: Any,  # noqa: ANN401
    columns: tuple[str, ...],
    values: tuple[str, ...],
    out: Path | None,
    uncertain: str | None,
    as_json: bool,
    figure: Path | None,
) -> None:
    """Fit a factor on growth in STUDY to the sizes of cracks that were followed, in FILE.

    FILE has a line for each size: crack, starts, depth_mm or length_mm, and where needed hot_spot, row, technique and
    sizing_sigma_log.
    """
    if uncertain is not None and out is None:
        raise click.UsageError("--uncertain goes with --out: a name in the study that is written")
    if out is not None:
        check_file(out)
    before = Study.load(study)
    fit = before.fit_growth(
        file,
        hot_spot=hot_spot,
        row=row,
        delimiter=delimiter,
        decimal=decimal,
        columns=_pairs("--column", "OURS=THEIRS", columns),
        values=_pairs("--value", "WRITTEN=MEANT", values),
    )
    if figure is not None:
        draw(fit.plot, figure)
    if out is not None:
        before.with_growth(fit.evidence(), uncertain=uncertain).save(out)
    click.echo(fit.to_json() if as_json else fit.report(), nl=as_json)
    if out is not None and not as_json:
        click.echo(f"The study with the factor in it is {out}")


@click.group(epilog=CAUTION)
def demonstration() -> None:
    """Plan a demonstration test, or say what its outcome shows."""


@demonstration.command()
@click.argument("pod", type=float)
@click.option("--confidence", default=0.95, show_default=True, help="Confidence to show POD at.")
@click.option("--misses", default=5, show_default=True, help="Most misses to plan for.")
@click.option(
    "--true-pod", "true_pods", type=float, multiple=True, help="Also the chance that so good a technique passes."
)
def plan(pod: float, confidence: float, misses: int, true_pods: tuple[float, ...]) -> None:
    """Say how many specimens show a probability of detection of POD."""
    click.echo(f"To show a probability of detection of {pod:g} at {100 * confidence:g} % confidence:")
    chances = "".join(f"  passes at {true_pod:g}" for true_pod in true_pods)
    click.echo(f"  misses allowed  specimens  shown when just passed{chances}")
    for allowed in range(misses + 1):
        one = DemonstrationPlan(pod, confidence, allowed)
        chances = "".join(f"  {one.chance_of_passing(p):{len(f'passes at {p:g}')}.3f}" for p in true_pods)
        click.echo(f"  {allowed:14}  {one.specimens:9}  {one.lower_bound:22.4f}{chances}")
    click.echo(f"\n{CAUTION}")


@demonstration.command()
@click.argument("found", type=int)
@click.argument("specimens", type=int)
@click.option("--confidence", default=0.95, show_default=True, help="Confidence of bound and intervals.")
@click.option("--pod", type=float, help="What was to be shown.")
@click.option("--lengths-mm", type=float, nargs=2, help="Shortest and longest crack of the specimens.")
@click.option("--false-calls", type=int, nargs=2, help="Calls on specimens without a crack, and how many these were.")
def outcome(
    found: int,
    specimens: int,
    confidence: float,
    pod: float | None,
    lengths_mm: tuple[float, float] | None,
    false_calls: tuple[int, int] | None,
) -> None:
    """Say what FOUND of SPECIMENS cracked specimens shows."""
    test = Demonstration(found, specimens, confidence, lengths_mm=lengths_mm, false_calls=false_calls)
    click.echo(test.report(pod), nl=False)


def draw(plot: Callable[..., Any], file: Path) -> None:
    """Draw one figure into a file, whole or not at all."""
    write_file(file, lambda place: save(plot, place))


def in_options(message: str) -> str:
    """Word a message for the command line: what is an argument in Python is an option there."""
    return re.sub(r'say (column|value)s = \{"([^"]*)": (?:"([^"]*)"|its name)\}', _as_option, message)


def _as_option(found: re.Match[str]) -> str:
    option, one, other = found.groups()
    pair = shlex.quote(f"{one}={'NAME' if other is None else other}")
    return f"add --{option} {pair}"
