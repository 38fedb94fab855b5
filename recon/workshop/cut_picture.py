"""A picture of sticks with their cuts, as SVG: black on white, so that any printer does."""
from __future__ import annotations

from html import escape
from typing import Sequence

from recon.frame.length import both_text, mm_text
from recon.workshop.cutting import CutStick
from recon.workshop.words import plural

WIDTH = 1000.0           # of the picture, in its own units; the longest stick takes it up but for the margins
MARGIN = 12.0
ROW = 108.0              # from stick to stick
BAR = 34.0               # height of a stick
TOP = 22.0               # of a stick under the top of its row, where its title stands
FONT = 16.0
SMALL = 12.0
LETTER = 0.62            # width of a letter against its height, at most, in the usual sans-serif faces


def cut_picture(sticks: Sequence[CutStick], first_number: int = 1, longest_mm: float | None = None) -> str:
    """The sticks to scale, one under another, as one SVG document.

    Pieces carry the member's label and its number of holes; small circles are holes; a thick line with a triangle is a
    cut, with its distance from the stick's left end in mm; what is hatched is left over.

    first_number : of the first stick.   longest_mm : length that fills the width, of the longest of `sticks` by default;
    give it where several pictures are to have one scale.
    """
    scale = (WIDTH - 2 * MARGIN) / (longest_mm or max((s.length_mm for s in sticks), default=1.0))
    height = ROW * len(sticks) + 4
    rows = [_stick(stick, first_number + k, ROW * k, scale) for k, stick in enumerate(sticks)]
    return (f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {WIDTH:g} {height:g}" width="100%" role="img" '
            f'font-family="Helvetica, Arial, sans-serif" font-size="{FONT:g}" fill="black">\n'
            '<title>Sticks with their cuts</title>\n'
            '<defs><pattern id="left-over" width="6" height="6" patternUnits="userSpaceOnUse" patternTransform="rotate(45)">'
            '<path d="M0 0V6" stroke="black" stroke-width="1"/></pattern></defs>\n'
            f'<rect width="{WIDTH:g}" height="{height:g}" fill="white"/>\n' + "\n".join(rows) + "\n</svg>\n")


def _stick(stick: CutStick, number: int, top: float, scale: float) -> str:
    def x(mm):
        return MARGIN + mm * scale

    y = top + TOP
    title = f"{number}  {stick.stock}, {both_text(stick.length_mm)}, {'from the rack' if stick.owned else 'to buy'}"
    rest = f"left over {mm_text(stick.offcut_mm)}" + (f", {plural(stick.offcut_holes, 'hole')}" if stick.offcut_holes else "")
    parts = [_text(MARGIN, top + 15, title + (f"; {rest}" if stick.offcut_mm > 1 else ""), weight="bold"),
             _rect(x(0), y, stick.length_mm * scale, "url(#left-over)")]
    parts += [_rect(x(p.start_mm), y, (p.end_mm - p.start_mm) * scale, "white") for p in stick.pieces]
    radius = min(2.8, 0.3 * scale * _step(stick))
    parts += [f'<circle cx="{x(mm):.2f}" cy="{y + BAR - 7:.2f}" r="{radius:.2f}" fill="white" stroke="black" stroke-width="0.6"/>'
              for mm in stick.holes_mm]
    for piece in stick.pieces:
        parts.append(_label(piece, x(piece.start_mm), x(piece.end_mm), y))
    parts.append(f'<rect x="{x(0):.2f}" y="{y:.2f}" width="{stick.length_mm * scale:.2f}" height="{BAR:g}" fill="none" '
                 'stroke="black" stroke-width="1"/>')
    parts += _cuts(stick, x, y)
    return "<g>" + "\n".join(parts) + "</g>"


def _step(stick: CutStick) -> float:
    """Distance of two holes, mm; 0 where there are none."""
    return stick.holes_mm[1] - stick.holes_mm[0] if len(stick.holes_mm) > 1 else 0.0


def _label(piece, left: float, right: float, y: float) -> str:
    """The member and its length, as far as there is room; the label alone, smaller, in a short piece."""
    for text, size in ((f"{piece.member}: {piece.holes} holes", FONT), (f"{piece.member}: {piece.holes}", FONT),
                       (f"{piece.member}:{piece.holes}", SMALL)):
        if len(text) * size * LETTER <= right - left - 2:
            break
    else:
        text, size = piece.member, min(SMALL, (right - left - 1) / (len(piece.member) * LETTER))
    return _text((left + right) / 2, y + 17, text, size=size, anchor="middle")


def _cuts(stick: CutStick, x, y: float) -> list[str]:
    """A line and a triangle for each cut, its place under it: written lower where it would touch the one before."""
    parts, ends = [], [-1e9] * 3
    for cut in stick.cuts_mm:
        at, text = x(cut), f"{cut:.1f}".removesuffix(".0")
        half = len(text) * SMALL * LETTER / 2
        line = next((k for k in (0, 1, 2) if at - half > ends[k] + 2), 2)
        ends[line] = at + half
        parts.append(f'<path d="M{at:.2f} {y - 3:.2f}V{y + BAR + 2:.2f}" stroke="black" stroke-width="2.2"/>'
                     f'<path d="M{at:.2f} {y + BAR + 1:.2f}l-3.5 6h7z"/>')
        parts.append(_text(at, y + BAR + 19 + 11.5 * line, text, size=SMALL, anchor="middle"))
    return parts


def _rect(x: float, y: float, width: float, fill: str) -> str:
    return f'<rect x="{x:.2f}" y="{y:.2f}" width="{width:.2f}" height="{BAR:g}" fill="{fill}"/>'


def _text(x: float, y: float, text: str, size: float = FONT, anchor: str = "start", weight: str = "normal") -> str:
    return (f'<text x="{x:.2f}" y="{y:.2f}" font-size="{size:.3g}" text-anchor="{anchor}" font-weight="{weight}">'
            f"{escape(text)}</text>")
