"""The table with which a school adds its own takes."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from fairhearing.core.errors import TableError
from fairhearing.core.playing import Note
from fairhearing.core.playing.annotations import (
    AnnotatedNote,
    read_annotations,
    write_annotations,
)


@given(
    st.lists(
        st.tuples(st.integers(0, 10**6), st.integers(1, 5000), st.integers(0, 127)), max_size=20
    )
)
def test_there_and_back(tmp_path_factory, values):
    path = tmp_path_factory.mktemp("annotations") / "take.csv"
    notes = sorted(
        (AnnotatedNote(a / 1000, (a + d) / 1000, float(m)) for a, d, m in values),
        key=lambda n: n.onset_s,
    )
    write_annotations(path, notes)
    assert sorted(read_annotations(path), key=repr) == sorted(notes, key=repr) if notes else True


def test_heard_notes_are_written_for_correction(tmp_path):
    write_annotations(tmp_path / "t.csv", [Note(1.0, 1.5, 58, 3.0, 1.0, 0.9)])
    assert (tmp_path / "t.csv").read_text() == "onset_s,offset_s,pitch\n1.000,1.500,58\n"
    assert [p.name for p in tmp_path.iterdir()] == ["t.csv"]


def test_spreadsheet_reality(tmp_path):
    path = tmp_path / "t.csv"
    path.write_bytes(
        "\ufeff# by ear\n Onset_s ; offset_s; pitch \n1.5; 2.0; Bb3\n0.5;1.0;F#5\n".encode()
    )
    assert read_annotations(path) == (
        AnnotatedNote(0.5, 1.0, 78.0),
        AnnotatedNote(1.5, 2.0, 58.0),
    )


@pytest.mark.parametrize(
    ("text", "says"),
    [
        ("", "no notes"),
        ("onset_s,pitch\n1,60\n", "offset_s is missing"),
        ("onset_s,offset_s,pitch\n1,0.5,60\n", "line 2: the note ends before it begins"),
        ("onset_s,offset_s,pitch\n1,2,60\nx,3,60\n", 'line 3: onset_s is "x"'),
        ("onset_s,offset_s,pitch\n1,2,H3\n", 'line 2: pitch is "H3"'),
        ("onset_s,offset_s,pitch\n1,2\n", 'pitch is ""'),
    ],
)
def test_errors_say_what_and_where(tmp_path, text, says):
    path = tmp_path / "take.csv"
    path.write_text(text)
    with pytest.raises(TableError) as error:
        read_annotations(path)
    assert says in str(error.value) and "take.csv" in str(error.value)


def test_a_missing_file(tmp_path):
    with pytest.raises(TableError, match="does not exist"):
        read_annotations(tmp_path / "none.csv")
