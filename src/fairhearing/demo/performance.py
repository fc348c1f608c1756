"""What a player plays and says in one take, note by note, with every slip written down.

Conventions: times in seconds from the first sample of the take; ``midi`` is sounding pitch, the
nearest semitone that the player meant to sound; ``cents`` how far from it the note really is.
Everything here is a plan that is exact by construction; :mod:`fairhearing.demo.sound` makes it
heard. The same player always gives the same performance.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field, replace

import numpy as np
from numpy.typing import NDArray

from fairhearing.core.packet import instruments
from fairhearing.demo import melodies, voices
from fairhearing.demo.cast import Player
from fairhearing.demo.truth import (
    ChromaticTruth,
    Performance,
    PlayedNote,
    ScaleTruth,
    SectionTruth,
    Slip,
    Spoken,
)

SCALES_LIMIT_S = 60.0

# Concert keys in the order in which school bands learn them (common practice, no source).
_CONCERT_ORDER = (10, 3, 5, 8, 0, 1, 7, 6, 2, 11, 9, 4)
_TONICS = ("C", "D-flat", "D", "E-flat", "E", "F", "F-sharp", "G", "A-flat", "A", "B-flat", "B")
_MAJOR = (0, 2, 4, 5, 7, 9, 11)
_RUDIMENTS = ((4, 0.5), (8, 0.25), (8, 0.25), (16, 0.125), (16, 0.125), (1, 1.0))
_LEVELS = {"p": 62.0, "mp": 70.0, "mf": 80.0, "f": 94.0}
_SNARE_KEY = 38  # General MIDI Level 1


@dataclass(frozen=True, slots=True)
class _Reading:
    """How a piece is taken: its section, tempo, and wavering (in beats, by beat)."""

    section: str
    piece: melodies.Piece
    tempo_bpm: float
    drift: NDArray[np.float64]


@dataclass(slots=True)
class _Desk:
    """What is written down while the take is laid out, in order."""

    player: Player
    instrument: instruments.Instrument
    now_s: float
    tuning_cents: float
    notes: list[PlayedNote] = field(default_factory=list)
    spoken: list[Spoken] = field(default_factory=list)
    sections: list[SectionTruth] = field(default_factory=list)
    scales: list[ScaleTruth] = field(default_factory=list)
    slips: list[Slip] = field(default_factory=list)
    beats_bpm: dict[str, float] = field(default_factory=dict)

    def say(self, section: str) -> None:
        phrase = voices.key(self.player, section)
        self.spoken.append(Spoken(self.now_s, phrase))
        self.now_s += voices.length_s(phrase)

    def cents(self, dice: np.random.Generator, midi: int) -> float:
        """Tuning, a lean by register and the scatter of one note, better with ability."""
        if self.instrument.kind != "melodic":
            return 0.0
        loose = 1 - self.player.ability("intonation")
        reach = self.instrument.sounding_reach
        middle = sum(reach) / 2 if reach else midi
        lean = 0.9 * loose * (midi - middle)
        return float(np.clip(self.tuning_cents + lean + dice.normal(0, 2 + 14 * loose), -45, 45))

    def close(self, kind: str, first: int) -> None:
        """Write down a section that began with note number `first`."""
        last = self.notes[-1]
        end = last.onset_s + last.duration_s
        self.sections.append(SectionTruth(kind, self.notes[first].onset_s, end))
        self.now_s = end


def perform(player: Player, *, joined: bool | None = None) -> Performance:
    """Lay out a player's take.

    Parameters
    ----------
    player : Player
        From :data:`fairhearing.demo.cast.PLAYERS`, or one of your own.
    joined : bool, optional
        Whether the take is made of two recordings; by default as the player's home says.

    Returns
    -------
    Performance
    """
    instrument = instruments.load()[player.instrument]
    dice = player.dice("tuning")
    melodic = instrument.kind == "melodic"
    tuning = float(dice.normal(3, 6 + 8 * (1 - player.skill))) if melodic else 0.0
    desk = _Desk(player, instrument, 1.0 + float(dice.uniform(0, 0.8)), tuning)
    start = desk.now_s
    desk.say("introduction")
    desk.sections.append(SectionTruth("introduction", start, desk.now_s))
    desk.now_s += 0.7
    chromatic = window = None
    if instrument.kind == "drum":
        desk.say("rudiments")
        desk.now_s += 0.9
        _rudiments(desk)
    else:
        desk.say("chromatic")
        desk.now_s += 0.9
        chromatic = _chromatic(desk)
        desk.now_s += 1.1
        desk.say("scales")
        desk.now_s += 0.9
        window = _scales(desk)
    joint = None
    if player.home == "joined" if joined is None else joined:
        joint = desk.now_s + 0.16  # the room still rings
    desk.now_s += 1.8
    desk.say("etude")
    desk.now_s += 1.0
    _piece(desk, "etude", melodies.etude(player.instrument), player.restart_bar)
    if player.honors:
        desk.now_s += 1.4
        desk.say("honors")
        desk.now_s += 1.0
        _piece(desk, "honors", melodies.honors(player.instrument), None)
    desk.now_s += 1.2
    desk.say("thanks")
    return Performance(
        player=player,
        notes=_one_voice(desk.notes),
        spoken=tuple(desk.spoken),
        sections=tuple(desk.sections),
        chromatic=chromatic,
        scales=tuple(desk.scales),
        window_s=window,
        slips=tuple(desk.slips),
        beats_bpm=desk.beats_bpm,
        tuning_cents=tuning,
        duration_s=desk.now_s + 1.3,
        joint_s=joint,
    )


def _written_range(desk: _Desk) -> tuple[int, int]:
    """Lowest and highest written note that this player reaches."""
    ranges = desk.instrument.ranges
    low = ranges["intermediate"][0]
    top = ranges["beginner"][1], ranges["advanced"][1]
    return low, round(top[0] + (top[1] - top[0]) * min(desk.player.skill * 0.9, 1))


def _chromatic(desk: _Desk) -> ChromaticTruth:
    """Lowest note, up as high as it goes, and back."""
    dice = desk.player.dice("chromatic")
    low, high = (n + desk.instrument.sounding_minus_written for n in _written_range(desk))
    skill = desk.player.ability("technique")
    missing = {n for n in range(low + 2, high - 2) if dice.random() < 0.09 * (1 - skill) ** 1.5}
    up = [n for n in range(low, high + 1) if n not in missing]
    step_s = 0.16 + 0.2 * (1 - skill)
    first = len(desk.notes)
    run = [*up, *up[-2::-1]]
    for count, midi in enumerate(run):
        last = count == len(run) - 1
        _sound(desk, dice, midi, step_s * (3 if last or midi == high else 1), "chromatic")
        if desk.instrument.kind == "melodic" and count % 18 == 17 and not last:
            desk.now_s += 0.35  # a breath
    desk.close("chromatic", first)
    return ChromaticTruth(low, high, tuple(sorted(missing)))


def _sound(
    desk: _Desk,
    dice: np.random.Generator,
    midi: int,
    slot_s: float,
    section: str,
    *,
    said: str = "right",
    weight: float = 0.0,
) -> None:
    """Sound one note of a scale, `slot_s` after which the next is due."""
    loose = 1 - desk.player.ability("rhythm")
    onset = desk.now_s + float(dice.normal(0, 0.004 + 0.014 * loose))
    legato = 0.93 - 0.1 * (1 - desk.player.ability("articulation"))
    velocity = int(np.clip(82 + weight + dice.normal(0, 3 + 6 * loose), 55, 115))
    desk.notes.append(
        PlayedNote(onset, slot_s * legato, midi, desk.cents(dice, midi), velocity, section, said)
    )
    desk.now_s += slot_s


def _scales(desk: _Desk) -> tuple[float, float]:
    """Play the scales that are known, in band order, until the minute or the list ends."""
    dice = desk.player.dice("scales")
    shift = desk.instrument.sounding_minus_written
    low, high = (n + shift for n in _written_range(desk))
    high = max(high, desk.instrument.ranges["intermediate"][1] + shift)
    skill = desk.player.ability("technique")
    first = len(desk.notes)
    begin: float | None = None
    for order, concert in enumerate(_CONCERT_ORDER[: desk.player.scales]):
        if begin is not None and desk.now_s > begin + SCALES_LIMIT_S - 0.8:
            break
        tonic = low + (concert - low) % 12
        octaves = 2 if order < 3 and desk.player.octaves == 2 and tonic + 24 <= high else 1
        if tonic + 12 * octaves > high:
            continue
        start = len(desk.notes)
        wrong = _one_scale(desk, dice, tonic, octaves, skill)
        begin = desk.notes[first].onset_s if begin is None else begin
        end = desk.notes[-1].onset_s + desk.notes[-1].duration_s
        desk.scales.append(
            ScaleTruth(
                tonic=_TONICS[(concert - shift) % 12],
                tonic_concert=_TONICS[concert],
                tonic_midi=tonic,
                octaves=octaves,
                start_s=desk.notes[start].onset_s,
                end_s=end,
                complete=True,
                in_window=end <= begin + SCALES_LIMIT_S,
                wrong_notes=wrong,
            )
        )
        desk.now_s += 0.6 + 0.8 * (1 - skill)
    desk.close("scales", first)
    start_s = desk.notes[first].onset_s
    return start_s, start_s + SCALES_LIMIT_S


def _one_scale(
    desk: _Desk, dice: np.random.Generator, tonic: int, octaves: int, skill: float
) -> int:
    """Play one major scale up and down; return how many notes were wrong."""
    up = [tonic + 12 * o + step for o in range(octaves) for step in _MAJOR] + [tonic + 12 * octaves]
    run = [*up, *up[-2::-1]]
    slot_s = 0.19 + 0.2 * (1 - skill)
    wrong = 0
    for place, midi in enumerate(run):
        inner = 1 < place < len(run) - 1 and (midi - tonic) % 12
        slip = inner and dice.random() < 0.05 * (1 - skill) ** 1.3
        # The usual wrong note of a scale is the forgotten sharp or flat: a semitone off.
        sounded = midi + (1 if (midi - tonic) % 12 == 5 else -1) if slip else midi
        wrong += bool(slip)
        long = 2.2 if place == len(run) - 1 else 1.0
        said = "wrong" if slip else "right"
        weight = 5.0 if place % 8 == 0 else 0.0
        _sound(desk, dice, sounded, slot_s * long, "scales", said=said, weight=weight)
    return wrong


def _rudiments(desk: _Desk) -> None:
    """Play strokes in even groups, faster and faster."""
    dice = desk.player.dice("rudiments")
    loose = 1 - desk.player.ability("rhythm")
    first = len(desk.notes)
    for strokes, beats in _RUDIMENTS:
        for stroke in range(strokes):
            onset = desk.now_s + float(dice.normal(0, 0.003 + 0.012 * loose))
            velocity = int(np.clip((96 if stroke % 4 == 0 else 78) + dice.normal(0, 6), 40, 120))
            desk.notes.append(PlayedNote(onset, 0.1, None, 0.0, velocity, "other"))
            desk.now_s += beats * 0.66
    desk.close("other", first)


def _piece(desk: _Desk, section: str, piece: melodies.Piece, restart_bar: int | None) -> None:
    """Play a piece with the player's slips; begin again after `restart_bar` if asked."""
    dice = desk.player.dice(section)
    skill = desk.player.ability("technique")
    rhythm = desk.player.ability("rhythm")
    tempo = piece.tempo_bpm * (0.86 + 0.16 * skill + float(dice.normal(0, 0.015)))
    desk.beats_bpm[section] = tempo
    written = [note for note in piece.notes if note.sounds]
    stop = _restart_points(written, restart_bar)
    drift = np.cumsum(dice.normal(0, 0.0015 + 0.006 * (1 - rhythm), piece.bars * 4 + 1))
    reading = _Reading(section, piece, tempo, drift)
    first = len(desk.notes)
    if stop is None:
        _stretch(desk, dice, reading, written)
    else:
        _stretch(desk, dice, reading, written[:stop])
        place = len(desk.slips)
        restart = Slip("restart", section, written[stop - 1].bar, desk.now_s)
        desk.now_s += 1.6
        _stretch(desk, dice, reading, written, again_before=stop)
        # The moment of the restart is the first note that is played again.
        again = next(note for note in desk.notes[first:] if note.said == "again")
        desk.slips.insert(place, replace(restart, time_s=again.onset_s))
    desk.close(section, first)


def _restart_points(written: list[melodies.WrittenNote], bar: int | None) -> int | None:
    """How many notes are played before the player stops, in the middle of `bar`."""
    if bar is None:
        return None
    inside = [i for i, note in enumerate(written) if note.bar == bar]
    return inside[len(inside) // 2]


def _stretch(
    desk: _Desk,
    dice: np.random.Generator,
    reading: _Reading,
    written: Sequence[melodies.WrittenNote],
    *,
    again_before: int = 0,
) -> None:
    """Play notes of a piece from its beginning, now."""
    skill = desk.player.ability("technique")
    loose = 1 - desk.player.ability("rhythm")
    shift = desk.instrument.sounding_minus_written
    legato = 0.94 - 0.12 * (1 - desk.player.ability("articulation"))
    slip = 0.11 * (1 - skill) ** 1.4
    beat_s = 60 / reading.tempo_bpm
    begin_s = desk.now_s
    level = 80.0
    for index, note in enumerate(written):
        level = _LEVELS.get(reading.piece.dynamics.get(note.bar, ""), level)
        at = float(note.onset)
        warp = float(np.interp(at, np.arange(len(reading.drift)), reading.drift))
        onset = begin_s + (at + warp) * beat_s + float(dice.normal(0, 0.004 + 0.02 * loose))
        length = float(note.length) * beat_s * legato
        velocity = _velocity(desk, dice, level, note)
        chance, wrong_by = dice.random(), int(dice.choice([-2, -1, 1, 2]))
        desk.now_s = onset + length
        where = (reading.section, note.bar, onset, index)
        if chance < 0.25 * slip and index > 0:
            desk.slips.append(Slip("missed", *where))
            continue
        midi = None if note.midi is None else note.midi + shift
        said = "again" if index < again_before else "right"
        if midi is not None and 0.25 * slip <= chance < slip and length > 0.15:
            midi += wrong_by
            said = "wrong"
            desk.slips.append(Slip("wrong", *where))
        cents = 0.0 if midi is None else desk.cents(dice, midi)
        first = PlayedNote(onset, length, midi, cents, velocity, reading.section, said, index)
        if slip <= chance < 1.25 * slip and length > 0.4:
            # A stumble: the note is begun twice.
            desk.notes.append(replace(first, duration_s=0.4 * length))
            again_s = onset + 0.5 * length
            first = replace(first, onset_s=again_s, duration_s=0.5 * length, said="extra")
            desk.slips.append(Slip("extra", reading.section, note.bar, again_s, index))
        desk.notes.append(first)


def _velocity(
    desk: _Desk, dice: np.random.Generator, level: float, note: melodies.WrittenNote
) -> int:
    """MIDI velocity: dynamics, accents and the strong beats, clearer with musicianship."""
    contrast = 0.3 + 0.7 * desk.player.ability("musicianship")
    loose = 1 - desk.player.ability("rhythm")
    velocity = 80 + contrast * (level - 80 + (14 if note.accent else 0))
    velocity += 3 * (note.onset % 2 == 0) + float(dice.normal(0, 2 + 5 * loose))
    return int(np.clip(velocity, 40, 120))


def _one_voice(notes: Sequence[PlayedNote]) -> tuple[PlayedNote, ...]:
    """End each note before the next begins: nobody plays two at once on a wind instrument."""
    ends = [after.onset_s for after in notes[1:]] + [np.inf]
    return tuple(
        replace(note, duration_s=max(min(note.duration_s, end - note.onset_s - 0.004), 0.02))
        for note, end in zip(notes, ends, strict=True)
    )


def drum_key() -> int:
    """Return the percussion key (General MIDI) with which drum strokes sound."""
    return _SNARE_KEY
