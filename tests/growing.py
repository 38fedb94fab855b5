"""Random frames that could be built: every member lapped on one before it, none in another's room."""

import numpy as np

from recon.frame.joints import collisions, find_joints
from recon.frame.model import Frame, Member, as_tuple, label


def grow_frame(seed: int, members: int = 8, width: float = 1.0, holes: tuple[int, int] = (2, 16)) -> Frame:
    """A frame of about `members` members of one width (pitches), lengths within `holes`.

    The same for the same seed.
    """
    rng = np.random.default_rng(seed)
    grown = [
        Member(
            "A",
            (0.0, 0.0, 0.0),
            (0.0, 0.0, 1.0),
            int(rng.integers(holes[0], holes[1] + 1)),
            width,
            "steel-38",
        )
    ]
    for _ in range(20 * members):
        if len(grown) == members:
            break
        on = grown[rng.integers(len(grown))]
        along = int(np.abs(on.direction).argmax())
        side, bolt = rng.permutation([k for k in range(3) if k != along])
        direction = np.eye(3)[side] * rng.choice((-1, 1))
        count = int(rng.integers(holes[0], holes[1] + 1))
        at = on.hole_centre(int(rng.integers(on.holes))) + np.eye(3)[bolt] * width * rng.choice((-1, 1))
        first = at - direction * rng.integers(count)
        new = Member(label(len(grown)), as_tuple(first), as_tuple(direction), count, width, "steel-38")
        if not collisions([new, *_near(new, grown)]):
            grown.append(new)
    return Frame(tuple(grown), find_joints(grown), 38.1)


def _near(new: Member, members):
    """Those of `members` that could reach `new`."""
    middle, reach = new.hole_centre((new.holes - 1) / 2), new.holes / 2 + new.width
    return [
        m
        for m in members
        if np.linalg.norm(m.hole_centre((m.holes - 1) / 2) - middle) < reach + m.holes / 2 + m.width
    ]
