"""The reading behind the page: progress that only goes forward, cancelling that changes nothing, faults in
words."""

import pytest

from recon.corrections.model import MeasuredLength
from recon.frame.stock import load_stocks
from recon.frame.usual_stock import set_usual_stock
from tests.waiting import until
from tests.webui import known_reader
from tests.webui.browsing import SAMPLE, sample_build
from tests.webui.conftest import Asked
from webui.app import close_app, create_app


@pytest.fixture
def sample(tmp_path, monkeypatch, forking):
    """A page for a build of the sample's photos, with the known reader."""
    monkeypatch.setenv("KNOWN_FRAME", str(SAMPLE))
    folder = sample_build(tmp_path / "b")
    (folder / "frame.json").unlink()
    app = create_app(folder, port=8174, solver="tests.webui.known_reader")
    yield Asked(app, app.test_client(), "http://127.0.0.1:8174")
    close_app(app)


def followed(asked):
    """What was told until the reading ended."""
    told = []

    def ended():
        told.append(asked.get("/api/pulse").get_json()["job"])
        return not told[-1]["running"]

    until(ended, "the end of the reading")
    return told


def test_a_reading_tells_how_far_it_is_and_ends_in_the_journal(sample):
    assert sample.post("/api/read", json={}).get_json()["running"]
    told = followed(sample)
    shares = [t["share"] for t in told]
    assert shares == sorted(shares) and shares[-1] == 1 and told[-1]["problem"] is None
    frame = sample.build.state.frame
    assert (
        len(frame.members) == len(known_reader.wrong_frame().members)
        and sample.build.can()["undo"] == f"Read: {len(frame.members)} members"
    )
    found = sample.get("/api/photos/photo_1.jpg/found").get_json()
    assert len(found["openings"]) == sum(m.holes for m in frame.members)
    assert {p["name"]: p["camera"] for p in sample.get("/api/build").get_json()["photos"]} == {
        f"photo_{k}.jpg": True for k in (1, 2, 3)
    }


def test_a_cancelled_reading_changes_nothing(sample, monkeypatch):
    monkeypatch.setenv(known_reader.SLOW, "20")
    sample.post("/api/read", json={})
    assert sample.post("/api/read", json={}).status_code == 422  # one at a time
    sample.post("/api/read/cancel", json={})
    told = followed(sample)[-1]
    assert told["cancelled"] and told["problem"] is None and sample.build.n == 0


def test_once_the_page_is_closed_no_reading_begins(sample):
    sample.app.extensions["app_context"].reading.close()
    assert "closed" in sample.post("/api/read", json={}).get_json()["problem"]


def test_a_fault_of_the_reader_is_told_and_the_build_stays(sample, monkeypatch):
    monkeypatch.setenv("KNOWN_FRAME", "/nowhere")
    sample.post("/api/read", json={})
    told = followed(sample)[-1]
    assert (
        "fault in the reader" in told["problem"]
        and "FileNotFoundError" in told["problem"]
        and sample.build.n == 0
    )


def test_photos_set_aside_are_not_read(sample):
    sample.post("/api/read", json={})
    followed(sample)
    sample.edit(op="photo", file="photo_2.jpg", used=False)
    sample.post("/api/read", json={})
    followed(sample)
    used = {p.file: (p.used, p.camera is not None) for p in sample.build.state.frame.photos}
    assert used == {"photo_1.jpg": (True, True), "photo_2.jpg": (False, False), "photo_3.jpg": (True, True)}


def test_a_length_that_is_none_is_refused_before_anything_is_read(sample):
    answer = sample.post("/api/read", json={"length": "about a metre"})
    assert answer.status_code == 422 and not sample.get("/api/pulse").get_json()["job"]["running"]


def test_without_photos_the_page_says_what_to_do(asked):
    assert "Add photos first" in asked.post("/api/read", json={}).get_json()["problem"]


def test_an_edit_made_while_photos_are_read_is_kept(sample, monkeypatch):
    sample.post("/api/read", json={})
    followed(sample)
    monkeypatch.setenv(known_reader.SLOW, "0.3")
    sample.post("/api/read", json={})
    before = sample.build.state.frame.member("C").holes
    assert sample.edit(op="end", member="C", end=1, by=4).status_code == 200
    followed(sample)
    assert sample.build.state.frame.member("C").holes == before + 4


def test_a_plan_is_held_against_the_build(asked):
    from dataclasses import replace

    from recon.frame.files import frame_to_text
    from tests.corrections.frames import gate

    asked.build.change(lambda _: (gate(), "Read"), kind="reading")
    assert asked.get("/api/audit").status_code == 422
    plan = replace(
        gate().frame,
        members=tuple(replace(m, holes=16) if m.id == "D" else m for m in gate().frame.members),
        joints=(),
    )
    assert asked.post("/api/plan", data=frame_to_text(plan).encode()).get_json()["members"] == 4
    told = asked.get("/api/audit").get_json()
    assert told["verdict"] == "different" and any(
        "D" in d["members"] and "16" in d["text"] for d in told["differences"]
    )
    asked.edit(op="end", member="D", end=1, by=3)
    assert asked.get("/api/audit").get_json()["verdict"] != "different" or not any(
        d["kind"] == "length" for d in asked.get("/api/audit").get_json()["differences"]
    )


def test_checks_and_parts_follow_the_frame(asked):
    from tests.corrections.frames import gate

    asked.build.change(lambda _: (gate(), "Read"), kind="reading")
    parts = asked.get("/api/effects?what=parts").get_json()["parts"]
    assert [(m["count"], m["holes"]) for m in parts["members"]] == [(2, 13), (2, 12)]
    checks = asked.get("/api/effects?what=checks").get_json()["checks"]
    assert (
        checks["freedom"] == 1 and checks["findings"][0]["kind"] == "motion"
    )  # a four-bar linkage of single bolts: textbook, one way
    for lap in checks["findings"][0]["laps"]:
        asked.edit(op="may_turn", lap=lap, wanted=True)
    again = asked.get("/api/effects?what=checks").get_json()["checks"]
    assert (again["freedom"], again["wanted"], again["findings"]) == (1, 1, [])


def test_stock_and_length_told_with_a_reading_are_the_users_word_for_all_that_follow(sample):
    sample.post("/api/read", json={"stock": "softwood-40", "length": "16 holes = 610 mm"})
    assert followed(sample)[-1]["problem"] is None
    corrections = sample.build.state.corrections
    assert corrections.stock_given and corrections.measured == MeasuredLength(610.0, 16, None)
    pitch = sample.build.state.frame.pitch_mm
    sample.edit(op="scale", text="10 holes = 400 mm")
    sample.post("/api/read", json={})  # nothing told now: what was said holds
    followed(sample)
    assert sample.build.state.frame.pitch_mm == 40 != pitch
    assert sample.build.state.corrections.measured.pitches == 10
    sample.post("/api/read", json={"length": "A = 610 mm"})  # the newer word stands in place of the older
    followed(sample)
    holes = sample.build.state.frame.member("A").holes
    assert sample.build.state.frame.pitch_mm == pitch
    assert sample.build.state.corrections.measured == MeasuredLength(610.0, holes, "A")


def test_solving_again_says_what_became_of_which_member_and_where_the_photos_differ(sample):
    sample.post("/api/read", json={})
    followed(sample)
    sample.edit(op="end", member="A", end=1, by=-1)
    sample.edit(op="end", member="C", end=1, by=2)
    sample.post("/api/read", json={})
    followed(sample)
    assert (
        sample.build.can()["undo"] == "Solved again: no member changed. In 2 places you and the photos differ"
    )


def test_what_a_reader_prints_is_not_taken_for_an_answer(sample, tmp_path, monkeypatch):
    (tmp_path / "chatty.py").write_text(
        "from tests.webui import known_reader\ndef read(*a, **k):\n    print('hello', flush=True)\n"
        "    return known_reader.read(*a, **k)\n"
    )
    monkeypatch.setenv("PYTHONPATH", str(tmp_path))
    sample.app.extensions["app_context"].reading.solver = "chatty"
    sample.post("/api/read", json={})
    assert followed(sample)[-1]["problem"] is None and sample.build.n == 1


def test_a_reader_that_dies_is_told_by_how_it_ended(sample, tmp_path, monkeypatch):
    monkeypatch.setenv("PYTHONPATH", str(tmp_path))
    reading = sample.app.extensions["app_context"].reading
    for name, line, words in (
        ("killed", "os.kill(os.getpid(), 9)", "want of memory"),
        ("gone", "os._exit(7)", "exit status 7"),
    ):
        (tmp_path / f"{name}.py").write_text(
            f"import os\ndef read(photos, *, stocks, stock_id, length, progress):\n    {line}\n"
        )
        reading.solver = name
        sample.post("/api/read", json={})
        assert words in followed(sample)[-1]["problem"] and sample.build.n == 0


def test_the_pages_reading_prefers_the_usual_stock(tmp_path, monkeypatch):
    for name in ("XDG_CONFIG_HOME", "APPDATA"):
        monkeypatch.setenv(name, str(tmp_path / "settings"))
    set_usual_stock("softwood-40", load_stocks())
    app = create_app(tmp_path / "b", port=8174)
    stocks = app.extensions["app_context"].reading.stocks
    close_app(app)
    assert max(stocks.values(), key=lambda s: s.prior).id == "softwood-40"
