"""Moves on the canonical twin in the frame's own labels, hole numbers and directions, and in sentences."""

from __future__ import annotations

from collections.abc import Iterable, Sequence

import numpy as np

from recon.frame.model import Frame, Joint, as_tuple
from recon.geometry.arrays import Vector
from recon.workshop.assembly.canonical_twin import CanonicalTwin
from recon.workshop.assembly.disassembly import AssemblyModel, Move, Part, why_stuck
from recon.workshop.hardware.bolts import Bolt, Hole, find_bolts
from recon.workshop.sides import to_the_right
from recon.workshop.wording import direction_words, holes_words, lap_words, listed, plural


class Labels:
    """What the numbers of an assembly model of the twin are called in the frame itself.

    Attributes
    ----------
    model : AssemblyModel
        Of the twin.
    frame : Frame
        The frame itself.
    bolts : list of Bolt
        The frame's bolts by their numbers in the model.
    """

    def __init__(self, model: AssemblyModel, twin: CanonicalTwin, frame: Frame):
        self.model, self.frame = model, frame
        self._turn, self._names = twin.turn, twin.names
        self._place = {m.id: k for k, m in enumerate(frame.members)}
        same = {frozenset(bolt.through): bolt for bolt in find_bolts(frame)}
        self.bolts = [same[frozenset(map(self._own_hole, bolt.through))] for bolt in model.bolts]

    def _own_hole(self, hole: Hole) -> Hole:
        """The same hole in the frame's own label and count."""
        id, number = hole
        twin, own = self.model.frame.member(id), self.frame.member(self._names[id])
        along = (self._turn @ np.asarray(own.direction, float)) @ np.asarray(twin.direction, float)
        return own.id, number if along > 0 else own.holes - 1 - number

    def ids(self, members: Iterable[int]) -> tuple[str, ...]:
        """Labels of these members, in the frame's order."""
        names = (self._names[self.model.frame.members[k].id] for k in members)
        return tuple(sorted(names, key=self._place.__getitem__))

    def direction(self, move: Move) -> Vector | None:
        """The direction of a move in the frame's own space."""
        if move.direction is None:
            return None
        return as_tuple(np.round(self._turn.T @ np.asarray(move.direction)))


# Where what moves this way comes from.
_FROM = {
    "up": "from below",
    "down": "from above",
    "left": "from the right",
    "right": "from the left",
    "front": "from the back",
    "back": "from the front",
}


class StepWriter:
    """Sentences that say what to do in a step.

    Parameters
    ----------
    labels : Labels
        How things are called.
    sub_frames : sequence of frozenset of int
        Members of each, sub-frame 1 first.
    flat : bool
        Whether the whole frame is laid up flat.
    z_up : bool
        Whether +z may be called "up".
    """

    def __init__(self, labels: Labels, sub_frames: Sequence[Part], flat: bool, z_up: bool):
        self.labels, self.sub_frames, self.flat, self.z_up = labels, list(sub_frames), flat, z_up

    def text(self, move: Move, begins: bool, bare: Sequence[Joint], group: int) -> str:
        """What to do.

        Parameters
        ----------
        move : Move
            What comes in.
        begins : bool
            Whether what it comes to is laid down in the same step.
        bare : sequence of Joint
            Laps that get no bolt in this step.
        group : int
            Number of the sub-frame that is being built, 0 for the frame itself.
        """
        if move.direction is None:
            return f"{self._name(move.part)} is the whole frame."
        sentences = []
        if begins:
            floor = f"Sub-frame {group}: lay" if group else "Lay"
            sentences.append(f"{floor} {self._name(move.onto)} down")
        sentences.append(self._bring(move, group))
        if move.bolts:
            new = set(self.labels.ids(move.part))
            sentences[-1] += f", {'; '.join(_bolt_words(self.labels.bolts[b], new) for b in move.bolts)}"
            sentences.append(f"Join {'them' if len(move.bolts) > 1 else 'it'} with {self._count(move.bolts)}")
        else:
            sentences.append("No bolt holds it yet: keep it in place until one does")
        if bare:
            for_now = " for now" if any(j.bolt != "none" for j in bare) else ""
            sentences.append(f"Without a bolt{for_now}: {'; '.join(map(lap_words, bare))}")
        return ". ".join(sentences) + "."

    def _name(self, part: Part) -> str:
        """'C (12 holes)' or 'sub-frame 2 (A, C and D)'."""
        ids = self.labels.ids(part)
        if part in self.sub_frames:
            return f"sub-frame {self.sub_frames.index(part) + 1} ({listed(ids)})"
        return listed(f"{id} ({plural(self.labels.frame.member(id).holes, 'hole')})" for id in ids)

    def _bring(self, move: Move, group: int) -> str:
        direction = self.labels.direction(move)
        if group or self.flat or direction is None:
            return f"Put {self._name(move.part)} on top"
        way = direction_words(direction, self.z_up, to_the_right(self.labels.frame.members))
        return f"Bring {self._name(move.part)} in {_FROM.get(way, f'along {way}')}"

    def _count(self, bolts: Sequence[int]) -> str:
        """'2 bolts', '1 bolt through 3 members', '3 bolts, 1 of them through 3 members'."""
        through = [len(self.labels.bolts[b].through) for b in bolts]
        long, count = sum(n > 2 for n in through), plural(len(bolts), "bolt")
        if not long:
            return count
        if long == len(bolts):
            return f"{count} through {max(through)} members"
        return f"{count}, {long} of them through {max(through)} members"


def _bolt_words(bolt: Bolt, new: set[str]) -> str:
    """'hole 3 of C on hole 1 of F', the new member first."""
    new_last = bolt.through[0][0] not in new and bolt.through[-1][0] in new
    return holes_words(bolt.through[::-1] if new_last else bolt.through)


def blockage_sentences(labels: Labels, members: Part) -> tuple[str, ...]:
    """What keeps these members from coming free one at a time."""

    def in_the_way(blockers: Iterable[int]) -> str:
        ids = labels.ids(set(blockers))
        return f"{listed(ids)} {'is' if len(ids) == 1 else 'are'} in the way"

    blockage = why_stuck(labels.model, members)
    bolts = [
        f"The bolt that joins {listed(labels.ids(labels.model.through[b]))} cannot be put in and turned: "
        f"{in_the_way(blockers)}."
        for b, blockers in blockage.bolts
    ]
    stuck = []
    for k, blockers in blockage.members.items():
        all_ways = (blocker for way in blockers for blocker in way)
        stuck.append(f"{labels.ids([k])[0]} cannot come in from any side: {in_the_way(all_ways)}.")
    return (*bolts, *stuck)
