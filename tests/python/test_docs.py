"""Every example runs: docstrings, and the Python of the README."""

import doctest
import importlib
import pkgutil
import re

import pytest

import serrata
from conftest import ROOT

MODULES = [name for _, name, _ in pkgutil.iter_modules(serrata.__path__) if name not in ("__main__", "_engine")]


@pytest.mark.parametrize("name", ["", *MODULES])
def test_docstrings_run(name, monkeypatch):
    monkeypatch.chdir(ROOT)
    module = importlib.import_module(f"serrata.{name}" if name else "serrata")
    assert module.__doc__
    assert doctest.testmod(module, optionflags=doctest.ELLIPSIS).failed == 0


def test_there_are_examples_to_run():
    found = [doctest.DocTestFinder().find(importlib.import_module(f"serrata.{name}")) for name in MODULES]
    assert sum(len(test.examples) for tests in found for test in tests) > 10


def test_the_python_of_the_readme_runs(monkeypatch):
    monkeypatch.chdir(ROOT)
    readme = (ROOT / "README.md").read_text(encoding="utf-8")
    blocks = re.findall(r"^```python\n(.*?)^```", readme, flags=re.MULTILINE | re.DOTALL)
    assert blocks
    exec(compile("\n".join(blocks), "README.md", "exec"), {"__name__": "readme"})


@pytest.mark.parametrize("page", ["README.md", "DEVELOPERS.md"])
def test_every_file_that_a_page_names_is_there(page):
    text = (ROOT / page).read_text(encoding="utf-8")
    top = "src|python|tests|benches|notebooks|demo-data"
    named = re.findall(rf"`((?:{top})/[\w./-]+)`|\(((?:{top})/[\w./-]+)\)", text)
    places = {code or link for code, link in named}
    assert len(places) > 3
    assert [place for place in sorted(places) if not (ROOT / place).exists()] == []
