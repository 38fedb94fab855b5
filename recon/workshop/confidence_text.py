"""How sure a frame file is of what it says, in sentences for whoever builds from it."""

from __future__ import annotations

from collections import Counter
from collections.abc import Container, Mapping, Sequence

from recon.frame.confidence import SURE
from recon.frame.joints import components, loose_members
from recon.frame.length import SIZE_DOUBTS, both_text
from recon.frame.model import End, Frame, Member
from recon.frame.stock import Stock
from recon.workshop.hardware.bolts import Bolt, find_bolts
from recon.workshop.rigidity.findings import find_loose
from recon.workshop.wording import choices_words, listed, plural

_HOW = {
    "recognised": "recognised from its ratios in the photos",
    "given": "as it was given",
    "length": "sized by a length that was measured",
    "assumed": "assumed, as nothing seen tells it",
}
AS_OTHERS = "is taken to be where members like it end"  # an end that no photo shows
_END = {"hidden": "out of sight", "cut": "beyond the photo's border", "seen": "in sight"}


def source_words(frame: Frame) -> str:
    """Where the frame comes from: 'Read from 3 photos.'"""
    used = sum(p.used for p in frame.photos)
    if used:
        return f"Read from {plural(used, 'photo')}: check whatever is marked as not sure before you cut."
    return "No photo is named in the frame file: what it says is taken as it stands."


def stock_words(frame: Frame, stocks: Mapping[str, Stock]) -> str:
    """The stock and how it is known; of a mixed frame every stock with its members.

    Examples
    --------
    >>> members = [Member("A", (0, 0, 0), (0, 0, 1), 8, stock="x"), Member("B", (0, 0, 0), (0, 0, 1), 8)]
    >>> stock_words(Frame(tuple(members)), {})
    'x: A; not known: B'
    """
    use = frame.stock
    groups: dict[str, list[str]] = {}
    for m in frame.members:
        groups.setdefault(m.stock or "", []).append(m.id)
    if len(groups) > 1:
        return "; ".join(
            f"{stocks[id].name if id in stocks else id or 'not known'}: {_ids(ids)}"
            for id, ids in groups.items()
        )
    if use is None or not use.id:
        own = next(iter(groups), "")  # a frame written by hand may name it at its members alone
        return stocks[own].name if own in stocks else own or "not known"
    name = stocks[use.id].name if use.id in stocks else use.id
    sure = "" if use.how == "given" else f", {sure_words(use.confidence)}"
    return f"{name}: {_HOW.get(use.how, use.how)}{sure}"


MOST_IDS = 12  # members of a stock that are named


def _ids(ids: Sequence[str]) -> str:
    if len(ids) <= MOST_IDS:
        return listed(ids)
    return f"{', '.join(ids[:MOST_IDS])} and {len(ids) - MOST_IDS} more"


def size_sentence(frame: Frame, stocks: Mapping[str, Stock]) -> str:
    """What is not sure about stock and size, and how to settle it, in one sentence; '' where nothing is.

    Examples
    --------
    >>> from recon.frame.model import StockUse
    >>> post = Member("A", (0, 0, 0), (0, 0, 1), 16, stock="pine")
    >>> size_sentence(Frame((post,), (), 38.1, StockUse("pine", "recognised", 0.8)), {})
    'All lengths in mm hold if the stock is pine (80% sure): measure A, which then is 609.6 mm (24 in).'
    """
    use = frame.stock
    said = any(note.startswith(SIZE_DOUBTS) for note in frame.doubts)
    sure = use is not None and (use.how in ("given", "length") or use.confidence >= SURE)
    if not frame.pitch_mm or not frame.members or use is None or (sure and not said):
        return ""
    longest = max(frame.members, key=lambda m: m.holes)
    length = both_text(longest.holes * frame.pitch_mm)
    name = stocks[use.id].name if use.id in stocks else use.id
    if not name:
        pitch = both_text(frame.pitch_mm)
        return (
            f"All lengths in mm hold if the pitch is {pitch}: measure {longest.id}, which then is {length}."
        )
    known = f"the stock is {name} ({sure_words(use.confidence)})"
    return f"All lengths in mm hold if {known}: measure {longest.id}, which then is {length}."


def percent(share: float) -> str:
    """A probability in words, never more than 99%: nothing that is read from photos is certain.

    >>> percent(0.834), percent(0.999)
    ('83%', '99%')
    """
    return f"{min(int(share * 100 + 0.5), 99)}%"


def sure_words(share: float) -> str:
    """How sure something is: a percentage, or "not sure" where that would be none.

    >>> sure_words(0.834), sure_words(0.001)
    ('83% sure', 'not sure')
    """
    return f"{percent(share)} sure" if share >= 0.005 else "not sure"


def unsure_members(frame: Frame) -> tuple[str, ...]:
    """Labels of the members of which the reading is not sure, or whose ends could lie further out."""
    return tuple(
        m.id for m in frame.members if m.confidence < SURE or any(end.extra or end.choices for end in m.ends)
    )


def member_doubts(frame: Frame) -> list[str]:
    """A sentence for each member of which the reading is not sure, or of which an end is out of sight."""
    doubtful = {*unsure_members(frame), *(m.id for m in frame.members if any(map(_is_out_of_sight, m.ends)))}
    labels = {m.id for m in frame.members}
    return [_member_doubt(m, labels) for m in frame.members if m.id in doubtful]


def _member_doubt(member: Member, labels: Container[str]) -> str:
    sure = f", {percent(member.confidence)} sure" if member.confidence < SURE else ""
    ends = [
        f"the end at hole {number} is {_END[end.state]}{end_words(end, labels)}"
        for end, number in zip(member.ends, (1, member.holes))
        if end.extra or end.choices or _is_out_of_sight(end)
    ]
    details = f": {'; '.join(ends)}" if ends else ""
    return f"{member.id} ({plural(member.holes, 'hole')}{sure}){details}."


def _is_out_of_sight(end: End) -> bool:
    return end.state == "hidden"


def end_words(end: End, labels: Container[str]) -> str:
    """How many holes there may be, to follow what is said of an end; '' where nothing is known of that.

    Examples
    --------
    >>> from recon.frame.model import EndChoice
    >>> end_words(End("hidden", 2), {"A", "B"})
    ', so up to 2 more holes could be there'
    >>> end_words(End("hidden", 2, (EndChoice(22, 0.7), EndChoice(24, 0.3, "D"))), {"A", "D"})
    ', so the holes in all are 22 or 24, at D'
    """
    if end.choices:
        return f", so the holes in all are {choices_words(end.choices, labels)}"
    if end.extra:
        return f", so up to {plural(end.extra, 'more hole')} could be there"
    return f", and {AS_OTHERS}" if _is_out_of_sight(end) else ""


def loose_doubts(frame: Frame) -> list[str]:
    """Members that touch no other, and pieces of the frame that do not touch."""
    if len(frame.members) < 2:
        return []
    loose = set(loose_members(frame))
    notes = [f.text for f in find_loose(frame) if f.members[0] in loose]
    pieces = [", ".join(piece) for piece in components(frame) if len(piece) > 1]
    if len(pieces) > 1:
        notes.append(f"The frame is in {len(pieces)} pieces that do not touch: {'; '.join(pieces)}.")
    return notes


def doubts(frame: Frame) -> tuple[str, ...]:
    """All that is not sure.

    Members and their ends, bolts that were in no photo, loose pieces, and what the reading itself says.

    Examples
    --------
    >>> doubts(Frame((Member("A", (0, 0, 0), (0, 0, 1), 8, confidence=0.62),), doubts=("One photo only.",)))
    ('A (8 holes, 62% sure).', 'One photo only.')
    """
    notes = member_doubts(frame)
    return (*notes, *unseen_bolts(find_bolts(frame)), *loose_doubts(frame), *frame.doubts)


def unseen_bolts(bolts: Sequence[Bolt]) -> list[str]:
    """Sentences on the bolts that no photo shows: those that are assumed, those that a person speaks for.

    Nothing is said where all are assumed, as in a frame file that was written by hand.
    """
    count = Counter(bolt.known for bolt in bolts)
    notes = []
    if 0 < count["assumed"] < len(bolts):
        were, are = ("was", "is") if count["assumed"] == 1 else ("were", "are")
        notes.append(
            f"{plural(count['assumed'], 'bolt')} of {len(bolts)} {were} in no photo and {are} assumed."
        )
    if count["said"]:
        were, they = ("was", "it is") if count["said"] == 1 else ("were", "they are")
        bolts_of = f"{plural(count['said'], 'bolt')} of {len(bolts)}"
        notes.append(f"{bolts_of} {were} in no photo; a person says that {they} there.")
    return notes
