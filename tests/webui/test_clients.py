"""Several clients of one build: nobody's change is lost or passed over."""

import io
import json
import zipfile
from pathlib import Path

import pytest
from PIL import Image

from recon.errors import ReconError
from tests.corrections.frames import gate
from tests.webui.conftest import SAMPLE
from webui.app import close_app, create_app


def begun(asked):
    asked.build.change(lambda _: (gate(), "Read"), kind="reading")
    return asked


def upload(asked, data: bytes, name: str):
    return asked.post("/api/photos", data=data, X_Photo_Name=name, Content_Type="application/octet-stream")


def photo_bytes(size=(800, 600), **save) -> bytes:
    buffer = io.BytesIO()
    Image.effect_noise(size, 60).convert("RGB").save(buffer, save.pop("format", "JPEG"), **save)
    return buffer.getvalue()


# Two clients


def test_the_second_of_two_clients_is_told_of_both_changes_and_neither_is_lost(asked):
    begun(asked)
    base = asked.build.n
    first = asked.post(
        "/api/edit", json={"base": base, "ask": {"op": "end", "member": "A", "end": 1, "by": 2}}
    )
    second = asked.post(
        "/api/edit", json={"base": base, "ask": {"op": "end", "member": "B", "end": 1, "by": -1}}
    )
    assert first.status_code == 200 and second.status_code == 409
    told = second.get_json()
    assert (
        told["there"] == ["A: 12 holes → 14"]
        and told["mine"] == told["on_top"] == "B: 12 holes → 11"
        and told["both"] == []
    )
    assert asked.build.state.frame.member("B").holes == 12
    again = asked.post(
        "/api/edit", json={"base": told["n"], "ask": {"op": "end", "member": "B", "end": 1, "by": -1}}
    )
    assert again.status_code == 200
    assert (asked.build.state.frame.member("A").holes, asked.build.state.frame.member("B").holes) == (14, 11)


def test_undo_by_a_client_that_is_behind_is_a_conflict_too(asked):
    begun(asked)
    asked.edit(op="confirm", member="B")
    assert asked.post("/api/undo", json={"base": 1}).status_code == 409
    assert asked.post("/api/undo", json={"base": 2}).status_code == 200


def test_many_clients_at_once_lose_nothing(serve, tmp_path):
    import threading
    import urllib.error
    import urllib.request

    page = serve(tmp_path / "b")
    bench = page.server.app.extensions["app_context"]
    bench.build.change(lambda _: (gate(), "Read"), kind="reading")
    made = []

    def client(id):
        base, done = bench.build.n, 0
        while done < 15:
            body = json.dumps({"base": base, "ask": {"op": "shift", "members": [id], "along": 1}}).encode()
            request = urllib.request.Request(
                page.address + "api/edit",
                body,
                {"Content-Type": "application/json", "X-Build-Token": bench.token},
            )
            try:
                base = json.load(urllib.request.urlopen(request))["n"]
                made.append(base)
                done += 1
            except urllib.error.HTTPError as error:
                assert error.code == 409
                base = json.load(error)["n"]

    threads = [threading.Thread(target=client, args=(id,)) for id in "ABCD"]
    for t in threads:
        t.start()
    for t in threads:
        t.join()
    assert sorted(made) == list(range(2, 62))
    first = {m.id: m.first for m in bench.build.state.frame.members}
    assert first["A"][2] == first["B"][2] == 15 and first["C"][0] == first["D"][0] == 14


def test_sample_photos_are_taken(asked):
    data = (SAMPLE / "photo_1.jpg").read_bytes()
    told = upload(asked, data, "photo_1.jpg").get_json()
    assert told["name"] == "photo_1.jpg"
    photo = asked.get("/api/build").get_json()["photos"][0]
    assert photo["size"] == told["size"] and photo["levels"] >= 1
    assert asked.get("/api/photos/photo_1.jpg/tile/0/1_1.jpg").data[:2] == b"\xff\xd8"
    assert asked.get("/api/photos/photo_1.jpg/tile/9/1_1.jpg").status_code == 404


@pytest.mark.parametrize(
    "part",
    [
        "photos",
        "reading",
        ".levels",
        "removed",
        "build.journal",
        "frame.json",
        "plan.json",
        "reading/x.json",
        ".levels/a.jpg",
        ".levels/b.jpg/whole.jpg",
    ],
)
def test_a_build_with_a_link_in_it_is_refused_and_what_it_leads_to_is_left(tmp_path, part):
    outside, link = tmp_path / "outside", tmp_path / "b" / part
    outside.mkdir()
    (outside / "own.json").write_text("{}")
    link.parent.mkdir(parents=True)
    link.symlink_to(
        outside / "own.json"
        if Path(part).suffix in (".json", ".journal") or part.endswith("whole.jpg")
        else outside
    )
    with pytest.raises(ReconError, match="is a link to another place"):
        create_app(tmp_path / "b")
    assert [p.name for p in outside.iterdir()] == ["own.json"] and (outside / "own.json").read_text() == "{}"
    link.unlink()
    close_app(create_app(tmp_path / "b"))


def test_a_full_disk_is_told_where_the_whole_build_is_asked_for(asked, monkeypatch):
    import errno

    def full(*_, **__):
        raise OSError(errno.ENOSPC, "No space left on device")

    monkeypatch.setattr(zipfile.ZipFile, "write", full)
    answer = asked.get("/api/build.zip")
    assert answer.status_code == 422 and "the disk is full" in answer.get_json()["problem"]
