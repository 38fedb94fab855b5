"""The rule of imports: a floor knows only itself and the floors below it."""

import ast
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[1]

# From the ground up.  What stands side by side on one floor may know each other.
FLOORS = (
    ("recon.errors", "recon.files", "recon.locks", "recon.limits", "recon.workers"),
    ("recon.geometry",),
    ("recon.frame",),
    ("recon.image",),
    ("recon.solve",),
    ("recon.workshop",),
    ("recon.corrections",),
    ("recon.show",),
    ("recon.cli", "webui"),
    ("recon.bench", "recon.__main__"),
)
FREE = ("recon",)  # the package itself: it holds the version and nothing else
# Floors that could be known, being below, but must not: a frame file written by hand has no photos.
APART = {"recon.workshop": ("recon.image", "recon.solve"), "webui": ("recon.cli",)}
# What a floor may not use of other people's packages: the frame and the workshop know no pixels.
NO_PIXELS = {
    "recon.geometry": ("cv2", "PIL", "skimage"),
    "recon.frame": ("cv2", "PIL", "skimage"),
    "recon.workshop": ("cv2", "skimage"),
}


def modules() -> dict[str, Path]:
    """Name of every module of the product and its file."""
    out = {}
    for package in ("recon", "webui"):
        for path in sorted((ROOT / package).rglob("*.py")):
            parts = path.relative_to(ROOT).with_suffix("").parts
            out[".".join(parts[:-1] if parts[-1] == "__init__" else parts)] = path
    return out


MODULES = modules()


def imported(name: str, path: Path) -> set[str]:
    """Modules that a module imports anywhere in it, also inside functions.

    `from package import module` names the module.
    """
    package = name if path.name == "__init__.py" else name.rpartition(".")[0]
    return names_in(ast.parse(path.read_text(encoding="utf-8")), package)


def names_in(tree: ast.AST, package: str) -> set[str]:
    found = set()
    for node in ast.walk(tree):
        if isinstance(node, ast.Import):
            found |= {alias.name for alias in node.names}
        elif isinstance(node, ast.ImportFrom):
            above = package.split(".")[: len(package.split(".")) + 1 - node.level] if node.level else []
            base = ".".join([*above, *([node.module] if node.module else [])])
            # A name is a module or something in one; in both cases the most exact module counts.
            found |= {
                f"{base}.{alias.name}" if f"{base}.{alias.name}" in MODULES else base for alias in node.names
            }
    return found


def within(name: str, package: str) -> bool:
    return name == package or name.startswith(package + ".")


def floor_of(name: str) -> int | None:
    return next((k for k, floor in enumerate(FLOORS) for package in floor if within(name, package)), None)


def test_the_package_itself_imports_nothing_of_the_product():
    assert [m for n in FREE for m in imported(n, MODULES[n]) if m.split(".")[0] in ("recon", "webui")] == []


def test_every_module_stands_on_a_floor():
    assert [n for n in MODULES if floor_of(n) is None and n not in FREE] == []


@pytest.mark.parametrize("floor", range(len(FLOORS)), ids=[" and ".join(f) for f in FLOORS])
def test_a_floor_imports_nothing_from_above(floor):
    here = [n for n in MODULES if floor_of(n) == floor]
    above = [
        f"{n} imports {m}"
        for n in here
        for m in sorted(imported(n, MODULES[n]))
        if (floor_of(m) or 0) > floor
    ]
    assert here and above == []


@pytest.mark.parametrize("package", APART)
def test_rooms_that_know_nothing_of_each_other(package):
    here = [n for n in MODULES if within(n, package)]
    crossed = [
        f"{n} imports {m}"
        for n in here
        for m in sorted(imported(n, MODULES[n]))
        if any(within(m, p) for p in APART[package])
    ]
    assert here and crossed == []


@pytest.mark.parametrize("package", NO_PIXELS)
def test_no_pixels_in_the_frame_and_the_workshop(package):
    here = [n for n in MODULES if within(n, package)]
    crossed = [
        f"{n} imports {m}"
        for n in here
        for m in sorted(imported(n, MODULES[n]))
        if m.split(".")[0] in NO_PIXELS[package]
    ]
    assert here and crossed == []


def test_the_product_does_not_import_its_tests():
    assert [n for n, path in MODULES.items() if any(within(m, "tests") for m in imported(n, path))] == []


def test_imports_are_found_in_functions_and_when_they_are_relative():
    tree = ast.parse(
        "import a.b\nfrom . import files\n"
        "def f():\n    from recon.cli import read\n    from ..frame.model import Member\n"
    )
    assert names_in(tree, "recon.solve") == {"a.b", "recon.solve", "recon.cli.read", "recon.frame.model"}
