"""The page's scripts and style sheets: how they hang together.  Read as text, without a browser."""

import posixpath
import re

import pytest

from recon.workshop.confidence_text import SURE
from tests.webui.browsing import ROOT
from tests.webui.in_page import EXPORTED_BY

STATIC = ROOT / "webui" / "static"
SCRIPTS = {
    path.relative_to(STATIC).as_posix(): path.read_text(encoding="utf-8")
    for path in sorted(STATIC.rglob("*.js"))
    if "vendor" not in path.parts
}
SHEETS = {
    path.relative_to(STATIC).as_posix(): path.read_text(encoding="utf-8")
    for path in sorted(STATIC.rglob("*.css"))
}
TEMPLATES = ROOT / "webui" / "templates"
PAGE = "".join((TEMPLATES / name).read_text(encoding="utf-8") for name in ("base.html", "page.html"))
WIDEST = 110
HEX = re.compile(r"""#[0-9a-fA-F]{3,8}\b|\b0x[0-9a-fA-F]{6}\b""")


def imports(name):
    """The scripts that one imports, by their names under static/."""
    found = re.findall(r"""(?:^import|^export|\bfrom|\bimport\()\s*["'](\.[^"']+)["']""", SCRIPTS[name], re.M)
    return [posixpath.normpath(posixpath.join(posixpath.dirname(name), path)) for path in found]


def reached(start):
    """All scripts that one needs, itself included."""
    todo, seen = [start], set()
    while todo:
        name = todo.pop()
        if name in seen or name.startswith("vendor/"):
            continue
        seen.add(name)
        todo += imports(name)
    return seen


def test_every_import_is_of_a_file_that_is_there():
    for name in SCRIPTS:
        for target in imports(name):
            assert (STATIC / target).is_file(), f"{name} imports {target}"


def test_no_script_needs_itself_by_way_of_others():
    for name in SCRIPTS:
        for target in imports(name):
            if not target.startswith("vendor/"):
                assert name not in reached(target), f"{name} imports {target}, which needs {name}"


def test_the_pages_need_every_script():
    assert set().union(*map(reached, ("main.js", "phone.js", "assemble.js", "start.js"))) == set(SCRIPTS)


def test_the_page_links_every_style_sheet_and_no_other():
    assert re.findall(r'href="/static/([^"]+\.css)"', PAGE) == [
        f"style/{name}.css"
        for name in ("colours", "base", "bar", "pictures", "panels", "by-hand", "frame", "narrow")
    ]
    linked = {
        s
        for t in TEMPLATES.glob("*.html")
        for s in re.findall(r'href="/static/([^"]+\.css)"', t.read_text("utf-8"))
    }
    assert set(SHEETS) == linked


@pytest.mark.parametrize("name", [*SCRIPTS, *SHEETS])
def test_every_file_begins_with_what_it_is_for_and_no_line_is_too_wide(name):
    text = {**SCRIPTS, **SHEETS}[name]
    if name.endswith(".js"):
        head = " ".join(re.match(r"(//[^\n]*\n)*", text)[0].split())
        assert "Needs " in head, "what it is for, and what it needs"
    else:
        assert text.startswith("/* ")
    for number, line in enumerate(text.splitlines(), 1):
        assert len(line) <= WIDEST, f"line {number}"


# Colours


def properties(text):
    """The custom properties of a style sheet; where one has several values, the last."""
    return dict(re.findall(r"--([\w-]+):\s*([^;]+);", text))


def test_every_colour_is_named_in_one_style_sheet():
    for name, text in {**SCRIPTS, **SHEETS}.items():
        if name != "style/colours.css":
            assert not HEX.findall(text), name
    names = set(properties(SHEETS["style/colours.css"]))
    for name, text in SHEETS.items():
        used = set(re.findall(r"var\(--([\w-]+)\)", text)) - {"radius", "touch"}
        assert used <= names, name


def test_scripts_read_colours_that_the_style_sheet_has_and_all_of_them():
    read = set(re.findall(r'colour\("([\w-]+)"\)', SCRIPTS["core/colours.js"]))
    there = {name for name in properties(SHEETS["style/colours.css"]) if name.startswith(("mark-", "space-"))}
    assert read == there and len(read) > 15
    for name in there:
        assert re.fullmatch("#[0-9a-f]{6}", properties(SHEETS["style/colours.css"])[name]), name


def test_dark_is_the_same_by_the_system_and_by_the_button():
    blocks = re.findall(r':root\[data-theme="(auto|dark)"\]\s*\{([^}]*)\}', SHEETS["style/colours.css"])
    assert [which for which, _ in blocks] == ["auto", "dark"]
    auto, dark = (block.split() for _, block in blocks)
    assert auto == dark
    light = properties(SHEETS["style/colours.css"].partition("@media")[0])
    assert set(properties(blocks[1][1])) == set(light)


def test_the_icon_has_the_accent_of_the_page():
    accent = properties(SHEETS["style/colours.css"].partition("@media")[0])["accent"]
    assert accent in (STATIC / "style" / "mark.svg").read_text()


# What the program and the page both know


def test_a_member_is_sure_from_the_same_confidence_on_everywhere():
    found = re.findall(r"LEAST_SURE = ([\d.]+)", SCRIPTS["core/confidence.js"])
    assert [float(value) for value in found] == [SURE]
    for name, text in SCRIPTS.items():
        assert not re.search(r"confidence\s*[<>]=?\s*[\d.]", text), name


# Types


EXPORTED = re.compile(
    r"(/\*\*(?:(?!\*/).)*\*/\n)?^export (?:async )?"
    r"(?:function (\w+)\(|const (\w+) = (?:\(([^=]*?)\)|(\w+)) =>)",
    re.M | re.S,
)


@pytest.mark.parametrize("name", SCRIPTS)
def test_exported_functions_say_what_they_take(name):
    for found in EXPORTED.finditer(SCRIPTS[name]):
        comment, function, constant, several, one = found.groups()
        which = function or constant
        if function:
            rest = SCRIPTS[name][found.end() :]
            depth, end = 1, 0
            while depth:
                depth += {"(": 1, ")": -1}.get(rest[end], 0)
                end += 1
            parameters = rest[: end - 1]
        else:
            parameters = several if several is not None else one
        assert comment, f"{which}: no comment"
        assert bool(parameters.strip()) == ("@param {" in comment), (
            f"{which}({parameters}): types of parameters"
        )


# Tests


@pytest.mark.parametrize("export", EXPORTED_BY)
def test_what_tests_use_of_the_page_is_exported_there(export):
    module = f"{EXPORTED_BY[export]}.js"
    if not module.startswith("vendor/"):
        assert re.search(rf"^export (?:async )?(?:function|const|class) {export}\b", SCRIPTS[module], re.M)
