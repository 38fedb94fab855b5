"""Random frames that could be built: every member lapped on one before it, none in another's room."""

from functools import lru_cache

import numpy as np

from recon.frame.joints import collisions, find_joints
from recon.frame.model import Frame, Member, as_tuple, label


@lru_cache(maxsize=64)
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
    reaches = np.zeros((members, 4))
    reaches[0] = _reach(grown[0])
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
        reach, known = _reach(new), reaches[: len(grown)]
        near = np.linalg.norm(known[:, :3] - reach[:3], axis=1) < known[:, 3] + reach[3]
        if not collisions([new, *(grown[k] for k in np.nonzero(near)[0])]):
            reaches[len(grown)] = reach
            grown.append(new)
    return Frame(tuple(grown), find_joints(grown), 38.1)


def _reach(member: Member) -> np.ndarray:
    """Its middle, and how far from there it may touch another, pitches: (4,)."""
    return np.array([*member.hole_centre((member.holes - 1) / 2), member.holes / 2 + member.width])
