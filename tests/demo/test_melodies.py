"""The demo's sheet music, read back by two readers that did not write it."""

from __future__ import annotations

from pathlib import Path

import pytest

from fairhearing.core.packet import instruments
from fairhearing.core.packet.reading import read_score
from fairhearing.demo import melodies
from fairhearing.demo.sheet import musicxml

TABLE = instruments.load()
PIECES = [
    (name, kind) for name in melodies.instruments() for kind in (melodies.etude, melodies.honors)
]
IDS = [f"{name}-{kind.__name__}" for name, kind in PIECES]


@pytest.mark.parametrize(("name", "kind"), PIECES, ids=IDS)
def test_music21_reads_the_written_and_the_sounding_notes(name, kind):
    """Peer: music21 (BSD), its MusicXML reader and its own idea of <transpose>."""
    music21 = pytest.importorskip("music21")
    piece = kind(name)
    score = music21.converter.parseData(musicxml(piece, TABLE[name]), format="musicxml")
    heads = list(score.recurse().notes)
    assert len(heads) == sum(note.sounds for note in piece.notes)
    assert [float(n.getOffsetInHierarchy(score)) for n in heads] == [
        float(note.onset) for note in piece.notes if note.sounds
    ]
    if TABLE[name].kind == "drum":
        return
    written = [note.midi for note in piece.notes if note.midi is not None]
    assert [n.pitch.midi for n in heads] == written
    sounding = [n.pitch.midi for n in score.toSoundingPitch().recurse().notes]
    shift = TABLE[name].sounding_minus_written
    assert sounding == [midi + shift for midi in written]
    assert all(len(bar.notesAndRests) for bar in score.recurse().getElementsByClass("Measure"))


@pytest.mark.parametrize(("name", "kind"), PIECES, ids=IDS)
def test_the_packet_reads_it(name, kind, tmp_path: Path):
    path = tmp_path / "piece.musicxml"
    path.write_text(musicxml(kind(name), TABLE[name]), encoding="utf-8")
    notes = read_score(path).part_notes(0)
    assert len(notes) == sum(note.sounds for note in kind(name).notes)


@pytest.mark.parametrize(("name", "kind"), PIECES, ids=IDS)
def test_the_music_fits_the_instrument(name, kind):
    if TABLE[name].kind == "drum":
        assert all(note.midi is None for note in kind(name).notes)
        return
    low, high = TABLE[name].ranges["intermediate"]
    assert all(low <= note.midi <= high for note in kind(name).notes if note.midi is not None)


def test_spelling_agrees_with_music21():
    """Peer: music21's major scales, all twelve signatures from six flats to six sharps."""
    scale = pytest.importorskip("music21.scale")
    key = pytest.importorskip("music21.key")
    for fifths in range(-6, 7):
        tonic = key.KeySignature(fifths).asKey("major").tonic
        tonic.octave = 4
        pitches = scale.MajorScale(tonic).getPitches(tonic, tonic.transpose("P8"))
        ours = [melodies.spell(tonic.midi, fifths, step) for step in range(8)]
        theirs = [(p.step, int(p.alter), p.octave) for p in pitches]
        assert ours == theirs, fifths


def test_a_bar_with_a_beat_too_many_is_refused():
    melody = melodies._Melody("x", 100, ("1q 2q 3q 4q 5q",), {})
    with pytest.raises(ValueError, match="bar 1: 5 beats"):
        melodies._set(melody, "flute")
