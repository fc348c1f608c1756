"""A Standard MIDI File → :class:`~fairhearing.core.packet.score.Score`.

Conventions: onsets and lengths are exact (ticks over ticks per quarter beat), nothing is rounded
to note values. Tracks with notes are the parts; channel 10 is percussion (General MIDI).
Source: Standard MIDI Files 1.0 (MIDI Association RP-001).
"""

from __future__ import annotations

import io
from dataclasses import dataclass
from fractions import Fraction
from pathlib import Path

import mido

from fairhearing.core.errors import ScoreFileError
from fairhearing.core.packet.score import (
    Bar,
    KeySignature,
    Score,
    ScoreNote,
    ScorePart,
    Spelling,
    TempoMark,
    TimeSignature,
)

MAX_MIDI_BYTES = 4_000_000
MAX_NOTES = 200_000
MAX_BARS = 5000
PERCUSSION_CHANNEL = 9

_FLAT_NAMES = ("C", "Db", "D", "Eb", "E", "F", "Gb", "G", "Ab", "A", "Bb", "B")
_SHARP_NAMES = ("C", "C#", "D", "D#", "E", "F", "F#", "G", "G#", "A", "A#", "B")
_FIFTHS = {name: fifths for fifths, name in enumerate("FCGDAEB", start=-1)}


@dataclass(frozen=True, slots=True)
class _Struck:
    track: int
    channel: int
    key: int
    start: int
    end: int


def score_from_midi(data: bytes, name: str = "the file") -> Score:
    """Read a MIDI file held in memory.

    Raises
    ------
    ScoreFileError
        If it is damaged, has no notes, is timed in film frames, or notes never end.
    """
    if len(data) > MAX_MIDI_BYTES:
        raise ScoreFileError(f"{name}: {len(data) / 1e6:.0f} MB is too large for a MIDI file")
    try:
        song = mido.MidiFile(file=io.BytesIO(data))
    except (OSError, ValueError, EOFError, KeyError, IndexError, AttributeError) as error:
        raise ScoreFileError(f"{name}: the MIDI file is damaged ({error})") from error
    except mido.KeySignatureError as error:
        raise ScoreFileError(f"{name}: the MIDI file has an impossible key signature") from error
    if song.type == 2:
        raise ScoreFileError(f"{name}: a MIDI file of several songs; save the one that is meant")
    ticks = song.ticks_per_beat
    if ticks <= 0 or ticks >= 0x8000:
        raise ScoreFileError(f"{name}: the MIDI file counts film frames, not beats; export again")
    events = _Events(song, name)
    if not events.struck:
        raise ScoreFileError(f"{name}: there are no notes in the MIDI file")
    bars = _bars(events, ticks, name)
    return _score(events, bars, ticks, Path(name).stem)


class _Events:
    """What the tracks say, in ticks from the start."""

    def __init__(self, song: mido.MidiFile, name: str):
        self.struck: list[_Struck] = []
        self.times: dict[int, TimeSignature] = {}
        self.keys: dict[int, KeySignature] = {}
        self.tempo: dict[int, float] = {}
        self.names: dict[int, str] = {}
        self.end = 0
        for index, track in enumerate(song.tracks):
            self._track(index, track, name)
        if len(self.struck) > MAX_NOTES:
            raise ScoreFileError(f"{name}: {len(self.struck)} notes are too many for a part")
        self.struck.sort(
            key=lambda note: (note.track, note.channel == PERCUSSION_CHANNEL, note.start, note.key)
        )

    def _track(self, index: int, track: mido.MidiTrack, name: str) -> None:
        now = 0
        sounding: dict[tuple[int, int], list[int]] = {}
        ended: dict[tuple[int, int], int] = {}
        for message in track:
            now += message.time
            if message.type == "note_on" and message.velocity > 0:
                place = (message.channel, message.note)
                if ended.pop(place, None) == now:
                    # A grace note of no length, whose end was written before its start.
                    self.struck.append(_Struck(index, *place, now, now))
                else:
                    sounding.setdefault(place, []).append(now)
            elif message.type in {"note_on", "note_off"}:
                waiting = sounding.get((message.channel, message.note))
                if waiting:
                    start = waiting.pop(0)
                    self.struck.append(_Struck(index, message.channel, message.note, start, now))
                else:
                    ended[message.channel, message.note] = now
            elif message.type == "time_signature":
                self.times[now] = TimeSignature(message.numerator, message.denominator)
            elif message.type == "key_signature":
                self.keys[now] = _key_signature(message.key)
            elif message.type == "set_tempo" and message.tempo > 0:
                self.tempo[now] = 60e6 / message.tempo
            elif message.type == "track_name":
                self.names.setdefault(index, " ".join(message.name.split()))
        left = sum(len(waiting) for waiting in sounding.values())
        if left:
            raise ScoreFileError(f"{name}: {left} notes of track {index + 1} never end")
        self.end = max(self.end, now)


def _key_signature(name: str) -> KeySignature:
    minor = name.endswith("m")
    tonic = name.rstrip("m")
    fifths = _FIFTHS[tonic[0]] + 7 * (tonic.count("#") - tonic.count("b")) - (3 if minor else 0)
    return KeySignature(fifths, "minor" if minor else "major")


def _bars(events: _Events, ticks: int, name: str) -> tuple[Bar, ...]:
    end = Fraction(max(note.end for note in events.struck), ticks)
    time, key = TimeSignature(4, 4), KeySignature(0)
    changes = {Fraction(tick, ticks): value for tick, value in events.times.items()}
    keys = {Fraction(tick, ticks): value for tick, value in events.keys.items()}
    bars: list[Bar] = []
    start = Fraction(0)
    while start < end or not bars:
        time = changes.get(start, time)
        key = keys.get(start, key)
        inside = [onset for onset in changes if start < onset < start + time.bar_length]
        length = min(inside) - start if inside else time.bar_length
        bars.append(Bar(str(len(bars) + 1), start, length, key, time))
        start += length
        if len(bars) > MAX_BARS:
            raise ScoreFileError(f"{name}: more than {MAX_BARS} bars; not an audition piece")
    return tuple(bars)


def _score(events: _Events, bars: tuple[Bar, ...], ticks: int, title: str) -> Score:
    lanes = sorted({(note.track, note.channel == PERCUSSION_CHANNEL) for note in events.struck})
    parts = tuple(
        ScorePart(
            id=f"P{index + 1}",
            name=events.names.get(track, ""),
            clef="percussion" if drums else "",
            staves=1,
            sounding_minus_written=0,
            keys=tuple((Fraction(tick, ticks), key) for tick, key in sorted(events.keys.items())),
        )
        for index, (track, drums) in enumerate(lanes)
    )
    notes: list[ScoreNote] = []
    bar = 0
    last: tuple[int, int] | None = None
    for note in events.struck:
        drums = note.channel == PERCUSSION_CHANNEL
        part = lanes.index((note.track, drums))
        onset = Fraction(note.start, ticks)
        bar = 0 if not notes or notes[-1].part != part else bar
        while bar + 1 < len(bars) and bars[bar + 1].start <= onset:
            bar += 1
        notes.append(
            ScoreNote(
                id=f"p{part}n{len(notes)}",
                part=part,
                bar=bar,
                onset=onset,
                duration=Fraction(note.end - note.start, ticks),
                spelling=None if drums else _spell(note.key, bars[bar].key),
                written=None if drums else note.key,
                sounding=None if drums else note.key,
                percussion_key=note.key if drums else None,
                chord=last == (part, note.start) and note.end > note.start,
                grace=note.end == note.start,
            )
        )
        last = (part, note.start)
    tempo = tuple(
        TempoMark(Fraction(tick, ticks), bpm) for tick, bpm in sorted(events.tempo.items())
    )
    return Score(title, "midi", parts, bars, tuple(notes), tempo)


def _spell(key: int, signature: KeySignature) -> Spelling:
    """Spell with the key's own accidentals: sharps in sharp keys, flats in flat keys."""
    names = _SHARP_NAMES if (signature.fifths or 0) > 0 else _FLAT_NAMES
    name = names[key % 12]
    alter = {"#": 1, "b": -1}.get(name[1:], 0)
    return Spelling(name[0], Fraction(alter), key // 12 - 1)
