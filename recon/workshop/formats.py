"""The forms that lists are written in: HTML for the printer, text in a fixed-width face, rows as CSV."""

from __future__ import annotations

import csv
import io
import textwrap
from collections.abc import Iterable, Sequence
from html import escape

WIDTH = 88  # columns of a terminal, and of A4 in a 10-point fixed-width face
_STYLE = """
@page { margin: 14mm }
body { font: 10pt/1.35 Helvetica, Arial, sans-serif; color: black; background: white; max-width: 190mm; \
margin: 0 auto; padding: 4mm }
h1 { font-size: 15pt; margin: 0 0 2mm } h2 { font-size: 12pt; margin: 6mm 0 1mm }
table { border-collapse: collapse; width: 100% } thead { display: table-header-group } tr { break-inside: \
avoid }
th, td { text-align: left; vertical-align: top; padding: 0.6mm 2mm 0.6mm 0; border-bottom: 0.2mm solid #777 }
th { border-bottom: 0.4mm solid black } td.number, th.number { text-align: right; white-space: nowrap }
figure { margin: 2mm 0; break-inside: avoid } svg { max-width: 100%; height: auto }
p { margin: 1.5mm 0 } p.caution { border: 0.5mm solid black; padding: 2mm }
"""


def page(title: str, body: Iterable[str]) -> str:
    """A whole HTML document for A4 and Letter, with nothing in it that is fetched from elsewhere.

    Parameters
    ----------
    title : str
        Plain text.
    body : iterable of str
        HTML, as the functions below make it.

    Examples
    --------
    >>> "<h1>Gate &amp; post</h1>" in page("Gate & post", [paragraph("Two members.")])
    True
    """
    return (
        f'<!DOCTYPE html>\n<html lang="en">\n<head><meta charset="utf-8"><title>{escape(title)}</title>'
        '<meta name="viewport" content="width=device-width, initial-scale=1">'
        f"<style>{_STYLE}</style></head>\n<body>\n<h1>{escape(title)}</h1>\n"
        + "\n".join(body)
        + "\n</body>\n</html>\n"
    )


def heading(text: str) -> str:
    """A heading within a page."""
    return f"<h2>{escape(text)}</h2>"


def paragraph(text: str, kind: str = "") -> str:
    """A paragraph; `kind` is "caution" for one in a box."""
    return f'<p class="{kind}">{escape(text)}</p>' if kind else f"<p>{escape(text)}</p>"


def table(columns: Sequence[str], rows: Iterable[Sequence[str]], numbers: Sequence[int] = ()) -> str:
    """A table of text; the columns whose places are in `numbers` are aligned to the right."""

    def cell(tag: str, k: int, text: str) -> str:
        kind = ' class="number"' if k in numbers else ""
        return f"<{tag}{kind}>{escape(text)}</{tag}>"

    def row(tag: str, cells: Sequence[str]) -> str:
        return "<tr>" + "".join(cell(tag, k, str(text)) for k, text in enumerate(cells)) + "</tr>"

    body = "\n".join(row("td", cells) for cells in rows)
    return f"<table><thead>{row('th', columns)}</thead><tbody>{body}</tbody></table>"


def csv_text(columns: Sequence[str], rows: Iterable[Iterable[object]]) -> str:
    """CSV (RFC 4180) with a row of column names; None is an empty cell, numbers are written plainly.

    Examples
    --------
    >>> csv_text(("label", "length_mm"), [("A", 457.2), ("=B", None)])
    "label,length_mm\\r\\nA,457.2\\r\\n'=B,\\r\\n"
    """
    out = io.StringIO()
    writer = csv.writer(out)
    writer.writerow(columns)
    writer.writerows([_cell(value) for value in row] for row in rows)
    return out.getvalue()


def _cell(value: object) -> object:
    if isinstance(value, float):
        return f"{value:.4f}".rstrip("0").rstrip(".")
    # A spreadsheet takes text that starts so for a formula; an apostrophe in front keeps it text.
    if isinstance(value, str) and value[:1] in ("=", "+", "-", "@"):
        return "'" + value
    return "" if value is None else value


def money(amount: float | None, currency: str = "") -> str:
    """'12.50 EUR', '' where the amount is not known."""
    return "" if amount is None else f"{amount:.2f} {currency}".strip()


def mass_text(kg: float | None) -> str:
    """'1.29 kg', '12 g', '' where it is not known."""
    if kg is None:
        return ""
    return f"{kg:.2f} kg" if kg >= 1 else f"{1000 * kg:.3g} g" if kg < 0.9995 else "1.00 kg"


def text_table(columns: Sequence[str], rows: Sequence[Sequence[str]], numbers: Sequence[int] = ()) -> str:
    """A table in a fixed-width face; what is too long for its column goes on below.

    Parameters
    ----------
    columns : sequence of str
    rows : sequence of sequence of str
    numbers : sequence of int
        Places of the columns that are aligned to the right.

    Examples
    --------
    >>> for line in text_table(("count", "what"), [("2", "rail"), ("12", "post")], numbers=(0,)).splitlines():
    ...     line
    '         count  what'
    '             2  rail'
    '            12  post'
    """
    widths = [max(len(cells[k]) for cells in (columns, *rows)) for k in range(len(columns))]
    wide = max(range(len(columns)), key=lambda k: widths[k])
    widths[wide] = max(
        12, min(widths[wide], WIDTH - 2 - sum(w + 2 for k, w in enumerate(widths) if k != wide))
    )
    out = []
    for cells in (columns, *rows):
        split = [
            textwrap.wrap(text, widths[k], break_on_hyphens=False) or [""] for k, text in enumerate(cells)
        ]
        for line in range(max(map(len, split))):
            texts = [part[line] if line < len(part) else "" for part in split]
            out.append(
                "  "
                + "  ".join(
                    t.rjust(w) if k in numbers else t.ljust(w) for k, (t, w) in enumerate(zip(texts, widths))
                ).rstrip()
            )
    return "\n".join(out)


def wrapped(text: str, indent: str = "") -> str:
    """A paragraph in a fixed-width face, in which no line ends at a no-break space.

    Where it is indented, lines after the first are indented by two more.
    """
    hang = indent + " " * (2 + len(text) - len(text.lstrip(" "))) if indent else ""
    return textwrap.fill(
        text, WIDTH, initial_indent=indent, subsequent_indent=hang, break_on_hyphens=False
    ).replace("\u00a0", " ")
