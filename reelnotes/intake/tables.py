"""Text tables as hands and programs write them: any encoding, any delimiter, cells with their line.

One reader for the catch log, CSV tracks and the tide table, so that a BOM, a semicolon or a quoted
line break is dealt with in one place only.
"""

import codecs
import csv
import io
from collections.abc import Callable
from dataclasses import dataclass
from typing import Literal

DELIMITERS = (",", ";", "\t", "|")
HEADER_WITHIN = 15  # rows: a title or a few lines of remarks may stand above the header
LONG_CELL_LINES = 20  # a cell over more lines than this is a forgotten quotation mark, not a note
csv.field_size_limit(1 << 27)


@dataclass(frozen=True, slots=True)
class Row:
    """One row: the line it starts on (from 1) and its cells, stripped of surrounding blanks."""

    line: int
    cells: tuple[str, ...]

    @property
    def empty(self) -> bool:
        """True when no cell holds anything."""
        return not any(self.cells)


@dataclass(frozen=True, slots=True)
class Table:
    """A table with its header row found; ``rows`` are the rows below it, empty ones left out."""

    header: Row
    rows: tuple[Row, ...]
    delimiter: str


def decode(data: bytes) -> str:
    """Bytes -> text: by the BOM, else UTF-16 by its zero bytes, else UTF-8, else Windows-1252 with Latin-1 for its holes.

    Never fails; zero characters are removed, line ends are left as they are.
    """
    for bom, encoding in (
        (codecs.BOM_UTF8, "utf-8"),
        (codecs.BOM_UTF32_LE, "utf-32-le"),
        (codecs.BOM_UTF32_BE, "utf-32-be"),
        (codecs.BOM_UTF16_LE, "utf-16-le"),
        (codecs.BOM_UTF16_BE, "utf-16-be"),
    ):
        if data.startswith(bom):
            return data[len(bom) :].decode(encoding, errors="replace").replace("\0", "")
    head = data[:2000]
    if len(head) >= 4 and head[1::2].count(0) > len(head) // 4:
        return data.decode("utf-16-le", errors="replace").replace("\0", "")
    if len(head) >= 4 and head[::2].count(0) > len(head) // 4:
        return data.decode("utf-16-be", errors="replace").replace("\0", "")
    for encoding in ("utf-8", "cp1252"):
        try:
            return data.decode(encoding).replace("\0", "")
        except UnicodeDecodeError:
            continue
    return data.decode("latin-1").replace("\0", "")


def find_table(
    text: str, known: Callable[[str], bool], least: int = 1, enough: Callable[[list[str]], bool] | None = None
) -> Table | None:
    """The table in a text, with delimiter and header row chosen for most ``known`` names; None without such a header.

    least: how many known names make a header. enough: a further demand on the header's cells.
    """
    best: tuple[int, int, int, str] | None = None
    for rank, delimiter in enumerate(DELIMITERS):
        for index, row in enumerate(rows_of(text, delimiter, HEADER_WITHIN)):
            names = sum(1 for cell in row.cells if cell and known(cell))
            if names < least or (enough is not None and not enough(list(row.cells))):
                continue
            score = (names, -index, -rank, delimiter)
            if best is None or score[:3] > best[:3]:
                best = score
    if best is None:
        return None
    _, minus_index, _, delimiter = best
    rows = rows_of(text, delimiter)
    return Table(rows[-minus_index], tuple(row for row in rows[1 - minus_index :] if not row.empty), delimiter)


def rows_of(text: str, delimiter: str, most: int | None = None) -> list[Row]:
    """All rows (at most ``most``) that are not wholly blank lines. A forgotten quotation mark does not swallow the file."""
    rows = _read(text, delimiter, csv.QUOTE_MINIMAL, most)
    if rows is None:
        rows = _read(text, delimiter, csv.QUOTE_NONE, most)
    assert rows is not None  # without quoting nothing can swallow the rest
    return rows


def _read(text: str, delimiter: str, quoting: Literal[0, 3], most: int | None) -> list[Row] | None:
    reader = csv.reader(io.StringIO(text, newline=""), delimiter=delimiter, quoting=quoting, skipinitialspace=delimiter != "\t")
    rows: list[Row] = []
    while most is None or len(rows) < most:
        line = reader.line_num + 1
        try:
            cells = next(reader)
        except StopIteration:
            break
        except csv.Error:
            if quoting == csv.QUOTE_NONE:
                continue
            return None
        if quoting != csv.QUOTE_NONE and reader.line_num - line >= LONG_CELL_LINES:
            return None
        if cells:
            rows.append(Row(line, tuple(" ".join(cell.split()) for cell in cells)))
    return rows
