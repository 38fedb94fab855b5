"""Parts and shopping list as a workbook whose costs are formulas: prices are typed in and it adds up."""

from __future__ import annotations

import io
import re
import zipfile
from collections.abc import Sequence
from datetime import datetime
from typing import Any

from recon.frame.caution import CAUTION
from recon.workshop.parts.parts_model import HardwareLine, MemberLine, PartsList
from recon.workshop.parts.shopping import ShoppingList

WIDTHS = {"what": 52, "members or laps": 60}  # characters of wide columns
FIXED = datetime(2000, 1, 1)  # as the file's date, so that the same lists make the same file


def parts_workbook(parts: PartsList, shopping: ShoppingList) -> bytes:
    """An XLSX file (ECMA-376) with a sheet to shop from and a sheet of parts.

    On the sheet "To buy", packs and costs are formulas of what is needed, of the pack's size and of its
    price, and the last row adds them up.  On the sheet "Parts" weights are formulas of counts.

    Parameters
    ----------
    parts : PartsList
    shopping : ShoppingList
        Of the same frame.

    Examples
    --------
    >>> from recon.frame.model import Frame, Member
    >>> from recon.workshop.parts.parts_list import parts_list
    >>> from recon.workshop.parts.shopping import shopping_for
    >>> frame = Frame((Member("A", (0.0, 0.0, 0.0), (0.0, 0.0, 1.0), 12),), pitch_mm=38.1)
    >>> parts = parts_list(frame, {})
    >>> parts_workbook(parts, shopping_for(frame, {}, parts))[:2]
    b'PK'
    """
    from openpyxl import Workbook

    book = Workbook()
    book.properties.creator, book.properties.created, book.properties.modified = "", FIXED, FIXED
    _to_buy(book.active, shopping)
    _parts(book.create_sheet("Parts"), parts)
    saved, out = io.BytesIO(), io.BytesIO()
    book.save(saved)
    with zipfile.ZipFile(saved) as made, zipfile.ZipFile(out, "w", zipfile.ZIP_DEFLATED) as kept:
        for name in made.namelist():  # again without the time of day: the same lists make the same bytes
            data = re.sub(rb"(<dcterms:modified[^>]*>)[^<]*", rb"\g<1>2000-01-01T00:00:00Z", made.read(name))
            kept.writestr(zipfile.ZipInfo(name), data)
    return out.getvalue()


def _to_buy(sheet: Any, shopping: ShoppingList) -> None:
    sheet.title = "To buy"
    price = f"price of one pack{', ' + shopping.currency if shopping.currency else ''}"
    _head(sheet, ("what", "needed", "pack", "buy", price, "cost"))
    for row, line in enumerate(shopping.lines, 2):
        buy = _Formula(f"=B{row}" if line.item == "metre" else f"=ROUNDUP(B{row}/C{row},0)")
        _row(sheet, row, (line.name, line.needed, line.pack, buy, line.price, _Formula(f"=D{row}*E{row}")))
        sheet.cell(row, 5).number_format = sheet.cell(row, 6).number_format = "0.00"
    last = len(shopping.lines) + 2
    total = _Formula(f"=SUM(F2:F{last - 1})") if last > 2 else 0
    _row(sheet, last, ("To pay", None, None, None, None, total))
    sheet.cell(last, 6).number_format = "0.00"
    _row(sheet, last + 2, (CAUTION,))


def _parts(sheet: Any, parts: PartsList) -> None:
    columns = ("what", "holes", "length, mm", "grip, mm", "count", "owned", "to get", "kg each", "kg")
    _head(sheet, (*columns, "members or laps"))
    for row, line in enumerate(parts.lines, 2):
        to_get = _Formula(f"=E{row}-F{row}")
        kg = _Formula(f"=E{row}*H{row}") if line.mass_kg is not None else None
        _row(sheet, row, (*_own(line), line.count, line.owned, to_get, line.mass_kg, kg, _where(line)))
    last = len(parts.lines) + 2
    total = _Formula(f"=SUM(I2:I{last - 1})") if last > 2 else 0
    _row(sheet, last, ("Together", *[None] * 7, total))


def _own(line: MemberLine | HardwareLine) -> tuple[Any, ...]:
    if isinstance(line, MemberLine):
        return (line.stock_name, line.holes, line.length_mm, None)
    what = line.name if line.kind == "fitting" else f"{line.kind} {line.name}".strip()
    return (what, None, None, line.grip_mm)


def _where(line: MemberLine | HardwareLine) -> str:
    return " ".join(line.members) if isinstance(line, MemberLine) else "; ".join(line.where)


def _head(sheet: Any, columns: Sequence[str]) -> None:
    """Names of columns, in bold, that stay in sight."""
    from openpyxl.styles import Font
    from openpyxl.utils import get_column_letter

    for k, name in enumerate(columns, 1):
        sheet.cell(1, k, name).font = Font(bold=True)
        sheet.column_dimensions[get_column_letter(k)].width = WIDTHS.get(name, max(10, len(name) + 2))
    sheet.freeze_panes = "A2"


class _Formula(str):
    """A formula, as against text that begins like one."""


def _row(sheet: Any, row: int, cells: Sequence[Any]) -> None:
    """Values; text that begins like a formula stays text."""
    for k, value in enumerate(cells, 1):
        if value is None:
            continue
        cell = sheet.cell(row, k)
        cell.value = str(value) if isinstance(value, _Formula) else value
        if isinstance(value, str) and not isinstance(value, _Formula):
            cell.data_type = "s"
