"""Every notebook runs from its first cell to its last."""

from pathlib import Path

import nbformat
import pytest
from nbclient import NotebookClient

NOTEBOOKS = sorted((Path(__file__).parents[2] / "notebooks").glob("*.ipynb"))


@pytest.mark.filterwarnings("ignore")  # of the notebook machinery, not of ours
@pytest.mark.parametrize("path", NOTEBOOKS, ids=lambda path: path.stem)
def test_a_notebook_runs_to_its_end(path: Path) -> None:
    notebook = nbformat.read(path, as_version=4)
    NotebookClient(notebook, timeout=300, resources={"metadata": {"path": str(path.parent)}}).execute()
    cells = [cell for cell in notebook.cells if cell.cell_type == "code"]
    assert cells
    assert all(cell.execution_count for cell in cells)


def test_there_is_a_notebook() -> None:
    assert NOTEBOOKS
