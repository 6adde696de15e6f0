"""The houses' order: `render` imports `grooves`, never back, and `grooves` opens and prints nothing."""

import ast
from pathlib import Path

import pytest

ROOT = Path(__file__).parent.parent
GROOVES = sorted((ROOT / "grooves").glob("*.py"))
ALLOWED = {"grooves", "numpy", "pydantic"}


def imported(tree: ast.AST) -> set[str]:
    names = {alias.name for node in ast.walk(tree) if isinstance(node, ast.Import) for alias in node.names}
    names |= {node.module or "" for node in ast.walk(tree) if isinstance(node, ast.ImportFrom)}
    return {name.split(".")[0] for name in names}


@pytest.mark.parametrize("path", GROOVES, ids=lambda path: path.name)
def test_grooves_import_only_the_standard_library_numpy_and_pydantic(path):
    import sys

    foreign = imported(ast.parse(path.read_text())) - set(sys.stdlib_module_names) - ALLOWED
    assert not foreign, f"{path.name} imports {foreign}"


@pytest.mark.parametrize("path", GROOVES, ids=lambda path: path.name)
def test_grooves_open_no_file_and_print_nothing(path):
    called = {
        node.func.id
        for node in ast.walk(ast.parse(path.read_text()))
        if isinstance(node, ast.Call) and isinstance(node.func, ast.Name)
    }
    assert not called & {"open", "print", "exit", "input"}


@pytest.mark.parametrize("path", sorted([*GROOVES, *(ROOT / "render").glob("*.py")]), ids=lambda path: path.name)
def test_a_function_is_at_most_forty_lines_and_a_file_about_three_hundred(path):
    text = path.read_text()
    assert len(text.splitlines()) <= 330, f"{path.name} has {len(text.splitlines())} lines"
    for node in ast.walk(ast.parse(text)):
        if isinstance(node, ast.FunctionDef):
            body = node.body[1:] if isinstance(node.body[0], ast.Expr) and len(node.body) > 1 else node.body
            assert (node.end_lineno or 0) - body[0].lineno < 40, f"{path.name}: {node.name}"
