"""Each kind of made photographs has its imperfections, and a truth that is true of them."""

import json
import subprocess
import sys
from functools import lru_cache
from pathlib import Path

import cv2
import numpy as np
import pytest
from PIL import Image

from tests.render.cameras import Camera
from tests.render.decoys import STYLES as DECOYS
from tests.render.decoys import decoy_of
from tests.render.frames import STOCK, frame_of
from tests.render.kinds import KINDS, cameras, faces_of
from tests.render.make import corners_of, make_frame, quick_frame
from tests.render.scenes import extent
from tests.render.viewpoints import cameras_close, cameras_cropped, facing, shows_whole, turned_to

ROOT = Path(__file__).parents[2]
REFERENCE = ROOT / "tests" / "data" / "render"


@lru_cache
def quick(kind, seed=5, **more):
    return quick_frame(seed=seed, members=4, kind=kind, **({"photos": 2} | more))


def camera_of(photo):
    rest = (photo[k] for k in ("f", "cx", "cy", "k1", "k2"))
    return Camera(tuple(photo["size"]), *rest, np.array(photo["R"]), np.array(photo["t"]))


@pytest.mark.parametrize(
    "name, more",
    [
        ("grown_5", {"seed": 5, "long_side": 160}),
        ("shelf_8", {"seed": 8, "long_side": 120, "style": "shelf", "stock": "post44", "light": "lamp"}),
    ],
)
def test_plain_frames_are_as_they_were_before_there_were_kinds(name, more):
    """The references were made by the renderer that knew only plain frames."""
    pictures, _ = quick_frame(spp=1, photos=2 if name == "grown_5" else 1, **more)
    was = np.asarray(Image.open(REFERENCE / f"{name}.png")).astype(int)
    # Another processor's last bits may send a ray elsewhere; another frame, camera or light would change all.
    assert np.mean(np.abs(pictures[0] - was).max(axis=2) > 1) < 0.002


@pytest.mark.parametrize("kind", [k for k in KINDS if k != "decoy"])
def test_a_number_is_the_same_lattice_in_every_kind(kind):
    _, truth = quick(kind, long_side=240, spp=1)
    _, plain = quick("plain", long_side=240, spp=1)
    lattice = [{k: s[k] for k in ("axis", "at", "holes")} for s in truth["sticks"]]
    assert lattice == plain["sticks"] and truth["bolts"] == plain["bolts"]
    real = [("real" in s) for s in truth["sticks"]]
    assert all(real) if kind in ("handbuilt", "web") or KINDS[kind].every == 3 else not any(real)
    assert ("racked_deg" in truth) == all(real) and truth["style"] == kind


@pytest.mark.parametrize("kind", ["handbuilt", "web", "telephone", "closeup"])
def test_openings_are_darker_than_the_face_between_them(kind):
    pictures, truth = quick(kind, long_side=600, spp=1, stock="post44")
    inside, between = [], []
    for picture, photo in zip(pictures, truth["photos"]):
        grey = cv2.GaussianBlur(cv2.cvtColor(picture, cv2.COLOR_RGB2GRAY), (0, 0), 0.8).astype(np.float32)
        cam = camera_of(photo)
        seen = {
            (h["stick"], tuple(np.rint(h["normal"])), h["hole"]): np.array(h["xy"], np.float32)
            for h in photo["holes"]
            if h["seen"] == 8 and h["px"] >= 5 and abs(np.array(h["normal"]) @ cam.R[2]) > 0.5
        }
        for (stick, normal, hole), xy in seen.items():
            beside = seen.get((stick, normal, hole + 1))
            if beside is not None:
                places = np.array([xy, (xy + beside) / 2])
                a, b = cv2.remap(grey, places[:, :1], places[:, 1:], cv2.INTER_LINEAR)[:, 0]
                inside.append(a), between.append(b)
    # Not all: a hole may show lit ground, and things in use stand before others' light.
    assert len(inside) > 30
    assert np.mean(np.array(inside) < 0.9 * np.array(between)) > 0.75


def test_cropped_pictures_have_their_principal_point_off_the_middle():
    frame = frame_of("box", STOCK["wood8"], 1)
    points, (lo, _) = corners_of(frame), extent(frame)
    off, sides = [], []
    for seed in range(15):
        for cam in cameras_cropped(np.random.default_rng(seed), points, lo[2], 2):
            w, h = cam.size
            off.append(np.abs((cam.cx - (w - 1) / 2, cam.cy - (h - 1) / 2)) / w)
            sides.append(max(w, h))
            xy, depth = cam.project(points)
            assert depth.min() > 0 and np.mean(np.all((xy > 0) & (xy < cam.size), axis=1)) > 0.9
    assert 0.1 < np.max(off) <= 0.15 and np.mean(np.max(off, axis=1) > 0.03) > 0.5
    assert 400 <= min(sides) < 600 and 1000 < max(sides) <= 1400


def test_a_turned_camera_shows_the_same_thing_elsewhere_from_the_same_place():
    cam = camera_of(quick("plain", long_side=240, spp=1)[1]["photos"][0])
    new = turned_to(cam, (40, 60), (100, 80))
    o, d = cam.rays(np.array([40.0]), np.array([60.0]))
    assert new.project((o + 30 * d).T)[0][0] == pytest.approx((100, 80), abs=0.01)
    assert new.place == pytest.approx(cam.place)


def test_no_close_up_shows_the_whole_and_six_go_all_round():
    for seed, style in ((1, "box"), (2, "grown"), (3, "bench")):
        frame = frame_of(style, STOCK["wood8"], seed)
        points, (lo, _), faces = corners_of(frame), extent(frame), faces_of(frame)
        cams, _ = cameras_close(np.random.default_rng(seed), points, lo[2], 6, 800, faces, 0.125)
        assert len(cams) == KINDS["closeup"].photos == 6
        assert not any(shows_whole(cam, points) for cam in cams)
        assert min(facing(cam, faces) for cam in cams) >= 13
        ways = np.sort([np.arctan2(*-cam.R[2, 1::-1]) for cam in cams])
        assert np.diff([*ways, ways[0] + 2 * np.pi]).max() < np.deg2rad(130)


@pytest.mark.parametrize("style", DECOYS)
def test_a_decoy_shows_something_and_has_no_member(style):
    pictures, truth = quick("decoy", seed=3, style=style, photos=1, long_side=200, spp=1)
    assert truth["sticks"] == truth["bolts"] == truth["photos"][0]["holes"] == []
    assert truth["name"] == style and truth["style"] == "decoy"
    decoy, cam = decoy_of(3, style), camera_of(truth["photos"][0])
    xy, _ = cam.project(decoy.corners())
    (x0, y0), (x1, y1) = (np.clip(f(axis=0), 0, cam.size).astype(int) for f in (xy.min, xy.max))
    assert (x1 - x0) * (y1 - y0) > 0.1 * np.prod(cam.size)
    assert pictures[0][y0:y1, x0:x1].std() > 8


@pytest.mark.parametrize("style", ["perforated", "dots", "fence"])
def test_a_standing_decoy_is_seen_from_its_front_or_back(style):
    for seed in range(4):
        decoy = decoy_of(seed, style)
        rng = np.random.default_rng([seed, 4])
        cams, _ = cameras("decoy", decoy, decoy.corners(), rng, 0.0, 3, 200)
        assert all(decoy.faces(cam.place) for cam in cams)
        edge = decoy.panels[0].mid + 50 * decoy.panels[0].rot[0]
        assert not decoy.faces(edge)


def test_a_channel_has_one_finish():
    for piece in range(0, len(panels := decoy_of(4, "channel").panels), 3):
        assert len({id(p.material) for p in panels[piece : piece + 3]}) == 3  # each is placed by itself
        assert len({p.material.albedo for p in panels[piece : piece + 3]}) == 1


def test_decoys_come_by_turns():
    assert [decoy_of(n).style for n in range(len(DECOYS))] == list(DECOYS)
    assert decoy_of(4).corners() == pytest.approx(decoy_of(4).corners())


def test_pictures_of_the_web_are_hand_built_frames_without_exif(tmp_path):
    make_frame(1, tmp_path, spp=1, photos=2, long_side=120, kind="web", say=lambda *a, **k: None)
    truth = json.loads((tmp_path / "web001" / "truth.json").read_text())
    assert truth["name"] == "cube" and len(truth["sticks"]) == 12 and truth["style"] == "web"
    assert all("real" in s for s in truth["sticks"])
    for photo in truth["photos"]:
        assert photo["exif_f35"] is None and photo["holes"]
        with Image.open(tmp_path / "web001" / photo["file"]) as picture:
            assert list(picture.size) == photo["size"] and not picture.getexif().get_ifd(0x8769)


def test_a_whole_data_set_is_made_by_the_kinds_name(tmp_path):
    command = [sys.executable, "-m", "tests.render", tmp_path, "1", "2", "--kind", "decoy"]
    command += ["--photos", "1", "--long-side", "80", "--spp", "1"]
    subprocess.run(command, cwd=ROOT, check=True, capture_output=True)
    truth = json.loads((tmp_path / "decoy001" / "truth.json").read_text())
    assert truth["sticks"] == [] and truth["photos"][0]["file"] == "photo_1.jpg"
    with Image.open(tmp_path / "decoy001" / "photo_1.jpg") as picture:
        assert list(picture.size) == truth["photos"][0]["size"]
    wrong = subprocess.run([*command[:-7], "nonsense"], cwd=ROOT, capture_output=True, text=True)
    assert wrong.returncode == 2 and "handbuilt" in wrong.stderr
