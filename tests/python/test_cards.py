"""Every public result is a card in notebooks: tables and sentences, no block of text, without a plot library."""

import pickle
import re
import subprocess
import sys

import pandas as pd
import pytest

import serrata
from serrata.card import Card, _html, of_frame
from serrata.report_blocks import Table
from test_pickle import PUBLIC, public  # noqa: F401
from test_report import Page

CARDED = [name for name in PUBLIC if name != "Fault"]  # what is a line of a message


@pytest.mark.parametrize("name", CARDED)
def test_every_public_result_is_a_card(name, public):  # noqa: F811  # E2
    thing = public[name]
    text = thing._repr_html_()
    page = Page(text)
    assert "<pre" not in text
    tables = page.all("table")
    sentences = [words for _, words in page.all("p")]
    assert tables or len(sentences) > 1
    assert all(attrs["scope"] in ("col", "row") for attrs, _ in page.all("th"))
    assert len(page.all("caption")) == len(tables)
    assert serrata.CAUTION in sentences
    # One line in a terminal, beside it.
    assert "\n" not in repr(thing)
    # No number that is none, and no more figures than anybody reads.
    words = " ".join(text for _, text in [*page.all("td"), *page.all("th")])
    assert not re.search(r"\bnan\b|\bNone\b|<NA>", words)
    assert not re.search(r"\d\.\d{9}", words)


def test_cards_need_no_plot_library(public):  # noqa: F811  # E2
    named = {name: pickle.dumps(public[name]) for name in CARDED if name != "ComparedVariants"}
    code = (
        "import pickle, sys\n"
        "sys.modules['matplotlib'] = None\n"
        "things = pickle.load(sys.stdin.buffer)\n"
        "print(sum('<' in pickle.loads(thing)._repr_html_() for thing in things.values()))\n"
    )
    done = subprocess.run([sys.executable, "-c", code], input=pickle.dumps(named), capture_output=True, check=False)
    assert (done.stderr.decode(), done.stdout.decode().strip()) == ("", str(len(named)))


def test_cells_are_written_for_people():
    frame = pd.DataFrame(
        {
            "n": [12345, 3],
            "value": [0.123456, float("nan")],
            "year": [2027.5, 2028.0],
            "who": ["<a>", None],
            "ok": [True, False],
        }
    )
    table = of_frame("Title", frame)
    assert table.heads == ["who", "n", "value", "year", "ok"]
    assert table.lines == [
        ["<a>", "12,345", "0.1235", "2027.5", "yes"],
        ["\N{EN DASH}", "3", "\N{EN DASH}", "2028", "no"],
    ]
    text = _html(Card("<t>", ["<s>"], [table], ["<w>"]))
    for sign in ("<a>", "<t>", "<s>", "<w>"):
        assert sign not in text
        assert sign.replace("<", "&lt;").replace(">", "&gt;") in text


def test_a_long_table_says_how_much_is_left_out():
    long = Table("t", ["a"], [[f"{number}"] for number in range(45)])
    assert "5 more lines are in the data frame." in _html(Card("", tables=[long]))


def test_a_card_leads_with_what_the_report_leads_with(public):  # noqa: F811
    for name in ("MissedCracks", "LatentClasses", "RateChange", "HowManyBlades", "WhichPlan"):
        thing = public[name]
        words = " ".join(text for _, text in Page(thing._repr_html_()).all("p"))
        first = (
            thing._content["sentences"][0] if "Cracks" in name or "Classes" in name else thing.report().split(": ")[1]
        )
        assert " ".join(first.split())[:60] in words, name
    # What contradicts a fit is said of it, not left to the text alone.
    latent = public["LatentClasses"]
    assert latent.contradicted
    assert "not to be relied on" in latent._repr_html_()
