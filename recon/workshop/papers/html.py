"""Papers as one HTML file with everything in it: nothing is fetched, and no script runs but that which turns
the frame in space, where it is in it."""

from __future__ import annotations

import base64
import hashlib
from collections.abc import Iterable, Sequence
from html import escape

from recon.workshop.drawing.paper import PAPERS
from recon.workshop.drawing.vector import FACES, MARK_FACES, sheet_svg
from recon.workshop.papers import blocks as doc
from recon.workshop.papers.memory import without_collections
from recon.workshop.papers.space import SpaceView

# The policy lets nothing in but what the file itself holds, whatever a name or a label may contain.
_POLICY = "default-src 'none'; img-src data:; style-src 'unsafe-inline'{scripts}"

_STYLE = """
:root { color-scheme: light }
body { font: 10pt/1.4 FACES; color: black; background: white; max-width: 190mm; margin: 0 auto; padding: 5mm }
h1 { font-size: 20pt; line-height: 1.2; margin: 0 0 4mm; overflow-wrap: anywhere }
h2 { font-size: 14pt; margin: 12mm 0 3mm; padding-top: 3mm; border-top: 0.5mm solid black }
h3 { font-size: 10.5pt; margin: 5mm 0 1.5mm }
nav { display: flex; flex-wrap: wrap; gap: 1mm 4mm; margin: 0 0 5mm }
nav a { color: black }
p { margin: 0 0 2mm } ul { margin: 0 0 2mm; padding-left: 5mm } li { margin: 0 0 1mm }
p.note { font-size: 8.5pt } p.caution { border: 0.5mm solid black; padding: 3mm; margin: 5mm 0; font-weight: \
bold }
.wide { overflow-x: auto }
table { border-collapse: collapse; margin: 0 0 4mm; font-size: 9pt }
th, td { text-align: left; vertical-align: top; padding: 0.8mm 4mm 0.8mm 0; border-bottom: 0.2mm solid #555 }
th { border-bottom: 0.4mm solid black } .number { text-align: right; white-space: nowrap }
.mark { font-family: MARKS } input { width: 4mm; height: 4mm; margin: 0; accent-color: black }
figure { margin: 0 0 4mm } figure svg, figure img { display: block; max-width: 100%; height: auto }
figure.turned { width: min(96vw, 270mm); margin-left: calc(50% - min(48vw, 135mm)) }
.step { display: flex; flex-wrap: wrap; gap: 5mm; border-bottom: 0.2mm solid #555; margin: 0 0 4mm; padding: \
0 0 4mm }
.step figure { flex: 0 1 112mm; margin: 0 } .step > div { flex: 1 1 55mm; min-width: 0 }
.step h3 { margin-top: 0 }
#space { display: block; width: 100%; height: min(28rem, 62vh); border: 1px solid #767676; cursor: grab; \
touch-action: none }
.space-steps { display: flex; gap: 4mm; align-items: center; margin: 2mm 0 5mm }
.space-steps input { flex: 1; width: auto; height: 9mm }
@page { size: PAPER; margin: 13mm }
@page turned { size: PAPER landscape; margin: 13mm }
@media print {
  body { max-width: none; padding: 0 } nav, #space, .space-steps { display: none } h2 { break-after: avoid }
  h3 { break-after: avoid }
  thead { display: table-header-group } tr, figure, .step, p.caution { break-inside: avoid } section.page { \
break-before: page }
  section.drawings h2 { display: none }
  figure.whole { break-before: page; margin: 0 } figure.turned { page: turned; width: auto; margin: 0 }
}
"""


@without_collections()
def papers_html(papers: doc.Document, space: SpaceView | None = None) -> str:
    """The whole page; what is text in it is escaped.

    Parameters
    ----------
    papers : Document
    space : SpaceView, optional
        The frame in space, to stand first.

    Examples
    --------
    >>> title = doc.Document("A & B", "a4", (doc.Section("A & B", (doc.Heading("Members"),)),))
    >>> "<h1>A &amp; B</h1>" in papers_html(title)
    True
    """
    style = _STYLE.replace("FACES", FACES).replace("MARKS", MARK_FACES)
    style = style.replace("PAPER", PAPERS[papers.paper].css)
    first, *others = papers.sections
    links = "".join(f'<a href="#part-{k}">{escape(s.title)}</a>' for k, s in enumerate(others, 2))
    shown = [space.html] if space else []
    body = [f"<h1>{escape(papers.dated_title)}</h1>", f"<nav>{links}</nav>", *shown, *_blocks(first.blocks)]
    for k, section in enumerate(others, 2):
        drawings = " drawings" * all(isinstance(b, doc.Drawing) for b in section.blocks)
        body += [
            f'<section class="page{drawings}" id="part-{k}">',
            f"<h2>{escape(section.title)}</h2>",
            *_blocks(section.blocks),
            "</section>",
        ]
    body += [f"<script>{space.script}</script>"] if space else []
    policy = _POLICY.format(scripts=_allowed(space.script) if space else "")
    return (
        '<!DOCTYPE html>\n<html lang="en">\n<head>\n<meta charset="utf-8">\n'
        f"<title>{escape(papers.title)}</title>\n"
        f'<meta http-equiv="Content-Security-Policy" content="{policy}">\n'
        '<meta name="viewport" content="width=device-width, initial-scale=1">\n'
        f"<style>{style}</style>\n</head>\n<body>\n" + "\n".join(body) + "\n</body>\n</html>\n"
    )


def _allowed(script: str) -> str:
    """What lets this script run and no other (W3C, Content Security Policy Level 3, 2.3.1: hash sources)."""
    digest = base64.b64encode(hashlib.sha256(script.encode("utf-8")).digest()).decode("ascii")
    return f"; script-src 'sha256-{digest}'"


def _blocks(blocks: Iterable[doc.Block]) -> list[str]:
    """Each block's HTML; list items that follow one another make one list."""
    out: list[str] = []
    listing = False
    for block in blocks:
        item = isinstance(block, doc.Paragraph) and block.kind == "list"
        out += ["<ul>"] * (item and not listing) + ["</ul>"] * (listing and not item)
        listing = item
        out.append(_block(block))
    return out + ["</ul>"] * listing


def _block(block: doc.Block) -> str:
    match block:
        case doc.Paragraph():
            return _paragraph(block)
        case doc.Heading():
            return f"<h3>{escape(block.text)}</h3>"
        case doc.Table():
            return _table(block)
        case doc.Drawing():
            return _drawing(block)
        case doc.Picture():
            return _picture(block)
        case doc.StepBlock():
            return _step(block)


def _paragraph(block: doc.Paragraph) -> str:
    if block.kind == "list":
        return f"<li>{escape(block.text)}</li>"
    kind = "" if block.kind == "text" else f' class="{block.kind}"'
    return f"<p{kind}>{escape(block.text)}</p>"


_TICK = '<td><input type="checkbox" aria-label="Done"></td>'


def _table(block: doc.Table) -> str:
    def cell(tag: str, k: int, text: str) -> str:
        kinds = " ".join(["number"] * (k in block.numbers) + ["mark"] * (k in block.marks and tag == "td"))
        return f"<{tag}" + (f' class="{kinds}"' if kinds else "") + f">{escape(text)}</{tag}>"

    def row(tag: str, box: str, cells: Sequence[str]) -> str:
        return "<tr>" + box * block.tick + "".join(cell(tag, k, t) for k, t in enumerate(cells)) + "</tr>"

    head = f"<thead>{row('th', '<th></th>', block.columns)}</thead>" if any(block.columns) else ""
    rows = "\n".join(row("td", _TICK, cells) for cells in block.rows)
    return f'<div class="wide"><table>{head}<tbody>{rows}</tbody></table></div>'


def _drawing(block: doc.Drawing) -> str:
    turned = " turned" if block.sheet.width > block.sheet.height else ""
    opening = f'<figure class="whole{turned}">' if block.whole_page else "<figure>"
    return f"{opening}{sheet_svg(block.sheet)}</figure>"


def _picture(block: doc.Picture) -> str:
    data = base64.b64encode(block.png).decode("ascii")
    kind = "png" if block.png.startswith(b"\x89PNG") else "jpeg"
    return f'<figure><img src="data:image/{kind};base64,{data}" alt="{escape(block.text)}"></figure>'


def _step(block: doc.StepBlock) -> str:
    return (
        f'<div class="step"><figure>{sheet_svg(block.sheet)}</figure><div><h3>{escape(block.title)}</h3>'
        + "".join(_blocks(block.lines))
        + "</div></div>"
    )
