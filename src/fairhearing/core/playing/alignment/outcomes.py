"""Right, wrong, missed or not sure: what may be stated of each written note, and what may not.

A statement "wrong note" is read by a student and by a judge, so a heard note must be long,
clear and in the middle of its pitch before it contradicts the page; otherwise the outcome is
*not sure*, with the reason.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from fairhearing.core.playing.alignment.result import ExtraNote, HeardNote, NoteResult, Outcome
from fairhearing.core.playing.alignment.states import NO_PITCH, States
from fairhearing.core.playing.alignment.story import Gone, Story, Struck

FAR_SEMITONES = 15
"""Nobody slips this far; an overtone is heard this far. Bars of a xylophone ring a twelfth above
their tone, a clarinet overblows there (Fletcher & Rossing, *Physics of Musical Instruments*)."""


@dataclass(frozen=True, slots=True)
class Doubts:
    """When a heard note is not clear enough to contradict the page.

    Attributes
    ----------
    shortest_s : float
        A shorter note may be an artefact of an attack.
    least_confidence : float
        Below this the hearing itself doubts the note.
    off_centre_cents : float
        Further from the middle of its pitch (against the take's own tuning) it may be either
        neighbour.
    shortest_missed_s : float
        A note that would last less may be lost between its neighbours.
    covered_share : float
        Where sound fills more than this of a missed note's place, the note may be in it.
    touching_s : float
        Another heard note this close, that the page does not have, may be part of it.
    surroundings, right_around : int, float
        Of so many notes on either side this share must be right.
    """

    shortest_s: float = 0.09
    least_confidence: float = 0.75
    off_centre_cents: float = 35.0
    shortest_missed_s: float = 0.17
    covered_share: float = 0.4
    touching_s: float = 0.06
    surroundings: int = 4
    right_around: float = 0.4


@dataclass(frozen=True, slots=True)
class Decided:
    """The outcome of one state in one lap, before tempo, length and level are added."""

    state: int
    lap: int
    outcome: Outcome
    note: int | None
    due_s: float | None = None
    heard_midi: int | None = None
    reason: str | None = None


def sounding(note: HeardNote) -> int:
    """Give the sounding MIDI number, ``NO_PITCH`` for a stroke."""
    return NO_PITCH if note.midi is None else int(note.midi)


class Judgement:
    """Looks at one take's story and decides; the take's own tuning is its measure.

    Parameters
    ----------
    story : Story
        What was struck, missed, restarted.
    states : States
        The score.
    notes : sequence of HeardNote
        The take.
    shift : int
        Semitones by which the take sounds above the page.
    doubts : Doubts
        What counts as unclear.
    """

    def __init__(
        self,
        story: Story,
        states: States,
        notes: Sequence[HeardNote],
        *,
        shift: int,
        doubts: Doubts,
    ) -> None:
        self.story = story
        self.states = states
        self.notes = notes
        self.shift = shift
        self.doubts = doubts
        self.used = {struck.note for struck in story.struck()}
        self.centre_cents = self._tuning_centre_cents()

    def decide(self) -> list[Decided]:
        """Decide every written note, round after round; the last attempt in a round counts."""
        decided: dict[tuple[int, int], tuple[int, Decided]] = {}
        for struck in self.story.struck():
            decided[struck.lap, struck.state] = (struck.note, self._struck(struck))
        for gone in self.story.gone:
            key = (gone.lap, gone.state)
            when = gone.after.note if gone.after is not None else -1
            # A note that was struck in a later attempt stays struck.
            if key not in decided or decided[key][0] <= when:
                decided[key] = (when, self._gone(gone))
        return self._with_surroundings([decided[key][1] for key in sorted(decided)])

    def _with_surroundings(self, decided: list[Decided]) -> list[Decided]:
        """Where the hearing itself stumbles, a single other pitch says nothing."""
        right = [one.outcome is Outcome.RIGHT for one in decided]
        reach, share = self.doubts.surroundings, self.doubts.right_around
        checked = []
        for k, one in enumerate(decided):
            around = right[max(0, k - reach) : k] + right[k + 1 : k + 1 + reach]
            unclear = one.outcome is Outcome.WRONG and sum(around) < share * len(around)
            checked.append(
                replace(
                    one,
                    outcome=Outcome.NOT_SURE,
                    reason="Another note was heard, but little around it was heard clearly.",
                )
                if unclear
                else one
            )
        return checked

    def extras(self) -> tuple[ExtraNote, ...]:
        """Heard notes that the page does not have, from the first struck note to the last."""
        at = {struck.note: struck for struck in self.story.struck()}
        extras: list[ExtraNote] = []
        last = at[min(at)]
        for index in range(min(at), max(at) + 1):
            last = at.get(index, last)
            if index in at or (
                self.states.trill[last.state] and self._apart(index, last.state) <= 3
            ):
                continue
            note = self.notes[index]
            # The pitch that sounds, or its octave: a note split in two, or an overtone.
            same = bool(self._pitches(last.state)) and self._apart(index, last.state) % 12 == 0
            sure = self._clear(index) is None and not same
            bar = int(self.states.bar[last.state])
            extras.append(ExtraNote(index, note.onset_s, note.midi, bar, sure))
        return tuple(extras)

    def _pitches(self, state: int) -> list[int]:
        return [int(p) for p in self.states.pitch[state] if p != NO_PITCH]

    def _apart(self, index: int, state: int) -> int:
        """Semitones between a heard note and a state, 0 for strokes."""
        pitches = self._pitches(state)
        heard = sounding(self.notes[index]) - self.shift
        return min((abs(heard - p) for p in pitches), default=0)

    def _tuning_centre_cents(self) -> float:
        """Median deviation of the notes whose pitch is right; 0 when there are none."""
        cents = [
            cents
            for struck in self.story.struck()
            if (cents := self.notes[struck.note].cents) is not None
            and self._apart(struck.note, struck.state) == 0
        ]
        return float(np.median(cents)) if cents else 0.0

    def _struck(self, struck: Struck) -> Decided:
        """Right, or what speaks for and against a wrong note."""
        apart = self._apart(struck.note, struck.state)
        if apart == 0 or (self.states.trill[struck.state] and apart <= 3):
            return Decided(struck.state, struck.lap, Outcome.RIGHT, struck.note)
        doubt = self._clear(struck.note) or self._doubt(struck, apart)
        return Decided(
            struck.state,
            struck.lap,
            Outcome.WRONG if doubt is None else Outcome.NOT_SURE,
            struck.note,
            heard_midi=self.notes[struck.note].midi,
            reason="Another note was heard." if doubt is None else doubt,
        )

    def _clear(self, index: int) -> str | None:
        """Why a heard note is not clear in itself; None when it is."""
        note, doubts = self.notes[index], self.doubts
        if note.offset_s - note.onset_s < doubts.shortest_s:
            return "Another note was heard, too short to be sure."
        if note.confidence < doubts.least_confidence:
            return "Another note was heard, not clearly enough to be sure."
        if note.cents is not None and abs(note.cents - self.centre_cents) > doubts.off_centre_cents:
            return "The note was heard between two pitches."
        return None

    def _doubt(self, struck: Struck, apart: int) -> str | None:
        """Why the surroundings of a clear note speak against a wrong note; None: they do not."""
        if self.states.grace[struck.state]:
            return "The grace note was not heard clearly."
        if apart % 12 == 0:
            return "The note was heard in another octave; an ear decides."
        if apart >= FAR_SEMITONES:
            return "An overtone of the note may have been heard."
        note = self.notes[struck.note]
        for near in (struck.note - 1, struck.note + 1):
            if not 0 <= near < len(self.notes) or near in self.used:
                continue
            other = self.notes[near]
            gap = max(other.onset_s, note.onset_s) - min(other.offset_s, note.offset_s)
            if gap < self.doubts.touching_s:
                return "Two notes were heard where the page has one."
        return None

    def _gone(self, gone: Gone) -> Decided:
        """Missed, or not to be told apart from its neighbour."""
        due_s = end_s = None
        if gone.after is not None and gone.before is not None and gone.due is not None:
            start = self.notes[gone.after.note].onset_s
            span = self.notes[gone.before.note].onset_s - start
            due_s = start + gone.due * span
            beats = gone.before.through_beat - gone.after.through_beat
            end_s = due_s + float(self.states.length[gone.state]) / beats * span
        outcome, reason = Outcome.MISSED, "The note was not heard."
        if gone.why == "skipped":
            reason = "The note was left out with the music around it."
        elif gone.why == "start":
            reason = "The take starts after this note."
        elif gone.why == "end":
            reason = "The take ends before this note."
        elif self.states.grace[gone.state]:
            outcome, reason = Outcome.NOT_SURE, "The grace note was not heard clearly."
        elif self._repeats(gone.state):
            outcome, reason = Outcome.NOT_SURE, "Repeated note, not confirmed."
        elif due_s is not None and end_s is not None:
            if end_s - due_s < self.doubts.shortest_missed_s:
                outcome, reason = Outcome.NOT_SURE, "Not heard, but too short to be sure."
            elif self._covered(due_s, end_s):
                outcome, reason = Outcome.NOT_SURE, "Not heard apart from the notes around it."
        return Decided(gone.state, gone.lap, outcome, None, due_s=due_s, reason=reason)

    def _covered(self, start_s: float, end_s: float) -> bool:
        """Whether other notes sound through the place of a missed one."""
        sounding_s = sum(
            max(0.0, min(end_s, note.offset_s) - max(start_s, note.onset_s)) for note in self.notes
        )
        return sounding_s > self.doubts.covered_share * (end_s - start_s)

    def _repeats(self, state: int) -> bool:
        """Whether the note before or behind it has the same pitch."""
        same = self.states.same_as_before
        return bool(same[state]) or (state + 1 < len(same) and bool(same[state + 1]))


def as_results(decided: Sequence[Decided], states: States) -> list[NoteResult]:
    """Outcomes of states as results of written notes, in the same order.

    Of the notes of a chord nothing certain can be said, except that none was heard.
    """
    results = []
    for one in decided:
        members = states.members[one.state]
        outcome, reason = one.outcome, one.reason
        if len(members) > 1 and outcome is not Outcome.MISSED:
            outcome, reason = Outcome.NOT_SURE, "Of a chord one note is heard, not each."
        results += [
            NoteResult(
                score_index=index,
                bar=int(states.bar[one.state]),
                round=one.lap,
                outcome=outcome,
                note_index=one.note,
                onset_s=one.due_s,
                heard_midi=one.heard_midi,
                reason=reason,
            )
            for index in members
        ]
    return results
