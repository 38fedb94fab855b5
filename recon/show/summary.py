"""A frame in words, for a terminal or a text file."""

import textwrap
from collections import Counter, defaultdict
from collections.abc import Mapping, Sequence

import networkx as nx

from recon.frame.caution import CAUTION
from recon.frame.confidence import SURE
from recon.frame.fitting_boxes import spans
from recon.frame.length import both_text, mm_text
from recon.frame.model import Frame, Joint, Member
from recon.frame.stock import Stock
from recon.image.timecode import Timecode
from recon.show.camera_path import path_sentences
from recon.workshop.confidence_text import loose_doubts, member_doubts, sure_words
from recon.workshop.wording import holes_in_words, lap_words, listed, plural

WIDTH = 88  # columns: fits half of a wide terminal, and A4 in a 10-point fixed-width face
_HOW = {
    "recognised": "recognised from its ratios in the photos",
    "given": "as you gave it",
    "length": "sized by the length that you measured",
    "assumed": "assumed: nothing seen says so",
}


def summary_text(
    frame: Frame,
    stocks: Mapping[str, Stock],
    not_read: Sequence[tuple[str, str]] = (),
    timecodes: Mapping[str, Timecode] | None = None,
) -> str:
    """The frame for a person to read: size, members by stock and length, laps, fittings, doubts, photos, the
    caution once.

    Parameters
    ----------
    frame : Frame
    stocks : mapping of str to Stock
        The stock list by id, for names; an id that is not in it is named as it is.
    not_read : sequence of (name, reason)
        Files that were no photos.
    timecodes : mapping of str to Timecode, optional
        Photo -> its timecode, for those that are pictures of videos.

    Returns
    -------
    str
        Lines of at most WIDTH columns. Holes are counted from 1 (from 0 in the file).

    Examples
    --------
    >>> from recon.frame.model import Frame, Member
    >>> from recon.frame.stock import load_stocks
    >>> from recon.show.summary import summary_text
    >>> frame = Frame((Member("A", (0.0, 0.0, 0.0), (0.0, 0.0, 1.0), 8),), pitch_mm=38.1, name="Post")
    >>> print(summary_text(frame, load_stocks()))
    Post: 1 member, 8 holes, 0 laps
    ...
       1 x 8 holes   304.8 mm (12 in)          A
    ...
    """
    parts = [
        _title(frame),
        _size(frame, stocks),
        _members(frame, stocks),
        _laps(frame),
        _fittings(frame),
        _doubts(frame),
        _photos(frame, not_read, timecodes or {}),
    ]
    return "\n\n".join([*filter(None, parts), _wrap(CAUTION, "")]) + "\n"


def _wrap(text: str, indent: str = "  ", hang: str = "") -> str:
    """A paragraph of at most WIDTH columns; `hang` indents all lines but the first."""
    return textwrap.fill(
        text, WIDTH, initial_indent=indent, subsequent_indent=indent + hang, break_on_hyphens=False
    )


def _title(frame: Frame) -> str:
    """Name and counts, in one line."""
    facts = [
        plural(len(frame.members), "member"),
        plural(sum(m.holes for m in frame.members), "hole"),
        plural(len(frame.joints), "lap"),
    ]
    if used := sum(p.used for p in frame.photos):
        facts.append("from " + plural(used, "photo"))
    return (f"{frame.name}: " if frame.name else "") + ", ".join(facts)


def _size(frame: Frame, stocks: Mapping[str, Stock]) -> str:
    """Stock, pitch and outer size."""
    lines = ["Size"]
    if use := frame.stock:
        name = stocks[use.id].name if use.id in stocks else use.id
        label = (
            f"Stock {use.id}" + (f" ({name})" if name != use.id else "")
            if use.id
            else "Stock not in the list"
        )
        sure = "" if use.how == "given" or not use.id else f"; {sure_words(use.confidence)}"
        lines.append(_wrap(f"{label}, {_HOW.get(use.how, use.how)}{sure}.", hang="  "))
    if frame.pitch_mm:
        lines.append(_wrap(f"Pitch {both_text(frame.pitch_mm)}."))
    else:
        lines.append(
            _wrap("Pitch not known, so lengths are in holes only; give the stock or one measured length.")
        )
    if frame.members:
        size = spans(frame)
        if frame.pitch_mm:
            text = " x ".join(mm_text(span * frame.pitch_mm).removesuffix(" mm") for span in size) + " mm"
        else:
            text = " x ".join(f"{span:.4g}" for span in size) + " pitches"
        lines.append(_wrap(f"Over all {text} (x, y, z)."))
    return "\n".join(lines)


def _members(frame: Frame, stocks: Mapping[str, Stock]) -> str:
    """The members by stock and length."""
    if not frame.members:
        return "Members\n  none"
    by_stock: dict[str | None, dict[int, list[Member]]] = defaultdict(lambda: defaultdict(list))
    for m in frame.members:
        by_stock[m.stock][m.holes].append(m)
    lines = ["Members, by length from end to end"]
    for stock_id in sorted(by_stock, key=lambda s: (s is None, s)):
        pitch_mm = frame.pitch_mm
        if len(by_stock) > 1:
            stock = stocks.get(stock_id) if stock_id else None
            lines.append(_wrap(f"{stock.name if stock else stock_id}:" if stock_id else "Stock not known:"))
            pitch_mm = stock.pitch_mm if stock else pitch_mm
        for holes, members in sorted(by_stock[stock_id].items(), reverse=True):
            length = f"{both_text(holes * pitch_mm):<26}" if pitch_mm else ""
            labels = ", ".join(m.id + ("?" if m.confidence < SURE else "") for m in members)
            head = f"{len(members):>4} x {plural(holes, 'hole'):<10}{length}"
            lines.append(
                textwrap.fill(head + labels, WIDTH, subsequent_indent=" " * len(head), break_on_hyphens=False)
            )
    if any(m.confidence < SURE for m in frame.members):
        lines.append("  ? not sure: see below")
    return "\n".join(lines)


def _fittings(frame: Frame) -> str:
    """What is bolted into holes, and into which."""
    if not frame.fittings:
        return ""
    lines = [
        _wrap(f"{f.words}{f' ({f.name})' if f.name else ''}: {holes_in_words(f.holes)}", hang="  ")
        for f in frame.fittings
    ]
    return "\n".join(["Fittings", *lines])


def _laps(frame: Frame) -> str:
    """How the laps are bolted, and each of them."""
    if not frame.joints:
        return ""
    states = [_bolt_words(j) for j in frame.joints]
    bolts = Counter(states)
    counts = [
        f"{bolts[kind]} {words}"
        for kind, words in (
            ("bolt seen", "with the bolt seen"),
            ("bolt said to be there", "with the bolt said to be there"),
            ("bolt assumed", "with the bolt assumed"),
            ("no bolt", "without a bolt"),
            ("said to have no bolt", "said to have no bolt"),
        )
        if bolts[kind]
    ]
    lines = [f"Laps: {', '.join(counts)}; holes count from 1, and the picture rings hole 1"]
    words = [lap_words(j) for j in frame.joints]
    reach = max(map(len, words))
    lines += [f"  {text:<{reach}}  {state}" for text, state in zip(words, states)]
    corners = three_way_laps(frame)
    if corners:
        lines.append(_wrap("Three-way laps: " + "; ".join(listed(ids) for ids in corners) + ".", hang="  "))
    return "\n".join(lines)


def _bolt_words(joint: Joint) -> str:
    """How the bolt of a lap is known: seen, said by a person, assumed, or none, seen or said."""
    if joint.bolt == "none":
        return "said to have no bolt" if joint.bolt_by else "no bolt"
    return "bolt said to be there" if joint.bolt == "said" else f"bolt {joint.bolt}"


def three_way_laps(frame: Frame) -> list[tuple[str, ...]]:
    """The members round each three-way lap, ids in the frame's order."""
    place = {m.id: k for k, m in enumerate(frame.members)}
    graph = nx.Graph([(j.a, j.b) for j in frame.joints if j.three_way])
    triples = {
        tuple(sorted((a, b, c), key=place.__getitem__))
        for a, b in graph.edges
        for c in nx.common_neighbors(graph, a, b)
    }
    return sorted(triples, key=lambda ids: [place[i] for i in ids])


def _doubts(frame: Frame) -> str:
    """What is not sure of single members, what does not hang together, then what the reading itself says."""
    notes = [*member_doubts(frame), *loose_doubts(frame), *frame.doubts]
    return "\n".join(["Not sure", *(_wrap("- " + note, hang="  ") for note in notes)]) if notes else ""


def _photos(frame: Frame, not_read: Sequence[tuple[str, str]], timecodes: Mapping[str, Timecode]) -> str:
    """Which photos were used, why not, and from which videos they are."""
    notes = [
        f"{p.file}: " + ("used" if p.used else f"set aside: {p.reason or 'no reason given'}")
        for p in frame.photos
    ]
    notes += path_sentences(frame, timecodes)
    notes += [f"{name}: not read: {reason}" for name, reason in not_read]
    return "\n".join(["Photos", *(_wrap(note, hang="  ") for note in notes)]) if notes else ""
