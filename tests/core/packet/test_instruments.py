"""The instrument table against facts that stand outside the project."""

from __future__ import annotations

from pathlib import Path

import pytest

from fairhearing.core.errors import TableError
from fairhearing.core.packet.instruments import LEVELS, TABLE, find, load, midi_number

# Sounding minus written, as any orchestration handbook gives it (mallets included, which
# music21's classes leave at 0).
HANDBOOK = {
    "piccolo": 12, "flute": 0, "oboe": 0, "bassoon": 0, "clarinet": -2, "alto-clarinet": -9,
    "bass-clarinet": -14, "alto-saxophone": -9, "tenor-saxophone": -14, "baritone-saxophone": -21,
    "horn": -7, "trumpet": -2, "trombone": 0, "bass-trombone": 0, "euphonium": 0,
    "euphonium-treble": -14, "tuba": 0, "xylophone": 12, "bells": 24, "marimba": 0, "timpani": 0,
}  # fmt: skip

# Lowest written notes that are a fact of the instrument's mechanism (any fingering chart).
LOWEST = {"clarinet": "E3", "alto-saxophone": "Bb3", "trumpet": "F#3", "trombone": "E2",
          "oboe": "Bb3", "bassoon": "Bb1", "piccolo": "D4"}  # fmt: skip


def test_transpositions_are_the_handbooks() -> None:
    for name, shift in HANDBOOK.items():
        assert load()[name].sounding_minus_written == shift, name
    assert set(HANDBOOK) | {"snare-drum"} == set(load())


def test_no_range_asks_for_a_note_the_instrument_does_not_have() -> None:
    for name, lowest in LOWEST.items():
        for level in LEVELS:
            assert load()[name].ranges[level][0] >= midi_number(lowest), (name, level)


def test_ranges_grow_with_the_level_and_stay_in_reach() -> None:
    for instrument in load().values():
        if instrument.kind == "drum":
            assert not instrument.ranges
            continue
        spans = [instrument.ranges[level] for level in LEVELS]
        widths = [high - low for low, high in spans]
        assert widths == sorted(widths), instrument.id
        assert instrument.reach is not None
        for low, high in spans:
            assert instrument.reach[0] <= low < high <= instrument.reach[1], instrument.id


def test_what_a_packet_brings() -> None:
    assert "scales" in load()["tuba"].asks
    assert "rudiments" in load()["snare-drum"].asks
    assert "scales" not in load()["timpani"].asks


def test_people_write_instruments_in_many_ways() -> None:
    for words, name in {
        "Bb Clarinet": "clarinet", "B♭ clarinet": "clarinet", "bari sax": "baritone-saxophone",
        "F Horn": "horn", "trompeta en si bemol": "trumpet", "Baritone T.C.": "euphonium-treble",
    }.items():  # fmt: skip
        assert find(words).id == name
    with pytest.raises(TableError, match='did you mean "tuba"'):
        find("tubba")


def test_a_directors_own_table(tmp_path: Path) -> None:
    text = TABLE.read_text(encoding="utf-8")
    own = tmp_path / "instruments.toml"
    own.write_text(
        text.replace(
            'id = "tuba"\n', 'id = "tuba"\nscale_range = ["E1", "Bb3"]\nasks = ["etude"]\n', 1
        ),
        encoding="utf-8",
    )
    tuba = load(own)["tuba"]
    assert tuba.scale_range == (midi_number("E1"), midi_number("Bb3"))
    assert tuba.asks == ("etude",)
    own.write_text(text + text, encoding="utf-8")
    load.cache_clear()
    with pytest.raises(TableError, match="stands twice"):
        load(own)
