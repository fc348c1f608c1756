"""Takes of invented etudes as sound: performed on a bank, in a room, and heard again.

The truth stays that of :mod:`benchmarks.playing.alignment_takes`; what the alignment gets is
what the program hears.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from benchmarks.playing import conditions, split
from benchmarks.playing.alignment_takes import Slips, Take, make_etude, play
from benchmarks.playing.assemble import Event, perform
from benchmarks.playing.banks import Instrument

from fairhearing.core.playing import Note, Player, hear_playing
from fairhearing.core.playing.alignment import Score

TONGUED_GAP_S = 0.045
"""Between two notes of one pitch there is at least this much air."""
SOUND_SLIPS = Slips(bpm=(56.0, 112.0))


@dataclass(frozen=True, slots=True)
class HeardTake:
    """A score, the truth of one take of it, and the notes that were heard in its sound."""

    voice: str
    condition: str
    score: Score
    take: Take
    heard: tuple[Note, ...]


def etude_for(voice: split.Voice, seed: int, *, bars: int = 20, busy: float = 0.25) -> Score:
    """An etude within two octaves in the middle of an instrument's range.

    Sixteenths are as common as in the etudes of the note benchmark (one beat in three).
    """
    middle = (voice.low + voice.high) // 2
    reach = min(12, (voice.high - voice.low) // 2)
    return make_etude(seed, bars=bars, lowest=middle - reach, highest=middle + reach, busy=busy)


def sounding_take(score: Score, seed: int, slips: Slips = SOUND_SLIPS) -> Take:
    """A take whose notes can be played on one instrument: none overlaps the next."""
    take = play(score, seed, slips)
    for k in range(len(take.notes) - 1):
        note, after = take.notes[k], take.notes[k + 1]
        air = TONGUED_GAP_S if note.midi == after.midi else 0.0
        end = max(note.onset_s + 0.03, min(note.offset_s, after.onset_s - air))
        take.notes[k] = replace(note, offset_s=end)
    return take


def record(take: Take, bank: Instrument, condition: str, rng: np.random.Generator) -> np.ndarray:
    """The sound of a take in a condition, mono, 16 kHz."""
    events = [
        Event(note.onset_s, note.offset_s, note.midi + (note.cents or 0.0) / 100)
        for note in take.notes
    ]
    dry = perform(events, bank, rng, release_s=float(rng.uniform(0.04, 0.1)))
    return conditions.apply(condition, dry, rng)


def heard_take(
    voice: split.Voice, bank: Instrument, condition: str, seed: int, slips: Slips = SOUND_SLIPS
) -> HeardTake:
    """Invent, perform, record and hear one take."""
    score = etude_for(voice, seed)
    take = sounding_take(score, seed, slips)
    rng = np.random.default_rng([seed, 33, conditions.CONDITIONS.index(condition)])
    sound = record(take, bank, condition, rng)
    player = Player(lowest_midi=voice.low, highest_midi=voice.high, kind=voice.kind)  # type: ignore[arg-type]
    return HeardTake(voice.name, condition, score, take, hear_playing(sound, player=player).notes)
