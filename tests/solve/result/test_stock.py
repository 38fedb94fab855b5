"""Stock from ratios: of the frame, and of a member whose holes are of another size."""

import numpy as np
import pytest

from recon.frame.length import parse_known_length
from recon.frame.model import StockUse
from recon.frame.stock import load_stocks
from recon.geometry.camera import Camera
from recon.image.openings import OPENING
from recon.solve.evidence.candidate import Candidate
from recon.solve.evidence.posed_photo import make_posed_photo
from recon.solve.evidence.predictions import member_openings
from recon.solve.result.stock import choose_stock, measured_hole, member_stocks
from tests.solve.scenes import scene_of

STOCKS = load_stocks()
PITCH_MM = 38.1


def camera():
    """From the front, a little to the right and above, 30 pitches off."""
    z = np.array([-0.35, 0.85, -0.4])
    z /= np.linalg.norm(z)
    x = np.cross(z, [0, 0, 1.0])
    x /= np.linalg.norm(x)
    R = np.array([x, np.cross(z, x), z])
    return Camera(1800.0, 999.5, 749.5, R=R, t=-R @ (np.array([5.0, 0, 5.0]) - 30 * z))


def photo_of(candidates, holes):
    """A photo of upright candidates apart from one another, each with holes of its own diameter (pitches)."""
    cam, rows = camera(), []
    for s, hole in zip(candidates, holes):
        X, n = member_openings(s.axis, s.first, s.holes, 1.0)
        for face, normal in zip(X, n):
            to_eye = cam.centre - face
            facing = to_eye @ normal / np.linalg.norm(to_eye, axis=1)
            depth = (face @ cam.R.T + cam.t)[:, 2]
            px = cam.project(face)
            for p, d, c in zip(px, depth, facing):
                if c > 0.2:
                    # Apparent holes are a little smaller than true ones; the solver allows for that.
                    major = 0.94 * hole * cam.f / d
                    rows.append((p[0], p[1], major, max(major * c, 1.0), 1.57, -0.3, 5.0))
    return make_posed_photo("made.jpg", cam, (2000, 1500), np.array(rows, OPENING), 0.94 * holes[0])


def posts(count):
    return [
        Candidate(2, np.array([4.0 * i, 0.0, 0.0]), 11, 200.0, np.full(11, 9.0), np.full(11, 1))
        for i in range(count)
    ]


@pytest.mark.parametrize("hole_mm", [8.0, 9.5, 11.1])
def test_the_hole_is_measured_within_the_expected_spread(hole_mm):
    candidates = posts(3)
    hole, count = measured_hole(scene_of([photo_of(candidates, [hole_mm / PITCH_MM] * 3)], candidates))
    assert count > 40 and hole == pytest.approx(hole_mm / PITCH_MM, rel=0.07)


def test_a_member_with_clearly_larger_holes_is_of_another_stock():
    candidates = posts(4)
    photo = photo_of(candidates, [8.0 / PITCH_MM] * 3 + [11.1 / PITCH_MM])
    got = member_stocks(scene_of([photo], candidates), STOCKS, StockUse("softwood-38-8"), PITCH_MM)
    assert got[:3] == ["softwood-38-8"] * 3
    assert got[3] != "softwood-38-8" and STOCKS[got[3]].hole_mm == pytest.approx(11.1, abs=0.1)


def test_members_of_one_stock_keep_it():
    candidates = posts(4)
    photo = photo_of(candidates, [9.5 / PITCH_MM] * 4)
    assert (
        member_stocks(scene_of([photo], candidates), STOCKS, StockUse("softwood-38"), PITCH_MM)
        == ["softwood-38"] * 4
    )


def test_a_stock_named_by_the_user_gives_the_pitch():
    candidates = posts(3)
    photo = photo_of(candidates, [9.5 / PITCH_MM] * 3)
    use, pitch, _ = choose_stock(
        scene_of([photo], candidates), STOCKS, "softwood-38", None, {}, {"made.jpg": 1.0}
    )
    assert (use.id, use.how, pitch) == ("softwood-38", "given", 38.1)


@pytest.mark.parametrize(
    "stock_id, mm, pitch, how, doubted",
    [
        # 0.4 mm over 16 holes: no tape tells it from the stock's 609.6 mm.
        (None, 610.0, 38.1, "length", False),
        # 17.6 mm: another stock, of none that is listed.
        (None, 592.0, 37.0, "length", False),
        ("softwood-38", 611.0, 38.1, "given", False),
        # 30 mm: what was measured holds, and the difference is put into words.
        ("softwood-38", 640.0, 40.0, "given", True),
    ],
)
def test_a_measured_length_gives_the_pitch_or_the_stock_whose_pitch_no_tape_tells_from_it(
    stock_id, mm, pitch, how, doubted
):
    candidates = posts(2)
    photo = photo_of(candidates, [9.5 / PITCH_MM] * 2)
    length = parse_known_length(f"16 holes = {mm:g} mm")
    use, got, doubts = choose_stock(
        scene_of([photo], candidates), STOCKS, stock_id, length, {}, {"made.jpg": 1.0}
    )
    assert (got, use.how) == (pytest.approx(pitch), how)
    assert any("more than measuring explains" in d for d in doubts) == doubted
