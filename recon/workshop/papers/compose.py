"""All papers of a frame in one document: with it and nothing else a stranger builds the frame."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass

from recon.errors import ReconError
from recon.frame.boxes import corners
from recon.frame.caution import CAUTION
from recon.frame.fitting_boxes import spans
from recon.frame.joints import CLASH_TOL
from recon.frame.length import SIZE_DOUBTS, both_text, mm_text
from recon.frame.model import Frame
from recon.frame.stock import Stock
from recon.workshop.assembly.steps import BuildOrder, build_steps
from recon.workshop.confidence_text import doubts, size_sentence, source_words, stock_words
from recon.workshop.cutting.cut_list import CutList, cut_list
from recon.workshop.cutting.drilling import undrilled
from recon.workshop.drawing.member_sheet import MEMBER_NOTE, bolts_by_member, member_sheets
from recon.workshop.drawing.paper import ANGLES, PAPERS
from recon.workshop.drawing.projections import ViewBoard, drawn_hole, six_views, views_needed
from recon.workshop.drawing.view_sheet import side_of, view_sheets
from recon.workshop.formats import mass_text
from recon.workshop.hardware.bolts import Bolt, bolt_words
from recon.workshop.papers.blocks import (
    Block,
    Document,
    Drawing,
    Heading,
    Paragraph,
    Picture,
    Section,
    Table,
)
from recon.workshop.papers.check_blocks import check_blocks, check_words
from recon.workshop.papers.choices import AS_USUAL, NOTHING_ENCLOSED, Enclosed, PapersChoices
from recon.workshop.papers.drill_blocks import drill_blocks
from recon.workshop.papers.list_blocks import cut_blocks, parts_blocks, shopping_blocks
from recon.workshop.papers.memory import without_collections
from recon.workshop.papers.pdf import print_area
from recon.workshop.papers.photo_blocks import photo_blocks
from recon.workshop.papers.step_blocks import step_blocks
from recon.workshop.papers.work_blocks import work_blocks
from recon.workshop.parts.oversize import taken_words
from recon.workshop.parts.parts_list import parts_list
from recon.workshop.parts.parts_model import PartsList
from recon.workshop.parts.rack import as_built
from recon.workshop.parts.shopping import ShoppingList, shopping_list
from recon.workshop.rigidity.frame_check import CheckReport, check_frame
from recon.workshop.rigidity.play import clearance
from recon.workshop.sides import Sides
from recon.workshop.wording import listed, plural

COVER_TEXT = 150.0  # mm of the cover's height that its text takes
_INSTRUCTIONS = (
    (
        "Every member has one label, the same on every sheet. Write it on the member as you cut it, near its "
        "hole 1."
    ),
    (
        "Holes are counted from 1, from the end that the drawings mark with 1; a member is as many pitches "
        "long as "
        "it has holes."
    ),
    (
        '"hole 3 of C on hole 1 of F" means: lay hole 3 of C on hole 1 of F and put a bolt through both. On '
        "drawings the tag C3 F1 says the same."
    ),
)
# Papers of 305 members with 5,090 holes take 14 s (measured on a core of a busy server), and time grows a
# little faster than members. What takes more than about a minute is refused: this project's choice.
MOST_MEMBERS, MOST_HOLES = 1000, 50_000

FRONT = (
    "The front is the long side on which {} {} (in the frame file it looks to {}). Left and right are as you "
    "see them from there, also where a part lies on the floor while it is built: small arrows in each "
    "picture of a step show the sides."
)
FRONT_NAMED = 4  # members that are named on the front at most


@dataclass(frozen=True)
class Papers:
    """The document of a frame.

    Attributes
    ----------
    document : Document
    missing : tuple of str
        Sentences about what is missing from it, and why.
    steps : BuildOrder
        The build steps in it.
    """

    document: Document
    missing: tuple[str, ...]
    steps: BuildOrder


@without_collections()
def compose_papers(
    frame: Frame,
    stocks: Mapping[str, Stock],
    choices: PapersChoices = AS_USUAL,
    enclosed: Enclosed = NOTHING_ENCLOSED,
) -> Papers:
    """All papers of a frame.

    What cannot be said of this frame, such as a cut list where no stick is long enough, is explained in its
    place and in `missing`.

    Parameters
    ----------
    frame : Frame
    stocks : mapping of str to Stock
    choices : PapersChoices
        Paper, parts, cuts and drilling.
    enclosed : Enclosed
        Pictures, notes and what else goes in.

    Returns
    -------
    Papers

    Raises
    ------
    ReconError
        Where the frame has no members or no pitch, and for what `parts_list` raises.

    Examples
    --------
    >>> from recon.frame.model import Frame, Member
    >>> post = Member("A", (0.0, 0.0, 0.0), (0.0, 0.0, 1.0), 12)
    >>> made = compose_papers(Frame((post,), pitch_mm=38.1), {})
    >>> [section.title for section in made.document.sections][1:4]
    ['Before you build', 'Parts list', 'Shopping list']
    """
    _refuse_what_makes_none(frame)
    paper, angle, chosen = choices.paper, _angle_of(choices.paper, choices.angle), choices.parts
    missing: list[str] = []
    hole = drawn_hole(frame, stocks)
    parts = parts_list(
        frame,
        stocks,
        chosen.prices,
        chosen.rack,
        system=chosen.bolts,
        thread=chosen.thread,
        keep_out=chosen.keep_out,
        floor=chosen.floor,
        overhang=chosen.overhang,
        lock_nuts=chosen.lock_nuts,
    )
    cuts = _cuts(frame, stocks, parts, choices, missing)
    built = as_built(frame, parts.rack)
    steps = enclosed.steps or build_steps(built, hole)
    if steps.why:
        missing.append(f"{'Not all' if steps.steps else 'No'} build steps: {' '.join(steps.why)}")
    shopping = shopping_list(parts, cuts, stocks, chosen.prices)
    made = _Made(frame, built, stocks, parts, cuts, shopping, steps, hole)
    report = check_frame(built, hole=hole, play=clearance(built, stocks, chosen.bolts))
    title = frame.name or "Frame"
    images = tuple(photo_blocks(enclosed.photos, enclosed.kept.photos))
    sections = (
        Section(title, tuple(_cover(made, report, enclosed.picture, print_area(paper)[1] - COVER_TEXT))),
        Section("Before you build", tuple(check_blocks(report))),
        *_lists(made, print_area(paper)[0], missing),
        *_work(made, choices.drill, print_area(paper)),
        Section("Joint table", tuple(_joint_table(built, parts))),
        Section("Build steps", tuple(step_blocks(built, stocks, parts, steps, hole, enclosed.kept))),
        Section("Drawings", tuple(_drawings(built, hole, paper, angle))),
        Section("Members one by one", tuple(_members(made, print_area(paper)[0]))),
        *([Section("Photos", images)] if images else []),
    )
    return Papers(Document(title, paper, sections, enclosed.date), tuple(missing), steps)


def _angle_of(paper: str, angle: str | None) -> str:
    """How the three views lie; ReconError for a paper or a way that is not known."""
    if paper not in PAPERS:
        raise ReconError(f"'{paper}' is no paper that is known here; choose {listed(PAPERS, 'or')}.")
    angle = angle or PAPERS[paper].angle
    if angle not in ANGLES:
        raise ReconError(f"'{angle}' is no way to lay out views; choose {listed(ANGLES, 'or')}.")
    return angle


def _refuse_what_makes_none(frame: Frame) -> None:
    """Raises ReconError for a frame without members and for one too large."""
    if not frame.members:
        raise ReconError("The frame has no members, so there is nothing to make papers of.")
    holes = sum(m.holes for m in frame.members)
    if len(frame.members) > MOST_MEMBERS or holes > MOST_HOLES:
        raise ReconError(
            f"This frame has {len(frame.members)} members and {holes} holes; papers are made of up to "
            f"{MOST_MEMBERS} members and {MOST_HOLES} holes. Make a file of each of its parts, and papers of "
            "those."
        )


def _work(made: _Made, drill: str | None, size: tuple[float, float]) -> Iterator[Section]:
    """Marking out and drilling, where it is asked for or sticks are not drilled; tools, bags and lifts."""
    only = undrilled(made.cuts) if made.cuts else None
    drill = drill or ("all" if only else None)
    if drill:
        blocks = drill_blocks(made.frame, made.stocks, drill == "used", size, only)
        yield Section("Marking out and drilling", tuple(blocks))
    work = work_blocks(made.frame, made.stocks, made.parts, made.cuts, made.steps, drill)
    yield Section("Tools, bags and lifts", tuple(work))


@dataclass(frozen=True)
class _Made:
    """What papers are made from: the frame as planned and as built, and what follows from it."""

    planned: Frame
    frame: Frame
    stocks: Mapping[str, Stock]
    parts: PartsList
    cuts: CutList | None
    shopping: ShoppingList
    steps: BuildOrder
    hole: float


def _lists(made: _Made, width: float, missing: Sequence[str]) -> Iterator[Section]:
    """What to have, to buy and to cut."""
    cutting: Sequence[Block] = [Paragraph(missing[0])] if missing else []
    if made.cuts:
        cutting = cut_blocks(made.cuts, made.stocks, width, made.shopping.by_the_metre)
    yield Section("Parts list", tuple(parts_blocks(made.parts, made.planned)))
    yield Section("Shopping list", tuple(shopping_blocks(made.shopping, made.stocks, made.cuts)))
    yield Section("Cut list", tuple(cutting))


def _cuts(
    frame: Frame,
    stocks: Mapping[str, Stock],
    parts: PartsList,
    choices: PapersChoices,
    missing: list[str],
) -> CutList | None:
    prices, rack = choices.parts.prices, choices.parts.rack
    try:
        return cut_list(frame, stocks, rack=rack, used=parts.rack, prices=prices, **choices.cutting)
    except ReconError as error:
        missing.append(f"No cut list: {error}")
        return None


# Cover


def _cover(made: _Made, report: CheckReport, picture: bytes | None, height_mm: float) -> Iterator[Block]:
    frame, parts = made.frame, made.parts
    if picture:
        yield Picture(picture, "The frame seen from a corner", height_mm)
    where = " See 'Before you build'." if report.findings else ""
    yield Table(("", ""), (*_facts(frame, made.stocks, parts), ("Checks", check_words(report) + where)))
    yield Paragraph(CAUTION, "caution")
    yield Heading("How to use these papers")
    longer = parts.rack.longer if parts.rack else {}
    for text in (
        *_INSTRUCTIONS,
        *taken_words(longer.values()),
        _front_words(frame),
    ):
        yield Paragraph(text, "list")
    yield Heading("How sure this is")
    yield Paragraph(source_words(frame))
    size = size_sentence(frame, made.stocks)
    notes = [note for note in doubts(frame) if not note.startswith(SIZE_DOUBTS)]
    for note in [size] * bool(size) + notes:
        yield Paragraph(note, "list")
    if frame.photos and not (notes or size):
        yield Paragraph("Nothing is left in doubt by the reading.", "list")


def _front_words(frame: Frame) -> str:
    """Which side is the front: by the members that lie there, and for those who open the frame file."""
    front = six_views(frame.members)["Front"]
    lying = [(max(corners(m) @ front.towards), m.id) for m in frame.members]
    nearest = max(far for far, _ in lying)
    ids = [id for far, id in lying if far > nearest - CLASH_TOL]
    named = ids if len(ids) <= FRONT_NAMED else [*ids[: FRONT_NAMED - 1], "others"]
    return FRONT.format(listed(named), "lies" if len(ids) == 1 else "lie", front.seen_from)


def _facts(frame: Frame, stocks: Mapping[str, Stock], parts: PartsList) -> Iterator[tuple[str, str]]:
    """Name and value of each fact on the cover."""
    yield "Over all (x, y, z)", " x ".join(both_text(s * parts.pitch_mm) for s in spans(frame))
    holes = sum(m.holes for m in frame.members)
    end_to_end = mm_text(holes * parts.pitch_mm)
    yield "Members", f"{len(frame.members)}, with {plural(holes, 'hole')} in all, {end_to_end} end to end"
    bare = f"; {plural(parts.laps_without_bolt, 'lap')} without a bolt" if parts.laps_without_bolt else ""
    yield "Bolts", f"{len(parts.bolts)}{bare}"
    if parts.fittings:
        yield "Fittings", listed(f"{line.count} x {line.name}" for line in parts.fittings)
    yield "Stock", stock_words(frame, stocks)
    yield "Pitch", both_text(parts.pitch_mm)
    if parts.mass_kg is not None:
        what = "bolts and fittings" if parts.fittings else "bolts"
        yield "Weight", f"{mass_text(parts.mass_kg)} with {what}"


# Drawings


def _drawings(frame: Frame, hole: float, paper: str, angle: str) -> Iterator[Block]:
    sizes = (print_area(paper, True), print_area(paper, False))
    board = ViewBoard(frame, hole)
    for sheet in view_sheets(board, angle, views_needed(board, side_of(angle)), sizes):
        yield Drawing(sheet, True)


def _members(made: _Made, width: float) -> Iterator[Block]:
    yield Paragraph(MEMBER_NOTE)
    sides, through = Sides(made.frame.members), bolts_by_member([bolt for bolt, _ in made.parts.bolts])
    for m in made.frame.members:
        stock = m.stock if m.stock in made.stocks else ""
        for sheet in member_sheets(m, made.frame, through.get(m.id, []), sides, width, stock or ""):
            yield Drawing(sheet)


# Joints


def _joint_table(frame: Frame, parts: PartsList) -> Iterator[Block]:
    names = {bolt: fastening.name for bolt, fastening in parts.bolts if fastening}
    some_seen = any(bolt.known in ("seen", "said") for bolt, _ in parts.bolts)
    yield Paragraph("Each row is one bolt, or one lap that has none. Tick it off when it is done.")
    rows = [
        (str(k), bolt_words(bolt), names.get(bolt, "size not known"), _state_words(bolt, some_seen))
        for k, (bolt, _) in enumerate(parts.bolts, 1)
    ]
    bare = [j for j in frame.joints if j.bolt == "none"]
    without = [
        (
            str(k),
            f"hole {j.a_hole + 1} of {j.a} on hole {j.b_hole + 1} of {j.b}",
            "no bolt",
            "said" if j.bolt_by else "",
        )
        for k, j in enumerate(bare, len(rows) + 1)
    ]
    if not rows and not without:
        yield Paragraph("No member of this frame lies on another.")
        return
    columns = ("no.", "lap or fitting", "bolt", "how it is known" if some_seen else "")
    if rows:
        yield Table(columns, tuple(rows), (0,), (1,), True)
    if without:
        yield Table(columns, tuple(without), (0,), (1,))
    if any(bolt.three_way for bolt, _ in parts.bolts):
        yield Paragraph(
            "three-way: one of the three laps of a corner where three members cross in pairs. Put all three "
            "bolts in "
            "before you tighten any.",
            "note",
        )


def _state_words(bolt: Bolt, some_seen: bool) -> str:
    """'seen, three-way'; how it is known is left out where all bolts are assumed."""
    seen = bolt.known if some_seen and not bolt.fitting else ""
    return ", ".join(filter(None, [seen, "three-way" if bolt.three_way else ""]))
