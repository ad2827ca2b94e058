"""The report in a real browser: on a wide and a narrow screen, on paper, and held against rules of accessibility."""

import shutil

import pytest

import serrata
from conftest import ROOT
from test_figures import with_twenty_plans

CHROMIUM = next(
    (place for name in ("chromium", "chromium-browser", "google-chrome") if (place := shutil.which(name))), None
)
playwright = pytest.importorskip("playwright.sync_api", reason="no playwright: install serrata[browser]")
axe = pytest.importorskip("axe_playwright_python.sync_playwright", reason="no axe: install serrata[browser]")
if CHROMIUM is None:
    pytest.skip("no browser: install chromium", allow_module_level=True)

#: A sheet of A4 without its margins, in the pixels of a browser: 182 mm at 96 an inch.
PAPER = 688
RUNS = {
    "reference": lambda: serrata.Study.load(ROOT / "demo-data" / "reference-study.toml").simulate(
        trials=300, planted_lives=300, seed=1
    ),
    "twenty": lambda: with_twenty_plans().simulate(trials=100, planted_lives=100, seed=1),
}


@pytest.fixture(scope="module", params=RUNS)
def file(request, tmp_path_factory):
    file = tmp_path_factory.mktemp("report") / f"{request.param}.html"
    RUNS[request.param]().write_report(file)
    return file


@pytest.fixture(scope="module")
def browser():
    with playwright.sync_playwright() as made:
        # Within a container its own sandbox may not be allowed; the page is ours.
        browser = made.chromium.launch(executable_path=CHROMIUM, args=["--no-sandbox"])
        yield browser
        browser.close()


def opened(browser, file, width):
    """Open the report, and list what it asks of the network and complains of."""
    page = browser.new_page(viewport={"width": width, "height": 900})
    heard = []
    page.on("console", lambda message: heard.append(message.text))
    page.on("pageerror", lambda error: heard.append(str(error)))
    page.on("request", lambda request: request.url.startswith(("file:", "data:")) or heard.append(request.url))
    page.goto(file.as_uri())
    return page, heard


@pytest.mark.parametrize("width", [1280, 390])
def test_nothing_overflows_sideways_and_nothing_is_complained_of(browser, file, width):
    page, heard = opened(browser, file, width)
    assert page.evaluate("document.documentElement.scrollWidth <= document.documentElement.clientWidth")
    # What sticks out of its own box must be able to be scrolled there.
    outside = page.evaluate(
        """() => [...document.querySelectorAll("main *")].filter(one => !one.closest(".scroll")
            && one.getBoundingClientRect().right > document.documentElement.clientWidth + 1)
            .map(one => one.outerHTML)"""
    )
    assert outside == []
    drawn = page.evaluate("[...document.images].map(one => one.complete && one.naturalWidth > 0)")
    assert len(drawn) == 4
    assert all(drawn)
    assert heard == []
    page.close()


@pytest.mark.parametrize("width", [1280, 390])
def test_no_serious_fault_of_accessibility(browser, file, width):
    page, _ = opened(browser, file, width)
    found = axe.Axe().run(page).response
    serious = [
        (one["id"], len(one["nodes"])) for one in found["violations"] if one["impact"] in ("serious", "critical")
    ]
    assert serious == []
    page.close()


def test_a_fault_made_on_purpose_is_noticed(browser, file, tmp_path):
    text = file.read_text(encoding="utf-8")
    bad = tmp_path / "bad.html"
    bad.write_text(
        text.replace('<html lang="en">', "<html>")
        .replace(" alt=", " data-alt=")
        .replace("</main>", "<p style='width: 3000px'>x</p></main>"),
        encoding="utf-8",
    )
    page, _ = opened(browser, bad, 390)
    assert not page.evaluate("document.documentElement.scrollWidth <= document.documentElement.clientWidth")
    faults = {one["id"] for one in axe.Axe().run(page).response["violations"]}
    assert {"html-has-lang", "image-alt"} <= faults
    page.close()


def test_on_paper_no_table_or_figure_is_cut(browser, file):
    page, _ = opened(browser, file, PAPER)
    page.emulate_media(media="print")
    wide = page.evaluate(
        """() => [...document.querySelectorAll("table, img")].filter(one =>
            one.getBoundingClientRect().right > document.documentElement.clientWidth + 1)
            .map(one => [one.getBoundingClientRect().right, one.innerText || one.alt])"""
    )
    assert wide == []
    pdf = page.pdf(prefer_css_page_size=True)
    assert pdf.startswith(b"%PDF")
    page.close()


def test_the_answer_and_the_table_are_on_the_first_screen(browser, file):
    if file.stem == "twenty":
        pytest.skip("twenty plans take more than a screen")
    page, _ = opened(browser, file, 1280)
    for what in ("h1", ".answer", ".first table"):
        box = page.locator(what).first.bounding_box()
        assert box["y"] + box["height"] < 900
    page.close()
