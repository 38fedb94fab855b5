"""What a frame comes to: parts, weight and checks, as plain rows for the page, from the workshop's
functions."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from recon.corrections.codec import member_to_json
from recon.corrections.state import State, joint_key
from recon.errors import ReconError
from recon.frame.caution import CAUTION
from recon.frame.stock import Stock
from recon.workshop.parts.parts_list import parts_list
from recon.workshop.rigidity.frame_check import HOLE, addition_effect, check_frame
from recon.workshop.rigidity.play import clearance

MOST_FINDINGS = 40  # findings of one check that are listed one by one


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
        {freedom, wanted, findings: [{kind, text, members, laps, fittings}], more: findings left out,
        additions: [{text, member or None, laps}], better: sentences, caution}.
    """
    frame = state.frame
    turning = set(state.corrections.may_turn)
    may_turn = [j for j in frame.joints if joint_key(j) in turning]
    holes = [stocks[m.stock].hole for m in frame.members if m.stock and m.stock in stocks]
    play = clearance(frame, stocks)
    found = check_frame(frame, may_turn, hole=max(holes, default=HOLE), play=play)
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
