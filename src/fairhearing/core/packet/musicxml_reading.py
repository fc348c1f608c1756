"""MusicXML elements → :class:`~fairhearing.core.packet.score.Score`.

Conventions: W3C MusicXML 4.0. A bar is walked with one cursor in quarter beats; ``<backup>`` and
``<forward>`` move it, ``<chord/>`` keeps the onset of the note before. Bars of all parts start
together; a bar is as long as the longest part fills it (pick-up and incomplete bars stay short).
Every ``<note>`` that is not a rest becomes exactly one :class:`ScoreNote`, or the file is refused.
"""

from __future__ import annotations

import re
from dataclasses import dataclass, field, replace
from fractions import Fraction
from xml.etree.ElementTree import Element

from fairhearing.core.errors import ScoreFileError
from fairhearing.core.packet.score import (
    STEP_SEMITONES,
    Bar,
    KeySignature,
    Score,
    ScoreNote,
    ScorePart,
    Spelling,
    TempoMark,
    TimeSignature,
)

MAX_BARS = 5000
MAX_SIGNS = 11  # more than seven are rare, and real

_CLEFS = {
    ("G", 2): "treble",
    ("F", 4): "bass",
    ("C", 3): "alto",
    ("C", 4): "tenor",
}
_BEAT_UNITS = {
    "long": Fraction(16),
    "breve": Fraction(8),
    "whole": Fraction(4),
    "half": Fraction(2),
    "quarter": Fraction(1),
    "eighth": Fraction(1, 2),
    "16th": Fraction(1, 4),
    "32nd": Fraction(1, 8),
    "64th": Fraction(1, 16),
}
_JUMP_WORDS = (
    (re.compile(r"\bal\s+fine\b", re.I), "al fine"),
    (re.compile(r"\bal\s+coda\b", re.I), "al coda"),
    (re.compile(r"\b(d\.\s*c\.|da\s+capo)", re.I), "da capo"),
    (re.compile(r"\b(d\.\s*s\.|dal\s+segno)", re.I), "dal segno"),
    (re.compile(r"\bto\s+coda\b", re.I), "to coda"),
    (re.compile(r"^\W*fine\W*$", re.I), "fine"),
)
_SOUND_JUMPS = {
    "dacapo": "da capo",
    "dalsegno": "dal segno",
    "segno": "segno",
    "coda": "coda",
    "tocoda": "to coda",
    "fine": "fine",
}


def label_notes(root: Element) -> None:
    """Give every sounding note of the tree an ``id`` (in place), the one its `ScoreNote` has."""
    for part_index, part in enumerate(root.findall("part")):
        number = 0
        for note in part.iter("note"):
            if note.find("rest") is None:
                note.set("id", f"p{part_index}n{number}")
                number += 1


def score_from_tree(root: Element, name: str = "the score") -> Score:
    """Read a ``score-partwise`` tree.

    Raises
    ------
    ScoreFileError
        Naming bar and reason, if something would have to be guessed or lost.
    """
    label_notes(root)
    elements = root.findall("part")
    if not elements or not any(part.findall("measure") for part in elements):
        raise ScoreFileError(f"{name}: the score has no bars; nothing could be played from it")
    names = {entry.get("id", ""): entry for entry in root.iter("score-part")}
    concert = root.find("defaults/concert-score") is not None
    readers = [
        _PartReader(index, element, names.get(element.get("id", "")), concert, name)
        for index, element in enumerate(elements)
    ]
    for reader in readers:
        reader.read()
    bars = _common_bars(readers, name)
    starts = [bar.start for bar in bars]
    notes = tuple(note for reader in readers for note in reader.placed(starts))
    heads = sum(1 for part in elements for note in part.iter("note") if note.find("rest") is None)
    if len(notes) != heads:
        raise ScoreFileError(
            f"{name}: only {len(notes)} of {heads} notes could be read; the file was not used"
        )
    tempo = {
        starts[mark.bar] + mark.onset: TempoMark(
            starts[mark.bar] + mark.onset, mark.quarter_bpm, mark.text
        )
        for reader in reversed(readers)
        for mark in reader.tempo
    }
    return Score(
        title=_title(root),
        kind="musicxml",
        parts=tuple(reader.part(starts) for reader in readers),
        bars=bars,
        notes=notes,
        tempo_marks=tuple(tempo[onset] for onset in sorted(tempo)),
    )


def _title(root: Element) -> str:
    for place in ("work/work-title", "movement-title"):
        text = (root.findtext(place) or "").strip()
        if text:
            return " ".join(text.split())
    return ""


@dataclass(slots=True)
class _BarMarks:
    """What one part says about one bar."""

    number: str = ""
    length: Fraction = Fraction(0)
    key: KeySignature | None = None
    time: TimeSignature | None = None
    repeat_from: bool = False
    repeat_to: bool = False
    times: int = 2
    endings: tuple[int, ...] = ()
    jumps: list[str] = field(default_factory=list)


@dataclass(frozen=True, slots=True)
class _Tempo:
    bar: int
    onset: Fraction
    quarter_bpm: float
    text: str


class _PartReader:
    """Walks one part; positions are within the bar until :meth:`placed`."""

    def __init__(
        self, index: int, element: Element, entry: Element | None, concert: bool, file: str
    ):
        self.index = index
        self.element = element
        self.file = file
        self.concert = concert
        self.id = element.get("id", "") or f"P{index + 1}"
        self.name = " ".join((entry.findtext("part-name") or "").split()) if entry else ""
        self.keys_of_drums = _percussion_keys(entry)
        self.bars: list[_BarMarks] = []
        self.notes: list[ScoreNote] = []
        self.tempo: list[_Tempo] = []
        self.keys: list[tuple[int, Fraction, KeySignature]] = []
        self.clef = ""
        self.staves = 1
        self.transpose: dict[int, int] = {}
        self.first_transpose: int | None = None
        self._divisions: Fraction | None = None
        self._cursor = Fraction(0)
        self._last_onset = Fraction(0)
        self._open_ending: tuple[int, ...] = ()

    # -- walking ---------------------------------------------------------------------------

    def read(self) -> None:
        for bar in self.element.findall("measure"):
            if len(self.bars) >= MAX_BARS:
                raise ScoreFileError(
                    f"{self.file}: more than {MAX_BARS} bars; this is not an audition piece"
                )
            self._read_bar(bar)

    def refuse(self, reason: str) -> ScoreFileError:
        bar = self.bars[-1].number
        part = f" of {self.name}" if self.name else ""
        return ScoreFileError(f"{self.file}, bar {bar}{part}: {reason}")

    def _read_bar(self, element: Element) -> None:
        marks = _BarMarks(number=element.get("number", "") or str(len(self.bars) + 1))
        marks.endings = self._open_ending
        self.bars.append(marks)
        self._cursor = self._last_onset = Fraction(0)
        for child in element:
            match child.tag:
                case "note":
                    self._note(child)
                case "backup":
                    self._cursor -= self._duration(child)
                    if self._cursor < 0:
                        raise self.refuse(
                            "the music steps back (backup) to before the start of the bar; "
                            "open the file in a notation program and export it again"
                        )
                case "forward":
                    self._cursor += self._duration(child)
                    marks.length = max(marks.length, self._cursor)
                case "attributes":
                    self._attributes(child)
                case "direction":
                    self._direction(child)
                case "sound":
                    self._sound(child, self._cursor, "")
                case "barline":
                    self._barline(child)

    def _note(self, note: Element) -> None:
        grace = note.find("grace") is not None
        chord = note.find("chord") is not None
        length = Fraction(0) if grace else self._duration(note)
        onset = self._last_onset if chord else self._cursor
        if not chord:
            self._last_onset = onset
            self._cursor += length
        self.bars[-1].length = max(self.bars[-1].length, self._cursor, onset + length)
        if note.find("rest") is not None:
            return
        staff = self._whole(note.findtext("staff") or "1", "staff number")
        spelling = self._spelling(note)
        written = spelling.midi if spelling else None
        shift = 0 if self.concert else self.transpose.get(staff, self.transpose.get(0, 0))
        drum = note.find("instrument")
        ties = {tie.get("type") for tie in note.findall("tie")}
        self.notes.append(
            ScoreNote(
                id=note.get("id", ""),
                part=self.index,
                bar=len(self.bars) - 1,
                onset=onset,
                duration=length,
                spelling=spelling,
                written=written,
                sounding=None if written is None else written + shift,
                percussion_key=self._drum_key(drum) if spelling is None else None,
                voice=(note.findtext("voice") or "1").strip(),
                staff=staff,
                chord=chord,
                grace=grace,
                cue=note.find("cue") is not None,
                tie_start="start" in ties,
                tie_stop="stop" in ties,
            )
        )

    def _drum_key(self, instrument: Element | None) -> int | None:
        if instrument is not None:
            return self.keys_of_drums.get(instrument.get("id", ""))
        return next(iter(self.keys_of_drums.values())) if len(self.keys_of_drums) == 1 else None

    def _spelling(self, note: Element) -> Spelling | None:
        pitch = note.find("pitch")
        if pitch is None:
            if note.find("unpitched") is None:
                raise self.refuse("a note has neither pitch nor rest; write it again")
            return None
        step = (pitch.findtext("step") or "").strip().upper()
        if step not in STEP_SEMITONES:
            raise self.refuse(f'"{step}" is not a note name')
        alter = self._number(pitch.findtext("alter") or "0", "alteration")
        octave = self._whole(pitch.findtext("octave") or "?", "octave")
        if abs(alter) > 4 or not -2 <= octave <= 10:
            raise self.refuse(f"the pitch {step}{octave} altered by {alter} cannot be played")
        return Spelling(step, alter, octave)

    def _duration(self, element: Element) -> Fraction:
        text = element.findtext("duration")
        if text is None:
            raise self.refuse(f"a <{element.tag}> has no duration; export the file again")
        ticks = self._number(text, "duration")
        if ticks < 0:
            raise self.refuse("a duration is negative; export the file again")
        if self._divisions is None:
            by_type = _length_of_type(element)
            if by_type is not None or ticks == 0:
                return by_type or Fraction(0)
            raise self.refuse("durations are given before the file says what they count")
        return ticks / self._divisions

    # -- attributes ------------------------------------------------------------------------

    def _attributes(self, attributes: Element) -> None:
        divisions = attributes.findtext("divisions")
        if divisions is not None:
            self._divisions = self._number(divisions, "division of the beat")
            if self._divisions <= 0:
                raise self.refuse("the beat is divided into nothing (divisions 0)")
        staves = attributes.findtext("staves")
        if staves is not None:
            self.staves = max(self.staves, self._whole(staves, "number of staves"))
        key = attributes.find("key")
        if key is not None:
            self._key(key)
        time = attributes.find("time")
        if time is not None and self._cursor == 0:
            self.bars[-1].time = self._time(time)
        clef = attributes.find("clef")
        if clef is not None and not self.clef:
            self.clef = _clef_name(clef)
        for transpose in attributes.findall("transpose"):
            semitones = self._number(transpose.findtext("chromatic") or "0", "transposition")
            octaves = self._number(transpose.findtext("octave-change") or "0", "octave change")
            staff = self._whole(transpose.get("number", "0"), "staff number")
            self.transpose[staff] = int(semitones + 12 * octaves)
            if self.first_transpose is None and len(self.bars) == 1:
                self.first_transpose = self.transpose[staff]

    def _key(self, key: Element) -> None:
        fifths = key.findtext("fifths")
        signature = KeySignature(
            self._whole(fifths, "key signature") if fifths is not None else None,
            (key.findtext("mode") or "").strip() or None,
        )
        if abs(signature.fifths or 0) > MAX_SIGNS:
            raise self.refuse(f"a key signature of {abs(signature.fifths or 0)} signs is a mistake")
        if self._cursor == 0:
            self.bars[-1].key = signature
        self.keys.append((len(self.bars) - 1, self._cursor, signature))

    def _time(self, time: Element) -> TimeSignature:
        if time.find("senza-misura") is not None:
            return TimeSignature(0, 4)
        length = Fraction(0)
        types: list[int] = []
        beats = [child.text or "" for child in time.findall("beats")]
        beat_types = [child.text or "" for child in time.findall("beat-type")]
        if not beats or len(beats) != len(beat_types):
            raise self.refuse("the time signature is incomplete")
        for count, unit in zip(beats, beat_types, strict=True):
            total = sum(self._whole(piece, "time signature") for piece in count.split("+"))
            types.append(sum(self._whole(piece, "time signature") for piece in unit.split("+")))
            if types[-1] <= 0 or total <= 0:
                raise self.refuse("the time signature has no beats")
            length += Fraction(total, types[-1])
        finest = max(types)
        whole = length * finest
        if whole.denominator != 1:
            finest *= whole.denominator
            whole = length * finest
        return TimeSignature(int(whole), finest)

    # -- directions and bar lines ----------------------------------------------------------

    def _direction(self, direction: Element) -> None:
        onset = self._cursor
        offset = direction.findtext("offset")
        if offset is not None and self._divisions:
            onset = max(Fraction(0), onset + self._number(offset, "offset") / self._divisions)
        words = " ".join("".join(element.itertext()) for element in direction.iter("words")).strip()
        for sound in direction.findall("sound"):
            self._sound(sound, onset, words)
        jumps = self.bars[-1].jumps
        for sign in ("segno", "coda"):
            if next(direction.iter(sign), None) is not None:
                jumps.append(sign)
        jumps.extend(jump for pattern, jump in _JUMP_WORDS if pattern.search(words))
        metronome = next(direction.iter("metronome"), None)
        if metronome is not None:
            bpm = _metronome_bpm(metronome)
            if bpm is not None:
                self.tempo.append(_Tempo(len(self.bars) - 1, onset, bpm, words))

    def _sound(self, sound: Element, onset: Fraction, words: str) -> None:
        tempo = sound.get("tempo")
        if tempo is not None:
            bpm = float(self._number(tempo, "tempo"))
            if not 0 < bpm < 2000:
                raise self.refuse(f"the tempo {tempo} cannot be played")
            self.tempo.append(_Tempo(len(self.bars) - 1, onset, bpm, words))
        self.bars[-1].jumps.extend(
            jump for attribute, jump in _SOUND_JUMPS.items() if sound.get(attribute)
        )

    def _barline(self, barline: Element) -> None:
        marks = self.bars[-1]
        repeat = barline.find("repeat")
        if repeat is not None:
            if repeat.get("direction") == "forward":
                marks.repeat_from = True
            else:
                marks.repeat_to = True
                times = repeat.get("times")
                if times:
                    marks.times = max(1, self._whole(times, "number of repeats"))
        ending = barline.find("ending")
        if ending is not None:
            numbers = tuple(int(n) for n in re.findall(r"\d+", ending.get("number", "")))
            if ending.get("type") == "start":
                self._open_ending = marks.endings = numbers
            else:
                marks.endings = marks.endings or numbers
                self._open_ending = ()

    # -- results ---------------------------------------------------------------------------

    def placed(self, starts: list[Fraction]) -> list[ScoreNote]:
        """Return the notes with onsets from the start of the piece, in order of time."""
        notes = [replace(note, onset=starts[note.bar] + note.onset) for note in self.notes]
        return sorted(notes, key=lambda note: note.onset)

    def part(self, starts: list[Fraction]) -> ScorePart:
        """Return the part's description."""
        return ScorePart(
            id=self.id,
            name=self.name,
            clef=self.clef,
            staves=self.staves,
            sounding_minus_written=0 if self.concert else (self.first_transpose or 0),
            keys=tuple((starts[bar] + onset, key) for bar, onset, key in self.keys),
        )

    def _number(self, text: str, what: str) -> Fraction:
        try:
            if len(text) > 30:
                raise ValueError
            return Fraction(text.strip())
        except (ValueError, ZeroDivisionError):
            raise self.refuse(f'the {what} "{text.strip()[:30]}" is not a number') from None

    def _whole(self, text: str, what: str) -> int:
        if not re.fullmatch(r"\s*[+-]?\d{1,9}\s*", text):
            raise self.refuse(f'the {what} "{text.strip()[:30]}" is not a whole number')
        return int(text)


def _common_bars(readers: list[_PartReader], file: str) -> tuple[Bar, ...]:
    """Lay the parts' bars over one another; the first part that says something is believed."""
    count = max(len(reader.bars) for reader in readers)
    key, time = KeySignature(0), TimeSignature(4, 4)
    start = Fraction(0)
    bars: list[Bar] = []
    for index in range(count):
        said = [reader.bars[index] for reader in readers if index < len(reader.bars)]
        key = next((marks.key for marks in said if marks.key), key)
        time = next((marks.time for marks in said if marks.time), time)
        length = max(marks.length for marks in said) or time.bar_length
        ends = [marks for marks in said if marks.repeat_to]
        bars.append(
            Bar(
                number=said[0].number,
                start=start,
                length=length,
                key=key,
                time=time,
                repeat_from=any(marks.repeat_from for marks in said),
                repeat_to=bool(ends),
                times=max((marks.times for marks in ends), default=2),
                endings=next((marks.endings for marks in said if marks.endings), ()),
                jumps=tuple(dict.fromkeys(jump for marks in said for jump in marks.jumps)),
            )
        )
        start += length
    if start > 100_000:
        raise ScoreFileError(f"{file}: the piece is too long to be an audition piece")
    return tuple(bars)


def _percussion_keys(entry: Element | None) -> dict[str, int]:
    if entry is None:
        return {}
    keys: dict[str, int] = {}
    for midi in entry.findall("midi-instrument"):
        number = (midi.findtext("midi-unpitched") or "").strip()
        if number.isdigit() and 1 <= int(number) <= 128:
            keys[midi.get("id", "")] = int(number) - 1  # MusicXML counts from 1
    return keys


def _length_of_type(note: Element) -> Fraction | None:
    """Quarter beats by the printed note value, dots and tuplet; None without a value."""
    unit = _BEAT_UNITS.get((note.findtext("type") or "").strip())
    if unit is None:
        return None
    dots = len(note.findall("dot"))
    actual = note.findtext("time-modification/actual-notes") or "1"
    normal = note.findtext("time-modification/normal-notes") or "1"
    if not (actual.strip().isdigit() and normal.strip().isdigit() and int(actual)):
        return None
    return unit * (2 - Fraction(1, 2**dots)) * Fraction(int(normal), int(actual))


def _clef_name(clef: Element) -> str:
    sign = (clef.findtext("sign") or "").strip()
    if sign in {"percussion", "TAB", "none"}:
        return {"percussion": "percussion", "TAB": "tab", "none": "other"}[sign]
    line = (clef.findtext("line") or {"G": "2", "F": "4", "C": "3"}.get(sign, "0")).strip()
    if (clef.findtext("clef-octave-change") or "0").strip() not in {"0", ""}:
        return "other"
    return _CLEFS.get((sign, int(line) if line.isdigit() else 0), "other")


def _metronome_bpm(metronome: Element) -> float | None:
    units = metronome.findall("beat-unit")
    per_minute = metronome.findtext("per-minute") or ""
    found = re.search(r"\d+(?:\.\d+)?", per_minute)
    if len(units) != 1 or not found:
        return None  # one note value as another: a relation, not a tempo
    unit = _BEAT_UNITS.get((units[0].text or "").strip())
    if unit is None:
        return None
    dots = len(metronome.findall("beat-unit-dot"))
    return float(Fraction(found.group()) * unit * (2 - Fraction(1, 2**dots)))
