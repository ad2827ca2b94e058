"""The command line for studies that are given their records."""

from __future__ import annotations

from collections.abc import Callable
from functools import wraps
from pathlib import Path
from typing import Any

import click

from serrata.belief import Belief
from serrata.command_records import declares_format, draw, figure_option, load
from serrata.files import check_directory
from serrata.records import Records
from serrata.study import Study

__all__ = ["explain", "given", "hindcast"]

_SAMPLING = ("draws", "cracks", "repeats", "seed", "threads")


def _gives_records(*, draws: int, cracks: int, repeats: int) -> Callable[[Callable[..., None]], Callable[..., None]]:
    """Add study, records and how they are sampled; the command takes a study, records or None, and the sampling."""

    def decorate(command: Callable[..., None]) -> Callable[..., None]:
        @wraps(command)
        def read(study: Path, file: Path | None, columns: tuple[str, ...], **options: Any) -> None:  # noqa: ANN401
            sampling = {name: options.pop(name) for name in _SAMPLING}
            declared = {name: options.pop(name) for name in ("bad_lines", "values", "dates", "decimal", "delimiter")}
            found = None if file is None else load(file, columns, declared)
            command(Study.load(study), found, sampling, **options)

        whole: Callable[..., None] = read
        for option in (
            click.option(
                "--threads", default=0, show_default=True, help="0 takes SERRATA_THREADS, else the machine's."
            ),
            click.option("--seed", default=1, show_default=True, help="Where the random numbers begin."),
            click.option(
                "--repeats", default=repeats, show_default=True, help="Repeats; what they differ by is the error."
            ),
            click.option(
                "--cracks", default=cracks, show_default=True, help="Possible cracks of each hot spot; a power of two."
            ),
            click.option(
                "--draws", default=draws, show_default=True, help="Draws of what the blades of each row share."
            ),
            declares_format,
            click.argument("file", type=click.Path(path_type=Path), required=False),
            click.argument("study", type=click.Path(path_type=Path)),
        ):
            whole = option(whole)
        return whole

    return decorate


def _checked_folder(_context: click.Context, _option: click.Parameter, folder: Path | None) -> Path | None:
    """Refuse a folder that cannot be written to before the work that is to be written there."""
    if folder is not None:
        check_directory(folder, Belief.files)
    return folder


@click.command()
@_gives_records(draws=320, cracks=1024, repeats=4)
@click.option("--save", type=click.Path(path_type=Path), help="Save the study given its records here, to compare.")
@click.option("--json", "as_json", is_flag=True, help="Print one JSON object instead of the report.")
@click.option(
    "--out", type=click.Path(path_type=Path), callback=_checked_folder, help="Write tables, figures and report here."
)
def given(
    study: Study, found: Records | None, sampling: dict[str, Any], *, save: Path | None, as_json: bool, out: Path | None
) -> None:
    """Give STUDY the records of its looks in FILE: what to believe now of its rows, and of its inputs.

    Without FILE it is given what its past_looks found.
    """
    now = study.given(found, **sampling)
    if save is not None:
        now.save(save)
    if out is not None:
        now.belief.write(out)
    click.echo(now.belief.to_json() if as_json else now.belief.report(), nl=as_json)
    if out is not None and not as_json:
        click.echo(f"\nTables, figures and report are in {out}")
    if save is not None and not as_json:
        click.echo(f"\nThe study given its records is {save}: serrata compare {save}")


@click.command()
@_gives_records(draws=128, cracks=512, repeats=2)
@figure_option("Draw what was found beside what was expected into this file.")
def hindcast(study: Study, found: Records | None, sampling: dict[str, Any], *, figure: Path | None) -> None:
    """Predict each past look of FILE from those before it, by STUDY, and hold it against what it found."""
    answer = study.hindcast(found, **sampling)
    if figure is not None:
        draw(answer.plot, figure)
    click.echo(answer.report(), nl=False)


@click.command()
@_gives_records(draws=96, cracks=512, repeats=2)
@figure_option("Draw how probable the records would be against the factor on each assumption into this file.")
def explain(study: Study, found: Records | None, sampling: dict[str, Any], *, figure: Path | None) -> None:
    """Say how probable what FILE holds is under STUDY, and which assumption would explain it better."""
    answer = study.explanations(found, **sampling)
    if figure is not None:
        draw(answer.plot, figure)
    click.echo(answer.report(), nl=False)
