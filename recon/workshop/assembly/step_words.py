"""Moves on the canonical twin in the frame's own labels, hole numbers and directions, and in sentences."""

from __future__ import annotations

from collections.abc import Iterable, Sequence

import numpy as np
from numpy.typing import ArrayLike

from recon.frame.length import both_text
from recon.frame.model import Frame, Joint, as_tuple
from recon.geometry.arrays import Vector
from recon.workshop.assembly.canonical_twin import CanonicalTwin
from recon.workshop.assembly.disassembly import DIRECTIONS, AssemblyModel, Move, Part, opposite, why_stuck
from recon.workshop.assembly.support import LEVEL
from recon.workshop.assembly.tool_access import head_sides
from recon.workshop.hardware.bolts import Bolt, Hole, find_bolts
from recon.workshop.sides import ALONG, SIDES, Sides
from recon.workshop.wording import holes_words, lap_words, listed, plural


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
        self._middle = np.mean([m.hole_centre((m.holes - 1) / 2) for m in twin.frame.members], axis=0)
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

    def length_words(self, pitches: float) -> str:
        """A length: '38.1 mm (1 1/2 in)', or in pitches where the frame's pitch is not known."""
        pitch_mm = self.frame.pitch_mm
        return both_text(pitches * pitch_mm) if pitch_mm else f"{pitches:.3g} pitches"

    def direction(self, move: Move) -> Vector | None:
        """The direction of a move in the frame's own space."""
        if move.direction is None:
            return None
        return self.own(move.direction)

    def own(self, vector: ArrayLike) -> Vector:
        """A direction of the twin along its axes, in the frame's own space."""
        return as_tuple(np.round(self._turn.T @ np.asarray(vector, float)) + 0.0)

    def head(self, b: int, move: Move, later: Iterable[int]) -> Vector:
        """On which side the head of bolt `b` is best, in the frame's own space.

        Of the sides from which it can be put in, that which is up, so that it stays in before it has its
        nut, else that which looks away from the middle of the frame, else that of what comes in.

        Parameters
        ----------
        b : int
            The bolt, in the model.
        move : Move
            With which it goes in.
        later : iterable of int
            Bolts that go in after it.
        """
        model = self.model
        present = model.present(move.part | move.onto, without=[b, *later])
        bolt = model.bolts[b]
        axis = np.asarray(bolt.axis, float)
        out = (np.asarray(bolt.start) + bolt.end) / 2 - self._middle
        new_first = model.number[bolt.through[0][0]] in move.part
        ranked = [
            (
                can,
                round(float(side @ DIRECTIONS[move.up]), 6),
                round(float(side @ out), 6),
                (k == 0) == new_first,
                side,
            )
            for k, (can, side) in enumerate(zip(head_sides(model.access(b), present), (-axis, axis)))
        ]
        return self.own(max(ranked, key=lambda r: r[:4])[4])


class StepWriter:
    """Sentences that say what to do in a step.

    Parameters
    ----------
    labels : Labels
        How things are called.
    sub_frames : sequence of frozenset of int
        Members of each, sub-frame 1 first.
    sides : Sides
        Names of the frame's sides.
    """

    def __init__(self, labels: Labels, sub_frames: Sequence[Part], sides: Sides):
        self.labels, self.sub_frames, self.sides = labels, list(sub_frames), sides

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
            return f"{self.name(move.part)} is the whole frame."
        sentences = [self._lay(move, group)] if begins else []
        sentences.append(self._bring(move))
        if move.bolts:
            new = set(self.labels.ids(move.part))
            laps = [_bolt_words(self.labels.bolts[b], new) for b in move.bolts]
            places = self._head_places(move)
            alike = len(set(places)) == 1
            if not alike:
                laps = [f"{lap} (head {place})" for lap, place in zip(laps, places)]
            heads = f", {'head' if len(places) == 1 else 'heads'} {places[0]}" if alike else ""
            sentences[-1] += f", {'; '.join(laps)}"
            sentences.append(f"Join {'them' if len(laps) > 1 else 'it'} with {self._count(move)}{heads}")
        else:
            sentences.append("No bolt holds it yet: keep it in place until one does")
        if bare:
            for_now = " for now" if any(j.bolt != "none" for j in bare) else ""
            sentences.append(f"Without a bolt{for_now}: {'; '.join(map(lap_words, bare))}")
        return ". ".join(sentences) + "."

    def name(self, part: Part) -> str:
        """'C (12 holes)' or 'sub-frame 2 (A, C and D)'."""
        ids = self.labels.ids(part)
        if part in self.sub_frames:
            return f"sub-frame {self.sub_frames.index(part) + 1} ({listed(ids)})"
        return listed(f"{id} ({plural(self.labels.frame.member(id).holes, 'hole')})" for id in ids)

    def _up(self, up: int) -> Vector:
        return self.labels.own(DIRECTIONS[up])

    def _lay(self, move: Move, group: int) -> str:
        """'Lay A and B down', 'Stand A upright'."""
        members = [self.labels.model.frame.members[k] for k in move.onto]
        level = all(abs(np.dot(m.direction, DIRECTIONS[move.up])) < LEVEL for m in members)
        doing = f"lay {self.name(move.onto)} down" if level else f"stand {self.name(move.onto)} upright"
        if len(move.onto) > 1 and self.sides.name(self._up(move.up)) != "top":
            doing += f", with the finished frame's {self._side(move.up)} on top"
        return f"Sub-frame {group}: {doing}" if group else doing[0].upper() + doing[1:]

    def _side(self, up: int) -> str:
        """'top', 'left side', '+x side'."""
        name = self.sides.name(self._up(up))
        return name if name in ("top", "bottom", "front", "back") else f"{name} side"

    def turn(self, part: Part, before: int, up: int) -> str:
        """'Stand sub-frame 1 (A and B) upright: what is on top now becomes its left side'."""
        name = self.name(part) if part in self.sub_frames else "what is there"
        if up == opposite(before):
            return f"Turn {name} over: what is on top now comes to lie below"
        becomes = f"what is on top now becomes the {self._side(before)}"
        if self.sides.name(self._up(up)) == "top":
            return f"Stand {name} upright: {becomes}"
        return f"Turn {name} so that the finished frame's {self._side(up)} is on top: {becomes}"

    def _bring(self, move: Move) -> str:
        direction = self.labels.direction(move)
        name = self.name(move.part)
        assert direction is not None
        back = -np.asarray(direction, float)
        if np.allclose(back, self._up(move.up)):
            # On top is where its bolts stand upright; else it comes down beside what is there.
            bolts = [self.labels.model.bolts[b] for b in move.bolts]
            lies = not bolts or any(abs(np.dot(b.axis, DIRECTIONS[move.up])) > ALONG for b in bolts)
            return f"Put {name} on top" if lies else f"Bring {name} in from above"
        return f"Bring {name} in from the {_side_words(back, self.sides)}"

    def _count(self, move: Move) -> str:
        """'2 bolts', '1 bolt through 3 members', '3 bolts, 1 of them through 3 members'."""
        through = [len(self.labels.bolts[b].through) for b in move.bolts]
        long, count = sum(n > 2 for n in through), plural(len(move.bolts), "bolt")
        if not long:
            return count
        if long == len(move.bolts):
            return f"{count} through {max(through)} members"
        return f"{count}, {long} of them through {max(through)} members"

    def heads(self, move: Move) -> list[Vector]:
        """On which side the head of each bolt of a move is."""
        return [self.labels.head(b, move, move.bolts[k + 1 :]) for k, b in enumerate(move.bolts)]

    def _head_places(self, move: Move) -> list[str]:
        """Where the head of each bolt of a move is: 'on top', 'on the left'."""
        up = self._up(move.up)
        return [head_words(head, up, self.sides) for head in self.heads(move)]


def head_words(head: Vector, up: Vector, sides: Sides) -> str:
    """Where the head of a bolt is: 'on top', 'below', 'on the left', or of a frame that lies 'at the frame's
    left side'.

    Parameters
    ----------
    head, up : (3,)
        On which side the head is, and which way is up in the step: unit vectors in the frame's own space.
    sides : Sides
        Names of the frame's sides.
    """
    along = float(np.dot(head, up))
    if abs(along) > ALONG:
        return "on top" if along > 0 else "below"
    if sides.name(up) == "top" or not sides.z_up:
        return sides.place(head)
    return f"at the frame's {_side_words(head, sides)}"


def _side_words(vector: ArrayLike, sides: Sides) -> str:
    name = sides.name(vector)
    return name if name in SIDES else f"{name} side"


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
