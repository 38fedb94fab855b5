"""DEVELOPERS.md and README.md speak of what is there."""

import ast
import re

from recon.cli import COMMANDS
from tests.module_map import GUIDE, ROOMS, ROOT, STATIC, module_map, with_map

GUIDE_TEXT = GUIDE.read_text(encoding="utf-8")
README = (ROOT / "README.md").read_text(encoding="utf-8")
# Written where a path would be, to show its form.
NOT_PATHS = re.compile(r"[<>*{} ]|NAME|FOLDER|DIR\b|\.\.\.")


def test_the_map_of_modules_is_as_the_code_has_it():
    assert with_map(GUIDE_TEXT) == GUIDE_TEXT, "run: python -m tests.module_map"


def test_the_map_names_every_module_and_script():
    text = module_map()
    for room in ROOMS:
        for path in (ROOT / room).rglob("*.py"):
            inside = path.relative_to(ROOT / room).as_posix()
            if not path.name.startswith("__"):
                assert f"`{inside}`" in text, f"{room}/{inside}"
    for path in STATIC.rglob("*.js"):
        if "vendor" not in path.parts:
            assert f"`{path.relative_to(STATIC).as_posix()}`" in text


def test_every_path_that_the_guide_names_is_there():
    named = re.findall(r"`((?:recon|webui|tests|sample_images|\.ci)/[^`]*)`", GUIDE_TEXT)
    gone = [name for name in named if not NOT_PATHS.search(name) and not (ROOT / name).exists()]
    assert len(named) > 30 and gone == []


def test_every_function_that_the_guide_names_is_there():
    """A name such as `recon.solve.photo.read_photo.read_posed`: a module, or something at its top level."""
    named = re.findall(r"`((?:recon|webui)(?:\.\w+)+)`", GUIDE_TEXT + README)
    gone = []
    for name in named:
        parts = name.split(".")
        if (ROOT.joinpath(*parts)).is_dir() or ROOT.joinpath(*parts).with_suffix(".py").is_file():
            continue
        if (
            ROOT.joinpath(*parts).is_file()
            or ROOT.joinpath(*parts[:-1]).with_suffix(f".{parts[-1]}").is_file()
        ):
            continue
        module = ROOT.joinpath(*parts[:-1])
        path = module / "__init__.py" if module.is_dir() else module.with_suffix(".py")
        if not path.is_file() or parts[-1] not in names_of(path.read_text(encoding="utf-8")):
            gone.append(name)
    assert len(named) > 10 and gone == []


def test_every_function_in_the_drawn_flows_is_there():
    """Names such as `assemble.retry_set_aside`, by the last part of the module's name."""
    modules: dict[str, list[str]] = {}
    for path in (p for room in ("recon", "webui") for p in (ROOT / room).rglob("*.py")):
        modules.setdefault(path.stem, []).append(path.read_text(encoding="utf-8"))
    flows = "\n".join(GUIDE_TEXT.split("```")[1::2])
    named = re.findall(r"(?<![\w/])(?:\w+\.)*(\w+)\.(\w+)\b(?!\.\w)", flows)
    endings = ("py", "js", "json", "txt")
    known = [(m, name) for m, name in named if m in modules and m != "build" and name not in endings]
    gone = [f"{m}.{name}" for m, name in known if not any(name in names_of(text) for text in modules[m])]
    gone = [name for name in gone if name.rpartition(".")[2] not in modules]  # a module of a package
    assert len(known) > 25 and gone == []


def names_of(text: str) -> set[str]:
    """What a module defines or imports at its top level."""
    found = set()
    for node in ast.parse(text).body:
        if isinstance(node, ast.FunctionDef | ast.ClassDef):
            found.add(node.name)
        elif isinstance(node, ast.Assign):
            found |= {target.id for target in node.targets if isinstance(target, ast.Name)}
        elif isinstance(node, ast.AnnAssign) and isinstance(node.target, ast.Name):
            found.add(node.target.id)
        elif isinstance(node, ast.ImportFrom):
            found |= {alias.asname or alias.name for alias in node.names}
    return found


def test_the_readme_has_a_row_for_every_command():
    for command in COMMANDS:
        assert f"| `recon {command.__name__.rsplit('.', 1)[-1]}" in README


def test_the_pictures_of_the_readme_are_there():
    shown = re.findall(r"!\[[^\]]+\]\(([^)]+)\)", README)
    assert len(shown) == 4
    assert sum((ROOT / path).stat().st_size for path in shown) < 1.5e6


def test_the_python_example_of_the_readme_imports_what_there_is():
    example = re.search(r"## From Python\n\n((?:    .*\n|\n)+)", README)
    assert example
    code = "\n".join(line[4:] for line in example[1].splitlines())
    imports = [node for node in ast.parse(code).body if isinstance(node, ast.ImportFrom)]
    assert len(imports) >= 4
    exec(compile(ast.Module(imports, []), "README.md", "exec"), {})
