"""The map of modules in DEVELOPERS.md, made from what the code says of itself.

    python -m tests.module_map

writes it again between its two marks.  A Python module's line comes from its package's docstring, that of a
script or style sheet from the first sentence of its head comment.
"""

from __future__ import annotations

import ast
import re
from collections.abc import Iterator
from pathlib import Path

ROOT = Path(__file__).parents[1]
GUIDE = ROOT / "DEVELOPERS.md"
BEGIN, END = "<!-- map: python -m tests.module_map writes what follows -->", "<!-- end of the map -->"
# From the ground up.
ROOMS = (
    "recon/geometry",
    "recon/frame",
    "recon/image",
    "recon/solve",
    "recon/workshop",
    "recon/corrections",
    "recon/show",
    "recon/cli",
    "recon/bench",
    "webui",
)
STATIC = ROOT / "webui" / "static"
FOLDERS = {
    "": "the page put together",
    "assembly": "putting the frame together, one step at a time",
    "core": "the build as the page knows it, its changes, and what all parts share",
    "panels": "lists beside the pictures, and cards of what is chosen",
    "photos": "photos with their marks",
    "pictures": "photos and frame side by side",
    "reading": "a reading started and followed",
    "space": "the frame in space",
    "style": "style sheets",
}
_LINE = re.compile(r"^\s*(?:- )?`{0,2}(\w+)`{0,2}(?::\s+|\s{2,})(\S.*)$")


def docstring(path: Path) -> str:
    """The docstring of a module."""
    return ast.get_docstring(ast.parse(path.read_text(encoding="utf-8"))) or ""


def listed(package: Path) -> dict[str, str]:
    """Module -> what the package's docstring says of it, in its order."""
    inside = {p.stem for p in package.glob("*.py")} | {p.parent.name for p in package.glob("*/__init__.py")}
    found: dict[str, str] = {}
    for line in docstring(package / "__init__.py").splitlines():
        match = _LINE.match(line)
        if match and match[1] in inside:
            found.setdefault(match[1], match[2].rstrip("."))
    return found


def rows(package: Path, prefix: str = "") -> Iterator[tuple[str, str]]:
    """Name and text of each module of a package, those of packages in it below their own row."""
    for name, text in listed(package).items():
        inner = package / name
        if inner.is_dir():
            yield f"**`{prefix}{name}/`**", f"**{text}**"
            yield from rows(inner, f"{prefix}{name}/")
        else:
            yield f"`{prefix}{name}.py`", text


def head(path: Path) -> str:
    """The first sentence of the head comment of a script or style sheet."""
    text = path.read_text(encoding="utf-8")
    if path.suffix == ".css":
        comment = text[2 : text.index("*/")]
    else:
        lines = re.match(r"(//[^\n]*\n)*", text)
        comment = lines[0].replace("//", "") if lines else ""
    return re.split(r"\.\s", " ".join(comment.split()) + " ")[0]


def static_rows() -> Iterator[tuple[str, str]]:
    """Name and text of each script and style sheet of the page."""
    paths = [p for kind in ("js", "css") for p in STATIC.rglob(f"*.{kind}") if "vendor" not in p.parts]
    for folder, text in FOLDERS.items():
        if folder:
            yield f"**`{folder}/`**", f"**{text}**"
        for path in sorted(p for p in paths if p.parent == STATIC / folder):
            yield f"`{path.relative_to(STATIC).as_posix()}`", head(path)


def table(pairs: Iterator[tuple[str, str]]) -> list[str]:
    """A Markdown table."""
    cells = [(name, text.replace("|", "\\|")) for name, text in pairs]
    return ["| | |", "| --- | --- |", *(f"| {name} | {text} |" for name, text in cells), ""]


def module_map() -> str:
    """The map as Markdown."""
    lines = []
    for room in ROOMS:
        title = docstring(ROOT / room / "__init__.py").splitlines()[0]
        lines += [f"### `{room}`", "", title, "", *table(rows(ROOT / room))]
    lines += ["### `webui/static`", "", "The page's scripts and style sheets.", "", *table(static_rows())]
    return "\n".join(lines)


def with_map(text: str) -> str:
    """The guide with the map as the code has it."""
    before, _, rest = text.partition(BEGIN)
    _, _, after = rest.partition(END)
    return f"{before}{BEGIN}\n\n{module_map()}\n{END}{after}"


if __name__ == "__main__":
    GUIDE.write_text(with_map(GUIDE.read_text(encoding="utf-8")), encoding="utf-8")
