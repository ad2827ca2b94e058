"""The report of a comparison as a page: HTML in one file, or Markdown."""

from __future__ import annotations

import base64
import hashlib
import io
import re
import tomllib
from collections.abc import Callable, Iterator, Sequence
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING, Any, NamedTuple, Protocol

from serrata import plots
from serrata.about import CAUTION
from serrata.belief import Belief
from serrata.drawing import save
from serrata.report_answer import beware, changed_by_records, plans, question, three_sentences
from serrata.report_blocks import Block, Bullets, Figure, Sentences, Table, split
from serrata.report_parts import PARTS, left, money, strategies, who_meets
from serrata.wording import RANGES

if TYPE_CHECKING:
    from matplotlib.axes import Axes

    from serrata.card import Card
    from serrata.comparison import Comparison

__all__ = ["FORMS", "Answer", "page"]

#: Endings of the names of reports, with the template of each.
FORMS = {".html": "report.html.jinja", ".md": "report.md.jinja"}
#: Letters that a table may be wide, so that it fits a sheet of paper.
_PAPER = 124
#: Parts with the long tables, and what they are called.
_LONG = {
    "heading": "The plans and the run",
    "losses": "Blades lost",
    "by_year": "Risk year by year",
    "hot_spots": "Hot spots",
    "left": "What is left in the row, outage by outage",
    "found": "Found and replaced",
    "loss_cost": "Costly losses",
    "days": "Days",
    "spread": "How far lives lie apart",
    "differences": "Differences to the baseline",
    "rankings": "Places",
    "rare_losses": "How rare losses were got",
}
#: Inputs of one basis that are named.
_MOST_INPUTS = 4
_METHOD = (
    "Whole fleets are lived many times under every plan, on the same blades, cracks and answers of the techniques: "
    "cracks begin, grow, are called or missed at each look, and now and then let a blade go. Numbers are means over "
    "these lives, and differences between plans are taken life by life.",
    "Rare losses come from lives in which a crack is planted, each with the weight that such a crack has; where too "
    "few of them carry the answer, it is called thin and not to be relied on.",
)
_CHECKED = (
    "The engine is held against closed forms, quadrature, separately written programs and a plain interpreter of every "
    "rule, with mistakes made on purpose that must be noticed; DEVELOPERS.md lists what each part is held against. "
    "Nothing of that checks the inputs of this study: that is for those who know the machine."
)


class Answer(Protocol):
    """A further answer that a report may hold: it has a card, and a picture."""

    def _card(self) -> Card: ...

    def plot(self, ax: Axes | None = None) -> Axes:
        """Draw it."""
        ...


class _Section(NamedTuple):
    """One section of the page."""

    name: str
    title: str
    blocks: list[Block]


def page(
    comparison: Comparison, form: str, answers: Sequence[Answer] = (), without_records: Comparison | None = None
) -> str:
    """Set the report as a page of a form, ``.html`` or ``.md``, with further answers; the same gives the same bytes."""
    import jinja2

    environment = jinja2.Environment(
        loader=jinja2.FileSystemLoader(Path(__file__).parent),
        autoescape=form == ".html",
        trim_blocks=True,
        lstrip_blocks=True,
        keep_trailing_newline=True,
        undefined=jinja2.StrictUndefined,
    )
    environment.filters |= {"literal": _literal, "with_range": _with_range, "kind": _kind}
    study = comparison.study
    which = comparison.which_plan()
    first = plans(comparison, which, list(study.strategies))
    frontier = _figure(
        form,
        comparison,
        f"Cost of each plan against its chance of any loss, with 95 % intervals. {which.frontier} "
        "The numbers are in the table above.",
        which.plot,
    )
    return environment.get_template(FORMS[form]).render(
        study=study.name,
        question=question(comparison),
        answer=three_sentences(comparison, which),
        first=[first, frontier, *beware(comparison)],
        sections=_with_answers(
            _sections(comparison, form, without_records), [_answer(comparison, form, one) for one in answers]
        ),
        long=list(_long(comparison)),
        ranges=RANGES,
        caution=CAUTION,
        run=_run(comparison),
    )


def _kind(block: Block) -> str:
    return type(block).__name__


def _literal(text: str) -> str:
    """Write a name or a sentence so that Markdown shows it as it is."""
    return re.sub(r"([\\`*_{}\[\]<>|#~$])", r"\\\1", text)


def _with_range(words: str) -> tuple[str, str]:
    """Give a number, and its range, which may stand below it."""
    number, _, rest = words.partition(" (")
    return number, f"({rest}" if rest else ""


def _cut(table: Table) -> list[Block]:
    """Cut a table that is wider than a sheet of paper; cells set their ranges below their numbers."""
    narrow = [[max(_with_range(cell), key=len) for cell in line] for line in table.lines]
    heads = split(table._replace(lines=narrow), _PAPER)
    if len(heads) == 1:
        return [table]
    parts: list[Block] = []
    at = table.repeat
    for number, part in enumerate(heads):
        columns = [*range(table.repeat), *range(at, at + len(part.heads) - table.repeat)]
        at = columns[-1] + 1
        is_last = number == len(heads) - 1
        parts.append(
            part._replace(
                title=table.title if number == 0 else f"{table.title} (continued, {number + 1} of {len(heads)})",
                lines=[[line[column] for column in columns] for line in table.lines],
                note=table.note if is_last else "",
            )
        )
    return parts


def _paper(blocks: list[Block]) -> list[Block]:
    """Make blocks ready for paper: tables narrow enough, and each line with its name."""
    parts: list[Block] = []
    for block in blocks:
        parts += _cut(_named(block)) if isinstance(block, Table) else [block]
    return parts


def _named(table: Table) -> Table:
    """Name every line, where a text leaves the name out below the first."""
    name, lines = "", []
    for first, *rest in table.lines:
        name = first or name
        lines.append([name, *rest])
    return table._replace(lines=lines)


def _figure(form: str, comparison: Comparison, words: str, draw: Callable[[Axes], object]) -> Figure:
    """Draw a figure, or only word it, where the form has no place for it."""
    drawn = io.BytesIO()
    if form == ".html":
        save(draw, drawn, "svg")
    return Figure(f"{comparison.study.name}. {words}", base64.b64encode(drawn.getvalue()).decode("ascii"))


def _sections(comparison: Comparison, form: str, without_records: Comparison | None) -> list[_Section]:
    study, row = comparison.study, comparison.worst_row
    by_year = comparison.by_year
    figures = {
        "longest_crack": (
            f"Length that the longest crack left in row {row} stays below in 50, 95 and 99 % of lives, just after each "
            "outage, by plan; beside it the sizes that let a blade go, and those that each technique finds.",
            partial(plots.longest_crack, comparison),
        ),
        "risk_by_year": (
            "Chance of at least one blade lost in the fleet in each year, by plan, with 95 % bands. The numbers are in "
            "the second part.",
            partial(plots.risk_by_year, comparison),
        ),
        "cost_split": (
            "Cost of each plan by what it is spent on, with the 95 % interval of the whole. The table has the numbers.",
            partial(plots.cost_split, comparison),
        ),
    }

    def drawn(name: str) -> Figure:
        words, draw = figures[name]
        return _figure(form, comparison, words, draw)

    def part(name: str) -> list[Block]:
        return _paper(PARTS[name](comparison))

    # Their note is what the section begins with.
    limits = _paper([block._replace(note="") for block in PARTS["limits"](comparison) if isinstance(block, Table)])
    has_limits = len(limits) > 0
    no_limits = Sentences(
        ["The study states no limit on the chance of a loss in a year, so that nothing says when a look must come."]
    )
    has_outages = len(comparison.by_outage) > 0
    warned = comparison.warnings
    sections = [
        _Section("records", "What the records say", _records(comparison, without_records)),
        _Section(
            "row",
            "What is left in the row",
            [*_paper(left(comparison, last_only=True)), *([drawn("longest_crack")] if has_outages else [])],
        ),
        _Section(
            "when",
            "When it must be looked at",
            [
                *([Sentences([who_meets(comparison)]), *limits] if has_limits else [no_limits]),
                *([drawn("risk_by_year")] if len(by_year) else []),
            ],
        ),
        _Section("cost", "What it costs", [*_paper(money(comparison, figures=1)), drawn("cost_split")]),
        _Section("granted", "What was taken for granted", [*part("assumptions"), Sentences([_based(study.to_toml())])]),
        _Section(
            "warnings",
            "Warnings",
            [*([Bullets("Beware", warned)] if warned else []), *_thin(comparison)]
            or [Sentences(["There are none, of this study and these lives."])],
        ),
        _Section("method", "How it was worked out, and what checks it", [Sentences([*_METHOD, _CHECKED])]),
    ]
    return sections


def _answer(comparison: Comparison, form: str, answer: Answer) -> _Section:
    """Set a further answer: what it says, its table and its picture."""
    card = answer._card()
    blocks: list[Block] = [Sentences(card.sentences), *_paper(list(card.tables[:1]))]
    blocks += [Bullets("Beware", card.warnings)] if card.warnings else []
    blocks.append(_figure(form, comparison, f"{card.title} {card.sentences[0]}", lambda ax: answer.plot(ax)))
    return _Section("answer", card.title, blocks)


def _with_answers(sections: list[_Section], answers: list[_Section]) -> list[_Section]:
    """Put further answers behind what says when a row must be looked at."""
    place = next(number for number, section in enumerate(sections, start=1) if section.name == "when")
    named = [one._replace(name=f"answer-{number}") for number, one in enumerate(answers, start=1)]
    return [*sections[:place], *named, *sections[place:]]


def _long(comparison: Comparison) -> Iterator[_Section]:
    """Give the sections of the second part."""
    for name, title in _LONG.items():
        blocks = PARTS[name](comparison)
        if name == "heading":
            blocks = [Bullets("Plans", strategies(comparison))]
        if blocks:
            yield _Section(name, title, _paper(blocks))
    inputs = _with_basis(comparison.study.to_toml())
    if inputs:
        yield _Section("basis", "What inputs are based on", [_basis_table(inputs)])


def _thin(comparison: Comparison) -> list[Block]:
    """Say for how many rows planted lives tell too little, which the fleet's number need not show."""
    rare = comparison.rare_losses
    thin = rare[rare["note"].str.startswith("thin")]["row"].nunique()
    rows = len(comparison.study.rows)
    words = (
        f"Of {thin} of {rows} rows too few lives carry the losses under some plan: do not rely on what is said of "
        "those rows alone (how rare losses were got, in the second part)."
    )
    return [Sentences([words])] if thin else []


def _records(comparison: Comparison, without_records: Comparison | None) -> list[Block]:
    """Say what records were given, whether they changed the plan, what they moved, and which rows are at risk."""
    study, belief = comparison.study, comparison.belief
    if not study.is_given_records:
        return [Sentences(["None were given: the plans are compared on the inputs of the study alone."])]
    if without_records is None:
        words = (
            "The lives go on from what the records say. Whether that changed the plan is told by the same comparison "
            "of the study without its records, which is not part of this report."
        )
        blocks: list[Block] = [Sentences([words])]
    else:
        blocks = changed_by_records(comparison, without_records)
    if belief is None:
        words = (
            "What the records moved is not kept where a study or a comparison was stored: study.given(records) has it "
            "again."
        )
        return [*blocks, Sentences([words])]
    return [*blocks, *_belief(belief)]


def _belief(belief: Belief) -> list[Block]:
    """Set the rows by their risk, and the inputs that the records moved."""
    heads, rows = belief.rows_in_words()
    blocks: list[Block] = _paper(
        [Table("Rows now, if nobody looks: most likely to lose a blade first; lengths in mm", heads, rows)]
    )
    moved = belief.moved_inputs()
    blocks.append(Bullets("The records moved", moved) if moved else Sentences(["They moved no input by much."]))
    return blocks


def _with_basis(text: str) -> dict[tuple[str, str], list[str]]:
    """Give the inputs whose basis the study states, by their section and basis: many rows may have the same."""
    inputs: dict[tuple[str, str], list[str]] = {}
    for path, basis in _bases(tomllib.loads(text), ""):
        inputs.setdefault((path.partition(".")[0], basis), []).append(path)
    return inputs


def _based(text: str) -> str:
    """Say how many inputs have a stated basis; assumptions name those that have none."""
    count = sum(map(len, _with_basis(text).values()))
    if not count:
        return "No input of the study states what it is based on."
    return f"Of {count} {'input' if count == 1 else 'inputs'} the study states the basis: see the second part."


def _basis_table(inputs: dict[tuple[str, str], list[str]]) -> Table:
    lines = []
    for (_, basis), paths in inputs.items():
        more = f" and {len(paths) - _MOST_INPUTS} more" if len(paths) > _MOST_INPUTS else ""
        lines.append([", ".join(paths[:_MOST_INPUTS]) + more, basis])
    return Table("Inputs and their stated basis", ["input", "basis"], lines, left=2)


def _bases(value: Any, path: str) -> Iterator[tuple[str, str]]:  # noqa: ANN401
    """Find each basis in a study file, with the path of what it is the basis of."""
    if isinstance(value, dict):
        if isinstance(value.get("basis"), str):
            yield path or "study", " ".join(value["basis"].split())
        for key, inner in value.items():
            yield from _bases(inner, f"{path}.{key}" if path else key)
    elif isinstance(value, list):
        for place, inner in enumerate(value):
            yield from _bases(inner, f"{path}[{place}]")


def _run(comparison: Comparison) -> list[tuple[str, str]]:
    """Give all that it takes to get the same numbers again."""
    study_hash = hashlib.sha256(comparison.study.to_toml().encode("utf-8")).hexdigest()
    return [
        ("study", comparison.study.name),
        ("SHA-256 of the study file", study_hash),
        ("trials", f"{comparison.trials:,}; {comparison.ended}"),
        ("lives with a planted crack, of each row", f"{comparison.planted_lives:,}"),
        ("seed", f"{comparison.seed}"),
        ("version", f"serrata {comparison.version} ({comparison.generator})"),
    ]
