"""The package's modules import downwards only, so that each can be read after those it stands on."""

import ast
import subprocess
import sys
from graphlib import TopologicalSorter
from pathlib import Path

import serrata

SOURCES = sorted(Path(serrata.__file__).parent.glob("*.py"))
MODULES = {source.stem for source in SOURCES} | {"_engine"}
#: The modules that wrap the compiled one: a study, its runs, and the fits. All others use their classes.
OVER_THE_ENGINE = {
    "about",
    "blades_to_look_at",
    "comparison",
    "demonstration",
    "detection",
    "elsewhere",
    "growth_fit",
    "hit_miss",
    "initiation",
    "latent_classes",
    "learning",
    "records",
    "signal_response",
    "study",
    "missed_cracks",
    "parts",
    "rates",
}


def is_for_types(node):
    return isinstance(node, ast.If) and isinstance(node.test, ast.Name) and node.test.id == "TYPE_CHECKING"


def imported(node):
    """Give the modules of the package that a statement imports."""
    if not isinstance(node, ast.ImportFrom) or node.module is None or node.module.split(".")[0] != "serrata":
        return set()
    if node.module != "serrata":
        return {node.module.split(".")[1]}
    return {name.name if name.name in MODULES else "__init__" for name in node.names}


def at_run_time(source):
    """Give what a module imports when it is loaded, and what a function of it imports when called."""
    loaded, called, left = set(), set(), [(ast.parse(source.read_text(encoding="utf-8")), False)]
    while left:
        node, within = left.pop()
        if is_for_types(node):
            continue
        (called if within else loaded).update(imported(node))
        within = within or isinstance(node, ast.FunctionDef)
        left += [(child, within) for child in ast.iter_child_nodes(node)]
    return loaded, called


def test_modules_import_downwards_only():
    graph = {source.stem: at_run_time(source)[0] for source in SOURCES}
    assert sum(map(len, graph.values())) > 50
    order = list(TopologicalSorter(graph).static_order())  # refuses a circle, and names it
    assert order.index("_engine") < order.index("study") < order.index("command")


def test_no_function_imports_a_module_of_the_package_but_the_command_which_answers_ctrl_c_first():
    called = {source.stem: at_run_time(source)[1] for source in SOURCES if at_run_time(source)[1]}
    assert called == {"__main__": {"command"}}


def test_the_package_loads_a_module_when_it_is_first_used():
    loaded = "print('serrata.study' in sys.modules)"
    code = f"import sys, serrata; {loaded}; serrata.Study; {loaded}"
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True, timeout=60)
    assert done.stdout == "False\nTrue\n"


def test_only_wrappers_import_the_compiled_module():
    assert {source.stem for source in SOURCES if "_engine" in at_run_time(source)[0]} == OVER_THE_ENGINE
