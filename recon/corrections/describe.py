"""What lies between two versions of a build, in words: not what was pressed, but what differs in the end."""

from __future__ import annotations

from collections.abc import Collection

import numpy as np

from recon.corrections.codec import corrections_difference
from recon.corrections.members import holes_along
from recon.corrections.model import LapKey
from recon.corrections.state import State, joint_key
from recon.frame.length import mm_text
from recon.frame.model import Frame, Joint, Member
from recon.workshop.wording import lap_words, plural

BOLT = {"seen": "seen", "said": "there", "assumed": "assumed", "none": "none"}
SPOKEN_OF = {"marks": "Holes marked", "may_turn": "Joints that are meant to turn"}


def members(old: State, new: State) -> dict[str, str]:
    """For each member that differs: what became of it, by its label.

    Examples
    --------
    >>> a = Member("A", (0.0, 0.0, 0.0), (0.0, 0.0, 1.0), 12)
    >>> members(State(Frame((a,))), State(Frame(())))
    {'A': 'deleted'}
    """
    before, after = ({m.id: m for m in s.frame.members} for s in (old, new))
    words = {id: "deleted" for id in before if id not in after}
    for id, m in after.items():
        if id not in before:
            words[id] = f"added, {plural(m.holes, 'hole')}"
        elif before[id] is not m and before[id] != m:
            words[id] = _changed(before[id], m)
    return words


def _changed(old: Member, new: Member) -> str:
    words = []
    if old.holes != new.holes:
        words.append(f"{plural(old.holes, 'hole')} → {new.holes}")
    words += _moved(old, new)
    if old.stock != new.stock:
        words.append(f"stock {new.stock or 'none'}")
    return ", ".join(words or [_surer(old, new)])


def _moved(old: Member, new: Member) -> list[str]:
    step, along = np.array(new.first) - old.first, np.array(old.direction)
    if not np.allclose(old.direction, new.direction):
        return ["turned"]
    if not np.allclose(step, (step @ along) * along, atol=1e-6):
        return ["moved to another line"]
    if old.holes == new.holes and abs(step @ along) > 1e-6:
        return [f"shifted along itself by {plural(abs(holes_along(old, new)), 'hole')}"]
    return []


def _surer(old: Member, new: Member) -> str:
    """What changed of a member that lies where it was."""
    if new.confidence == 1:
        return "confirmed"
    if old.ends != new.ends:
        return f"an end at hole {1 if old.ends[0] != new.ends[0] else new.holes} settled"
    return "less sure" if new.confidence < old.confidence else "surer"


def rest(old: State, new: State, touched: Collection[str]) -> list[str]:
    """What else differs, in lines: laps between members not touched, size, stock, fittings, marks, name ...

    Parameters
    ----------
    old, new : State
    touched : collection of str
        Labels of the members that differ.
    """
    a, b = old.frame, new.frame
    lines = [] if a.joints is b.joints else _laps(_laps_between(a, touched), _laps_between(b, touched))
    if a.pitch_mm != b.pitch_mm:
        lines.append(
            f"Pitch: {' → '.join(mm_text(p) if p else 'not known' for p in (a.pitch_mm, b.pitch_mm))}"
        )
    if a.stock != b.stock and (a.stock and a.stock.id) != (b.stock and b.stock.id):
        lines.append(f"Stock: {b.stock.id if b.stock else 'none'}")
    used = {p.file: p.used for p in a.photos}
    lines += [
        f"{p.file}: {'used' if p.used else 'set aside'}" for p in b.photos if used.get(p.file) != p.used
    ]
    if a.name != b.name:
        lines.append(f"Name: {b.name or 'none'}")
    lines += fittings(a, b)
    spoken_of = corrections_difference(old.corrections, new.corrections)
    lines += [words for key, words in SPOKEN_OF.items() if key in spoken_of]
    return lines


def fittings(old: Frame, new: Frame) -> list[str]:
    """For each fitting that differs: what became of it.

    Examples
    --------
    >>> from recon.frame.fitting import Fitting
    >>> foot = Fitting("F1", "foot", (("A", 0),), (0.0, 0.0, -1.0), (40, 40, 20), 5.0)
    >>> fittings(Frame((), fittings=(foot,)), Frame(()))
    ['foot F1 taken off']
    """
    before, after = ({f.id: f for f in frame.fittings} for frame in (old, new))
    lines = [f"{f.words} taken off" for id, f in before.items() if id not in after]
    lines += [f"{f.words} put on" for id, f in after.items() if id not in before]
    return lines + [f"{f.words} changed" for id, f in after.items() if id in before and before[id] != f]


def _laps_between(frame: Frame, touched: Collection[str]) -> dict[LapKey, Joint]:
    return {joint_key(j): j for j in frame.joints if j.a not in touched and j.b not in touched}


def _laps(before: dict[LapKey, Joint], after: dict[LapKey, Joint]) -> list[str]:
    lines = [f"Joint separated: {lap_words(j)}" for key, j in before.items() if key not in after]
    lines += [f"Joined: {lap_words(j)}" for key, j in after.items() if key not in before]
    return lines + [
        f"Bolt {BOLT.get(j.bolt, j.bolt)}: {lap_words(j)}{', by your word' if j.bolt_by else ''}"
        for key, j in after.items()
        if key in before and (before[key].bolt, before[key].bolt_by) != (j.bolt, j.bolt_by)
    ]


def between(old: State, new: State) -> tuple[dict[str, str], list[str]]:
    """(`members`, all that differs in lines)."""
    words = members(old, new)
    return words, [f"{id}: {text}" for id, text in sorted(words.items())] + rest(old, new, words)
