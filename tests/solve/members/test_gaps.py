"""Rails in line with a gap between them, and one long rail whose middle something hides: made-up photos."""

from dataclasses import replace

import numpy as np

from recon.bench.made_photos import draw
from recon.frame.model import Frame, Member
from recon.solve.evidence.candidate import Candidate, EndGuess
from recon.solve.members.gaps import with_gaps
from recon.solve.members.lines import known_lines
from recon.solve.members.selection import select_members
from tests.solve.scenes import SIZE, camera_round, candidates_of, photo_of, scene_of, shoot

ALONG, UP = (1.0, 0.0, 0.0), (0.0, 0.0, 1.0)
# Behind, where the rails may stop.
POSTS = [Member(f"P{x}", (float(x), -5.0, -8.0), UP, 17) for x in range(11, 19, 2)]
TWO = [Member("A", (0.0, 0.0, 0.0), ALONG, 10), Member("B", (20.0, 0.0, 0.0), ALONG, 10)]
ONE = [Member("A", (0.0, 0.0, 0.0), ALONG, 30)]
AZIMUTHS = (70, 95, 120)  # degrees: before the rails


def read(members, hidden=False, pictures=False):
    """Holes of the rails found on their line; hidden: nothing is seen where the middle would be."""
    frame = Frame(tuple(members), (), 38.1)
    photos, drawn = [], []
    for k, azimuth in enumerate(AZIMUTHS):
        camera = camera_round(frame, azimuth, 15 + 5 * k)
        shot = shoot(frame, camera, k, clutter=0)
        if hidden:
            px = camera.project(np.array([[x, 0.5, 0.5] for x in (9.7, 19.3)]))
            x = shot.openings["x"]
            shot = replace(shot, openings=shot.openings[(x < px[:, 0].min()) | (x > px[:, 0].max())])
        photos.append(photo_of(shot, f"photo_{k}"))
        drawn.append(draw(frame, camera, SIZE, k) if pictures else None)
    whole = Candidate.bare(0, [0.0, 0.0, 0.0], 30)
    lines = known_lines([whole, *(c for c in candidates_of(frame) if c.axis == 2)])
    found = select_members(scene_of(photos), lines)
    assert [c.holes for c in found.candidates if c.axis == 0] == [30]
    found = replace(found, pictures=dict(zip((p.name for p in photos), drawn)) if pictures else {})
    return sorted(c.holes for c in with_gaps(found).candidates if c.axis == 0)


def test_rails_in_line_are_two_where_posts_are_seen_between_them():
    lengths = read([*TWO, *POSTS])
    assert len(lengths) == 2 and max(lengths) <= 12  # holes next to the gap may be openings of a post


def test_a_rail_whose_middle_is_hidden_with_all_behind_it_stays_one():
    assert read([*ONE, *POSTS], hidden=True) == [30]


def test_rails_in_line_before_nothing_are_two_where_edges_show_their_ends():
    assert read(TWO, pictures=True) == [10, 10]


def test_pieces_must_be_held_to_be_members():
    """The same pictures: two rails where each laps two posts, one where each would lap a single one."""

    def posts(places):
        return [Member(f"P{x}", (float(x), -1.0, -4.0), UP, 9) for x in places]

    assert read([*TWO, *posts((1, 8, 21, 28))], pictures=True) == [10, 10]
    assert read([*TWO, *posts((1, 28))], pictures=True) == [30]


def test_ends_of_other_members_tell_that_two_are_in_line():
    """Nothing is seen of the middle; all other rails end in the same planes as each of the two."""
    shot = shoot(Frame(tuple(TWO), (), 38.1), camera_round(Frame(tuple(TWO), (), 38.1), 90, 15), 0, clutter=0)
    photo = photo_of(replace(shot, openings=shot.openings[:1]), "photo")
    seen = np.r_[np.ones(10), np.zeros(10), np.ones(10)]
    whole = Candidate(0, np.array([0.0, 0.0, -90.0]), 30, 120.0, 6 * seen, seen.astype(int))
    rails = [Candidate.bare(0, [x, y, -90.0], 10) for y in (3.0, 6.0, 9.0) for x in (0.0, 20.0)]
    scene = scene_of([photo])
    certain = [
        tuple(EndGuess(np.array([k]), np.zeros(1), False) for k in (0, c.holes - 1)) for c in [whole, *rails]
    ]
    for ends, holes in (((), [30]), (certain, [10, 10])):
        found = with_gaps(scene.with_candidates([whole, *rails], ends)).candidates
        assert sorted(c.holes for c in found if c.first[1] == 0) == holes
