"""The typed stub says what the compiled module holds, and is shipped with it."""

import ast
import inspect
from pathlib import Path

import serrata
from serrata import _engine

STUB = ast.parse((Path(serrata.__file__).parent / "_engine.pyi").read_text(encoding="utf-8"))
DEFINITIONS = (ast.FunctionDef, ast.ClassDef)


def public(names):
    return {name for name in names if not name.startswith("__")}


def test_the_typed_marker_is_shipped():
    assert (Path(serrata.__file__).parent / "py.typed").exists()


def test_stub_and_module_hold_the_same_names():
    declared = {node.name for node in STUB.body if isinstance(node, DEFINITIONS)}
    declared |= {node.target.id for node in STUB.body if isinstance(node, ast.AnnAssign)}
    assert public(declared) == public(vars(_engine))


def test_stub_and_classes_have_the_same_members():
    for node in STUB.body:
        if isinstance(node, ast.ClassDef):
            declared = {member.name for member in node.body if isinstance(member, ast.FunctionDef)}
            assert public(declared) == public(vars(getattr(_engine, node.name))), node.name


def test_stub_and_methods_have_the_same_parameters():
    checked = 0
    for node in STUB.body:
        if not isinstance(node, ast.ClassDef):
            continue
        for member in node.body:
            decorators = {ast.unparse(decorator) for decorator in member.decorator_list}
            if member.name.startswith("__"):
                continue
            actual = inspect.getattr_static(getattr(_engine, node.name), member.name)
            if "property" in decorators:
                assert inspect.isdatadescriptor(actual), member.name
                continue
            assert ("staticmethod" in decorators) == isinstance(actual, staticmethod), member.name
            parameters = inspect.signature(getattr(getattr(_engine, node.name), member.name)).parameters
            declared = [argument.arg for argument in (*member.args.args, *member.args.kwonlyargs)]
            assert list(parameters) == declared, member.name
            keyword_only = [name for name, one in parameters.items() if one.kind is one.KEYWORD_ONLY]
            assert keyword_only == [argument.arg for argument in member.args.kwonlyargs], member.name
            checked += 1
    assert checked > 10
