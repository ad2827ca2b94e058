"""The command line for detection: fits to hits and misses, and to signals."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from serrata.about import CAUTION
from serrata.command_records import draw, figure_option, load, reads_records
from serrata.files import check_file
from serrata.study import Study

if TYPE_CHECKING:
    from matplotlib.axes import Axes

    from serrata.detection import Evidence, Link, Size

__all__ = ["hit_miss", "signal_response"]

_SIZES = ["length", "depth", "geometric-mean"]


class Answer:
    """Output of a fit: printed, drawn, and put into a study, each as asked."""

    def __init__(
        self, *, technique: str, as_json: bool, figure: Path | None, study: Path | None, out: Path | None
    ) -> None:
        if (study is None) != (out is None):
            raise click.UsageError("--study and --out go together: a study to read and where to write the changed one")
        if out is not None:
            check_file(out)
        self.technique, self.as_json, self.figure, self.study, self.out = technique, as_json, figure, study, out

    def give(
        self,
        to_json: Callable[[], str],
        report: Callable[[], str],
        plot: Callable[[Axes], Axes],
        evidence: Callable[[], Evidence],
    ) -> None:
        """Give it, each part being made only if asked for."""
        if self.figure is not None:
            draw(plot, self.figure)
        if self.study is not None and self.out is not None:
            Study.load(self.study).with_technique(self.technique, evidence()).save(self.out)
        click.echo(to_json() if self.as_json else f"{report()}\n{CAUTION}")


def _answers(command: Callable[..., None]) -> Callable[..., None]:
    """Add the options for the technique and for the output of its fit."""
    for decorate in (
        click.option("--out", type=click.Path(path_type=Path), help="Write that study, with the fit in it, here."),
        click.option("--study", type=click.Path(path_type=Path), help="A study that holds the technique."),
        figure_option("Draw the fit and its data into this file."),
        click.option("--json", "as_json", is_flag=True, help="Print one JSON object instead of the report."),
        click.option("--technique", required=True, help="The technique whose looks are fitted."),
    ):
        command = decorate(command)
    return reads_records(command)


def _sizes(command: Callable[..., None]) -> Callable[..., None]:
    """Add whose sizes are taken, and how they scatter."""
    for decorate in (
        click.option("--size-error-log", default=0.0, help="Standard deviation of ln(measured size / true size)."),
        click.option("--sizes-by", help="Take the sizes that this technique measured; else the confirmed ones."),
    ):
        command = decorate(command)
    return command


def _parted(options: dict[str, Any]) -> tuple[Answer, dict[str, Any]]:
    """Separate the options of the output from those of the file."""
    parts = ("technique", "as_json", "figure", "study", "out")
    return Answer(**{part: options.pop(part) for part in parts}), options


@click.command("hit-miss")
@_answers
@click.option("--size", default="length", show_default=True, type=click.Choice(_SIZES))
@_sizes
@click.option("--factor", "factors", multiple=True, help="Column that shifts the curve; may be repeated.")
@click.option("--link", default="logit", show_default=True, type=click.Choice(["logit", "probit"]))
@click.option("--penalised", is_flag=True, help="Penalise the likelihood, for few or separated looks.")
@click.option("--ceiling", is_flag=True, help="Fit the probability at the largest sizes; else it is 1.")
@click.option("--floor", is_flag=True, help="Fit the probability at the smallest sizes; else it is 0.")
def hit_miss(
    file: Path,
    columns: tuple[str, ...],
    size: Size,
    sizes_by: str | None,
    size_error_log: float,
    factors: tuple[str, ...],
    link: Link,
    penalised: bool,
    ceiling: bool,
    floor: bool,
    **options: Any,  # noqa: ANN401
) -> None:
    """Fit the probability of detection of a technique to its hits and misses in FILE of inspection records."""
    answer, declared = _parted(options)
    fit = load(file, columns, declared).fit_hit_miss(
        answer.technique,
        size=size,
        sizes_by=sizes_by,
        size_error_log=size_error_log,
        factors=factors,
        link=link,
        penalised=penalised,
        floor="fitted" if floor else 0.0,
        ceiling="fitted" if ceiling else 1.0,
    )
    answer.give(fit.to_json, fit.report, fit.plot, fit.evidence)


@click.command("signal")
@_answers
@click.option("--threshold", type=float, required=True, help="Signal above which a call is made.")
@click.option("--floor", type=float, help="Signals at or below it are lost in the noise.")
@click.option("--saturation", type=float, help="Signals at or above it are cut off.")
@_sizes
def signal_response(
    file: Path,
    columns: tuple[str, ...],
    threshold: float,
    floor: float | None,
    saturation: float | None,
    sizes_by: str | None,
    size_error_log: float,
    **options: Any,  # noqa: ANN401
) -> None:
    """Fit detection and false calls by a technique to its signals in FILE of inspection records."""
    answer, declared = _parted(options)
    fit = load(file, columns, declared).fit_signal(
        answer.technique,
        floor=floor,
        saturation=saturation,
        sizes_by=sizes_by,
        size_error_log=size_error_log,
    )
    pod = fit.at_threshold(threshold)
    answer.give(pod.to_json, pod.report, pod.plot, pod.evidence)
