"""Tables at the door: what spreadsheet programs really write, read into rows with line numbers.

Conventions: a cell is text without spaces around it; an empty or absent cell is ``""``; lines
count from 1 as an editor (or a spreadsheet) does; columns are asked for by *our* name and found
under any spelling of it ("Audition No.", "audition_no"). RFC 4180 is what should come; byte-order
marks, UTF-16, Latin-1, semicolons, tabs and a title above the heading are what does come.
"""

from __future__ import annotations

import csv
import io
import math
import os
import re
import unicodedata
import zipfile
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from difflib import get_close_matches
from pathlib import Path

from fairhearing.core.errors import TableError

LARGEST_BYTES = 256_000_000
_SEPARATORS = ",;\t|"
_HEADING_WITHIN = 6  # lines with text in which the heading is looked for, below a title
_FORMULA = ("=", "+", "-", "@", "\t", "\r")
_NUMBER = re.compile(r"[+-]?(\d+\.?\d*|\.\d+)([eE][+-]?\d+)?")
_YES = frozenset(["yes", "y", "true", "1", "x", "si", "sí", "oui", "ja", "on"])
_NO = frozenset(["no", "n", "false", "0", "none", "-", "off", "nein", "non"])


@dataclass(frozen=True, slots=True)
class Row:
    """One line of a table.

    Attributes
    ----------
    line : int
        The line in the file, from 1.
    path : Path
        The file, for error messages.
    """

    line: int
    path: Path
    _cells: Sequence[str]
    _index: Mapping[str, int]

    def __getitem__(self, name: str) -> str:
        """Return the text of a column; ``""`` where an optional column is absent."""
        at = self._index.get(name)
        return "" if at is None or at >= len(self._cells) else self._cells[at]

    def error(self, problem: str) -> TableError:
        """Return an error that names this file and line."""
        return TableError(problem, path=self.path, line=self.line)

    def need(self, name: str) -> str:
        """Return the text of a column that may not be empty.

        Raises
        ------
        TableError
            If the cell is empty.
        """
        if not self[name]:
            raise self.error(f'the cell under "{name}" is empty; fill it in or delete the line')
        return self[name]

    def number(self, name: str, *, low: float = -math.inf, high: float = math.inf) -> float | None:
        """Return a number, or None where the cell is empty; "84,5" reads as 84.5.

        Raises
        ------
        TableError
            If the cell is not a finite number between `low` and `high`.
        """
        text = self[name]
        if not text:
            return None
        plain = text.replace(",", ".") if re.fullmatch(r"[+-]?\d+,\d+", text) else text
        if not _NUMBER.fullmatch(plain):
            raise self.error(f'"{text}" under "{name}" is not a number; write it like 84.5')
        value = float(plain)
        if not (low <= value <= high and math.isfinite(value)):
            raise self.error(f'{text} under "{name}" must lie {_between(low, high)}')
        return value

    def whole(self, name: str, *, low: float = -math.inf, high: float = math.inf) -> int | None:
        """Return a whole number, or None where the cell is empty ("9.0" reads as 9).

        Raises
        ------
        TableError
            If the cell is not a whole number between `low` and `high`.
        """
        value = self.number(name, low=low, high=high)
        if value is not None and value != int(value):
            raise self.error(f'"{self[name]}" under "{name}" must be a whole number')
        return None if value is None else int(value)

    def yes(self, name: str) -> bool | None:
        """Return yes or no, or None where the cell is empty.

        Raises
        ------
        TableError
            If the cell is neither.
        """
        text = self[name].casefold()
        if not text:
            return None
        if text in _YES:
            return True
        if text in _NO:
            return False
        raise self.error(f'"{self[name]}" under "{name}" must be yes or no')

    def words(self, name: str) -> tuple[str, ...]:
        """Return the entries of a cell that holds several, parted by ``;``, ``,`` or ``/``."""
        return tuple(word for part in re.split(r"[;,/|\n]", self[name]) if (word := part.strip()))


@dataclass(frozen=True, slots=True)
class Table:
    """A table that was read.

    Attributes
    ----------
    path : Path
    columns : tuple of str
        Our names of the columns that were found.
    others : tuple of str
        Headings that were not asked for, as written; ``row[heading]`` reads them too.
    """

    path: Path
    columns: tuple[str, ...]
    others: tuple[str, ...]
    _records: list[tuple[int, list[str]]] = field(repr=False)
    _index: dict[str, int] = field(repr=False)

    def __len__(self) -> int:
        return len(self._records)

    def __iter__(self) -> Iterator[Row]:
        for line, cells in self._records:
            yield Row(line, self.path, cells, self._index)

    @property
    def rows(self) -> tuple[Row, ...]:
        """All rows."""
        return tuple(self)


def read_table(
    path: Path | str,
    *,
    required: Sequence[str],
    optional: Sequence[str] = (),
    aliases: Mapping[str, Sequence[str]] | None = None,
) -> Table:
    """Read a table (.csv, .tsv, .txt in any common encoding and separator, or .xlsx).

    Parameters
    ----------
    path : Path or str
        The file.
    required, optional : sequence of str
        Columns by our name ("student", "second_instrument"); capitals, spaces, points, dashes
        and accents in the file's headings do not matter.
    aliases : mapping of str to sequence of str, optional
        Other headings that mean a column.

    Returns
    -------
    Table
        Blank lines are left out; a short line is filled up with empty cells.

    Raises
    ------
    TableError
        If the file cannot be read as a table, a required column is missing, a column stands
        twice, a quotation mark is not closed, or a line has more cells than the heading.
    """
    path = Path(path)
    wanted = _wanted(required, optional, aliases or {})
    records = _sheet(path) if path.suffix.casefold() == ".xlsx" else _text(path, wanted)
    records = [(line, cells) for line, cells in records if any(cells)]
    if not records:
        raise TableError("the table is empty; its first line must name the columns", path=path)
    at = _heading_at(records, wanted)
    line, heading = records[at]
    index, others = _columns(path, line, heading, wanted, required)
    _check_width(path, records[at + 1 :], len(heading))
    columns = tuple(name for name in (*required, *optional) if name in index)
    return Table(path, columns, others, records[at + 1 :], index)


def write_table(path: Path | str, columns: Sequence[str], rows: Iterable[Sequence[object]]) -> Path:
    """Write a table (.xlsx by its ending, else CSV) under a temporary name, then rename it.

    CSV is UTF-8 with a byte-order mark, which spreadsheet programs need to read accents. A text
    that a spreadsheet would take for a formula gets an apostrophe in front (:func:`read_table`
    takes it off again); numbers are left alone. None becomes an empty cell.

    Raises
    ------
    TableError
        If the folder does not exist or cannot be written to.
    """
    path = Path(path)
    part = path.with_name(f".{path.name}.{os.getpid()}.part")
    try:
        if path.suffix.casefold() == ".xlsx":
            _write_sheet(part, columns, rows)
        else:
            with part.open("w", encoding="utf-8-sig", newline="") as out:
                writer = csv.writer(out, lineterminator="\r\n")
                writer.writerow([_safe(name) for name in columns])
                writer.writerows([_safe(value) for value in row] for row in rows)
        part.replace(path)
    except OSError as error:
        raise TableError(
            f"cannot be written ({error.strerror}); choose a folder", path=path
        ) from None
    finally:
        part.unlink(missing_ok=True)
    return path


def plain_heading(text: str) -> str:
    """Return a heading or name without capitals, accents, spaces and signs, for comparing."""
    folded = unicodedata.normalize("NFKD", text).casefold()
    return "".join(letter for letter in folded if letter.isalnum())


def decode(content: bytes, path: Path) -> str:
    """Return the text of a file, whatever a spreadsheet program stored it as.

    Byte-order marks decide; UTF-16 without one is known by its zero bytes; then UTF-8; then
    Windows-1252, of which Latin-1 is a part.

    Raises
    ------
    TableError
        If the bytes are no text.
    """
    if content.startswith(b"\xef\xbb\xbf"):
        return content.decode("utf-8-sig", errors="replace")
    head = content[:4096]
    if content.startswith((b"\xff\xfe", b"\xfe\xff")):
        return content.decode("utf-16", errors="replace")
    if head.count(0) > len(head) // 4:
        order = "utf-16-be" if head[0:1] == b"\0" else "utf-16-le"
        return content.decode(order, errors="replace")
    if b"\0" in content or head.startswith((b"PK\x03\x04", b"%PDF", b"\xd0\xcf\x11\xe0")):
        raise TableError(
            "is not a text table; save it as CSV (or .xlsx) from your spreadsheet program",
            path=path,
        )
    for encoding in ("utf-8", "cp1252"):
        try:
            return content.decode(encoding)
        except UnicodeDecodeError:
            continue
    return content.decode("latin-1")


def _wanted(
    required: Sequence[str], optional: Sequence[str], aliases: Mapping[str, Sequence[str]]
) -> dict[str, str]:
    """Return every plain spelling with our name of the column; our own names come first."""
    names = (*required, *optional)
    wanted = {plain_heading(name): name for name in names}
    for name in names:
        for also in aliases.get(name, ()):
            wanted.setdefault(plain_heading(also), name)
    return wanted


def _bytes(path: Path) -> bytes:
    try:
        if path.stat().st_size > LARGEST_BYTES:
            raise TableError(f"is larger than {LARGEST_BYTES // 1_000_000} MB", path=path)
        return path.read_bytes()
    except FileNotFoundError:
        raise TableError("there is no such file; check the name", path=path) from None
    except IsADirectoryError:
        raise TableError("is a folder; give the table inside it", path=path) from None
    except OSError as error:
        raise TableError(f"cannot be read ({error.strerror})", path=path) from None


def _text(path: Path, wanted: Mapping[str, str]) -> list[tuple[int, list[str]]]:
    text = decode(_bytes(path), path).replace("\r\n", "\n").replace("\r", "\n")
    first, _, rest = text.partition("\n")
    if found := re.fullmatch(r"\ufeff?sep=(.)\s*", first):
        separator, text, offset = found[1], rest, 1
    else:
        separator, offset = _separator(text, wanted), 0
    reader = csv.reader(io.StringIO(text), delimiter=separator, strict=True)
    records: list[tuple[int, list[str]]] = []
    while True:
        line = reader.line_num + 1 + offset
        try:
            cells = next(reader, None)
        except csv.Error:
            raise TableError(
                "a quotation mark is not closed, or text follows a closing one; "
                "correct it there or save the table anew from the spreadsheet",
                path=path,
                line=line,
            ) from None
        if cells is None:
            return records
        records.append((line, [_cell(cell) for cell in cells]))


def _separator(text: str, wanted: Mapping[str, str]) -> str:
    """Return the separator under which the most wanted columns, then most cells, are found."""
    lines = [line for line in text[:65536].split("\n") if line.strip()][:_HEADING_WITHIN]

    def worth(separator: str) -> tuple[int, int]:
        best = (0, 0)
        for line in lines:
            cells = next(csv.reader([line], delimiter=separator), [])
            known = len({wanted[key] for cell in cells if (key := plain_heading(cell)) in wanted})
            best = max(best, (known, len(cells)))
        return best

    return max(_SEPARATORS, key=worth)


def _sheet(path: Path) -> list[tuple[int, list[str]]]:
    """Return the cells of the first sheet of an .xlsx workbook."""
    import openpyxl  # noqa: PLC0415 - slow to import and rarely needed

    content = _bytes(path)
    try:
        with zipfile.ZipFile(io.BytesIO(content)) as archive:
            if sum(item.file_size for item in archive.infolist()) > LARGEST_BYTES:
                raise TableError("unpacks to more than a table can need", path=path)
        book = openpyxl.load_workbook(io.BytesIO(content), read_only=True, data_only=True)
        sheet = book.worksheets[0]
        records = [
            (line, [_cell(_sheet_text(value)) for value in row])
            for line, row in enumerate(sheet.iter_rows(values_only=True), start=1)
        ]
    except TableError:
        raise
    except Exception as error:  # openpyxl raises whatever the damaged part made it stumble on
        raise TableError(
            f"is not a readable .xlsx workbook ({type(error).__name__}); save it anew or as CSV",
            path=path,
        ) from None
    return [(line, _without_empty_end(cells)) for line, cells in records]


def _sheet_text(value: object) -> str:
    if value is None:
        return ""
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, float) and value.is_integer():
        return str(int(value))
    return str(value)


def _without_empty_end(cells: list[str]) -> list[str]:
    while cells and not cells[-1]:
        cells.pop()
    return cells


def _cell(text: str) -> str:
    if not text.isascii():
        text = unicodedata.normalize("NFC", text.replace("\u200b", "").replace("\ufeff", ""))
    text = text.strip()
    return text[1:] if len(text) > 1 and text[0] == "'" and text[1] in _FORMULA else text


def _heading_at(records: list[tuple[int, list[str]]], wanted: Mapping[str, str]) -> int:
    def known(at: int) -> int:
        return sum(plain_heading(cell) in wanted for cell in records[at][1])

    return max(range(min(_HEADING_WITHIN, len(records))), key=known)


def _columns(
    path: Path, line: int, heading: list[str], wanted: Mapping[str, str], required: Sequence[str]
) -> tuple[dict[str, int], tuple[str, ...]]:
    index: dict[str, int] = {}
    others: list[str] = []
    for at, cell in enumerate(heading):
        name = wanted.get(plain_heading(cell))
        if name is None:
            if cell and cell not in index:
                index[cell] = at
                others.append(cell)
        elif name in index:
            raise TableError(
                f'two columns mean "{name}": "{heading[index[name]]}" and "{cell}"; '
                "rename or delete one",
                path=path,
                line=line,
            )
        else:
            index[name] = at
    for name in required:
        if name not in index:
            raise TableError(_missing(name, others, heading), path=path, line=line)
    return index, tuple(others)


def _missing(name: str, others: Sequence[str], heading: Sequence[str]) -> str:
    near = get_close_matches(
        plain_heading(name), [plain_heading(other) for other in others], n=1, cutoff=0.6
    )
    meant = next((other for other in others if near and plain_heading(other) == near[0]), None)
    if meant:
        return f'there is no column "{name}"; if "{meant}" is meant, rename it to "{name}"'
    found = ", ".join(f'"{cell}"' for cell in heading[:12] if cell)
    return f'there is no column "{name}"; the first line names {found}'


def _check_width(path: Path, records: list[tuple[int, list[str]]], width: int) -> None:
    for line, cells in records:
        if len(cells) > width and any(cells[width:]):
            raise TableError(
                f"the line has {len(cells)} cells, the heading {width}; a cell that holds "
                "the separator must stand in quotation marks",
                path=path,
                line=line,
            )


def _between(low: float, high: float) -> str:
    if math.isinf(high):
        return f"at {low:g} or above"
    return f"between {low:g} and {high:g}" if math.isfinite(low) else f"at {high:g} or below"


def _safe(value: object) -> object:
    """Return a cell that no spreadsheet program will run as a formula."""
    if value is None:
        return ""
    if isinstance(value, str) and value.startswith(_FORMULA) and not _NUMBER.fullmatch(value):
        return f"'{value}"
    return value


def _write_sheet(path: Path, columns: Sequence[str], rows: Iterable[Sequence[object]]) -> None:
    import openpyxl  # noqa: PLC0415 - slow to import and rarely needed
    from openpyxl.cell import Cell, WriteOnlyCell  # noqa: PLC0415
    from openpyxl.styles import Font  # noqa: PLC0415

    book = openpyxl.Workbook(write_only=True)
    sheet = book.create_sheet("Sheet")
    sheet.freeze_panes = "A2"

    def cells(values: Iterable[object], bold: bool) -> list[Cell]:
        made = []
        for value in values:
            safe = _safe(value)
            number = safe if isinstance(safe, int | float) else None
            cell = WriteOnlyCell(sheet, value=str(safe) or None if number is None else number)
            if cell.value is not None and number is None:
                cell.data_type = "s"  # never a formula, whatever it starts with
            if bold:
                cell.font = Font(bold=True)
            made.append(cell)
        return made

    sheet.append(cells(columns, bold=True))
    for row in rows:
        sheet.append(cells(row, bold=False))
    with path.open("wb") as out:
        book.save(out)
