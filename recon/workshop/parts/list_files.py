"""Lists that people keep in a spreadsheet or a TOML file: price lists and racks.

CSV: the first row names the columns, in any order; comma, semicolon or tab between them; empty rows and rows
that start with # are passed over. TOML: one [[entry]] table for each row, with the same names.
"""

from __future__ import annotations

import csv
import math
import re
import tomllib
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

from recon.errors import ReconError
from recon.frame.length import parse_mm
from recon.frame.user_files import read_text, shorten, suggest

MAX_ROWS = 20_000  # more is some other file


@dataclass(frozen=True)
class TableRow:
    """One row of a list.

    Attributes
    ----------
    where : str
        File and row, for messages: "rack.csv, row 7".
    cells : dict of str to str
        By column, what is not empty.

    Examples
    --------
    >>> row = TableRow("rack.csv, row 7", {"length": "8 ft", "count": "3"})
    >>> row.mm("length"), row.count("count", 1), row.count("first_hole", 1)
    (2438.4, 3, 1)
    """

    where: str
    cells: dict[str, str]

    def wrong(self, problem: str) -> ReconError:
        """The error that says what is wrong in this row."""
        return ReconError(f"{self.where}: {problem}")

    def text(self, column: str, remedy: str) -> str:
        """The cell, which must not be empty; `remedy` ends the message where it is."""
        if column not in self.cells:
            raise self.wrong(f"'{column}' is empty; {remedy}.")
        return self.cells[column]

    def one_of(self, column: str, known: Sequence[str]) -> str:
        """The cell, which must be one of the known words."""
        word = self.text(column, f"write one of {', '.join(known)}").lower()
        if word not in known:
            raise self.wrong(f"'{column}' is '{shorten(word, 40)}'; {suggest(word, known, 'write one of')}.")
        return word

    def number(self, column: str, remedy: str) -> float:
        """The cell as a number of 0 or more.

        4,20 is read as 4.20, and 1,234, which may be either, is refused.
        """
        text = self.text(column, remedy)
        try:
            value = float(text.replace(",", ".") if re.fullmatch(r"\d+,\d{1,2}", text) else text)
        except ValueError:
            value = math.nan
        if not (0 <= value <= 1e9):
            raise self.wrong(f"'{column}' is '{shorten(text, 40)}'; {remedy}.")
        return value

    def count(self, column: str, otherwise: int) -> int:
        """The cell as a whole number, `otherwise` where it is empty."""
        if column not in self.cells:
            return otherwise
        value = self.number(column, "write a whole number, 0 or more")
        if value != int(value) or value > 1e6:
            raise self.wrong(f"'{column}' is '{self.cells[column]}'; write a whole number, 0 to 1,000,000.")
        return int(value)

    def holes(self, column: str) -> int:
        """A length in holes: '16', '16 holes'."""
        text = self.text(column, "write the number of holes, such as 16")
        match = re.fullmatch(r"(\d{1,4})(?:\.0)? *(?:holes?|h)?", text, re.IGNORECASE)
        if not match or not 1 <= int(match[1]) <= 1000:
            raise self.wrong(f"'{column}' is '{shorten(text, 40)}'; write the number of holes, 1 to 1000.")
        return int(match[1])

    def mm(self, column: str, least: float = 1.0) -> float:
        """A length: '2438' (mm), '2438 mm', '8 ft'."""
        text = self.text(column, "write a length, such as 2438 mm or 8 ft")
        try:
            value = float(text) if re.fullmatch(r"\d+(?:\.\d+)?", text) else parse_mm(text)
        except ReconError as error:
            raise self.wrong(f"'{column}': {error}") from error
        if not least <= value <= 1e5:
            raise self.wrong(
                f"'{column}' is '{shorten(text, 40)}'; write a length from {least:g} mm to 100 m."
            )
        return round(value, 4)  # 8 ft is 2438.4 mm and not a hair less


def read_rows(path: str | Path, what: str, columns: Sequence[str]) -> list[TableRow]:
    """The rows of a CSV or TOML file.

    Parameters
    ----------
    path : str or Path
    what : str
        Its kind, for messages: "price list".
    columns : sequence of str
        Those that it may have.

    Raises
    ------
    ReconError
        Where the file cannot be read as such a list; it names file, row and remedy.
    """
    text = read_text(path, what)
    rows = (
        _toml_rows(text, str(path), what)
        if Path(path).suffix.lower() == ".toml"
        else _csv_rows(text, str(path), what, columns)
    )
    for row in rows:
        for name in row.cells:
            if name not in columns:
                raise row.wrong(
                    f"there is no column '{shorten(name, 40)}'; {suggest(name, columns, 'the columns are')}."
                )
    return rows


def _csv_rows(text: str, where: str, what: str, columns: Sequence[str]) -> list[TableRow]:
    first = next(
        (line for line in text.splitlines() if line.strip() and not line.lstrip().startswith("#")), ""
    )
    delimiter = max(",;\t", key=first.count)
    try:
        records = list(csv.reader(text.splitlines(), delimiter=delimiter, strict=True))
    except csv.Error as error:
        raise ReconError(f"{where}: not CSV ({error}); save it anew as CSV.") from error
    if len(records) > MAX_ROWS:
        raise ReconError(
            f"{where}: {len(records)} rows are too many for a {what}; check that it is the right file."
        )
    header: list[str] | None = None
    rows: list[TableRow] = []
    for number, record in enumerate(records, 1):
        cells = [cell.strip() for cell in record]
        if not any(cells) or cells[0].startswith("#"):
            continue
        if header is None:
            header = [cell.lower() for cell in cells]
            _check_header(header, f"{where}, row {number}", what, columns)
            continue
        row = TableRow(f"{where}, row {number}", {name: cell for name, cell in zip(header, cells) if cell})
        if any(cells[len(header) :]):
            raise row.wrong(
                f"{len(cells)} cells, but the first row names {len(header)} columns; put text with a "
                f"'{delimiter}' in it into quotes."
            )
        rows.append(row)
    if header is None:
        raise ReconError(
            f"{where}: the file is empty; a {what} starts with a row that names its columns: "
            f"{', '.join(columns)}."
        )
    return rows


def _check_header(header: list[str], where: str, what: str, columns: Sequence[str]) -> None:
    for name in header:
        if name not in columns:
            raise ReconError(
                f"{where}: there is no column '{shorten(name, 40)}'; the first row of a {what} names its "
                "columns, "
                f"of {', '.join(columns)}."
            )
        if header.count(name) > 1:
            raise ReconError(f"{where}: two columns are called '{name}'; rename or remove one.")


def _toml_rows(text: str, where: str, what: str) -> list[TableRow]:
    try:
        data = tomllib.loads(text)
    except (tomllib.TOMLDecodeError, RecursionError, ValueError) as error:
        raise ReconError(
            f"{where}: not TOML ({str(error)[:1].lower() + str(error)[1:]}); mend it there."
        ) from error
    entries = data.get("entry")
    if not isinstance(entries, list) or len(data) != 1 or not all(isinstance(e, dict) for e in entries):
        raise ReconError(f"{where}: a {what} in TOML has one [[entry]] table a row and nothing else.")
    rows = []
    for number, entry in enumerate(entries, 1):
        row = TableRow(f"{where}, entry {number}", {})
        for name, value in entry.items():
            if isinstance(value, (dict, list)):
                raise row.wrong(f"'{shorten(name, 40)}' must be a text or a number.")
            row.cells[name.lower()] = str(value).strip()
        rows.append(TableRow(row.where, {name: value for name, value in row.cells.items() if value}))
    return rows
