"""Every notebook runs from its first cell to its last, and stores what it then shows."""

from pathlib import Path

import nbformat
import pytest
from nbclient import NotebookClient

NOTEBOOKS = sorted((Path(__file__).parents[2] / "notebooks").glob("*.ipynb"))
TEXTS = ("text/plain", "text/html")


def shown(notebook: nbformat.NotebookNode) -> list[list[object]]:
    """Give what each cell of code shows: texts as they are, and of figures that they are there."""
    cells = []
    for cell in notebook.cells:
        if cell.cell_type == "code":
            streams = "".join(output.text for output in cell.outputs if output.output_type == "stream")
            data = [output.data for output in cell.outputs if output.output_type != "stream"]
            cells.append([streams, *({kind: of[kind] if kind in TEXTS else ... for kind in of} for of in data)])
    return cells


@pytest.mark.filterwarnings("ignore")  # of the notebook machinery, not of ours
@pytest.mark.parametrize("path", NOTEBOOKS, ids=lambda path: path.stem)
def test_a_notebook_runs_to_its_end_and_stores_what_it_shows(path: Path) -> None:
    stored = nbformat.read(path, as_version=4)
    notebook = nbformat.from_dict(stored)
    NotebookClient(notebook, timeout=300, resources={"metadata": {"path": str(path.parent)}}).execute()
    cells = [cell for cell in notebook.cells if cell.cell_type == "code"]
    assert cells
    assert all(cell.execution_count for cell in cells)
    assert shown(stored) == shown(notebook)
    assert not any("execution" in cell.metadata for cell in stored.cells)


@pytest.mark.parametrize("path", NOTEBOOKS, ids=lambda path: path.stem)
def test_a_notebook_opens_with_a_question_and_ends_with_the_answer(path: Path) -> None:
    texts = [cell.source for cell in nbformat.read(path, as_version=4).cells if cell.cell_type == "markdown"]
    assert texts[0].startswith("# ")
    assert "?" in texts[0]
    assert [text for text in texts if "## The answer" in text] == [texts[-1]]


def test_there_is_a_notebook() -> None:
    assert NOTEBOOKS
