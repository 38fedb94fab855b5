"""From a video file to photos: sentences for what is no video, bounds before work, and the pictures kept."""

import subprocess
import weakref

import cv2
import numpy as np
import pytest

from recon.errors import ReconError
from recon.image.photos import find_photos, load_photo, timecode_of
from recon.image.timecode import Timecode
from recon.image.video import chosen as C
from recon.image.video import decoding, files, worker
from recon.image.video.decoding import open_video
from tests.image.video.made import SIZE, on_circle, seen_from, shaken, walk, write_video

RATE = 10.0


@pytest.fixture(scope="module")
def film(tmp_path_factory):
    """A video of a walk of 75 degrees with a rest in the middle; every third picture of it is shaken, and at
    its end the camera sinks to the floor while it still moves on."""
    degrees = [*np.linspace(0, 36, 19), *[36.0] * 15, *np.linspace(38, 75, 20)]
    pictures = [seen_from(on_circle(a)) for a in degrees]
    pictures = [shaken(p) if k % 3 == 1 else p for k, p in enumerate(pictures)]
    sinking = np.linspace(0, 1, 12)
    pictures += [seen_from(on_circle(75 + 10 * s), (0, 1.2 * s, 0)) for s in sinking]
    path = write_video(tmp_path_factory.mktemp("film") / "walk.mp4", pictures, RATE)
    return path, np.concatenate([degrees, 75 + 10 * sinking])


@pytest.fixture(scope="module")
def first(film, tmp_path_factory):
    """What is chosen from the film, and what was told meanwhile."""
    told = []
    folder = tmp_path_factory.mktemp("first") / "photos"
    return C.choose_pictures(film[0], folder, progress=lambda *words: told.append(words)), told


def test_the_pictures_kept_are_sharp_photos_from_all_round(film, first):
    (_, degrees), (kept, told) = film, first
    photos = [load_photo(p) for p in kept.paths]
    assert [p.name for p in photos] == [f"walk_{k:02d}.jpg" for k in range(1, len(photos) + 1)]
    assert 6 <= len(photos) <= 8 and kept.note == "" and {p.size for p in photos} == {SIZE}
    timecodes = [p.timecode for p in photos]
    numbers = np.array([m.number for m in timecodes])
    assert np.all(numbers[numbers < 54] % 3 != 1) and np.all(np.diff(numbers) > 0)
    assert numbers[-1] < 54 + 6  # the floor is not chosen
    assert [m.at_s for m in timecodes] == pytest.approx(numbers / RATE, abs=0.01)
    assert {m.video for m in timecodes} == {"walk.mp4"}
    gaps = np.diff([0, *degrees[numbers], 75])
    assert gaps.max() < 21 and np.all(gaps[1:-1] > 3)  # the rest gave one picture
    shares = [share for _, share in told]
    assert shares == sorted(shares) and shares[-1] == 1 and len(shares) > 20
    shown = photos[0].colour[..., ::-1].astype(int)
    own, other = (np.abs(shown - seen_from(on_circle(degrees[numbers[0]] + d))).mean() for d in (0, 2))
    assert own < other / 2  # what the codec took is less


def test_the_same_video_gives_the_same_pictures_under_names_that_are_free(film, first, tmp_path):
    kept, _ = first
    again = C.choose_pictures(film[0], kept.paths[0].parent)
    other = C.choose_pictures(film[0], tmp_path / "o", taken=["Walk_07.JPG"], most=3)
    assert again.paths[0].name == "walk (2)_01.jpg" and other.paths[-1].name == "walk (2)_03.jpg"
    assert [timecode_of(p) for p in kept.paths] == [timecode_of(p) for p in again.paths]


def test_a_phone_held_upright_gives_upright_pictures(film, tmp_path):
    # The matrix of the track's header (ISO/IEC 14496-12, 8.3.2) for a quarter turn clockwise.
    plain = np.array([1 << 16, 0, 0, 0, 1 << 16, 0, 0, 0, 1 << 30], ">i4").tobytes()
    turned = np.array([0, 1 << 16, 0, -(1 << 16), 0, 0, SIZE[1] << 16, 0, 1 << 30], ">i4").tobytes()
    data = film[0].read_bytes()
    at = data.index(plain, data.index(b"tkhd"))
    (tmp_path / "up.mp4").write_bytes(data[:at] + turned + data[at + len(plain) :])
    with open_video(film[0]) as video, open_video(tmp_path / "up.mp4") as upright:
        picture, up = (next(v.pictures()).bgr for v in (video, upright))
    assert np.abs(np.rot90(picture, -1).astype(int) - up).mean() < 1


def problem(path, folder):
    with pytest.raises(ReconError) as caught:
        C.choose_pictures(path, folder)
    assert not folder.exists() or list(folder.iterdir()) == []
    return str(caught.value)


@pytest.mark.parametrize(
    "data, words",
    [
        (b"", "the file is empty"),
        (b"no video at all, but text" * 20, "this is not a video that can be read"),
        (b"#EXTM3U\n#EXTINF:1,\nhttp://127.0.0.1:9/a.ts\n" * 9, "this is not a video that can be read"),
        (b"\0\0\0\x20ftypisom" + bytes(20) + b"\0\0\0\x08free" + bytes(400), "the video has no index"),
        (b"\x1aE\xdf\xa3" + bytes(500), "cannot be opened: it is damaged, or in a codec that is not known"),
    ],
)
def test_what_is_no_video_is_a_sentence(tmp_path, data, words):
    (tmp_path / "a.mp4").write_bytes(data)
    assert words in problem(tmp_path / "a.mp4", tmp_path / "out")
    assert "there is no such file" in problem(tmp_path / "b.mp4", tmp_path / "out")


def test_a_video_cut_short_is_a_sentence_and_one_damaged_within_gives_what_is_left(film, tmp_path):
    data = film[0].read_bytes()
    (tmp_path / "cut.mp4").write_bytes(data[: len(data) // 2])
    assert "no index" in problem(tmp_path / "cut.mp4", tmp_path / "out")
    avi = write_video(tmp_path / "whole.avi", walk(0, 60, 31), RATE, "MJPG").read_bytes()
    (tmp_path / "part.avi").write_bytes(avi[: len(avi) * 2 // 3])
    kept = C.choose_pictures(tmp_path / "part.avi", tmp_path / "out")
    assert len(kept.paths) >= 4 and "the rest is damaged" in kept.note


def test_a_codec_that_is_not_known_is_said_to_be_so(tmp_path):
    data = write_video(tmp_path / "a.avi", walk(0, 20, 5), RATE, "MJPG").read_bytes()
    (tmp_path / "odd.avi").write_bytes(data.replace(b"MJPG", b"ZQ9Z"))
    said = problem(tmp_path / "odd.avi", tmp_path / "out")
    assert "in a codec that is not known" in said and "save it as MP4 (H.264)" in said


def test_a_camera_that_does_not_move_or_only_turns_is_a_sentence(tmp_path):
    still = write_video(tmp_path / "still.mp4", [seen_from(on_circle(0))] * 20)
    turns = [seen_from(on_circle(0), (x, 0, 0)) for x in np.linspace(0, 0.5, 25)]
    for path in (still, write_video(tmp_path / "turns.mp4", turns)):
        assert "the camera hardly moves" in problem(path, tmp_path / "out")


def test_bounds_hold_before_any_work(film, tmp_path, monkeypatch):
    small = write_video(tmp_path / "small.avi", [np.zeros((120, 160, 3), np.uint8)] * 3, codec="MJPG")
    with pytest.raises(ReconError, match="too small to see holes"), open_video(small):
        pass
    monkeypatch.setattr(files, "MOST_BYTES", 1000)
    with pytest.raises(ReconError, match="more than the 0 GB"), open_video(film[0]):
        pass
    monkeypatch.undo()
    monkeypatch.setattr(decoding, "MOST_PIXELS", 1000)
    with pytest.raises(ReconError, match="480 x 360 px, more than"), open_video(film[0]):
        pass
    monkeypatch.undo()
    monkeypatch.setattr(decoding, "MOST_SECONDS", 3.0)
    with pytest.raises(ReconError, match="cut it"), open_video(film[0]):
        pass


def test_a_header_that_says_less_than_there_is_does_not_get_round_the_bounds(film, monkeypatch):
    with open_video(film[0]) as video:
        monkeypatch.setattr(decoding, "MOST_SECONDS", 2.0)
        with pytest.raises(ReconError, match="cut it"):
            list(video.pictures())


@pytest.mark.parametrize("program", ["import os; os.abort()", 'print(\'{"share": 0.1, "stage": "a"}\')', "x"])
def test_a_codec_that_ends_its_process_is_a_sentence(film, tmp_path, monkeypatch, program):
    real = subprocess.Popen
    monkeypatch.setattr(C.subprocess, "Popen", lambda c, **more: real([c[0], "-c", program], **more))
    assert "its codec failed on it" in problem(film[0], tmp_path / "out")


def test_a_codec_that_never_ends_is_ended(film, tmp_path, monkeypatch):
    real = subprocess.Popen
    forever = "import time\nwhile True: time.sleep(1)"
    monkeypatch.setattr(C.subprocess, "Popen", lambda c, **more: real([c[0], "-c", forever], **more))
    monkeypatch.setattr(C, "PATIENCE_S", 0.2)
    assert "its codec failed on it" in problem(film[0], tmp_path / "out")


def test_pictures_are_not_held_in_memory(film, monkeypatch):
    held = []
    real = worker.edge_contrasts

    def counted(bgr):
        held.append(weakref.ref(bgr))
        assert sum(picture() is not None for picture in held) <= 2  # it and the one before
        return real(bgr)

    monkeypatch.setattr(worker, "_print", lambda **_: None)
    monkeypatch.setattr(worker, "edge_contrasts", counted)
    assert len(worker.look_through(film[0]).number) == len(held) == 54 + 12


def test_videos_in_a_folder_are_found_but_not_those_of_live_pictures(film, tmp_path):
    for name in ("IMG_1.jpg", "img_1.MOV", "walk.mov", ".hidden.mp4"):
        (tmp_path / name).write_bytes(b"x")
    assert [p.name for p in find_photos([tmp_path], videos=True)] == ["IMG_1.jpg", "walk.mov"]
    assert [p.name for p in find_photos([tmp_path])] == ["IMG_1.jpg"]


def test_a_moment_survives_its_text_and_others_texts_are_none(tmp_path):
    timecode = Timecode("gr?n walk.mp4", 7, 0.25)
    assert Timecode.from_text(Timecode("grün walk.mp4", 7, 0.25).text()) == timecode
    assert Timecode.from_text("a holiday") is None and Timecode.from_text(None) is None
    cv2.imwrite(str(tmp_path / "a.jpg"), np.zeros((400, 400, 3), np.uint8))
    assert timecode_of(tmp_path / "a.jpg") is None and timecode_of(tmp_path / "none.jpg") is None
