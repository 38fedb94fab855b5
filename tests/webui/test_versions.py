"""Named versions of a build: kept, gone back to, compared with one another, with a plan and with a file."""

import json

import pytest

from recon.corrections.edits import edit
from recon.frame.files import frame_to_text, save_frame
from tests.corrections.frames import gate
from tests.webui.browsing import AXE, FAULTS, STORE, sample_build, shot, true_frame
from tests.webui.conftest import Asked
from tests.webui.in_page import in_page
from webui.app import close_app, create_app
from webui.storage.build import Build
from webui.storage.recent import remember


@pytest.fixture(scope="module")
def begun(tmp_path_factory):
    """One page for all that follows, with a version of before D was deleted."""
    app = create_app(tmp_path_factory.mktemp("page") / "build", port=8174)
    asked = Asked(app, app.test_client(), "http://127.0.0.1:8174")
    asked.build.change(lambda _: (gate(), "Read"), kind="reading")
    assert asked.post("/api/versions", {"name": "As drawn", "note": "all rails"}).get_json()["id"] == 1
    asked.edit(op="delete", members=["D"])
    yield asked
    close_app(app)


def versions(asked):
    return asked.get("/api/versions").get_json()["versions"]


def test_a_version_is_listed_with_name_note_and_whether_the_build_is_so_now(begun):
    (first,) = versions(begun)
    assert (first["name"], first["note"], first["members"], first["here"]) == (
        "As drawn",
        "all rails",
        4,
        False,
    )
    assert first["at"][:2] == "20"
    begun.post("/api/versions/1/name", {"name": "Drawn", "note": ""})
    assert versions(begun)[0]["name"] == "Drawn"
    for bad in ({"name": "", "note": ""}, {"name": "x" * 99, "note": ""}, {"name": "a\nb", "note": ""}, {}):
        assert begun.post("/api/versions", bad).status_code == 422
    assert begun.post("/api/versions/7/open", {"base": begun.build.n}).status_code == 422
    assert len(versions(begun)) == 1


def test_going_back_is_an_edit_that_undo_takes_back(begun):
    answer = begun.post("/api/versions/1/open", {"base": begun.build.n}).get_json()
    assert answer["undo"].startswith("Back to the version") and versions(begun)[0]["here"]
    assert begun.build.state.frame == gate().frame
    begun.post("/api/undo", {"base": begun.build.n})
    assert {m.id for m in begun.build.state.frame.members} == set("ABC")
    old = begun.post("/api/versions/1/open", {"base": 1})
    assert old.status_code == 409 and len(begun.build.state.frame.members) == 3


def test_the_build_is_compared_with_a_version_and_a_version_with_the_build(begun):
    found = begun.get("/api/compare?with=version-1").get_json()
    assert found["verdict"] == "different" and found["names"][0] == "the build as it is now"
    (row,) = [d for d in found["differences"] if d["kind"] == "missing"]
    assert row["planned"] == ["D"] and row["mend"][0]["requests"][0]["op"] == "add" and found["laid"]["D"]
    other = begun.get("/api/compare?of=version-1&with=now").get_json()
    (row,) = [d for d in other["differences"] if d["kind"] == "extra"]
    assert row["members"] == ["D"] and row["mend"] == []
    assert begun.get("/api/compare?with=plan").status_code == 422
    assert begun.get("/api/compare?with=nothing").status_code == 404
    assert begun.get("/api/compare?with=build-99999").status_code == 422


def test_a_version_is_compared_with_a_frame_file(begun):
    longer = edit(gate(), {"op": "end", "member": "C", "end": 1, "by": 1})[0]
    answer = begun.post("/api/compare?of=version-1", data=frame_to_text(longer.frame).encode())
    (row,) = answer.get_json()["differences"]
    assert row["kind"] == "length" and "plan 14" in row["text"]
    for bad in (b"\xff\xfe", b"[]", b'{"members": []}'):
        assert begun.post("/api/compare", data=bad).status_code == 422


def test_a_version_is_saved_as_a_frame_file(begun):
    answer = begun.get("/api/versions/1/frame")
    assert "attachment" in answer.headers["Content-Disposition"]
    assert len(json.loads(answer.data)["members"]) == 4


def test_the_build_is_compared_with_another_build(begun, tmp_path, monkeypatch):
    monkeypatch.setattr("webui.storage.recent.settings_folder", lambda: tmp_path / "settings")
    other = tmp_path / "other-gate"
    Build(other).close()
    save_frame(gate().frame, other / "frame.json")
    remember(other)
    (listed,) = begun.get("/api/versions").get_json()["builds"]
    assert listed["name"] == "other-gate"
    found = begun.get(f"/api/compare?with={listed['side']}").get_json()
    assert found["names"][1] == "other-gate" and found["verdict"] == "different"


def test_a_version_is_kept_compared_in_words_and_pictures_and_gone_back_to(opened, serve, tmp_path):
    page = opened(serve(sample_build(tmp_path / "b", true_frame())).address, bypass_csp=True)
    page.click("#versions")
    page.click("text=Keep the build as it is now…")
    page.fill("#version-name", "As drawn")
    page.fill("#version-note", "before the shelf")
    page.keyboard.press("Enter")
    page.wait_for_selector(".version:has-text('as the build is now')")
    page.evaluate(in_page("choose(['B']);"))
    page.keyboard.press("Delete")
    page.wait_for_selector(".version:not(:has-text('as the build is now'))")
    page.click("button[aria-label='Compare with As drawn']")
    page.wait_for_selector("#panel .item:has-text('B (16 holes) is missing')")
    laid, drawn = (STORE, "planLaid"), (STORE, "planShapes")
    assert list(page.evaluate(*laid)) == ["B"] and len(page.evaluate(*drawn)) == 3
    shot(page, "versions")
    page.add_script_tag(content=AXE)
    assert page.evaluate(FAULTS) == []
    page.click("#panel button:has-text('Add it as planned')")
    page.wait_for_selector("#panel :has-text('Nothing differs')")
    page.keyboard.press("Control+z")
    page.wait_for_selector("#panel .item:has-text('B (16 holes) is missing')")
    page.click("button[aria-label='Go back to it: As drawn']")
    page.wait_for_selector(".version:has-text('as the build is now')")
    assert page.evaluate(in_page("return build.undo;")) == "Back to the version As drawn"
    page.keyboard.press("Control+z")
    page.wait_for_selector(".version:not(:has-text('as the build is now'))")
    page.click("text=Close the comparison")
    page.wait_for_selector("#panel h3:has-text('Compared')", state="detached")
    assert page.evaluate(*laid) == {}
    page.set_viewport_size({"width": 360, "height": 740})
    assert page.evaluate("document.documentElement.scrollWidth") <= 360
