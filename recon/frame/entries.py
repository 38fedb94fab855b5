"""Ends and joints as the plain values of a frame file, and back."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from recon.frame.model import End, EndChoice, Joint

Entry = dict[str, Any]


def end_to_dict(end: End) -> Entry:
    """The end; its choices are left out where there are none.

    Examples
    --------
    >>> end_to_dict(End("hidden", 2))
    {'state': 'hidden', 'extra': 2}
    """
    entry: Entry = {"state": end.state, "extra": end.extra}
    if end.choices:
        entry["choices"] = [{"holes": c.holes, "chance": c.chance, "at": c.at} for c in end.choices]
    return entry


def end_from_dict(entry: Mapping[str, Any]) -> End:
    """The end; raises KeyError, TypeError or ValueError where it is none."""
    choices = (
        EndChoice(int(c["holes"]), float(c["chance"]), None if c.get("at") is None else str(c["at"]))
        for c in entry.get("choices", ())
    )
    return End(str(entry["state"]), int(entry.get("extra", 0)), tuple(choices))


def joint_to_dict(joint: Joint) -> Entry:
    """The joint; `bolt_by` is left out where no person's word is kept.

    Examples
    --------
    >>> "bolt_by" in joint_to_dict(Joint("A", 0, "B", 0, (0.0, 0.0, 1.0)))
    False
    """
    entry: Entry = {
        "a": joint.a,
        "a_hole": joint.a_hole,
        "b": joint.b,
        "b_hole": joint.b_hole,
        "axis": list(joint.axis),
        "bolt": joint.bolt,
        "three_way": joint.three_way,
    }
    if joint.bolt_by:
        entry["bolt_by"] = joint.bolt_by
    return entry


def bolt_of_dict(entry: Mapping[str, Any]) -> tuple[str, str]:
    """A joint's `bolt` and `bolt_by`, made to agree where the file was written by hand.

    Examples
    --------
    >>> bolt_of_dict({"bolt": "said"}), bolt_of_dict({"bolt": "seen", "bolt_by": "person"}), bolt_of_dict({})
    (('said', 'person'), ('said', 'person'), ('assumed', ''))
    """
    bolt, by = str(entry.get("bolt", "assumed")), str(entry.get("bolt_by") or "")
    if bolt == "said" or (bolt == "seen" and by):
        return "said", "person"
    return bolt, by if bolt == "none" else ""
