"""A gallery's picture in space, in Chromium: at each pixel the member that the frame's picture has there."""

import numpy as np

from recon.frame.boxes import corners
from recon.frame.stock import load_stocks
from recon.show.gallery import GalleryBuild, build_files
from recon.show.picture_camera import PictureCamera, face_map
from tests.workshop.trestles import trestle

DRAWN = """([a, b]) => { turn = a; tilt = b; const into = draw();
  const owner = Array.from(into.owner, k => String.fromCharCode(k + 66)).join('');
  return {wide: into.wide, high: into.high, scale: into.scale, owner}; }"""


def test_members_hide_one_another_as_in_the_frames_own_picture(browser, tmp_path, monkeypatch):
    import recon.show.gallery as gallery

    monkeypatch.setattr(gallery, "OFFERED", ())
    frame = trestle()
    files, _ = build_files(GalleryBuild("a", frame), load_stocks())
    (tmp_path / "index.html").write_bytes(files["index.html"])
    page = browser.new_page(viewport={"width": 640, "height": 480})
    page.goto((tmp_path / "index.html").as_uri())
    points = np.concatenate([corners(m) for m in frame.members])
    middle = (points.min(axis=0) + points.max(axis=0)) / 2
    for turn, tilt in ((0.6, 0.35), (2.5, -0.4), (-1.1, 1.0)):
        drawn = page.evaluate(DRAWN, [turn, tilt])
        size = np.array([drawn["wide"], drawn["high"]])
        right = np.array([np.cos(turn), -np.sin(turn), 0.0])
        towards = np.array([-np.sin(turn) * np.cos(tilt), -np.cos(turn) * np.cos(tilt), np.sin(tilt)])
        flat = PictureCamera(right, np.cross(towards, right), towards, drawn["scale"], np.zeros(2))
        camera = PictureCamera(right, flat.up, towards, flat.scale, size / 2 - flat.project(middle)[0])
        expected = face_map(frame.members, camera, tuple(size))
        expected = np.where(expected < 0, -1, expected // 6)
        found = np.frombuffer(drawn["owner"].encode("ascii"), np.uint8).astype(int).reshape(size[::-1]) - 66
        assert (expected >= 0).mean() > 0.05
        # An edge through the middle of a pixel may be rounded either way.
        assert (found != expected).sum() < 0.002 * (expected >= 0).sum()
    page.close()
