"""The form of the house: what was tidied stays tidy, in every room that ROOMS names."""

import ast
import re
from collections.abc import Iterator
from functools import cache
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[1]

# Rooms that keep the rules: packages (with all below them) and modules.
ROOMS = ("recon", "webui")
# Tests and what they are made with keep the two lengths; their names say the rest.
TEST_ROOMS = ("tests",)

# Lines of a module, and of a function or method without its docstring.  Tests may be longer: a walk through
# the page reads from top to bottom.
LIMITS = {ROOMS: (450, 60), TEST_ROOMS: (480, 120)}

Function = ast.FunctionDef | ast.AsyncFunctionDef


def modules(rooms: tuple[str, ...]) -> list[Path]:
    """The Python files of some rooms."""
    paths = [ROOT / room for room in rooms]
    return sorted(p for path in paths for p in ([path] if path.is_file() else path.rglob("*.py")))


def name_of(path: Path) -> str:
    return str(path.relative_to(ROOT))


@cache
def tree_of(path: Path) -> ast.Module:
    return ast.parse(path.read_text(encoding="utf-8"))


def definitions(node: ast.AST, prefix: str = "") -> Iterator[tuple[str, Function | ast.ClassDef]]:
    """Name and node of functions and classes of a module, and of methods; not of functions in functions."""
    for child in ast.iter_child_nodes(node):
        if isinstance(child, Function | ast.ClassDef):
            yield prefix + child.name, child
        if isinstance(child, ast.ClassDef):
            yield from definitions(child, f"{prefix}{child.name}.")


def is_protocol(node: ast.AST) -> bool:
    return isinstance(node, ast.ClassDef) and any(
        isinstance(base, ast.Name) and base.id == "Protocol" for base in node.bases
    )


def undocumented(tree: ast.Module) -> list[str]:
    """Public functions, classes and methods without a docstring; what Python itself calls needs none."""
    protocols = {name for name, node in definitions(tree) if is_protocol(node)}
    return [
        name
        for name, node in definitions(tree)
        if not any(part.startswith("_") for part in name.split("."))
        and name.rpartition(".")[0] not in protocols  # the protocol's docstring says what its members are
        and ast.get_docstring(node) is None
    ]


def body_lines(node: Function) -> int:
    """Lines of a function, without its docstring."""
    lines = (node.end_lineno or node.lineno) - node.lineno + 1
    if ast.get_docstring(node) is not None:
        lines -= (node.body[0].end_lineno or 0) - node.body[0].lineno + 1
    return lines


def long_functions(tree: ast.Module, most: int) -> list[str]:
    return [
        f"{name} ({body_lines(node)} lines)"
        for name, node in definitions(tree)
        if isinstance(node, Function) and body_lines(node) > most
    ]


def unnamed_modules(package: Path) -> list[str]:
    """Modules and packages in a package that its docstring does not name."""
    lines = (ast.get_docstring(tree_of(package / "__init__.py")) or "").splitlines()
    heads = [re.split(r"\s{2,}|: | - ", line.strip(" -*"))[0] for line in lines]
    words = {word for head in heads for word in re.findall(r"\w+", head)}
    inside = {p.stem for p in package.glob("*.py")} | {p.parent.name for p in package.glob("*/__init__.py")}
    return sorted(n for n in inside - words if not n.startswith("__"))


def test_every_room_is_there():
    assert [room for room in ROOMS + TEST_ROOMS if not modules((room,))] == []


def test_the_docstring_of_a_package_names_its_modules():
    packages = [p.parent for p in modules(ROOMS) if p.name == "__init__.py" and p.parent != ROOT / "recon"]
    unnamed = {name_of(p): names for p in packages if (names := unnamed_modules(p))}
    assert packages and unnamed == {}


def test_everything_public_has_a_docstring():
    missing = {name_of(p): names for p in modules(ROOMS) if (names := undocumented(tree_of(p)))}
    assert missing == {}


def test_every_module_has_a_docstring():
    assert [name_of(p) for p in modules(ROOMS) if ast.get_docstring(tree_of(p)) is None] == []


@pytest.mark.parametrize("rooms", [ROOMS, TEST_ROOMS], ids=["rooms", "tests"])
def test_no_module_is_too_long(rooms):
    lengths = {name_of(p): len(p.read_text(encoding="utf-8").splitlines()) for p in modules(rooms)}
    assert {name: n for name, n in lengths.items() if n > LIMITS[rooms][0]} == {}


@pytest.mark.parametrize("rooms", [ROOMS, TEST_ROOMS], ids=["rooms", "tests"])
def test_no_function_is_too_long(rooms):
    long = {
        name_of(p): names for p in modules(rooms) if (names := long_functions(tree_of(p), LIMITS[rooms][1]))
    }
    assert long == {}


def test_the_rules_find_what_breaks_them(tmp_path):
    body = "    x = 1\n" * 11
    tree = ast.parse(
        f'class A:\n    """A."""\n    def b(self): pass\ndef _c(): pass\ndef d():\n    """D."""\n{body}'
    )
    assert undocumented(tree) == ["A.b"]
    assert long_functions(tree, 10) == ["d (12 lines)"]
    (tmp_path / "__init__.py").write_text(
        '"""Two modules.\n\n    one  the first, not three\n    `two`: the second\n"""'
    )
    for name in ("one", "two", "three"):
        (tmp_path / f"{name}.py").write_text("")
    assert unnamed_modules(tmp_path) == ["three"]
