"""The report as a page: what it says, that it needs nothing else, and how browsers and paper take it."""

import html
import json
import re
from html.parser import HTMLParser
from itertools import pairwise
from pathlib import Path

import pytest
from click.testing import CliRunner

import serrata
from conftest import DEMO_STUDY, LOSING, ROOT
from serrata.command import main
from serrata.report_answer import MOST_LINES, _change, plans, three_sentences
from serrata.wording import in_words
from test_figures import with_twenty_plans

VOID = {"meta", "br", "img", "link", "hr"}


class Page(HTMLParser):
    """A page as a list of tags with their attributes and the text within them."""

    def __init__(self, text):
        super().__init__()
        self.tags, self._open = [], []
        self.feed(text)
        assert not self._open

    def handle_starttag(self, tag, attrs):
        self.tags.append([tag, dict(attrs), ""])
        if tag not in VOID:
            self._open.append(len(self.tags) - 1)

    def handle_endtag(self, tag):
        assert self.tags[self._open[-1]][0] == tag, f"</{tag}> closes {self.tags[self._open[-1]][0]}"
        self._open.pop()

    def handle_data(self, data):
        for place in self._open:
            self.tags[place][2] += data

    def all(self, tag):
        return [(attrs, " ".join(text.split())) for name, attrs, text in self.tags if name == tag]


def written(comparison, directory, name="report.html"):
    comparison.write_report(directory / name)
    return (directory / name).read_text(encoding="utf-8")


def with_one_plan():
    """Give the template with its baseline alone."""
    text = serrata.Study.template()
    baseline = serrata.Study.parse(text).baseline
    parts = re.split(r"(?m)^(?=\[)", text)
    others = re.compile(rf"\[\[?strategies\.(?!{re.escape(baseline)}[\].])")
    return serrata.Study.parse("".join(part for part in parts if not others.match(part)))


@pytest.fixture(scope="module")
def runs(reference, losing):
    """Give comparisons of several kinds, by name."""
    given = serrata.Study.load(ROOT / "tests" / "engine" / "data" / "given" / "a.toml")
    records = serrata.Records.load(ROOT / "tests" / "engine" / "data" / "given" / "b.csv")
    return {
        "reference": reference.simulate(trials=300, planted_lives=300, seed=1),
        "losing": losing.simulate(trials=300, seed=1),
        "records": given.given(records, draws=32, cracks=128, repeats=2).simulate(trials=300, seed=1),
        "alone": with_one_plan().simulate(trials=50, seed=1),
        "twenty": with_twenty_plans().simulate(trials=100, planted_lives=100, seed=1),
    }


@pytest.fixture(scope="module")
def pages(runs, tmp_path_factory):
    place = tmp_path_factory.mktemp("pages")
    return {name: written(run, place, f"{name}.html") for name, run in runs.items()}


NAMES = ["reference", "losing", "records", "alone", "twenty"]


@pytest.mark.parametrize("name", NAMES)
def test_it_begins_with_the_question_and_the_answer(name, runs, pages):
    run, page = runs[name], Page(pages[name])
    ((_, question),) = page.all("h1")
    several = f"Which of {len(run.study.strategies)} plans for "
    alone = f"What comes of {run.study.baseline} for "
    assert question.startswith(several if len(run.study.strategies) > 1 else alone)
    texts = [text for _, text in page.all("p")]
    which = run.which_plan()
    assert " ".join(which.answer.split()) in texts[1]
    assert texts[2].startswith("How sure: ")
    assert texts[3].startswith("What would change it: ")
    assert "not examined here" in texts[3]
    # One table and one figure, before the first heading below.
    before = pages[name][: pages[name].index("<h2>")]
    assert (before.count("<table>"), before.count("<img ")) == (1, 1)
    for head in ("chance of any loss", "days of forced outage", "new blades fitted", "cost of each loss avoided"):
        assert f">{head}</th>" in before
    # What there is to beware of stands beside the answer.
    assert ("Beware" in before) == bool(run.warnings)
    assert html.escape(serrata.CAUTION) in before.replace("&#39;", "&#x27;")


def test_no_confidence_is_told_without_what_there_is_to_beware_of(runs):
    for run in runs.values():
        _, sure, change = three_sentences(run, run.which_plan())
        assert ("What stands under Beware is not in that." in sure) == bool(run.warnings)
        thin = run.rare_losses["note"].str.startswith("thin").any()
        assert ("more planted lives may" in change) == thin
        assert ("more lives may" in change) == (len(run.which_plan().ties) > 0 or "undecided" in change)


@pytest.mark.parametrize("name", NAMES)
def test_it_needs_no_other_file_and_tells_nothing_of_the_machine(name, pages, tmp_path_factory):
    text = pages[name]
    page = Page(text)
    for tag in ("script", "link", "iframe"):
        assert not page.all(tag)
    assert all(attrs["src"].startswith("data:image/svg+xml;base64,") for attrs, _ in page.all("img"))
    plain = re.sub(r'src="data:[^"]*"', "", text)
    assert "http" not in plain
    assert "url(" not in plain
    for place in (str(Path.home()), str(ROOT), str(tmp_path_factory.getbasetemp())):
        assert place not in plain


@pytest.mark.parametrize("form", ["html", "md"])
def test_the_same_comparison_gives_the_same_bytes(form, runs, pages, tmp_path):
    run = runs["losing"]
    again = run.study.simulate(trials=300, seed=1, threads=2)
    first = pages["losing"] if form == "html" else written(run, tmp_path, f"one.{form}")
    assert first == written(again, tmp_path, f"other.{form}")


@pytest.mark.parametrize("name", NAMES)
def test_who_reads_by_ear_or_keyboard_misses_nothing(name, pages):
    page = Page(pages[name])
    assert page.all("html")[0][0]["lang"] == "en"
    assert page.all("title")[0][1]
    levels = [int(tag[1]) for tag, _, _ in page.tags if re.fullmatch(r"h[1-6]", tag)]
    assert levels[0] == 1
    assert all(later <= earlier + 1 for earlier, later in pairwise(levels))
    assert all(len(attrs["alt"]) > 60 for attrs, _ in page.all("img"))
    assert len(page.all("caption")) == len(page.all("table"))
    assert all(text for _, text in page.all("caption"))
    assert all(attrs["scope"] in ("col", "row") and text for attrs, text in page.all("th"))
    scrolls = [attrs for attrs, _ in page.all("div") if "scroll" in attrs.get("class", "")]
    assert len(scrolls) == len(page.all("table"))
    assert all(attrs["tabindex"] == "0" and attrs["aria-label"] for attrs in scrolls)
    labels = [attrs["aria-label"] for attrs in scrolls]
    assert len(set(labels)) == len(labels)


def test_it_says_all_that_the_group_has_to_know(runs, pages):
    page = Page(pages["reference"])
    assert [text for _, text in page.all("h2")] == [
        "What the records say",
        "What is left in the row",
        "When it must be looked at",
        "What it costs",
        "What was taken for granted",
        "Warnings",
        "How it was worked out, and what checks it",
        "This run",
        "Second part: the long tables",
    ]
    run = runs["reference"]
    text = " ".join(" ".join(text.split()) for tag, _, text in page.tags if tag == "body")
    for sentence in [*run.study.assumptions, *run.warnings]:
        assert " ".join(sentence.split()) in text
    for told in (str(run.seed), f"{run.trials:,}", run.version, run.generator, "SHA-256", "1 time in 20"):
        assert told in text


def test_what_inputs_are_based_on_is_told(runs, pages):
    text = runs["reference"].study.to_toml()
    count = len(re.findall(r"\bbasis *= *\"", text))
    assert count > 10
    assert f"Of {count} inputs the study states the basis" in pages["reference"]
    told = html.unescape(pages["reference"])
    for basis in re.findall(r"^basis *= *\"([^\"]*)\"", text, re.MULTILINE):
        assert " ".join(basis.split()) in told
    assert "states what it is based on" in pages["losing"]


def test_each_number_of_the_first_table_is_that_of_the_comparison(runs, pages):
    run = runs["losing"]
    rows = re.findall(r"<tr>\s*<th scope=\"row\".*?</tr>", pages["losing"][: pages["losing"].index("<h2>")], re.DOTALL)
    assert len(rows) == len(run.study.strategies)
    summary, differences = run.summary, run.differences
    for row, strategy in zip(rows, run.study.strategies, strict=True):
        cells = [re.sub(r"<[^>]+>", " ", cell).split() for cell in re.findall(r"<t[hd].*?</t[hd]>", row, re.DOTALL)]
        own = summary[summary["strategy"] == strategy].set_index("quantity")
        count, _, of = cells[1][:3]
        risk = float(count) / float(of.replace(",", ""))
        assert risk == pytest.approx(own["value"]["p_any_loss"], rel=0.06)
        assert float(cells[2][0]) == pytest.approx(own["value"]["p_any_loss"], rel=0.06)
        half = own["high"]["cost"] - own["value"]["cost"]
        assert float(cells[5][0].replace(",", "")) == pytest.approx(own["value"]["cost"], abs=0.5 * half + 1e-9)
        beyond = differences[(differences["strategy"] == strategy) & (differences["quantity"] == "cost")]
        if strategy == run.study.baseline:
            assert cells[6] == ["baseline"]
        else:
            value, half = beyond["value"].iloc[0], beyond["high"].iloc[0] - beyond["value"].iloc[0]
            assert float(cells[6][0].replace(",", "")) == pytest.approx(value, abs=0.5 * half + 1e-9)


def test_what_a_loss_avoided_costs_is_said_where_the_lives_tell_it_alone():
    demo = serrata.Study.load(DEMO_STUDY).with_values({"study.baseline": "in-place-every-second"})
    few, many = (
        demo.simulate(trials=lives, planted_lives=planted, seed=1) for lives, planted in ((20, 0), (500, 1000))
    )
    words = {}
    for run in (few, many):
        table = plans(run, run.which_plan(), list(run.study.strategies))
        words[run.trials] = {line[0]: line[table.heads.index("cost of each loss avoided")] for line in table.lines}
    assert "not told by the lives" in words[20].values()
    of, own = many.differences.set_index(["strategy", "quantity"]), many.which_plan().summary.set_index("strategy")
    told = 0
    for strategy, said in words[500].items():
        low, high = (own[f"cost_of_each_loss_avoided_{end}"][strategy] for end in ("low", "high"))
        if low > 0.0:
            each = abs(of["value"][strategy, "cost"] / of["value"][strategy, "losses"])
            assert low < each < high
            number, scale = re.search(r"([\d.,]+) \(.*?\) (thousand|million)?", said).groups()
            number = float(number.replace(",", "")) * {"thousand": 1e3, "million": 1e6}.get(scale, 1.0)
            assert number == pytest.approx(each, abs=0.5 * (high - low))
            is_dearer = of["value"][strategy, "cost"] > 0.0
            assert said.startswith("saves ") != is_dearer
            told += 1
    assert told > 0


def test_what_the_records_say_is_told_where_they_were_given(runs, pages):
    assert "None were given" in pages["reference"]
    page = Page(pages["records"])
    text = next(text for tag, attrs, text in page.tags if attrs.get("id") == "records")
    belief = runs["records"].belief
    assert belief is not None
    for row in belief.rows_by_risk():
        assert row in text
    for moved in belief.moved_inputs():
        assert moved in " ".join(text.split())
    # What is not kept is not told as if there had been nothing.
    again = serrata.Comparison.from_bytes(runs["records"].to_bytes())
    assert again.belief is None
    assert again.study.is_given_records


def test_whether_the_records_changed_the_plan_is_told_beside_the_same_comparison_without_them(runs, tmp_path):
    given = runs["records"]
    alone = serrata.Study.load(ROOT / "tests" / "engine" / "data" / "given" / "a.toml")
    before = alone.simulate(trials=300, seed=1)
    file = tmp_path / "report.html"
    given.write_report(file, without_records=before)
    page = Page(file.read_text(encoding="utf-8"))
    text = " ".join(next(text for _, attrs, text in page.tags if attrs.get("id") == "records").split())
    assert "which is not part of this report" not in text
    for run in (before, given):
        assert " ".join(run.which_plan().answer.split()) in text
        for risk in run.summary[run.summary["quantity"] == "p_any_loss"]["value"]:
            assert in_words(risk, risk, risk).split(" (")[0] in text
    for measure, words in (("p_any_loss", "the smallest risk"), ("cost", "the smallest cost")):
        first, second = (run.which_plan().summary.set_index("strategy")[measure].idxmin() for run in (before, given))
        assert (f"{words}, from {first} to {second}" in text) == (first != second)
    with pytest.raises(serrata.ArgumentError, match="was given records too"):
        given.write_report(file, without_records=given)
    with pytest.raises(serrata.ArgumentError, match="was not given records"):
        before.write_report(file, without_records=before)
    with pytest.raises(serrata.ArgumentError, match="its plans are other ones"):
        given.write_report(file, without_records=runs["reference"])


@pytest.mark.parametrize(
    ("limit", "stands", "words"),
    [
        (None, None, "changed neither which plan has the smallest risk"),
        (0.9, 0.9, "did not change the plan: it is nobody-looks by either"),
        (1e-9, 1e-9, "did not change the plan: none is known to meet the limits by either"),
        (0.9, 1e-9, "changed the plan: from none that is known to meet the limits to nobody-looks"),
    ],
)
def test_a_change_of_plan_is_worded_by_what_decides(limit, stands, words):
    text = (ROOT / "tests" / "engine" / "data" / "small.toml").read_text(encoding="utf-8")
    text = text.replace("[strategies.none]", "[strategies.nobody-looks]")

    def which(limit):
        lines = "" if limit is None else f"\n[limits]\nrow_loss_probability_per_year = {limit}\n"
        return serrata.Study.parse(text + lines).simulate(trials=200, seed=1).which_plan()

    assert words in _change(which(stands), which(limit))


def test_names_with_signs_of_markup_are_written_as_they_are(losing, tmp_path):
    odd = losing.with_values({"study.name": '<b>&"x"</b> | `y` _z_', "money.currency": "<i>"})
    run = odd.simulate(trials=50, seed=1)
    text = written(run, tmp_path)
    assert "<b>" not in text
    assert "<i>" not in text
    assert "&lt;b&gt;&amp;" in text
    plain = written(run, tmp_path, "report.md")
    assert r"\<b\>&" in plain
    assert r"\| \`y\` \_z\_" in plain
    assert "<b>" not in run._repr_html_()


def test_markdown_tables_have_as_many_cells_in_every_line(runs, tmp_path):
    for name, run in runs.items():
        lines = written(run, tmp_path, f"{name}.md").splitlines()
        tables = 0
        for place, line in enumerate(lines):
            if re.fullmatch(r"\|( :--- \|| ---: \|)+", line):
                tables += 1
                cells = line.count("|")
                assert lines[place - 1].count("|") - lines[place - 1].count(r"\|") == cells
                assert lines[place - 2] == ""
                below = place + 1
                while below < len(lines) and lines[below].startswith("|"):
                    assert lines[below].count("|") - lines[below].count(r"\|") == cells, lines[below]
                    below += 1
                assert below > place + 1
        assert tables > 8
        assert "data:image" not in "".join(lines)


def test_further_answers_stand_behind_what_says_when_to_look(runs, tmp_path):
    answers = [serrata.how_many_blades(80, 2, 0.9), runs["reference"].which_plan()]
    for name in ("report.html", "report.md"):
        runs["reference"].write_report(tmp_path / name, answers=answers)
    heads = [text for _, text in Page((tmp_path / "report.html").read_text(encoding="utf-8")).all("h2")]
    place = heads.index("When it must be looked at")
    assert heads[place + 1] == "How many of 80 blades to look at?"
    assert heads[place + 2].startswith("Which plan?")
    assert heads[place + 3] == "What it costs"
    page = Page((tmp_path / "report.html").read_text(encoding="utf-8"))
    assert any(attrs["alt"].partition(". ")[2].startswith("How many of 80") for attrs, _ in page.all("img"))
    assert len({attrs["id"] for attrs, _ in page.all("section")}) == len(page.all("section"))
    markdown = (tmp_path / "report.md").read_text(encoding="utf-8")
    assert "\n## How many of 80 blades to look at?\n" in markdown
    assert "69" in markdown.partition("## How many of 80")[2].partition("\n## ")[0]


@pytest.mark.parametrize("name", ["report.txt", "report", "report.pdf"])
def test_another_ending_is_refused(name, runs, tmp_path):
    with pytest.raises(serrata.FileError, match=r"must end in \.html, \.md"):
        runs["losing"].write_report(tmp_path / name)
    assert list(tmp_path.iterdir()) == []


def test_the_command_writes_the_same_report(pages, tmp_path):
    file = tmp_path / "out.html"
    arguments = ["compare", str(LOSING), "--trials", "300", "--seed", "1", "--report", str(file)]
    ran = CliRunner().invoke(main, arguments)
    assert ran.exit_code == 0, ran.output
    assert file.read_text(encoding="utf-8") == pages["losing"]
    assert ran.output.splitlines()[-1] == f"The report is {file}."
    ran = CliRunner().invoke(main, [*arguments[:-1], str(tmp_path / "out.doc")])
    assert (ran.exit_code, "must end in .html, .md" in ran.output) == (2, True)


@pytest.mark.parametrize("name", NAMES)
def test_the_screen_shows_the_first_part_alone(name, runs):
    run = runs[name]
    text = run.report("answer")
    # With the line on where the rest is.
    assert text.count("\n") + 2 <= MOST_LINES
    assert max(map(len, text.splitlines())) <= 120
    assert serrata.CAUTION in text
    assert " ".join(run.which_plan().answer.split()) in " ".join(text.split())
    assert ("Beware" in text) == bool(run.warnings)
    shown = [strategy for strategy in run.study.strategies if f"\n  {strategy} " in text]
    left_out = len(run.study.strategies) - len(shown)
    assert (left_out > 0) == ("more plans are in the whole report" in text)
    # None is left out that is beaten by none, while one that is beaten shows.
    summary = run.which_plan().summary.set_index("strategy")["beaten_by"]
    if any(summary[strategy] is not None for strategy in shown):
        assert all(strategy in shown for strategy in summary.index[summary.isna()])
    assert run.report().startswith(text.splitlines()[0])


def test_json_of_the_demo_is_not_touched_by_a_report(tmp_path):
    arguments = ["compare", str(DEMO_STUDY), "--trials", "20", "--seed", "1", "--json"]
    ran = CliRunner().invoke(main, [*arguments, "--report", str(tmp_path / "out.md")])
    assert json.loads(ran.output)["trials"] == 20
    assert (tmp_path / "out.md").read_text(encoding="utf-8").startswith("# Which of 7 plans")
