"""How far a frame is put together: what is ticked, held against the frame and its steps as they are now.

Ticks outlive changes of the frame.  A member counts as in while it has the holes that it had when it was
ticked; a bolt while its members cross where they did: holes may have other numbers because a member became
longer or shorter, but not because it was moved.  What was ticked and counts no longer is said.
"""

from __future__ import annotations

from collections.abc import Collection, Iterable, Mapping, Sequence
from dataclasses import dataclass

from recon.errors import ReconError
from recon.frame.model import Frame
from recon.workshop.assembly.record import (
    END,
    Act,
    AssemblyRecord,
    BoltIn,
    Entry,
    MemberIn,
    StepDone,
    StepKey,
    StepNote,
    StepPhoto,
)
from recon.workshop.assembly.steps import BuildOrder
from recon.workshop.hardware.bolts import Hole
from recon.workshop.wording import holes_words, listed, plural

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
        The holes that each bolt goes through, sorted.
    """

    key: StepKey
    members: tuple[str, ...]
    bolts: tuple[Through, ...]

    @property
    def ticked_itself(self) -> bool:
        """Whether it has nothing to tick but itself, as a turn."""
        return not (self.members or self.bolts)


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
        plain = StepKey(step.kind, tuple(sorted(step.new or step.there)))
        times[plain] = times.get(plain, 0) + 1
        fresh = tuple(id for id in step.new if id not in known)
        known |= set(fresh)
        bolts = tuple(tuple(sorted(bolt.through)) for bolt in step.bolts)
        found.append(StepItems(StepKey(plain.kind, plain.members, times[plain]), fresh, bolts))
    return tuple(found)


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
    """

    text: str
    member: str
    key: str


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
    """

    members: frozenset[str]
    bolts: frozenset[Through]
    done: tuple[bool, ...]
    at: int
    behind: tuple[int, ...]
    changed: tuple[Changed, ...]
    words: str


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
    holes = {m.id: m.holes for m in frame.members}
    wanted = [through for item in items for through in item.bolts]
    matched = _matched(record.bolts, wanted, holes)
    members = frozenset(id for id, count in record.members.items() if holes.get(id) == count)
    bolts = frozenset(matched.values())
    steps = record.steps
    done = tuple(
        item.key in steps if item.ticked_itself else set(item.members) <= members and set(item.bolts) <= bolts
        for item in items
    )
    at = _goes_on(record, items, done, matched)
    behind = tuple(k for k in range(at) if not done[k])
    changed = tuple(_changed(record, holes, matched))
    words = _words(at, done, len(bolts), len(set(wanted)))
    return Progress(members, bolts, done, at, behind, changed, words)


def _matched(
    ticked: Iterable[BoltIn], wanted: Iterable[Through], holes: Mapping[str, int]
) -> dict[str, Through]:
    """The bolt of the frame that each ticked one is, by the ticked one's key."""
    by_members: dict[tuple[str, ...], list[Through]] = {}
    for through in wanted:
        by_members.setdefault(tuple(id for id, _ in through), []).append(through)
    found: dict[str, Through] = {}
    for tick in ticked:
        same = by_members.get(tuple(id for id, _, _ in tick.through), ())
        near = [(off, through) for through in same if (off := _off(tick, through, holes)) is not None]
        free = [pair for pair in near if pair[1] not in found.values()]
        if free:
            found[tick.key] = min(free)[1]
    return found


def _off(tick: BoltIn, through: Through, holes: Mapping[str, int]) -> int | None:
    """By how many holes a bolt is counted otherwise than when it was ticked; None where it is another.

    A member that became k holes longer has its holes counted on by 0 to k.
    """
    total = 0
    for (id, was, count), (_, now) in zip(tick.through, through):
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
            words = holes_words((id, hole) for id, hole, _ in tick.through)
            yield Changed(f"A bolt went in, {words}, where there is none now: take it out.", "", tick.key)


# Ticks


@dataclass(frozen=True)
class Ticks:
    """What is to be ticked, or no longer."""

    members: tuple[str, ...] = ()
    bolts: tuple[Through, ...] = ()
    steps: tuple[StepKey, ...] = ()


def tick(record: AssemblyRecord, ticks: Ticks, bolts: Collection[Through], frame: Frame) -> Act:
    """The act by which members, bolts and steps are ticked; members of a bolt that is in are in, too.

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
    holes = {m.id: m.holes for m in frame.members}
    if not set(ticks.members) <= holes.keys() or not set(ticks.bolts) <= set(bolts):
        raise ReconError(CHANGED)
    held = [id for through in ticks.bolts for id, _ in through if id not in record.members]
    ids = list(dict.fromkeys([*ticks.members, *held]))
    matched = _matched(record.bolts, bolts, holes)
    older = tuple(key for key, through in matched.items() if through in ticks.bolts)
    put: tuple[Entry, ...] = (
        *(MemberIn(id, holes[id]) for id in ids),
        *(BoltIn(tuple((id, hole, holes[id]) for id, hole in through)) for through in ticks.bolts),
        *map(StepDone, ticks.steps),
    )
    return Act(put, older, f"{_named(ids, ticks.bolts)} in" if ids or ticks.bolts else "Step done")


def untick(record: AssemblyRecord, ticks: Ticks, bolts: Collection[Through], frame: Frame) -> Act:
    """The act by which members, bolts and steps are no longer ticked; with a member go its bolts."""
    holes = {m.id: m.holes for m in frame.members}
    matched = _matched(record.bolts, bolts, holes)
    loose = {
        key: through
        for key, through in matched.items()
        if through in ticks.bolts or any(id in ticks.members for id, _ in through)
    }
    keys = (
        *(MemberIn(id, 0).key for id in ticks.members),
        *loose,
        *(StepDone(step).key for step in ticks.steps),
    )
    gone = tuple(key for key in keys if key in record.entries)
    some = ticks.members or loose
    return Act((), gone, f"{_named(ticks.members, loose.values())} not in" if some else "Step not done")


def _named(members: Collection[str], bolts: Collection[Through]) -> str:
    """'C, D and 4 bolts', 'Bolt: hole 3 of C on hole 1 of F'."""
    if len(bolts) == 1 and not members:
        return f"Bolt {holes_words(next(iter(bolts)))}"
    return listed([*members, *([plural(len(bolts), "bolt")] if bolts else [])])


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
    shared = [len(set(item.members) & set(key.members)) for item in items]
    return shared.index(max(shared)) if any(shared) else -1
