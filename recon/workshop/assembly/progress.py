"""How far a frame is put together: what is ticked, held against the frame and its steps as they are now.

Ticks outlive changes of the frame.  A member counts as in while it has the holes that it had when it was
ticked; a bolt while its members cross where they did, and a fitting while it is where it was: holes may have
other numbers because a member became longer or shorter, but not because it was moved.  What was ticked and
counts no longer is said.
"""

from __future__ import annotations

from collections.abc import Collection, Iterable, Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from scipy.optimize import linear_sum_assignment

from recon.errors import ReconError
from recon.frame.fitting import Fitting
from recon.frame.model import Frame
from recon.workshop.assembly.record import (
    END,
    STEP_KINDS,
    Act,
    AssemblyRecord,
    BoltIn,
    Entry,
    FittingOn,
    MemberIn,
    StepDone,
    StepKey,
    StepNote,
    StepPhoto,
    TickedHole,
)
from recon.workshop.assembly.steps import BuildOrder
from recon.workshop.hardware.bolts import Bolt, Hole
from recon.workshop.wording import holes_in_words, holes_words, listed, plural

Through = tuple[Hole, ...]
CHANGED = "The frame was changed meanwhile; the steps are shown as they are now."


@dataclass(frozen=True)
class StepItems:
    """What there is to tick in a step.

    Attributes
    ----------
    key : StepKey
    members : tuple of str
        Ids of those that no step before brings in.
    bolts : tuple of tuples of (str, int)
        The holes that each bolt goes through, sorted; of one that holds a fitting also that, with hole 0.
    fittings : tuple of str
        Ids of those that are put on.
    """

    key: StepKey
    members: tuple[str, ...]
    bolts: tuple[Through, ...]
    fittings: tuple[str, ...] = ()

    @property
    def ticked_itself(self) -> bool:
        """Whether it has nothing to tick but itself, as a turn."""
        return not (self.members or self.bolts or self.fittings)


def step_items(order: BuildOrder) -> tuple[StepItems, ...]:
    """What there is to tick in each step of an order.

    Examples
    --------
    >>> from recon.frame.joints import find_joints
    >>> from recon.frame.model import Member
    >>> from recon.workshop.assembly.steps import build_steps
    >>> members = Member("A", (0, 0, 0), (0, 1, 0), 12), Member("B", (-2, 5, 1), (1, 0, 0), 8)
    >>> step_items(build_steps(Frame(members, find_joints(members))))[0].bolts
    ((('A', 5), ('B', 2)),)
    """
    found, known = [], set[str]()
    times: dict[StepKey, int] = {}
    for step in order.steps:
        kind = step.kind if step.kind in STEP_KINDS else "join"
        plain = StepKey(kind, tuple(sorted(step.fittings or step.new or step.there)))
        times[plain] = times.get(plain, 0) + 1
        fresh = tuple(id for id in step.new if id not in known)
        known |= set(fresh)
        bolts = tuple(map(through_of, step.bolts))
        key = StepKey(plain.kind, plain.members, times[plain])
        found.append(StepItems(key, fresh, bolts, step.fittings))
    return tuple(found)


def through_of(bolt: Bolt) -> Through:
    """What names a bolt among those to tick: its holes and the fitting that it holds, with hole 0, sorted."""
    return tuple(sorted((*bolt.through, *([(bolt.fitting.id, 0)] if bolt.fitting else []))))


@dataclass(frozen=True)
class Changed:
    """Something that was ticked and is otherwise in the frame now.

    Attributes
    ----------
    text : str
        What it is and what to do.
    member : str
        The member that may be ticked as it is now; empty where there is none.
    key : str
        Of the entry.
    fitting : str
        The fitting that may be ticked as it is now; empty where there is none.
    """

    text: str
    member: str
    key: str
    fitting: str = ""


@dataclass(frozen=True)
class Progress:
    """How far a frame is put together.

    Attributes
    ----------
    members : frozenset of str
        Ids of those that are in.
    bolts : frozenset of tuples of (str, int)
        Bolts that are in, by the holes that they go through now, sorted.
    done : tuple of bool
        For each step.
    at : int
        Place of the step to go on with, from 0; as many as there are steps where all are done.
    behind : tuple of int
        Places of steps before that one that are not done.
    changed : tuple of Changed
    words : str
        "Step 4 of 11, 9 of 34 bolts in".
    fittings : frozenset of str
        Ids of those that are on.
    """

    members: frozenset[str]
    bolts: frozenset[Through]
    done: tuple[bool, ...]
    at: int
    behind: tuple[int, ...]
    changed: tuple[Changed, ...]
    words: str
    fittings: frozenset[str] = frozenset()


def progress(record: AssemblyRecord, items: Sequence[StepItems], frame: Frame) -> Progress:
    """How far a frame is put together.

    Parameters
    ----------
    record : AssemblyRecord
    items : sequence of StepItems
        Of `step_items`, for the frame's steps as they are now.
    frame : Frame
        As it is now.
    """
    holes = _holes_of(frame)
    wanted = [through for item in items for through in item.bolts]
    matched = _matched(record.bolts, wanted, holes)
    members = frozenset(id for id, count in record.members.items() if holes.get(id) == count)
    fits = {f.id: f for f in frame.fittings}
    fittings = frozenset(e.id for e in record.fittings if e.id in fits and _stays(e, fits[e.id], holes))
    bolts = frozenset(matched.values())
    in_place, steps = members | fittings, record.steps
    done = tuple(
        item.key in steps
        if item.ticked_itself
        else {*item.members, *item.fittings} <= in_place and set(item.bolts) <= bolts
        for item in items
    )
    at = _goes_on(record, items, done, matched)
    behind = tuple(k for k in range(at) if not done[k])
    changed = (*_changed(record, holes, matched), *_changed_fittings(record, fittings, frame))
    words = _words(at, done, len(bolts), len(set(wanted)))
    return Progress(members, bolts, done, at, behind, changed, words, fittings)


def _holes_of(frame: Frame) -> dict[str, int]:
    """How many holes each member has; a fitting has none."""
    return {m.id: m.holes for m in frame.members} | {f.id: 0 for f in frame.fittings}


def _stays(entry: FittingOn, fitting: Fitting, holes: Mapping[str, int]) -> bool:
    """Whether a fitting is where it was when it was ticked."""
    was, now = sorted(entry.holes), sorted(fitting.holes)
    if [id for id, _, _ in was] != [id for id, _ in now]:
        return False
    return _off(was, now, holes) is not None


def _matched(
    ticked: Iterable[BoltIn], wanted: Iterable[Through], holes: Mapping[str, int]
) -> dict[str, Through]:
    """The bolt of the frame that each ticked one is, by the ticked one's key.

    Of those of the same members as many as can be, counted otherwise by as few holes as can be.
    """
    by_members: dict[tuple[str, ...], list[Through]] = {}
    for through in dict.fromkeys(wanted):
        by_members.setdefault(tuple(id for id, _ in through), []).append(through)
    ticks: dict[tuple[str, ...], list[BoltIn]] = {}
    for tick in ticked:
        ticks.setdefault(tuple(id for id, _, _ in tick.through), []).append(tick)
    found: dict[str, Through] = {}
    for ids, own in ticks.items():
        same = by_members.get(ids, [])
        off = [[_off(tick.through, through, holes) for through in same] for tick in own]
        never = 1 + sum(n or 0 for row in off for n in row)  # dearer than all others together
        cost = np.array([[never if n is None else n for n in row] for row in off]).reshape(
            len(own), len(same)
        )
        for k, at in zip(*linear_sum_assignment(cost)):
            if off[k][at] is not None:
                found[own[k].key] = same[at]
    return found


def _off(ticked: Sequence[TickedHole], through: Sequence[Hole], holes: Mapping[str, int]) -> int | None:
    """By how many holes something is counted otherwise than when it was ticked; None where it is another.

    A member that became k holes longer has its holes counted on by 0 to k.
    """
    total = 0
    for (id, was, count), (_, now) in zip(ticked, through):
        grown = holes[id] - count
        if not min(0, grown) <= now - was <= max(0, grown):
            return None
        total += abs(now - was)
    return total


def _goes_on(
    record: AssemblyRecord, items: Sequence[StepItems], done: Sequence[bool], matched: Mapping[str, Through]
) -> int:
    """The place of the step to go on with: that of the last tick, or the next that is not done."""
    last = next((k for e in reversed([*record.entries.values()]) if (k := _place(e, items, matched)) >= 0), 0)
    open_ = [k for k, is_done in enumerate(done) if not is_done]
    return next((k for k in open_ if k >= last), open_[0] if open_ else len(items))


def _place(entry: object, items: Sequence[StepItems], matched: Mapping[str, Through]) -> int:
    """The place of the step that a tick is in; -1 where it is in none."""
    for k, item in enumerate(items):
        match entry:
            case MemberIn() if entry.id in item.members:
                return k
            case FittingOn() if entry.id in item.fittings:
                return k
            case BoltIn() if matched.get(entry.key) in item.bolts:
                return k
            case StepDone() if entry.step == item.key:
                return k
    return -1


def _words(at: int, done: Sequence[bool], bolts: int, all_bolts: int) -> str:
    where = f"Step {at + 1} of {len(done)}" if at < len(done) else f"All {plural(len(done), 'step')} done"
    return f"{where}, {bolts} of {plural(all_bolts, 'bolt')} in"


def _changed(
    record: AssemblyRecord, holes: Mapping[str, int], matched: Mapping[str, Through]
) -> Iterable[Changed]:
    for id, count in record.members.items():
        key = MemberIn(id, count).key
        if id not in holes:
            yield Changed(f"{id} went in and is no longer in the frame: take it out.", "", key)
        elif holes[id] != count:
            text = f"{id} went in with {plural(count, 'hole')} and has {holes[id]} now: exchange it."
            yield Changed(text, id, key)
    for tick in record.bolts:
        if tick.key not in matched:
            words = _bolt_words([(id, hole) for id, hole, _ in tick.through], {tick.fitting})
            yield Changed(f"A bolt went in, {words}, where there is none now: take it out.", "", tick.key)


def _changed_fittings(record: AssemblyRecord, on: Collection[str], frame: Frame) -> Iterable[Changed]:
    there = {f.id: f for f in frame.fittings}
    for entry in record.fittings:
        if entry.id not in there:
            yield Changed(f"{entry.id} went on and is no longer in the frame: take it off.", "", entry.key)
        elif entry.id not in on:
            where = f"at {holes_in_words((id, hole) for id, hole, _ in entry.holes)}"
            now = f"at {holes_in_words(there[entry.id].holes)}"
            text = f"{entry.id} went on {where} and is {now} now: move it."
            yield Changed(text, "", entry.key, entry.id)


def _bolt_words(through: Sequence[Hole], fittings: Collection[str]) -> str:
    """'hole 3 of C on hole 1 of F', 'F1 on hole 4 of C'."""
    held = [id for id, _ in through if id in fittings]
    return " on ".join([*held, holes_words(hole for hole in through if hole[0] not in fittings)])


# Ticks


@dataclass(frozen=True)
class Ticks:
    """What is to be ticked, or no longer."""

    members: tuple[str, ...] = ()
    bolts: tuple[Through, ...] = ()
    steps: tuple[StepKey, ...] = ()
    fittings: tuple[str, ...] = ()


def tick(record: AssemblyRecord, ticks: Ticks, bolts: Collection[Through], frame: Frame) -> Act:
    """The act by which things are ticked.

    The members of a bolt that is in are in, too; of one that holds a fitting that alone, for it may have been
    put on a member that has yet to come in.

    Parameters
    ----------
    record : AssemblyRecord
    ticks : Ticks
    bolts : collection of tuples of (str, int)
        All bolts of the frame, each sorted.
    frame : Frame

    Raises
    ------
    ReconError
        Where the frame has none such.
    """
    holes, fits = _holes_of(frame), {f.id: f for f in frame.fittings}
    known = set(ticks.members) <= holes.keys() - fits.keys() and set(ticks.fittings) <= fits.keys()
    if not known or not set(ticks.bolts) <= set(bolts):
        raise ReconError(CHANGED)
    there = {*record.members, *(e.id for e in record.fittings)}
    held = [
        id
        for through in ticks.bolts
        for id, _ in [hole for hole in through if hole[0] in fits] or through
        if id not in there
    ]
    ids = list(dict.fromkeys([*ticks.members, *ticks.fittings, *held]))
    matched = _matched(record.bolts, bolts, holes)
    older = tuple(key for key, through in matched.items() if through in ticks.bolts)

    def counted(at: Iterable[Hole]) -> tuple[TickedHole, ...]:
        return tuple((id, hole, holes[id]) for id, hole in at)

    put: tuple[Entry, ...] = (
        *(FittingOn(id, counted(fits[id].holes)) if id in fits else MemberIn(id, holes[id]) for id in ids),
        *(BoltIn(counted(through)) for through in ticks.bolts),
        *map(StepDone, ticks.steps),
    )
    words = f"{_named(ids, ticks.bolts, fits)} in" if ids or ticks.bolts else "Step done"
    return Act(put, older, words)


def untick(record: AssemblyRecord, ticks: Ticks, bolts: Collection[Through], frame: Frame) -> Act:
    """The act by which things are no longer ticked; with a member or a fitting go its bolts."""
    holes = _holes_of(frame)
    gone_ids = {*ticks.members, *ticks.fittings}
    matched = _matched(record.bolts, bolts, holes)
    loose = {
        key: through
        for key, through in matched.items()
        if through in ticks.bolts or any(id in gone_ids for id, _ in through)
    }
    keys = (
        *(MemberIn(id, 0).key for id in ticks.members),
        *(FittingOn(id, ()).key for id in ticks.fittings),
        *loose,
        *(StepDone(step).key for step in ticks.steps),
    )
    gone = tuple(key for key in keys if key in record.entries)
    ids = (*ticks.members, *ticks.fittings)
    fits = {f.id for f in frame.fittings}
    words = f"{_named(ids, loose.values(), fits)} not in" if ids or loose else "Step not done"
    return Act((), gone, words)


def _named(ids: Collection[str], bolts: Collection[Through], fittings: Collection[str]) -> str:
    """'C, D and 4 bolts', 'Bolt hole 3 of C on hole 1 of F'."""
    if len(bolts) == 1 and not ids:
        return f"Bolt {_bolt_words(next(iter(bolts)), fittings)}"
    return listed([*ids, *([plural(len(bolts), "bolt")] if bolts else [])])


def at_the_end(record: AssemblyRecord, finish: Sequence[str]) -> list[bool]:
    """Which of the sentences on what to do at the end are ticked."""
    return [StepKey(END.kind, (text,)) in record.steps for text in finish]


# Notes and photos


@dataclass(frozen=True)
class StepExtras:
    """Notes and photos of one step."""

    notes: tuple[StepNote, ...] = ()
    photos: tuple[StepPhoto, ...] = ()


def extras_by_step(record: AssemblyRecord, items: Sequence[StepItems]) -> tuple[list[StepExtras], StepExtras]:
    """The notes and photos of each step and, last, of the end; and those that belong to none any more.

    They stay with the step that brings in the same members.  Where the order became another, they go to the
    step that brings in most of those members for the first time.

    Parameters
    ----------
    record : AssemblyRecord
    items : sequence of StepItems
    """
    notes: list[list[StepNote]] = [[] for _ in range(len(items) + 2)]
    photos: list[list[StepPhoto]] = [[] for _ in range(len(items) + 2)]
    for note in record.notes:
        notes[_step_of(note.step, items)].append(note)
    for photo in record.photos:
        photos[_step_of(photo.step, items)].append(photo)
    made = [StepExtras(tuple(n), tuple(p)) for n, p in zip(notes, photos)]
    return made[:-1], made[-1]


def _step_of(key: StepKey, items: Sequence[StepItems]) -> int:
    """The place of the step that an entry belongs to, as many as there are for the end; -1 for none."""
    if key == END:
        return len(items)
    same = [k for k, item in enumerate(items) if item.key == key]
    if same:
        return same[0]
    shared = [len({*item.members, *item.fittings} & set(key.members)) for item in items]
    return shared.index(max(shared)) if any(shared) else -1
