"""The order of the rooms: imports run down one table, never up and never in a circle; `grooves` opens nothing."""

import ast
import sys
from pathlib import Path

import pytest

ROOT = Path(__file__).parent.parent
MODULES = sorted(path for top in ("grooves", "render") for path in (ROOT / top).rglob("*.py"))
GROOVES = [path for path in MODULES if path.is_relative_to(ROOT / "grooves")]
FOREIGN = {"grooves", "numpy", "pydantic"}  # what grooves may import beside the standard library
FOREIGN_TO = {"grooves.band": {"pychord"}}  # and some rooms of it

BELOW = {  # what each room may import beside itself; the order of the table is the way of a lesson
    "render": {"render.command", "render.files"},
    "render.command": {
        "render.desk", "render.lesson", "render.page", "render.sound", "render.paper", "render.reading", "render.soundfont",
        "render.files", "grooves", "grooves.teaching", "grooves.takes", "grooves.band",
    },
    "render.desk": {
        "render.lesson", "render.paper", "render.reading", "render.soundfont", "render.files", "grooves",
        "grooves.teaching", "grooves.band",
    },
    "render.lesson": {
        "render.page", "render.sound", "render.paper", "render.reading", "render.hearing", "render.soundfont",
        "render.files", "grooves", "grooves.teaching", "grooves.takes", "grooves.band",
    },
    "render.page": {
        "render.sound", "render.paper", "render.soundfont", "render.files", "grooves", "grooves.teaching",
    },
    "render.sound": {"render.soundfont", "render.files", "grooves"},
    "render.paper": {"render.files", "grooves", "grooves.teaching", "grooves.takes"},
    "render.reading": {"render.files", "grooves"},
    "render.hearing": {"render.soundfont", "render.files", "grooves", "grooves.takes"},
    "render.soundfont": {"render.files", "grooves"},
    "render.files": {"grooves"},
    "grooves.teaching": {"grooves"},
    "grooves.takes": {"grooves"},
    "grooves.band": {"grooves"},
    "grooves": set(),
}  # fmt: skip


def name_of(path: Path) -> str:
    parts = path.relative_to(ROOT).with_suffix("").parts
    return ".".join(parts[:-1] if parts[-1] == "__init__" else parts)


def room_of(module: str) -> str:
    return max((room for room in BELOW if module == room or module.startswith(f"{room}.")), key=len)


def imported(path: Path) -> set[str]:
    """Every module that a file imports, also late and for types alone."""
    known, names = {name_of(module) for module in MODULES}, set()
    for node in ast.walk(ast.parse(path.read_text())):
        if isinstance(node, ast.Import):
            names |= {alias.name for alias in node.names}
        if isinstance(node, ast.ImportFrom):
            inside = {f"{node.module}.{alias.name}" for alias in node.names} & known
            names |= inside or {node.module or ""}
    return names


def ours(path: Path) -> set[str]:
    return {name for name in imported(path) if name.split(".")[0] in ("grooves", "render")}


@pytest.mark.parametrize("path", MODULES, ids=name_of)
def test_a_room_imports_only_rooms_below_it(path):
    room = room_of(name_of(path))
    wrong = {name for name in ours(path) if room_of(name) not in BELOW[room] | {room}}
    assert not wrong, f"{name_of(path)} imports {wrong}"


def test_no_modules_import_each_other_in_a_circle():
    left = {name_of(path): ours(path) - {name_of(path)} for path in MODULES}
    while free := [name for name, needs in left.items() if not needs & left.keys()]:
        for name in free:
            del left[name]
    assert not left, f"in a circle, or above one: {sorted(left)}"


@pytest.mark.parametrize("path", GROOVES, ids=name_of)
def test_grooves_import_only_the_standard_library_numpy_and_pydantic(path):
    allowed = FOREIGN | FOREIGN_TO.get(room_of(name_of(path)), set())
    foreign = {name.split(".")[0] for name in imported(path)} - set(sys.stdlib_module_names) - allowed
    assert not foreign, f"{path.name} imports {foreign}"


@pytest.mark.parametrize("path", GROOVES, ids=name_of)
def test_grooves_open_no_file_and_print_nothing(path):
    called = {
        node.func.id
        for node in ast.walk(ast.parse(path.read_text()))
        if isinstance(node, ast.Call) and isinstance(node.func, ast.Name)
    }
    assert not called & {"open", "print", "exit", "input"}


@pytest.mark.parametrize("path", MODULES, ids=name_of)
def test_a_function_is_at_most_forty_lines_and_a_file_about_three_hundred(path):
    text = path.read_text()
    assert len(text.splitlines()) <= 330, f"{path.name} has {len(text.splitlines())} lines"
    for node in ast.walk(ast.parse(text)):
        if isinstance(node, ast.FunctionDef):
            body = node.body[1:] if isinstance(node.body[0], ast.Expr) and len(node.body) > 1 else node.body
            assert (node.end_lineno or 0) - body[0].lineno < 40, f"{path.name}: {node.name}"
