"""Write a melody as MusicXML 4.0 (W3C), for one instrument, at written pitch with ``<transpose>``.

A small writer for small music: one part, one voice, 4/4, beams within the beat.
"""

from __future__ import annotations

from fractions import Fraction
from xml.etree import ElementTree as Xml

from fairhearing.core.packet.instruments import Instrument
from fairhearing.demo.cast import INVENTED
from fairhearing.demo.melodies import Piece, WrittenNote

_DIVISIONS = 4
_TYPES = {
    Fraction(4): ("whole", 0), Fraction(3): ("half", 1), Fraction(2): ("half", 0),
    Fraction(3, 2): ("quarter", 1), Fraction(1): ("quarter", 0), Fraction(3, 4): ("eighth", 1),
    Fraction(1, 2): ("eighth", 0), Fraction(1, 4): ("16th", 0),
}  # fmt: skip
_CLEFS = {"treble": ("G", 2), "bass": ("F", 4), "percussion": ("percussion", None)}
_HEAD = (
    '<?xml version="1.0" encoding="UTF-8"?>\n'
    '<!DOCTYPE score-partwise PUBLIC "-//Recordare//DTD MusicXML 4.0 Partwise//EN" '
    '"http://www.musicxml.org/dtds/partwise.dtd">\n'
)


def musicxml(piece: Piece, instrument: Instrument) -> str:
    """Return the text of a MusicXML file."""
    root = Xml.Element("score-partwise", version="4.0")
    _add(_add(root, "work"), "work-title", piece.title)
    rights = _add(root, "identification")
    _add(rights, "creator", "written for this demonstration", type="composer")
    _add(rights, "rights", INVENTED)
    part = _add(_add(root, "part-list"), "score-part", id="P1")
    _add(part, "part-name", instrument.name)
    _add(_add(part, "score-instrument", id="P1-I1"), "instrument-name", instrument.name)
    sound = _add(part, "midi-instrument", id="P1-I1")
    if instrument.kind == "drum":
        _add(sound, "midi-channel", "10")
        _add(sound, "midi-unpitched", "39")  # counted from 1: key 38, snare (GM Level 1)
    else:
        _add(sound, "midi-program", str(instrument.midi_program + 1))
    body = _add(root, "part", id="P1")
    for bar in range(1, piece.bars + 1):
        measure = _add(body, "measure", number=str(bar))
        if bar == 1:
            _attributes(measure, piece, instrument)
            _tempo(measure, piece.tempo_bpm)
        if bar in piece.dynamics:
            _dynamic(measure, piece.dynamics[bar])
        notes = [note for note in piece.notes if note.bar == bar]
        altered: dict[tuple[str, int], int] = {}
        for index, note in enumerate(notes):
            _note(measure, notes, index, altered, piece.fifths)
            if note.spelling:
                altered[note.spelling[0], note.spelling[2]] = note.spelling[1]
        if bar == piece.bars:
            _add(_add(measure, "barline", location="right"), "bar-style", "light-heavy")
    Xml.indent(root)
    return _HEAD + Xml.tostring(root, encoding="unicode") + "\n"


def _add(parent: Xml.Element, tag: str, text: str | None = None, **attributes: str) -> Xml.Element:
    child = Xml.SubElement(parent, tag, attributes)
    child.text = text
    return child


def _attributes(measure: Xml.Element, piece: Piece, instrument: Instrument) -> None:
    attributes = _add(measure, "attributes")
    _add(attributes, "divisions", str(_DIVISIONS))
    _add(_add(attributes, "key"), "fifths", str(piece.fifths))
    time = _add(attributes, "time")
    _add(time, "beats", "4")
    _add(time, "beat-type", "4")
    sign, line = _CLEFS[instrument.clef]
    clef = _add(attributes, "clef")
    _add(clef, "sign", sign)
    if line is not None:
        _add(clef, "line", str(line))
    if instrument.sounding_minus_written:
        # MusicXML 4.0: chromatic leaves out whole octaves, which have an element of their own.
        octaves = int(instrument.sounding_minus_written / 12)
        chromatic = instrument.sounding_minus_written - 12 * octaves
        transpose = _add(attributes, "transpose")
        _add(transpose, "diatonic", str(round(chromatic * 7 / 12)))
        _add(transpose, "chromatic", str(chromatic))
        if octaves:
            _add(transpose, "octave-change", str(octaves))


def _tempo(measure: Xml.Element, tempo_bpm: int) -> None:
    direction = _add(measure, "direction", placement="above")
    metronome = _add(_add(direction, "direction-type"), "metronome")
    _add(metronome, "beat-unit", "quarter")
    _add(metronome, "per-minute", str(tempo_bpm))
    _add(direction, "sound", tempo=str(tempo_bpm))


def _dynamic(measure: Xml.Element, mark: str) -> None:
    direction = _add(measure, "direction", placement="below")
    _add(_add(_add(direction, "direction-type"), "dynamics"), mark)


def _note(
    measure: Xml.Element,
    notes: list[WrittenNote],
    index: int,
    altered: dict[tuple[str, int], int],
    fifths: int,
) -> None:
    note = notes[index]
    element = _add(measure, "note")
    if note.spelling:
        letter, sharps, octave = note.spelling
        pitch = _add(element, "pitch")
        _add(pitch, "step", letter)
        if sharps:
            _add(pitch, "alter", str(sharps))
        _add(pitch, "octave", str(octave))
    elif note.stroke:
        unpitched = _add(element, "unpitched")
        _add(unpitched, "display-step", "C")
        _add(unpitched, "display-octave", "5")
    else:
        _add(element, "rest")
    _add(element, "duration", str(int(note.length * _DIVISIONS)))
    if note.sounds:
        _add(element, "instrument", id="P1-I1")
    _add(element, "voice", "1")
    kind, dots = _TYPES[note.length]
    _add(element, "type", kind)
    for _ in range(dots):
        _add(element, "dot")
    if note.spelling:
        _accidental(element, note.spelling, altered, fifths)
    if note.stroke:
        _add(element, "stem", "up")
    _beams(element, notes, index)
    if note.accent:
        _add(_add(_add(element, "notations"), "articulations"), "accent")


def _accidental(
    element: Xml.Element,
    spelling: tuple[str, int, int],
    altered: dict[tuple[str, int], int],
    fifths: int,
) -> None:
    letter, sharps, octave = spelling
    order = "FCGDAEB"
    by_key = (letter in order[:fifths]) - (fifths < 0 and letter in order[fifths:])
    if altered.get((letter, octave), by_key) != sharps:
        _add(element, "accidental", {-1: "flat", 0: "natural", 1: "sharp"}[sharps])


def _beams(element: Xml.Element, notes: list[WrittenNote], index: int) -> None:
    """Beam eighths and sixteenths within a beat; the second level among sixteenths."""
    for level, longest in ((1, Fraction(3, 4)), (2, Fraction(1, 4))):
        here = _joins(notes, index, longest)
        if not here:
            continue
        before = index > 0 and _joins(notes, index - 1, longest, with_beat_of=notes[index])
        after = index + 1 < len(notes) and _joins(
            notes, index + 1, longest, with_beat_of=notes[index]
        )
        words = {(False, True): "begin", (True, True): "continue", (True, False): "end"}
        word = words.get((before, after))
        if word is None and level == 2 and _beamed(notes, index):
            word = "backward hook" if notes[index].onset % 1 else "forward hook"
        if word:
            _add(element, "beam", word, number=str(level))


def _joins(
    notes: list[WrittenNote],
    index: int,
    longest: Fraction,
    with_beat_of: WrittenNote | None = None,
) -> bool:
    note = notes[index]
    same = with_beat_of is None or note.onset // 1 == with_beat_of.onset // 1
    return note.sounds and note.length <= longest and same


def _beamed(notes: list[WrittenNote], index: int) -> bool:
    return any(
        0 <= other < len(notes) and _joins(notes, other, Fraction(3, 4), with_beat_of=notes[index])
        for other in (index - 1, index + 1)
    )
