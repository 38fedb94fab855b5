"""Stock from ratios: of the frame, and of a member whose holes are of another size."""

import re

import numpy as np
import pytest

from recon.frame.length import NO_RATIOS, NOT_SURE, parse_known_length
from recon.frame.model import StockUse
from recon.frame.stock import load_stocks, preferred
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


# What photos cannot tell


def chosen(hole, width=1.0, stocks=STOCKS):
    """What is chosen for members with holes of this diameter and this width, pitches."""
    candidates = posts(3)
    scene = scene_of([photo_of(candidates, [hole] * 3)], candidates, width)
    return choose_stock(scene, stocks, None, None, {}, {"made.jpg": 1.0})


@pytest.mark.parametrize("width", [0.6, 1.0, 1.5, 2.0, 2.9])
@pytest.mark.parametrize("hole", [0.08, 0.15, 0.22, 0.25, 0.29, 0.35, 0.44, 0.6])
def test_no_sentence_on_size_is_without_a_pitch_and_no_stock_is_recognised_for_nothing(hole, width):
    use, pitch, doubts = chosen(hole, width)
    assert len(doubts) <= 1 and pitch > 0
    assert all(re.search(r"\d mm", text) and "  " not in text for text in doubts)
    assert (use.how == "assumed") == (use.id == "")
    assert use.how == "assumed" or use.confidence >= 0.01
    assert (use.how == "assumed") == any(text.startswith(NO_RATIOS) for text in doubts)


def test_ratios_of_no_listed_stock_are_not_called_recognised():
    use, pitch, (doubt,) = chosen(0.6)
    assert (use, pitch) == (StockUse("", "assumed", 0.0), 38.1) and doubt.startswith(NO_RATIOS)


def test_pitches_of_like_proportions_are_named_once_in_one_sentence():
    use, pitch, doubts = chosen(0.24)
    (doubt,) = doubts
    assert doubt.startswith(NOT_SURE) and f"{pitch:g} mm is taken" in doubt
    assert "the pitch may be 25, 38.1, 40 or 50 mm" in doubt
    assert STOCKS[use.id].pitch_mm == pitch


def test_the_usual_stock_settles_what_the_photos_cannot():
    use, pitch, doubts = chosen(0.24, stocks=preferred(STOCKS, ["softwood-40"]))
    assert (use.id, pitch, doubts) == ("softwood-40", 40.0, []) and use.confidence > 0.9


def test_the_usual_stock_does_not_stand_against_what_the_photos_show():
    wide = next(s.id for s in STOCKS.values() if s.width > 1.4)
    use, _, _ = chosen(9.5 / PITCH_MM, stocks=preferred(STOCKS, [wide]))
    assert STOCKS[use.id].width == 1.0


def test_a_list_of_ones_own_settles_what_the_photos_cannot(tmp_path):
    own = tmp_path / "own.toml"
    own.write_text(
        '[[stock]]\nid = "ash-32"\nmaterial = "hardwood"\npitch_mm = 32\nwidth_mm = 32\nhole_mm = 8\n'
        'density_kg_m3 = 700\nsource = "measured"\n'
    )
    use, pitch, doubts = chosen(0.25, stocks=load_stocks(own))
    assert (use.id, pitch, doubts) == ("ash-32", 32.0, [])
