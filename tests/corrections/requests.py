"""Requests of every kind of edit that mostly make sense, drawn by lot; and a state that has something for "
"each."""

import json
import zlib
from dataclasses import replace
from random import Random

from recon.corrections.edits.fittings import FITTING_COPY
from recon.corrections.model import Disagreement
from recon.corrections.state import State, difference
from recon.errors import ReconError
from recon.frame.model import Photo, section_axes
from tests.corrections.frames import gate

PHOTOS, NOTES = ("a.jpg", "b.jpg"), 60


def rich_state() -> State:
    """A gate with photos, doubts to see and differences to settle."""
    state = gate()
    frame = replace(
        state.frame,
        photos=tuple(Photo(name, (400, 300)) for name in PHOTOS),
        doubts=tuple(f"Doubt {k}." for k in range(NOTES)),
    )
    differences = tuple(Disagreement((), f"Difference {k}.") for k in range(NOTES))
    return State(frame, state.corrections.changed(disagreements=differences))


def _any(state, rng):
    return rng.choice([m.id for m in state.frame.members])


def _lap(state, rng):
    j = rng.choice(state.frame.joints)
    return [j.a, j.a_hole, j.b, j.b_hole]


def _placed(state, rng):
    m = rng.choice(state.frame.members)
    first = [m.first[0], m.first[1] + rng.choice([-1, 1]), m.first[2]]
    return {"member": m.id, "first": first, "direction": list(m.direction), "holes": m.holes}


def _in_line(state, rng):
    """Two members on one line, as a split leaves them."""
    for a in state.frame.members:
        for b in state.frame.members:
            if a.direction == b.direction and tuple(a.last + a.direction) == b.first:
                return [a.id, b.id]
    raise ReconError("There are no two.")


def _on_member(state, rng):
    """Two holes of a member, and a face that they open on."""
    m = rng.choice(state.frame.members)
    holes = rng.sample(range(m.holes), min(2, m.holes))
    face = rng.choice(section_axes(m)) * rng.choice([-1, 1])
    return {"holes": [[m.id, k] for k in holes], "face": face.tolist()}


def _copies(state):
    """Requests for copies of fittings that there is a hole for on the other side."""
    wanted = [{"fitting": f.id, "mirror": axis} for f in state.frame.fittings for axis in "xyz"]
    return [request for request in wanted if _can_be(state, request)]


def _can_be(state, request):
    try:
        return bool(FITTING_COPY.check(state, request, {}))
    except ReconError:
        return False


REQUESTS = {
    "end": lambda s, r: {"member": _any(s, r), "end": r.randrange(2), "by": r.choice([-1, 1, 2])},
    "confirm": lambda s, r: {"member": _any(s, r)},
    "add": lambda s, r: {
        "first": [r.randrange(-9, 9) for _ in range(3)],
        "direction": r.choice([[1, 0, 0], [0, 1, 0], [0, 0, 1]]),
        "holes": r.randrange(2, 9),
    },
    "delete": lambda s, r: {"members": [_any(s, r)] if len(s.frame.members) > 4 else []},
    "split": lambda s, r: {"member": _any(s, r), "after": r.randrange(5)},
    "merge": lambda s, r: {"members": _in_line(s, r)},
    "shift": lambda s, r: {"members": [_any(s, r)], "along": r.choice([-1, 1])},
    "copy": lambda s, r: {
        "members": [_any(s, r)] if len(s.frame.members) < 9 else [],
        "by": [r.randrange(-9, 9) for _ in range(3)],
        **r.choice([{}, {"mirror": "x"}, {"mirror": "z"}]),
    },
    "place": lambda s, r: {"members": [_placed(s, r)]},
    "row": lambda s, r: {
        "photo": r.choice(PHOTOS),
        "start": [r.randrange(200), r.randrange(300)],
        "end": [r.randrange(250, 400), r.randrange(300)],
        "holes": r.randrange(3, 12),
    },
    "row_gone": lambda s, r: {"photo": r.choice(PHOTOS), "row": 0},
    "lap": lambda s, r: {"lap": _lap(s, r), "word": r.choice(["apart", "joined", "none", "said", "assumed"])},
    "may_turn": lambda s, r: {"lap": _lap(s, r), "wanted": r.random() < 0.5},
    "stock": lambda s, r: {"members": None, "stock": r.choice(["softwood-38", "softwood-40"])},
    "scale": lambda s, r: {"text": f"{r.randrange(5, 12)} holes = {r.randrange(200, 400)} mm"},
    "photo": lambda s, r: {"file": r.choice(PHOTOS), "used": r.random() < 0.5},
    "turn": lambda s, r: {"quarter": r.choice(["x+", "x-", "y+", "y-", "z+", "z-"])},
    "name": lambda s, r: {"name": f"Gate {r.randrange(100)} ä\u6728"},
    "mark": lambda s, r: {
        "photo": r.choice(PHOTOS),
        "xy": [r.randrange(400), r.randrange(300)],
        "word": r.choice(["missed", "false", "clear"]),
    },
    "settle": lambda s, r: {"text": r.choice(s.corrections.disagreements).text, "word": "mine"},
    "fitting": lambda s, r: {
        "fitting": r.choice([None, *(f.id for f in s.frame.fittings)]) if len(s.frame.fittings) < 9 else None,
        "kind": r.choice(["castor", "foot", "other"]),
        "name": f"swivel {r.randrange(9)} \u6728",
        **_on_member(s, r),
        "size_mm": [r.randrange(20, 200), 60, 120.5],
        "plate_mm": r.randrange(9),
        "mass_kg": r.choice([None, 0.35]),
        "shift_mm": r.choice([None, [r.randrange(-9, 9), 4.5]]),
    },
    "fitting_gone": lambda s, r: {"fitting": r.choice(s.frame.fittings).id},
    "fitting_copy": lambda s, r: r.choice(_copies(s)),
    "stretch": lambda s, r: {
        "member": _any(s, r),
        "after": r.randrange(8),
        "end": r.randrange(2),
        "by": r.choice([-1, 1, 2]),
    },
    "note": lambda s, r: {"text": f"Doubt {r.randrange(NOTES)}."},
}


def mark_of(state: State) -> int:
    """A checksum by which a state is known in another process; 40 and 40.0 are one number."""
    text = json.dumps(difference(State(), state))
    return zlib.crc32(json.dumps(json.loads(text, parse_int=float), sort_keys=True).encode())


def request_of(kind: str, state: State, rng: Random) -> dict:
    """A request of a kind of edit.  Raises ReconError where the state has nothing for it."""
    try:
        return {"op": kind, **REQUESTS[kind](state, rng)}
    except IndexError as error:  # there is none to choose from
        raise ReconError("There is nothing to choose from.") from error
