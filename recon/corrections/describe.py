"""What lies between two versions of a build, in words: not what was pressed, but what is another in the end."""

from __future__ import annotations

import numpy as np

from recon.corrections.state import State, joint_key
from recon.frame.length import mm_text
from recon.frame.model import Member
from recon.workshop.wording import lap_words, plural

BOLT = {"seen": "there", "assumed": "assumed", "none": "none"}


def members(old: State, new: State) -> dict[str, str]:
    """For each member that is another: what became of it, by its label."""
    before, after = ({m.id: m for m in s.frame.members} for s in (old, new))
    told = {id: "deleted" for id in before if id not in after}
    for id, m in after.items():
        if id not in before:
            told[id] = f"added, {plural(m.holes, 'hole')}"
        elif before[id] is not m and before[id] != m:
            told[id] = _changed(before[id], m)
    return told


def _changed(old: Member, new: Member) -> str:
    words = []
    if old.holes != new.holes:
        words.append(f"{plural(old.holes, 'hole')} → {new.holes}")
    starts = np.array(new.first) - old.first
    way = np.array(old.direction)
    if not np.allclose(old.direction, new.direction):
        words.append("turned")
    elif not np.allclose(starts, (starts @ way) * way, atol=1e-6):
        words.append("moved to another line")
    elif old.holes == new.holes and abs(starts @ way) > 1e-6:
        words.append(f"shifted along itself by {plural(int(round(abs(starts @ way))), 'hole')}")
    if old.stock != new.stock:
        words.append(f"stock {new.stock or 'none'}")
    if not words:
        words.append(
            "confirmed"
            if new.confidence == 1
            else f"an end at hole {1 if old.ends[0] != new.ends[0] else new.holes} settled"
            if old.ends != new.ends
            else "less sure"
            if new.confidence < old.confidence
            else "surer"
        )
    return ", ".join(words)


def rest(old: State, new: State, touched) -> list[str]:
    """What else is another: laps between members that were not touched, size, stock, photos, marks, name."""
    a, b = old.frame, new.frame
    lines = []
    before, after = (
        {joint_key(j): j for j in f.joints if j.a not in touched and j.b not in touched} for f in (a, b)
    )
    if a.joints is not b.joints:
        lines += [f"Lap parted: {lap_words(j)}" for key, j in before.items() if key not in after]
        lines += [f"Lap joined: {lap_words(j)}" for key, j in after.items() if key not in before]
        lines += [
            f"Bolt {BOLT.get(j.bolt, j.bolt)}: {lap_words(j)}"
            for key, j in after.items()
            if key in before and before[key].bolt != j.bolt
        ]
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
    for key, words in (("marks", "Openings marked"), ("may_turn", "Laps that are meant to turn")):
        if old.said.get(key) != new.said.get(key):
            lines.append(words)
    return lines


def between(old: State, new: State) -> tuple[dict[str, str], list[str]]:
    """(`members`, all that differs in lines)."""
    told = members(old, new)
    return told, [f"{id}: {words}" for id, words in sorted(told.items())] + rest(old, new, told)
