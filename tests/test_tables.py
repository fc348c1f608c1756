"""The door for tables. Outside checks: RFC 4180 quoting; openpyxl and csv as the other writer."""

from __future__ import annotations

import codecs
import csv
from pathlib import Path

import openpyxl
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from fairhearing.core.errors import TableError
from fairhearing.tables import Table, read_table, write_table

ENCODINGS = ["utf-8", "utf-8-sig", "utf-16", "utf-16-le", "utf-16-be", "cp1252", "latin-1"]


def _table(tmp_path: Path, content: str | bytes, **columns: object) -> Table:
    path = tmp_path / "roster.csv"
    path.write_bytes(content if isinstance(content, bytes) else content.encode())
    columns.setdefault("required", ["student", "name"])
    columns.setdefault("optional", ["grade"])
    return read_table(path, **columns)  # type: ignore[arg-type]


@pytest.mark.parametrize("separator", [",", ";", "\t", "|"])
@pytest.mark.parametrize("encoding", ENCODINGS)
@pytest.mark.parametrize("newline", ["\n", "\r\n", "\r"])
def test_reads_what_spreadsheets_write(
    tmp_path: Path, encoding: str, separator: str, newline: str
) -> None:
    lines = [
        ["Spring auditions", "", ""],
        [],
        [" Student ", "NAME", "Grade."],
        ["7", f'"Núñez{separator} Ana"', " 9 "],
        [],
        ["8", '"The ""Kid"""', "10", "", ""],
        ["9", "Olu"],
        ["", "", ""],
    ]
    text = newline.join(separator.join(line) for line in lines) + newline
    rows = _table(tmp_path, text.encode(encoding)).rows
    assert [(row.line, row["student"], row["name"], row.whole("grade")) for row in rows] == [
        (4, "7", f"Núñez{separator} Ana", 9),
        (6, "8", 'The "Kid"', 10),
        (7, "9", "Olu", None),
    ]


def test_one_column_needs_no_separator(tmp_path: Path) -> None:
    assert [
        row["student"] for row in _table(tmp_path, "student\n1\n2\n", required=["student"])
    ] == [
        "1",
        "2",
    ]


def test_a_separator_line_is_obeyed(tmp_path: Path) -> None:
    rows = _table(tmp_path, "sep=;\nstudent;name\n1;A, B\n").rows
    assert (rows[0].line, rows[0]["name"]) == (3, "A, B")


def test_a_line_break_inside_a_cell_keeps_line_numbers(tmp_path: Path) -> None:
    rows = _table(tmp_path, 'student,name\n1,"A\nB"\n2,C\n').rows
    assert [(row.line, row["name"]) for row in rows] == [(2, "A\nB"), (4, "C")]


def test_headings_by_other_names_and_other_columns(tmp_path: Path) -> None:
    table = _table(
        tmp_path, "Audition No.,Näme,Shirt\n1,A,XL\n", aliases={"student": ["audition no"]}
    )
    assert (table.columns, table.others) == (("student", "name"), ("Shirt",))
    assert table.rows[0]["Shirt"] == "XL"


@pytest.mark.parametrize(
    ("content", "says"),
    [
        ("", "the table is empty"),
        ("\n\n", "the table is empty"),
        ("student,nome\n1,A\n", 'line 1: there is no column "name"; if "nome" is meant'),
        ("student;x;y\n1;2;3\n", 'there is no column "name"; the first line names "student", "x"'),
        ("student,name,Name\n1,A,B\n", 'line 1: two columns mean "name"'),
        ("student,name\n1,Lind, Ana\n", "line 2: the line has 3 cells, the heading 2"),
        ('student,name\n1,A\n2,"B\n3,C\n', "line 3: a quotation mark is not closed"),
        (b"PK\x03\x04whatever", "is not a text table"),
        (b"student,name\n1,\x00\n", "is not a text table"),
    ],
)
def test_a_broken_table_is_one_sentence(tmp_path: Path, content: str | bytes, says: str) -> None:
    with pytest.raises(TableError) as raised:
        _table(tmp_path, content)
    assert "roster.csv" in str(raised.value)
    assert says in str(raised.value)
    assert "\n" not in str(raised.value)


def test_missing_file_and_folder(tmp_path: Path) -> None:
    with pytest.raises(TableError, match=r"none\.csv: there is no such file"):
        read_table(tmp_path / "none.csv", required=["student"])
    with pytest.raises(TableError, match="is a folder"):
        read_table(tmp_path, required=["student"])
    broken = tmp_path / "broken.xlsx"
    broken.write_bytes(b"PK\x03\x04 not a workbook")
    with pytest.raises(TableError, match=r"broken\.xlsx: is not a readable \.xlsx"):
        read_table(broken, required=["student"])


@pytest.mark.parametrize(
    ("cell", "value"), [("84.5", 84.5), ("84,5", 84.5), ("-1", -1.0), ("1e2", 100.0), ("", None)]
)
def test_numbers(tmp_path: Path, cell: str, value: float | None) -> None:
    row = _table(tmp_path, f"student;name\n1;{cell}\n").rows[0]
    assert row.number("name") == value


@pytest.mark.parametrize("cell", ["nan", "inf", "1e999", "8 4", "84.5 %", "1.234,5", "ten"])
def test_no_numbers(tmp_path: Path, cell: str) -> None:
    row = _table(tmp_path, f"student;name\n1;{cell}\n").rows[0]
    with pytest.raises(TableError, match="line 2"):
        row.number("name")


def test_other_cells(tmp_path: Path) -> None:
    row = _table(tmp_path, "student,name,grade\nYes,tuba; horn/oboe,9.5\n").rows[0]
    assert row.yes("student") is True
    assert row.words("name") == ("tuba", "horn", "oboe")
    with pytest.raises(TableError, match="must be a whole number"):
        row.whole("grade")
    with pytest.raises(TableError, match="must lie between 1 and 9"):
        row.number("grade", low=1, high=9)
    with pytest.raises(TableError, match="must be yes or no"):
        row.yes("name")


FORMULAS = ["=1+1", '=HYPERLINK("http://x","y")', "+1+1", "-1+1", "@SUM(A1)", "\t=1", "\r=1"]


@pytest.mark.parametrize("ending", ["csv", "xlsx"])
def test_no_cell_is_run_as_a_formula(tmp_path: Path, ending: str) -> None:
    path = write_table(tmp_path / f"out.{ending}", ["student"], [[text] for text in FORMULAS])
    if ending == "csv":
        with path.open(encoding="utf-8-sig", newline="") as lines:
            cells = [cells[0] for cells in csv.reader(lines)][1:]
    else:
        sheet = openpyxl.load_workbook(path).active
        assert sheet is not None
        assert {cell.data_type for line in sheet for cell in line} == {"s"}
        cells = [str(cell.value) for cell in sheet["A"]][1:]
    assert all(cell.startswith("'") for cell in cells)
    read = [row["student"] for row in read_table(path, required=["student"])]
    assert read[:5] == FORMULAS[:5]


@settings(deadline=None)
@given(
    st.lists(
        st.text(
            st.characters(codec="utf-8", exclude_categories=["C", "Z"]), min_size=1, max_size=8
        ),
        min_size=1,
        max_size=5,
    ),
    st.sampled_from(["csv", "xlsx"]),
)
def test_what_is_written_is_read(
    tmp_path_factory: pytest.TempPathFactory, cells: list[str], ending: str
) -> None:
    import unicodedata

    path = tmp_path_factory.mktemp("t") / f"out.{ending}"
    write_table(path, ["student", "name", "score"], [[cell, None, -1.5] for cell in cells])
    rows = read_table(path, required=["student", "name", "score"]).rows
    expected = [unicodedata.normalize("NFC", cell) for cell in cells]
    guarded = {"'" + sign for sign in "=+-@"}
    expected = [cell[1:] if cell[:2] in guarded else cell for cell in expected]
    assert [row["student"] for row in rows] == expected
    assert {(row["name"], row.number("score")) for row in rows} == {("", -1.5)}


def test_writing_leaves_nothing_behind(tmp_path: Path) -> None:
    path = write_table(tmp_path / "out.csv", ["a"], [["é"]])
    assert path.read_bytes() == codecs.BOM_UTF8 + "a\r\né\r\n".encode()
    with pytest.raises(TableError, match="cannot be written"):
        write_table(tmp_path / "none" / "out.csv", ["a"], [])

    def rows() -> object:
        yield ["1"]
        raise KeyboardInterrupt

    with pytest.raises(KeyboardInterrupt):
        write_table(path, ["a"], rows())  # type: ignore[arg-type]
    assert [one.name for one in tmp_path.iterdir()] == ["out.csv"]
    assert path.read_bytes().endswith("é\r\n".encode())
