"""Videos on the page: sent, their pictures chosen in the background and kept as photos, their path drawn."""

import json

import pytest
from flask import request

from tests import waiting
from tests.image.video.made import on_circle, seen_from, walk, write_video
from tests.webui.browsing import PAINTED, sample_build, shot, until
from tests.webui.in_page import in_page
from webui.storage import video_store
from webui.storage.build import LEVELS

PICTURES = ("photo_1.jpg", "photo_2.jpg", "photo_3.jpg")


@pytest.fixture(scope="module")
def film(tmp_path_factory):
    return write_video(tmp_path_factory.mktemp("film") / "walk round.mp4", walk(0, 50, 26))


def sent(asked, data, name="walk round.mp4"):
    """What became of a video that was sent, once that is known."""
    answer = asked.post("/api/videos", data=data, X_Photo_Name=name)
    if answer.status_code != 200:
        return answer.get_json()
    key = answer.get_json()["video"]
    waiting.until(lambda: not asked.get(f"/api/videos/{key}").get_json()["running"], "the choice of pictures")
    waiting.until(lambda: list((asked.build.folder / LEVELS).glob(".video-*")) == [], "the video's end")
    return asked.get(f"/api/videos/{key}").get_json()


def test_a_videos_pictures_become_photos_once(asked, film):
    status = sent(asked, film.read_bytes())
    assert status["problem"] is None and status["share"] == 1
    photos = asked.get("/api/build").get_json()["photos"]
    assert status["photos"] == [p["name"] for p in photos] and len(photos) >= 6
    assert photos[0]["name"] == "walk round_01.jpg" and photos[0]["size"] == [480, 360]
    assert [p["timecode"]["video"] for p in photos] == ["walk round.mp4"] * len(photos)
    assert "is here already" in sent(asked, film.read_bytes())["problem"]
    assert asked.get("/api/build").get_json()["photos"] == photos


def test_what_gives_no_pictures_is_a_sentence_and_leaves_nothing(asked, tmp_path, monkeypatch):
    still = write_video(tmp_path / "still.mp4", [seen_from(on_circle(0))] * 12)
    assert "hardly moves" in sent(asked, still.read_bytes())["problem"]
    assert "not a video that can be read" in sent(asked, b"text" * 200, "../../a b.mov")["problem"]
    assert "the file is empty" in sent(asked, b"")["problem"]
    monkeypatch.setattr(video_store, "MOST_BYTES", 100)
    assert "larger than" in sent(asked, b"x" * 200)["problem"]
    monkeypatch.setattr(video_store, "MOST_PHOTOS", 0)
    assert "take some out first" in sent(asked, b"x" * 20)["problem"]
    assert asked.build.photo_files() == [] and list((asked.build.folder / LEVELS).glob(".video-*")) == []
    assert asked.get("/api/videos/none").status_code == 404


def test_only_videos_may_be_larger_than_photos(asked):
    most = {}
    for path in ("/api/videos", "/api/photos", "/api/edit", "/api/videos/x"):
        with asked.app.test_request_context(path, method="POST"):
            most[path] = request.max_content_length
    assert most.pop("/api/videos") == video_store.MOST_BYTES > 2 * max(most.values())


def test_a_page_that_closes_ends_the_choice(asked, film, monkeypatch):
    begun = []
    real = video_store.choose_pictures

    def choose(*given, started, **more):
        return real(
            *given, **more, started=lambda process: (begun.append(process), store.close(), started(process))
        )

    store = asked.app.extensions["app_context"].videos
    monkeypatch.setattr(video_store, "choose_pictures", choose)
    assert "its codec failed" in sent(asked, film.read_bytes())["problem"]
    assert begun[0].poll() is not None and asked.build.photo_files() == []


def test_a_dropped_video_becomes_photos_and_a_path_is_drawn_in_3d(opened, serve, tmp_path, film):
    folder = sample_build(tmp_path / "build")
    for k, name in enumerate(PICTURES):  # as if the sample's photos were pictures of a video
        path = folder / LEVELS / name / "size.json"
        timecode = {"video": "walk.mp4", "number": 30 * k, "at_s": 1.0 * k}
        path.write_text(json.dumps(json.loads(path.read_text()) | {"timecode": timecode}))
    page = opened(serve(folder).address)
    until(page, PAINTED)
    painted = in_page("views.space.paintNow(); return views.space.labels.toDataURL();")
    until(page, in_page("return build.photos.filter(p => p.timecode && p.eye).length === 3;"))
    page.evaluate(in_page("views.space.zoom(2.5);"))
    with_path = page.evaluate(painted)
    shot(page, "video-path")
    page.evaluate(in_page("layers.path = false;"))
    assert page.evaluate(painted) != with_path

    with page.expect_file_chooser() as dialog:
        page.click("#more-photos")
    dialog.value.set_files(str(film))
    page.wait_for_selector("#sending progress")
    shot(page, "video-sending")
    page.wait_for_selector("figure[data-photo='walk round_06.jpg']")
    page.wait_for_selector("#sending:has-text('pictures are in the build')")
    until(page, in_page("return build.photos.filter(p => p.name.startsWith('walk round')).length >= 6;"))
    page.evaluate("(async () => { const {pulse} = await import('/static/core/pulse.js'); await pulse(); })()")
    assert page.query_selector("#messages p") is None  # its own photos are no news from another device
    shot(page, "video-taken")
