"""What is kept while a frame is put together: what is in or on, notes and photos at steps.

Each entry belongs to what it is about, never to the number of a step: a member by its label and the holes
that it had when it was ticked, a fitting by its label and the holes that it is bolted to, a bolt by the holes
that it goes through, a step by the members or fittings that it brings in.  So entries outlive changes of the
frame and of the order; `progress` says which of them still hold.
"""

from __future__ import annotations

import json
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from typing import Any

from recon.errors import ReconError

STEP_KINDS = ("join", "turn", "core", "end")  # of steps' keys.  Programs of before refuse others
LONGEST_NAME = 1000  # characters of what a step's key names.  This project's choice

Json = dict[str, Any]
# Member, hole from 0, and the holes that the member had when it was ticked; of a bolt that holds a fitting
# also the fitting, with hole 0 of none.
TickedHole = tuple[str, int, int]


@dataclass(frozen=True)
class StepKey:
    """What a step is, whatever its number.

    Attributes
    ----------
    kind : str
        As `BuildStep.kind`: "join" (also where fittings are put on), "turn" or "core"; "end" for what is done
        at the end.
    members : tuple of str
        Ids of what comes in, sorted, members or fittings; of a turn, of what is turned; at the end the
        sentence that says what to do, or nothing for all of the end.
    time : int
        Which one it is of steps with the same kind and members, from 1.
    """

    kind: str
    members: tuple[str, ...]
    time: int = 1


@dataclass(frozen=True)
class MemberIn:
    """A member that is in its place; `holes` that it had when it was ticked."""

    id: str
    holes: int

    @property
    def key(self) -> str:
        """What names the entry."""
        return _key("member", self.id)


@dataclass(frozen=True)
class FittingOn:
    """A fitting that is on; `holes` that it was bolted to when it was ticked."""

    id: str
    holes: tuple[TickedHole, ...]

    @property
    def key(self) -> str:
        """What names the entry."""
        return _key("fitting", self.id)


@dataclass(frozen=True)
class BoltIn:
    """A bolt that is in; `through` in order of members, fittings and holes."""

    through: tuple[TickedHole, ...]

    @property
    def fitting(self) -> str:
        """The fitting that it holds; empty for none."""
        return next((id for id, _, count in self.through if not count), "")

    @property
    def key(self) -> str:
        """What names the entry."""
        return _key("bolt", [hole[:2] for hole in self.through])


@dataclass(frozen=True)
class StepDone:
    """A step that brings nothing in by itself, such as a turn, and was done."""

    step: StepKey

    @property
    def key(self) -> str:
        """What names the entry."""
        return _key("step", _step_to_json(self.step))


@dataclass(frozen=True)
class StepNote:
    """A note at a step.

    Attributes
    ----------
    id : int
        No two notes of a record have the same.
    step : StepKey
    text : str
    at : str
        When it was written, ISO 8601.
    """

    id: int
    step: StepKey
    text: str
    at: str = ""

    @property
    def key(self) -> str:
        """What names the entry."""
        return _key("note", self.id)


@dataclass(frozen=True)
class StepPhoto:
    """A photo that was taken at a step: the file's name in the build's folder of step photos, and when."""

    file: str
    step: StepKey
    at: str = ""

    @property
    def key(self) -> str:
        """What names the entry."""
        return _key("photo", self.file)


END = StepKey("end", ())  # where notes and photos of the end belong
Entry = MemberIn | FittingOn | BoltIn | StepDone | StepNote | StepPhoto


def _key(kind: str, what: Any) -> str:
    return f"{kind} {json.dumps(what, ensure_ascii=False)}"


@dataclass(frozen=True)
class Act:
    """One thing that a person did: entries put (over those of the same keys) and keys taken away.

    Attributes
    ----------
    put : tuple of Entry
    gone : tuple of str
    words : str
        What was done.
    """

    put: tuple[Entry, ...] = ()
    gone: tuple[str, ...] = ()
    words: str = ""


@dataclass(frozen=True)
class AssemblyRecord:
    """All entries by their keys, those put last at the end.

    Examples
    --------
    >>> record = AssemblyRecord().after(Act((MemberIn("C", 12),)))
    >>> record.members, record.after(record.inverse(Act((MemberIn("C", 14),)))).members
    ({'C': 12}, {'C': 12})
    """

    entries: Mapping[str, Entry] = field(default_factory=dict)

    def after(self, act: Act) -> AssemblyRecord:
        """The record once an act is done."""
        left = {key: e for key, e in self.entries.items() if key not in act.gone}
        for entry in act.put:
            left.pop(entry.key, None)
            left[entry.key] = entry
        return AssemblyRecord(left)

    def inverse(self, act: Act) -> Act:
        """The act that takes another back, which is yet to be done on this record."""
        touched = [*act.gone, *(entry.key for entry in act.put)]
        before = tuple(self.entries[key] for key in dict.fromkeys(touched) if key in self.entries)
        new = tuple(entry.key for entry in act.put if entry.key not in self.entries)
        return Act(before, new)

    @property
    def members(self) -> dict[str, int]:
        """Members that were ticked, with the holes that each had."""
        return {e.id: e.holes for e in self.entries.values() if isinstance(e, MemberIn)}

    @property
    def fittings(self) -> list[FittingOn]:
        """Fittings that were ticked."""
        return [e for e in self.entries.values() if isinstance(e, FittingOn)]

    @property
    def bolts(self) -> list[BoltIn]:
        """Bolts that were ticked."""
        return [e for e in self.entries.values() if isinstance(e, BoltIn)]

    @property
    def steps(self) -> set[StepKey]:
        """Steps that were ticked by themselves."""
        return {e.step for e in self.entries.values() if isinstance(e, StepDone)}

    @property
    def notes(self) -> list[StepNote]:
        """Notes, in the order in which they were written."""
        return sorted((e for e in self.entries.values() if isinstance(e, StepNote)), key=lambda e: e.id)

    @property
    def photos(self) -> list[StepPhoto]:
        """Photos, in the order in which they were taken."""
        found = (e for e in self.entries.values() if isinstance(e, StepPhoto))
        return sorted(found, key=lambda e: (e.at, e.file))


# JSON


def _step_to_json(step: StepKey) -> Json:
    return {"kind": step.kind, "members": list(step.members), "time": step.time}


def step_from_json(d: Any) -> StepKey:
    """The step of its JSON, {kind, members, time}.

    Raises
    ------
    ReconError
        Where it is none.

    Examples
    --------
    >>> step_from_json({"kind": "turn", "members": ["B", "A"], "time": 1})
    StepKey(kind='turn', members=('A', 'B'), time=1)
    """
    try:
        kind, members, time = d["kind"], d["members"], d.get("time", 1)
        names = all(isinstance(m, str) and len(m) <= LONGEST_NAME for m in members)
        if kind in STEP_KINDS and isinstance(time, int) and names:
            return StepKey(kind, tuple(sorted(members)), time)
    except (KeyError, TypeError, AttributeError):
        pass
    raise ReconError("'step' must name a step: its kind and its members.")


def entry_to_json(entry: Entry) -> Json:
    """An entry as journal and files have it."""
    match entry:
        case MemberIn():
            return {"kind": "member", "id": entry.id, "holes": entry.holes}
        case FittingOn():
            return {"kind": "fitting", "id": entry.id, "holes": [list(hole) for hole in entry.holes]}
        case BoltIn():
            kind = "fitting bolt" if entry.fitting else "bolt"
            return {"kind": kind, "through": [list(hole) for hole in entry.through]}
        case StepDone():
            return {"kind": "step", "step": _step_to_json(entry.step)}
        case StepNote():
            step = _step_to_json(entry.step)
            return {"kind": "note", "id": entry.id, "step": step, "text": entry.text, "at": entry.at}
        case StepPhoto():
            return {"kind": "photo", "file": entry.file, "step": _step_to_json(entry.step), "at": entry.at}


def entry_from_json(d: Json) -> Entry | None:
    """The entry; None for a kind that is not known here.

    Raises
    ------
    KeyError, TypeError, ValueError, ReconError
        Where it makes no sense.
    """
    match d["kind"]:
        case "member":
            return MemberIn(str(d["id"]), int(d["holes"]))
        case "fitting":
            return FittingOn(str(d["id"]), _holes(d["holes"]))
        case "bolt" | "fitting bolt":
            return BoltIn(_holes(d["through"]))
        case "step":
            return StepDone(step_from_json(d["step"]))
        case "note":
            at = str(d.get("at", ""))
            return StepNote(int(d["id"]), step_from_json(d["step"]), str(d["text"]), at)
        case "photo":
            return StepPhoto(str(d["file"]), step_from_json(d["step"]), str(d.get("at", "")))
    return None


def _holes(values: Any) -> tuple[TickedHole, ...]:
    return tuple((str(id), int(hole), int(count)) for id, hole, count in values)


def _entries(items: Iterable[Json]) -> Iterable[Entry]:
    return (entry for entry in map(entry_from_json, items) if entry is not None)


def act_to_json(act: Act) -> Json:
    """An act as the journal has it, without its words."""
    return {"put": list(map(entry_to_json, act.put)), "gone": list(act.gone)}


def act_from_json(d: Json, words: str = "") -> Act:
    """The act; entries of kinds that are not known here are passed over.

    Raises
    ------
    KeyError, TypeError, ValueError, ReconError
        Where it makes no sense.

    Examples
    --------
    >>> act = Act((StepNote(1, StepKey("join", ("C",)), "Tight"),), (MemberIn("A", 8).key,))
    >>> act_from_json(act_to_json(act)) == act
    True
    """
    return Act(tuple(_entries(d.get("put", ()))), tuple(map(str, d.get("gone", ()))), words)
