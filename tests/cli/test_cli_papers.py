"""`recon papers` and `recon export`: files whole or not at all, nothing written over, every fault a
sentence."""

import json
import os
import sys

import pytest

from recon.cli import main
from recon.frame.files import save_frame
from recon.workshop.export.registry import KINDS
from tests.workshop.trestles import trestle


@pytest.fixture
def frame_file(tmp_path):
    path = tmp_path / "frame.json"
    save_frame(trestle(), path)
    return path


def run(capsys, *args):
    code = main([str(a) for a in args])
    out, err = capsys.readouterr()
    assert "Traceback" not in out + err and "fault in recon" not in err
    return code, out, err


def test_papers_writes_both_files_and_says_so(frame_file, tmp_path, capsys):
    code, out, err = run(capsys, "papers", frame_file, "-o", tmp_path / "out")
    assert (code, err) == (0, "") and sorted(os.listdir(tmp_path / "out")) == [
        "labels.pdf",
        "papers.html",
        "papers.pdf",
    ]
    assert "papers.pdf" in out and "papers.html" in out
    assert (tmp_path / "out/papers.pdf").read_bytes().startswith(b"%PDF-")
    html = (tmp_path / "out/papers.html").read_text("utf-8")
    assert html.startswith("<!DOCTYPE html>") and 'src="data:image/png;base64,' in html


def test_earlier_papers_are_not_written_over_unless_asked(frame_file, tmp_path, capsys):
    out = tmp_path / "out"
    out.mkdir()
    (out / "papers.pdf").write_text("mine")
    code, _, err = run(capsys, "papers", frame_file, "-o", out)
    assert (
        code == 2
        and "already holds results (papers.pdf)" in err
        and (out / "papers.pdf").read_text() == "mine"
    )
    assert os.listdir(out) == ["papers.pdf"]
    code, out_text, _ = run(
        capsys, "papers", frame_file, "-o", out, "--overwrite", "--paper", "letter", "--json"
    )
    assert (
        code == 0
        and json.loads(out_text)["missing"] == []
        and (out / "papers.pdf").read_bytes().startswith(b"%PDF-")
    )


def test_papers_without_a_cut_list_end_with_1_and_say_why(tmp_path, capsys):
    frame = trestle()
    save_frame(frame, tmp_path / "frame.json")
    code, _, err = run(capsys, "papers", tmp_path / "frame.json", "-o", tmp_path / "out", "--kerf", "30 mm")
    assert (
        code == 1
        and "No cut list: A kerf of 30 mm reaches the holes" in err
        and (tmp_path / "out/papers.pdf").exists()
    )


@pytest.mark.parametrize("to", KINDS)
def test_export_writes_every_kind_by_name(to, frame_file, tmp_path, capsys):
    if to == "step":
        pytest.importorskip("build123d", reason="needs the extra: pip install '.[step]'")
    path = tmp_path / f"frame-out{KINDS[to].suffix}"
    code, out, err = run(capsys, "export", frame_file, "-o", path, "--to", to)
    assert (code, err) == (0, "") and str(path) in out and path.stat().st_size > 200
    before = path.read_bytes()
    code, _, err = run(capsys, "export", frame_file, "-o", path, "--to", to)
    assert code == 2 and "exists already and is left as it is" in err and path.read_bytes() == before
    assert run(capsys, "export", frame_file, "-o", path, "--to", to, "--overwrite")[0] == 0


@pytest.mark.parametrize(
    "ending, start",
    [(".dxf", b"  0\nSECTION"), (".glb", b"glTF"), (".svg", b"<svg"), (".csv", b"item,id"), (".JSON", b"{")],
)
def test_the_ending_says_what_to_write(ending, start, frame_file, tmp_path, capsys):
    path = tmp_path / f"x{ending}"
    assert run(capsys, "export", frame_file, "-o", path)[0] == 0
    assert path.read_bytes().replace(b"\r", b"").startswith(start)


def test_an_ending_that_says_nothing_is_told(frame_file, tmp_path, capsys):
    code, _, err = run(capsys, "export", frame_file, "-o", tmp_path / "x.stl")
    assert code == 2 and "its ending does not say what to write" in err and not (tmp_path / "x.stl").exists()


def test_boxes_and_projection_change_what_is_written(frame_file, tmp_path, capsys):
    for name, more in (
        ("a.glb", []),
        ("b.glb", ["--boxes"]),
        ("a.svg", []),
        ("b.svg", ["--projection", "third"]),
    ):
        assert run(capsys, "export", frame_file, "-o", tmp_path / name, *more)[0] == 0
    assert (tmp_path / "b.glb").stat().st_size < (tmp_path / "a.glb").stat().st_size / 10
    assert (
        "third angle" in (tmp_path / "b.svg").read_text()
        and "first angle" in (tmp_path / "a.svg").read_text()
    )


def test_step_without_its_extra_is_a_sentence_and_no_file(frame_file, tmp_path, capsys, monkeypatch):
    monkeypatch.setitem(sys.modules, "build123d", None)
    code, _, err = run(capsys, "export", frame_file, "-o", tmp_path / "x.stp")
    assert code == 2 and "pip install '.[step]'" in err and not (tmp_path / "x.stp").exists()


@pytest.mark.parametrize("command, out", [("papers", "out"), ("export", "x.dxf")])
@pytest.mark.parametrize(
    "text, words",
    [
        ("{", "not JSON"),
        ('{"format": "drilled-frame", "version": 9, "members": []}', "newer program"),
        ('{"format": "drilled-frame", "version": 1, "members": []}', "1 to 2000 members"),
        (
            (
                '{"format": "drilled-frame", "version": 1, "members": '
                '[{"first": [0,0,0], "direction": [0,0,1], "holes": 4}]}'
            ),
            "pitch is not known",
        ),
        (
            (
                '{"format": "drilled-frame", "version": 1, "members": '
                '[{"first": [0,0,0], "direction": [0,0,1], "holes": 0}]}'
            ),
            "at least 1 hole",
        ),
    ],
)
def test_a_bad_frame_file_is_told_and_nothing_is_written(command, out, text, words, tmp_path, capsys):
    (tmp_path / "bad.json").write_text(text)
    code, stdout, err = run(capsys, command, tmp_path / "bad.json", "-o", tmp_path / out)
    assert code == 2 and words in err and stdout == "" and os.listdir(tmp_path) == ["bad.json"]


def test_a_bad_rack_and_a_bad_kerf_are_told(frame_file, tmp_path, capsys):
    (tmp_path / "rack.csv").write_text("item,id,length\nmember,softwood-38,many\n")
    code, _, err = run(capsys, "papers", frame_file, "-o", tmp_path / "out", "--rack", tmp_path / "rack.csv")
    assert code == 2 and "rack.csv, row 2" in err
    code, _, err = run(capsys, "papers", frame_file, "-o", tmp_path / "out", "--kerf", "three")
    assert code == 2 and "'three' is not a length" in err and not (tmp_path / "out").exists()


def test_a_place_that_cannot_be_written_is_told(frame_file, tmp_path, capsys):
    code, _, err = run(capsys, "export", frame_file, "-o", tmp_path / "no" / "x.dxf")
    assert code == 2 and "its folder does not exist" in err


def test_errors_are_json_too_where_json_is_asked_for(frame_file, tmp_path, capsys):
    code, out, _ = run(capsys, "export", frame_file, "-o", tmp_path / "x.foo", "--json")
    assert code == 2 and json.loads(out)["exit_code"] == 2
