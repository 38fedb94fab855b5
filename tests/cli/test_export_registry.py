"""Command line, page and the registry of exports agree; each entry heeds what it says that it heeds."""

import argparse
import subprocess
import sys

import pytest
from flask import Flask

from recon.cli import build_parser
from recon.errors import ReconError
from recon.frame.model import Frame
from recon.frame.stock import load_stocks
from recon.show.exports import ALL_EXPORTS, frame_picture
from recon.workshop.drawing.paper import ANGLES, PAPERS
from recon.workshop.export.entry import Request
from recon.workshop.export.registry import EXPORTS, KINDS, kind_of_file
from recon.workshop.parts.prices import PriceList
from tests.workshop.trestles import trestle
from webui.views.downloads import bp

STOCKS = load_stocks()
CHOICES = {
    "angle": ("first", "third"),
    "drilled": (True, False),
    "prices": (None, PriceList("EUR", metre={"softwood-38": 4.2}, stick={("softwood-38", 3658.0): 15.0})),
    "picture": (None, frame_picture),
}


def command(name: str) -> argparse.ArgumentParser:
    group = next(a for a in build_parser()._actions if isinstance(a, argparse._SubParsersAction))
    return group.choices[name]


def choices(name: str, option: str) -> tuple:
    return next(tuple(a.choices) for a in command(name)._actions if option in a.option_strings)


def listed_on_the_page() -> list[dict]:
    app = Flask(__name__)
    app.register_blueprint(bp)
    return app.test_client().get("/api/papers").get_json()["papers"]


def test_help_of_the_export_command_names_every_kind_of_the_registry_in_its_words():
    assert choices("export", "--to") == tuple(KINDS)
    lines = command("export").format_help().splitlines()
    assert [line for line in lines if line.startswith("  ") and line[2:].split(" ")[0] in KINDS] == [
        f"  {kind:<9}{entry.help}" for kind, entry in KINDS.items()
    ]
    assert all(entry.kind == kind and EXPORTS[entry.id] is entry for kind, entry in KINDS.items())


def test_sizes_of_paper_and_angles_on_the_command_line_are_those_there_are():
    assert choices("papers", "--paper") == tuple(PAPERS)
    assert choices("papers", "--projection") == choices("export", "--projection") == ANGLES
    assert {entry.paper for entry in EXPORTS.values()} == {"", *PAPERS}


def test_the_page_lists_every_export_in_its_words_and_order():
    assert listed_on_the_page() == [
        {"id": entry.id, "name": entry.name, "what": entry.what} for entry in ALL_EXPORTS.values()
    ]
    assert set(EXPORTS) <= set(ALL_EXPORTS)
    places = [entry.place for entry in ALL_EXPORTS.values()]
    assert places == sorted(places) and len(set(places)) == len(places)


def test_ids_and_file_names_on_the_page_stay():
    assert {id: (entry.ending, entry.media_type) for id, entry in ALL_EXPORTS.items()} == {
        "papers-a4": (".a4.pdf", "application/pdf"),
        "papers-letter": (".letter.pdf", "application/pdf"),
        "labels-a4": (".labels.a4.pdf", "application/pdf"),
        "labels-letter": (".labels.letter.pdf", "application/pdf"),
        "parts-workbook": (
            ".parts.xlsx",
            "application/vnd.openxmlformats-officedocument.spreadsheetml.sheet",
        ),
        "papers-html": (".papers.html", "text/html"),
        "build-page": (".build.html", "text/html"),
        "frame": (".frame.json", "application/json"),
        "views": (".svg", "image/svg+xml"),
        "dxf": (".dxf", "application/dxf"),
        "solids": (".glb", "model/gltf-binary"),
        "step": (".step", "model/step"),
        "summary": (".txt", "text/plain"),
        "picture": (".png", "image/png"),
        "parts-sheet": (".parts.html", "text/html"),
        "parts": (".parts.csv", "text/csv"),
        "joints": (".joints.csv", "text/csv"),
        "members": (".members.csv", "text/csv"),
        "cut-sheet": (".cuts.html", "text/html"),
        "cuts": (".cuts.csv", "text/csv"),
    }


@pytest.mark.parametrize("kind", KINDS)
def test_the_ending_of_a_file_says_which_kind_it_is(kind):
    assert kind_of_file(f"gate.{kind.upper()}") == kind
    assert kind_of_file(f"gate{KINDS[kind].suffix}") in (kind, "parts")  # a CSV file is the parts list


@pytest.mark.parametrize("id", [id for id, entry in ALL_EXPORTS.items() if "picture" not in entry.takes])
def test_an_export_heeds_the_choices_that_it_takes_and_no_others(id):
    frame = trestle()
    if id == "step":
        pytest.importorskip("build123d", reason="needs the extra: pip install '.[step]'")

    def made(**choice) -> bytes:
        data = ALL_EXPORTS[id].make(Request(frame, STOCKS, **choice))
        # What comes before a DXF file's blocks and after its entities holds the time, as does a STEP header.
        if id == "dxf":
            return data[data.index(b"BLOCKS") : data.index(b"OBJECTS")]
        return data[data.index(b"DATA;") :] if id == "step" else data

    usual = made()
    heeded = {
        name for name, values in CHOICES.items() if any(made(**{name: value}) != usual for value in values)
    }
    assert heeded == set(ALL_EXPORTS[id].takes)


@pytest.mark.parametrize("id", [id for id, entry in ALL_EXPORTS.items() if entry.needs_members])
def test_a_frame_without_members_is_refused_in_words(id):
    with pytest.raises(ReconError, match="no members, so there is nothing to export"):
        ALL_EXPORTS[id].make(Request(Frame(()), STOCKS))


def test_help_waits_for_none_of_the_libraries_that_exports_need():
    heavy = ("numpy", "scipy", "ezdxf", "reportlab", "manifold3d", "matplotlib", "cv2", "flask")
    code = (
        "import sys; from recon.cli import build_parser; build_parser(); "
        f"print([m for m in {heavy} if m in sys.modules])"
    )
    out = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True).stdout
    assert out.strip() == "[]"
