"""Parts for every instrument, read back by music21 as somebody else's reader."""

from __future__ import annotations

from fractions import Fraction
from pathlib import Path
from xml.etree.ElementTree import tostring

import mido
import pytest
from hypothesis import given
from hypothesis import strategies as st

from fairhearing.core.errors import ScoreFileError
from fairhearing.core.packet.instruments import load
from fairhearing.core.packet.opening import parse_tree
from fairhearing.core.packet.parts import Part, part_for
from fairhearing.core.packet.reading import read_score
from fairhearing.core.packet.score import Spelling
from fairhearing.core.packet.transposing import key_shift, spelled, transpose_spelling
from fairhearing.core.packet.unfolding import played

BARS = (
    "Bb4:4 C5:4 D5:4 Eb5:4",
    "F5:6 Eb5:2 D5:4 -:4",
    "Eb5:2 F#4:2 G4:4 A4:4 Bb4:4",
    "Bb4:8~ Bb4:4 F4:4",
    "F4:t A4:t C5:t Eb5:4 D5:4 B4:4",
    "F5:4 D5:4 Bb4:8",
)

music21 = pytest.importorskip("music21", reason="music21 reads the parts back")

PITCHED = [i for i in load().values() if i.kind in {"melodic", "mallet"}]


def sounding_by_music21(text: str, instrument_shift: int = 0) -> list[tuple[Fraction, int]]:
    part = music21.converter.parseData(text, format="musicxml").parts[0].toSoundingPitch()
    return [
        (Fraction(n.getOffsetInHierarchy(part)).limit_denominator(96), n.pitch.midi)
        for n in part.recurse().notes
    ]


@pytest.mark.parametrize(
    "level",
    [
        pytest.param("beginner", marks=pytest.mark.long),
        "intermediate",
        pytest.param("advanced", marks=pytest.mark.long),
    ],
)
def test_every_part_sounds_like_the_source_an_independent_reader_finds(
    etude: Path, level: str
) -> None:
    source = sounding_by_music21(etude.read_text(encoding="utf-8"))
    assert len(source) == 35
    for instrument in PITCHED:
        part = part_for(etude, instrument, level)
        heard = sounding_by_music21(tostring(part.tree, encoding="unicode"))
        octave = 12 * part.sounding_octaves
        assert heard == [(onset, midi + octave) for onset, midi in source], instrument.id
        low, high = instrument.ranges[level]
        outside = [n for n in part.score.notes if not low <= (n.written or 0) <= high]
        assert len(part.misfits) == len(outside), instrument.id
        assert part.score.parts[0].clef == instrument.clef


def test_keys_are_the_published_ones(etude: Path) -> None:
    """Concert B-flat as every band method prints it: C for B-flat, G for E-flat, F for F."""
    expected = {"flute": -2, "trumpet": 0, "alto-saxophone": 1, "horn": -1, "tuba": -2}
    for name, fifths in expected.items():
        part = part_for(etude, load()[name], "intermediate")
        assert part.score.bars[0].key.fifths == fifths, name


def test_octave_fits_the_range_and_misfits_are_named(etude: Path) -> None:
    tuba = part_for(etude, load()["tuba"], "intermediate")
    assert tuba.misfits == ()
    assert "every note" in tuba.says
    horn = part_for(etude, load()["horn"], "beginner")
    assert horn.misfits
    assert "outside" in horn.says
    assert str(horn.misfits[0].spelling) in horn.says
    assert "bar" in horn.says


def test_a_part_that_fits_as_it_is_stays_as_it_is(etude: Path) -> None:
    flute = part_for(etude, load()["flute"], "advanced")
    assert flute.semitones == 0
    assert flute.sounding_octaves == 0


def signs(part: Part) -> list[str]:
    found = []
    for note in part.tree.iter("note"):
        accidental = note.find("accidental")
        if accidental is not None:
            step = note.findtext("pitch/step")
            courtesy = " courtesy" if accidental.get("cautionary") else ""
            found.append(f"{step} {accidental.text}{courtesy}")
    return found


def test_accidentals_are_written_afresh_with_courtesy(write_score) -> None:  # type: ignore[no-untyped-def]
    path = write_score("c.musicxml", "F#4:4 F4:4 F#4:4 F#4:4", "F4:4 F5:4 G4:8", fifths=0)
    flute = part_for(path, load()["flute"], "advanced")
    assert signs(flute) == [
        "F sharp",
        "F natural",
        "F sharp",
        "F natural courtesy",
        "F natural courtesy",
    ]
    trumpet = part_for(path, load()["trumpet"], "advanced")
    assert signs(trumpet)[:4] == ["G sharp", "G natural", "G sharp", "G natural courtesy"]


def test_a_tied_note_repeats_no_sign_but_the_next_one_does(write_score) -> None:  # type: ignore[no-untyped-def]
    path = write_score("t.musicxml", "G4:8 F#4:8~", "F#4:8 F#4:8", fifths=0)
    assert signs(part_for(path, load()["flute"], "advanced")) == ["F sharp", "F sharp"]


@given(
    step=st.sampled_from("CDEFGAB"),
    alter=st.integers(-1, 1),
    octave=st.integers(2, 6),
    semitones=st.integers(-24, 24),
    key=st.integers(-6, 6),
)
def test_transposing_there_and_back_is_the_same_note(
    step: str, alter: int, octave: int, semitones: int, key: int
) -> None:
    note = Spelling(step, Fraction(alter), octave)
    shift = key_shift(semitones, [key])
    moved = transpose_spelling(note, semitones, shift)
    assert moved.midi == note.midi + semitones
    assert abs(key + shift) <= 6
    assert transpose_spelling(moved, -semitones, -shift).midi == note.midi


@given(midi=st.integers(20, 108), fifths=st.integers(-15, 19))
def test_spelling_agrees_with_music21(midi: int, fifths: int) -> None:
    exact = midi - midi % 12 + (7 * fifths) % 12
    spelling = spelled(fifths, Fraction(exact))
    sign = {2: "##", 1: "#", 0: "", -1: "-", -2: "--"}[int(spelling.alter)]
    theirs = music21.pitch.Pitch(f"{spelling.step}{sign}")
    theirs.octave = spelling.octave
    assert theirs.ps == exact


def many_voices(etude: Path) -> str:
    second = "<backup><duration>24</duration></backup>" + (
        "<note><pitch><step>E</step><octave>4</octave></pitch><duration>24</duration>"
        "<voice>2</voice><type>half</type></note>"
    )
    text = etude.read_text(encoding="utf-8")
    return text.replace("</measure>", second + "</measure>", 3).replace(second, "", 2)


def chords(etude: Path) -> str:
    text = etude.read_text(encoding="utf-8")
    return text.replace("<note><pitch><step>E", "<note><chord/><pitch><step>E")


def staves(etude: Path) -> str:
    text = etude.read_text(encoding="utf-8")
    return text.replace("<voice>1</voice><type>half", "<voice>1</voice><staff>2</staff><type>half")


def drums(etude: Path) -> str:
    text = etude.read_text(encoding="utf-8")
    return text.replace(
        "<pitch><step>D</step><octave>5</octave></pitch>",
        "<unpitched><display-step>D</display-step><display-octave>5</display-octave></unpitched>",
    )


def rests(_: Path) -> str:
    rest = "<note><rest/><duration>4</duration></note>"
    return (
        '<score-partwise><part-list/><part id="P1"><measure number="1"><attributes><divisions>1'
        f"</divisions></attributes>{rest}</measure></part></score-partwise>"
    )


def half_an_hour(etude: Path) -> str:
    text = etude.read_text(encoding="utf-8")
    start, end = text.index("<measure"), text.index("</part>")
    return text[:start] + text[start:end] * 90 + text[end:]


@pytest.mark.parametrize(
    ("make", "says"),
    [
        (many_voices, "bar 3: several voices"),
        (chords, "chords cannot be played by one B-flat trumpet player"),
        (staves, "music on two staves"),
        (drums, "notes without pitch"),
        (rests, "only rests"),
        (half_an_hour, "lasts 30 minutes"),
    ],
)
def test_what_a_player_cannot_play_is_refused_with_its_bars(etude: Path, make, says: str) -> None:  # type: ignore[no-untyped-def]
    tree = parse_tree(make(etude).encode("utf-8"))
    with pytest.raises(ScoreFileError) as caught:
        part_for(tree, load()["trumpet"], "intermediate", name="etude.musicxml")
    assert says in str(caught.value)
    assert str(caught.value).startswith("etude.musicxml")


def test_a_source_without_clef_gets_the_players_clef(write_score) -> None:  # type: ignore[no-untyped-def]
    part = part_for(write_score("n.musicxml", clef=""), load()["trombone"], "intermediate")
    assert part.score.parts[0].clef == "bass"


def test_percussion_needs_its_own_source(etude: Path, snare: Path) -> None:
    assert len(part_for(snare, load()["snare-drum"], "beginner").score.notes) == 3
    with pytest.raises(ScoreFileError, match="source of its own"):
        part_for(etude, load()["snare-drum"], "beginner")
    with pytest.raises(ScoreFileError, match="too many for timpani"):
        part_for(etude, load()["timpani"], "beginner")
    with pytest.raises(ScoreFileError, match="drum notation"):
        part_for(snare, load()["flute"], "beginner")


def test_the_part_of_a_full_score_is_found_by_name(etude: Path) -> None:
    text = etude.read_text(encoding="utf-8")
    start, end = text.index("<part id"), text.index("</score-partwise>")
    second = text[start:end].replace('id="P1"', 'id="P2"')
    score = text[:end] + second + text[end:]
    named = score.replace(
        "<part-name>Etude</part-name></score-part>",
        '<part-name>Flute</part-name></score-part><score-part id="P2"><part-name>Bb Trumpet'
        "</part-name></score-part>",
    )
    part = part_for(parse_tree(named.encode()), load()["trumpet"], "advanced")
    assert len(part.score.parts) == 1
    with pytest.raises(ScoreFileError, match="none is called tuba"):
        part_for(parse_tree(named.encode()), load()["tuba"], "advanced")


def test_midi_becomes_a_part(tmp_path: Path, write_score) -> None:  # type: ignore[no-untyped-def]
    path = tmp_path / "etude.mid"
    etude = write_score("plain.musicxml", *BARS)
    music21.converter.parse(etude).write("midi", fp=path)
    part = part_for(path, load()["trumpet"], "advanced")
    octave = 12 * part.sounding_octaves
    assert [(n.onset, n.duration, n.sounding) for n in played(part.score)] == [
        (n.onset, n.duration, (n.sounding or 0) + octave) for n in played(read_score(etude))
    ]


def test_midi_that_cannot_be_written_down_is_refused(tmp_path: Path, etude: Path) -> None:
    path = tmp_path / "grace.mid"
    music21.converter.parse(etude).write("midi", fp=path)
    with pytest.raises(ScoreFileError, match="bar 4: a note without length"):
        part_for(path, load()["trumpet"], "advanced")
    song = mido.MidiFile(ticks_per_beat=480)
    track = mido.MidiTrack()
    song.tracks.append(track)
    for gap in (0, 60, 0):
        track.append(mido.Message("note_on", note=60, velocity=80, time=gap))
        track.append(mido.Message("note_off", note=60, time=480))
    song.save(path)
    with pytest.raises(ScoreFileError, match="bar 1: the rhythm is too free"):
        part_for(path, load()["trumpet"], "advanced")


def test_instruments_transpose_as_music21_says() -> None:
    """Winds and brass against music21's instrument classes (an orchestration handbook's table)."""
    theirs = {
        "piccolo": "Piccolo", "flute": "Flute", "oboe": "Oboe", "bassoon": "Bassoon",
        "clarinet": "Clarinet", "bass-clarinet": "BassClarinet",
        "alto-saxophone": "AltoSaxophone", "tenor-saxophone": "TenorSaxophone",
        "baritone-saxophone": "BaritoneSaxophone", "horn": "Horn", "trumpet": "Trumpet",
        "trombone": "Trombone", "bass-trombone": "BassTrombone", "tuba": "Tuba",
    }  # fmt: skip
    for name, cls in theirs.items():
        interval = getattr(music21.instrument, cls)().transposition
        semitones = 0 if interval is None else interval.semitones
        assert load()[name].sounding_minus_written == semitones, name
