"""A gallery: every link leads to a file in it, nothing is fetched, and its page draws the frame."""

import json
import re

from recon.cli import main
from recon.frame.files import save_frame
from recon.show.gallery import GalleryBuild, build_files
from tests.workshop.frames import corner, gate


def test_a_folder_of_builds_becomes_a_site_that_needs_no_network(tmp_path, capsys, monkeypatch):
    import recon.show.gallery as gallery

    monkeypatch.setattr(gallery, "OFFERED", ("papers-html", "frame", "solids"))
    builds = tmp_path / "builds"
    (builds / "yard").mkdir(parents=True)
    save_frame(gate(), builds / "yard" / "frame.json")
    save_frame(corner(), builds / "three <b>way.json")
    site = tmp_path / "site"
    assert main(["gallery", str(builds), "-o", str(site), "--title", "Yard & barn"]) == 0
    index = (site / "index.html").read_text()
    assert "<h1>Yard &amp; barn</h1>" in index
    pages = [site / "index.html", *sorted(site.glob("*/index.html"))]
    assert len(pages) == 3 and (site / "brackwater-gate" / "index.html") in pages
    for page in pages:
        text = page.read_text()
        assert "http" not in re.sub(r"http-equiv", "", text) and "<b>way" not in text
        for link in re.findall(r'(?:href|src)="([^"]+)"', text):
            assert (page.parent / link).is_file(), link
    text = (site / "brackwater-gate" / "index.html").read_text()
    space = json.loads(re.search(r'id="frame">(.*?)</script>', text)[1])
    assert [m["id"] for m in space["members"]] == list("ABCDE") and space["members"][0]["holes"] == 12
    assert "no one" not in text and "licensed" in text
    capsys.readouterr()
    assert main(["gallery", str(builds), "-o", str(site)]) == 2  # nothing is overwritten unasked


def test_a_folder_without_builds_is_refused_in_words(tmp_path, capsys):
    assert main(["gallery", str(tmp_path)]) == 2
    assert "no frame file" in capsys.readouterr().err


def test_what_cannot_be_made_is_named():
    from dataclasses import replace

    files, missing = build_files(GalleryBuild("a", replace(gate(), pitch_mm=None)), {})
    assert any("no All papers" in text for text in missing) and "index.html" in files
