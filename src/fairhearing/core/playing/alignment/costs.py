"""What each disagreement between page and take costs in the search.

The unit is arbitrary: about the negative logarithm of how often such a thing happens. The
values were set on generated takes (the benchmark's tuning seeds), never on its test seeds.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from fairhearing.core.playing.alignment.result import HeardNote
from fairhearing.core.playing.alignment.states import NO_PITCH, States

Floats = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class Costs:
    """Settings of the search.

    Attributes
    ----------
    semitone, other_pitch, octave : float
        A matched note one semitone off, further off, or whole octaves off.
    missed, missed_repeat, missed_grace, missed_trill : float
        A written note without a heard one; when it repeats the pitch before it, is a grace
        note, or follows a trill.
    missed_run, missed_run_more : float
        The most that a run of missed notes costs: a constant, and for each note; a phrase that
        the hearing lost is one misfortune, not many.
    extra, extra_same, extra_trill, extra_outside : float
        A heard note without a written one; of the pitch that is sounding, or its octave (a
        note split in two); under a trill or roll; before the first written note.
    timing_cap, timing_cap_rest : float
        The most that bad timing can cost; after a rest of two beats or more.
    timing_floor_s, timing_share : float
        Spread of an onset: a constant in seconds and a share of the written distance.
    jump, jump_inside, jump_per_bar, jump_ahead, jump_pause : float
        Breaking off and going on elsewhere; added when that is not the start of a bar; for
        each bar of distance; added for going ahead; taken off after a second of silence.
    turn : float
        Taking a repeat or an ending.
    follow : float
        Share of a tempo change that is believed from one beat to the next.
    reach, reach_far : int
        How many written notes may be missed in a row without a jump, plus one; after a silence
        or a held note of more than ``far_after_s``.
    far_after_s : float
        See there.
    """

    semitone: float = 2.0
    other_pitch: float = 2.4
    octave: float = 1.0
    missed: float = 1.6
    missed_repeat: float = 1.2
    missed_grace: float = 0.3
    missed_trill: float = 1.2
    extra: float = 2.0
    extra_same: float = 1.2
    extra_trill: float = 0.05
    extra_outside: float = 2.0
    timing_cap: float = 3.0
    timing_cap_rest: float = 1.0
    timing_floor_s: float = 0.035
    timing_share: float = 0.12
    jump: float = 6.5
    jump_inside: float = 1.5
    jump_per_bar: float = 0.06
    jump_ahead: float = 1.0
    jump_pause: float = 3.5
    turn: float = 0.3
    follow: float = 0.3
    reach: int = 6
    reach_far: int = 16
    far_after_s: float = 0.7
    missed_run: float = 5.0
    missed_run_more: float = 0.3


@dataclass(frozen=True, slots=True)
class Tables:
    """Costs worked out for one take and one score.

    ``pitch``, ``extra`` and ``extra_within`` (while the written note may still sound): shape
    (m, n), heard note × state; ``outside``: shape (m,);
    ``missed_sum``: shape (n + 1,), running sum over the states; ``pause``: shape (m,), taken
    off a jump that arrives at this heard note; ``enter``: shape (n,), where a jump arrives.
    """

    pitch: Floats
    extra: Floats
    extra_within: Floats
    outside: Floats
    missed_sum: Floats
    pause: Floats
    enter: Floats
    timing_cap: Floats


def build_tables(states: States, notes: Sequence[HeardNote], shift: int, costs: Costs) -> Tables:
    """Work out every cost that does not depend on the path."""
    onset = np.array([note.onset_s for note in notes])
    offset = np.array([note.offset_s for note in notes])
    heard = np.array([note.midi if note.midi is not None else NO_PITCH for note in notes]) - shift
    sure = np.array([note.confidence for note in notes])
    pitched = states.pitch != NO_PITCH
    apart = np.abs(heard[:, None, None] - states.pitch[None, :, :])
    apart = np.where(pitched[None, :, :], apart, 0)
    cost = np.where(apart == 1, costs.semitone, costs.other_pitch)
    cost = np.where((apart % 12 == 0) & (apart <= 24), costs.octave, cost)
    pitch = np.where(apart == 0, 0.0, cost).min(axis=2)

    # A blip of 40 ms or a note that the hearing itself doubts is easily an artefact.
    weight = np.clip((offset - onset) / 0.12, 0.4, 1.0) * np.clip(sure / 0.8, 0.5, 1.0)
    nearest = np.where(pitched[None, :, :], apart, 99).min(axis=2)
    # The pitch that sounds, or an octave of it: a note split in two, or its overtone.
    within = np.where((nearest % 12 == 0) & (nearest <= 24), costs.extra_same, costs.extra)
    under = states.trill[None, :] & ((nearest <= 3) | ~pitched.any(axis=1)[None, :])
    within = np.where(under, costs.extra_trill, within)

    missed = np.full(len(states), costs.missed)
    missed[states.same_as_before] = costs.missed_repeat
    missed[1:][states.trill[:-1]] = costs.missed_trill
    missed[states.grace] = costs.missed_grace
    silence = np.zeros(len(notes))
    silence[1:] = np.clip(onset[1:] - np.maximum.accumulate(offset)[:-1], 0.0, 1.0)
    return Tables(
        pitch=pitch,
        extra=np.broadcast_to(costs.extra * weight[:, None], within.shape),
        extra_within=within * weight[:, None],
        outside=costs.extra_outside * weight,
        missed_sum=np.concatenate([[0.0], np.cumsum(missed)]),
        pause=costs.jump_pause * silence,
        enter=costs.jump + np.where(states.opens_bar, 0.0, costs.jump_inside),
        timing_cap=np.where(states.rest_before >= 2.0, costs.timing_cap_rest, costs.timing_cap),
    )
