"""What was found wrong with a frame before it is built, as blocks of the papers."""

from __future__ import annotations

from collections.abc import Iterator

from recon.workshop.papers.blocks import Block, Heading, Paragraph
from recon.workshop.rigidity.frame_check import TITLES, CheckReport, addition_effect
from recon.workshop.wording import listed, plural

MOST = 12  # findings of one kind that are listed, and members that are named: this project's choice


def check_blocks(report: CheckReport) -> Iterator[Block]:
    """All findings, kind by kind, and what to add so that nothing racks."""
    yield Paragraph(check_words(report))
    for kind, title in TITLES.items():
        texts = [f.text for f in report.findings if f.kind == kind]
        if not texts:
            continue
        yield Heading(title)
        yield from (Paragraph(text, "list") for text in texts[:MOST])
        if len(texts) > MOST:
            yield Paragraph(f"{len(texts) - MOST} more of this kind: 'recon check' names them.", "list")
    if not report.mobility.motions:
        return
    yield Heading("What to add against racking, one after the other")
    if not report.additions:
        yield Paragraph("Nothing that fits the free holes stops any of these.")
    for n, addition in enumerate(report.additions, 1):
        yield Paragraph(f"{n}. {addition.text} {addition_effect(addition, report)}")
    for text in report.better:
        yield Paragraph(f"Better: {text}")
    if report.additions:
        text = "Parts, drawings and steps that follow are of the frame as planned, without these."
        yield Paragraph(text, "note")


def check_words(report: CheckReport) -> str:
    """Whether anything is wrong, and which members are not held; sentences."""
    if not report.findings:
        return (
            "Checked: no members are in one another's room, every lap has its bolt, and nothing racks or "
            "folds."
        )
    said = []
    motions = report.mobility.motions
    if motions:
        ways = plural(len(motions), "way")
        said.append(f"This frame racks: its bolts leave it {ways} to move.")
    held = dict.fromkeys(id for f in report.findings if f.kind in ("loose", "motion") for id in f.members)
    if held:
        names = listed(held) if len(held) <= MOST else f"{', '.join(list(held)[:MOST])} and others"
        said.append(f"Not held: {names}.")
    others = sum(f.kind not in ("motion", "loose") for f in report.findings)
    if others:
        said.append(f"{plural(others, 'other thing')} {'is' if others == 1 else 'are'} wrong.")
    return " ".join(said)
