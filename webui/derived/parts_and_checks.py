"""What a frame comes to: parts, weight and checks, as plain rows for the page, from the workshop's
functions."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from typing import Any

import numpy as np

from recon.corrections.codec import member_to_json
from recon.corrections.state import State, joint_key
from recon.errors import ReconError
from recon.frame.caution import CAUTION
from recon.frame.model import Frame
from recon.frame.stock import Stock
from recon.workshop.parts.parts_list import parts_list
from recon.workshop.rigidity.frame_check import HOLE, addition_effect, check_frame
from recon.workshop.rigidity.mechanism import Motion
from recon.workshop.rigidity.play import clearance
from recon.workshop.rigidity.playback import Way, playback, playback_words

MOST_FINDINGS = 40  # findings of one check that are listed one by one
# Bolts that turn in all motions together that can be shown moving: 500 take 2 s, measured on racks of rails.
MOST_TURNING = 500


def parts(state: State, stocks: Mapping[str, Stock]) -> dict[str, Any]:
    """The parts of a frame.

    Returns
    -------
    dict
        {members: rows, hardware: rows, without_bolt, mass_kg, notes} or {problem}.

    Examples
    --------
    >>> from recon.frame.model import Frame
    >>> parts(State(Frame((), pitch_mm=38.1)), {})["members"]
    []
    """
    try:
        found = parts_list(state.frame, stocks)
    except ReconError as error:
        return {"problem": str(error)}
    return {
        "members": [
            {
                "stock": m.stock_name,
                "holes": m.holes,
                "length_mm": m.length_mm,
                "members": list(m.members),
                "count": m.count,
                "mass_kg": m.mass_kg,
            }
            for m in found.members
        ],
        "hardware": [
            {
                "kind": h.kind,
                "name": h.name,
                "count": h.count,
                "grip_mm": h.grip_mm,
                "seen": h.seen,
                "assumed": h.assumed,
                "said": h.said,
                "mass_kg": h.mass_kg,
            }
            for h in found.hardware
        ],
        "without_bolt": found.laps_without_bolt,
        "mass_kg": found.mass_kg,
        "notes": list(found.notes),
    }


def checks(state: State, stocks: Mapping[str, Stock]) -> dict[str, Any]:
    """The checks of a frame.

    Returns
    -------
    dict
        {freedom, wanted, findings: [{kind, text, members, laps, fittings, moves: how it is shown moving, or
        None}], more: findings left out, additions: [{text, member or None, laps}], better: sentences,
        caution}.
    """
    frame = state.frame
    turning = set(state.corrections.may_turn)
    may_turn = [j for j in frame.joints if joint_key(j) in turning]
    holes = [stocks[m.stock].hole for m in frame.members if m.stock and m.stock in stocks]
    play = clearance(frame, stocks)
    found = check_frame(frame, may_turn, hole=max(holes, default=HOLE), play=play)
    motions = _motions(frame, found.mobility.motions[:MOST_FINDINGS])
    return {
        "freedom": found.mobility.freedom,
        "wanted": found.mobility.wanted,
        "findings": [
            {
                "kind": f.kind,
                "text": f.text,
                "members": list(f.members),
                "laps": [list(joint_key(j)) for j in f.joints],
                "fittings": list(f.fittings),
                "moves": next(motions, None) if f.kind == "motion" else None,
            }
            for f in found.findings[:MOST_FINDINGS]
        ],
        "more": max(0, len(found.findings) - MOST_FINDINGS),
        "additions": [
            {
                "text": f"{a.text} {addition_effect(a, found)}",
                "member": a.member and member_to_json(a.member),
                "laps": [list(joint_key(j)) for j in a.joints],
            }
            for a in found.additions
        ],
        "better": list(found.better),
        "caution": CAUTION,
    }


def _motions(frame: Frame, motions: Sequence[Motion]) -> Iterator[dict[str, Any] | None]:
    """How each motion is shown moving: {words, groups: lists of members that move together, forth, back};
    these two are lists of stations, each with seven numbers for each group: quaternion x, y, z, w and shift
    in pitches.  None once there are too many."""
    turning = 0
    for motion in motions:
        turning += len(motion.joints)
        if turning > MOST_TURNING:
            yield None
            continue
        shown = playback(frame, motion)
        yield {
            "words": playback_words(shown, frame.pitch_mm),
            "groups": [list(group) for group in shown.groups],
            "forth": _stations(shown.forth),
            "back": _stations(shown.back),
        }


def _stations(way: Way) -> list[list[list[float]]]:
    stations: list[list[list[float]]] = np.round(way.placements, 6).tolist()
    return stations
