"""Laps joined or parted, their bolts, laps that are meant to turn."""

from __future__ import annotations

from dataclasses import dataclass, replace

from recon.corrections import validation
from recon.corrections.codec import Json
from recon.corrections.edits.kind import Change, EditKind, Stocks
from recon.corrections.laps import SAID_BOLTS, lap_between
from recon.corrections.model import LapKey, LapWord
from recon.corrections.state import State, joint_key, ordered, word_now
from recon.errors import ReconError
from recon.frame.joints import mark_three_way

LAP_WORDS = ("joined", "apart", *SAID_BOLTS, "seen")  # "seen": older pages have it for "said"


def _word(state: State, request: Json, stocks: Stocks) -> LapWord:
    return LapWord(validation.lap(state.frame, request), validation.word(request, "word", LAP_WORDS))


def _name(key: LapKey) -> str:
    return f"hole {key[1] + 1} of {key[0]} on hole {key[3] + 1} of {key[2]}"


def set_lap(state: State, wanted: LapWord) -> Change:
    """A lap joined, parted, or its bolt given: {lap: [a, a_hole, b, b_hole], word: one of LAP_WORDS}."""
    key, word, frame = wanted.lap, word_now(wanted.word), state.frame
    joints = {joint_key(j): j for j in frame.joints}
    name = _name(key)
    if word == "apart":
        if key not in joints:
            raise ReconError(f"There is no joint at {name}.")
        del joints[key]
    else:
        lap = joints.get(key) or lap_between(frame, key)
        if lap is None:
            raise ReconError(f"No bolt fits {name}: the two holes are not on one axis, face to face.")
        joints[key] = lap.with_word(word) if word in SAID_BOLTS else lap
    what = {
        "apart": "Joint separated",
        "joined": "Joined",
        "none": "No bolt",
        "said": "Bolt there",
        "assumed": "Bolt assumed",
    }[word]
    marked = mark_three_way(tuple(joints.values()), frame.members)
    others = (w for w in state.corrections.laps if w.lap != key)
    corrections = state.corrections.changed(laps=(*others, wanted))
    frame = replace(frame, joints=ordered(frame.members, marked))
    return Change(State(frame, corrections), f"{what}: {name}")


@dataclass(frozen=True)
class Turning:
    """Whether a lap is meant to turn."""

    lap: LapKey
    wanted: bool


def _turning(state: State, request: Json, stocks: Stocks) -> Turning:
    return Turning(validation.lap(state.frame, request), validation.flag(request, "wanted"))


def set_turning(state: State, request: Turning) -> Change:
    """A lap is meant to turn, or not: {lap, wanted: bool}."""
    key = request.lap
    others = (k for k in state.corrections.may_turn if k != key)
    corrections = state.corrections.changed(may_turn=(*others, *([key] if request.wanted else [])))
    name = _name(key)
    words = f"{name[0].upper()}{name[1:]} {'may' if request.wanted else 'must not'} turn"
    return Change(State(state.frame, corrections), words)


LAP = EditKind("lap", _word, set_lap)
MAY_TURN = EditKind("may_turn", _turning, set_turning)
