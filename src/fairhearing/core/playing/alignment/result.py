"""What an alignment says: one result for each written note, and the story around them.

Times are seconds in the take; ``score_index`` is the place in ``Score.notes``, ``note_index``
the place in the heard notes, ``bar`` the place in ``Score.bars``.
"""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum
from typing import Protocol


class HeardNote(Protocol):
    """What the alignment needs to know of a heard note.

    ``midi`` is the nearest sounding MIDI number (ignored for strokes without pitch), ``cents``
    the deviation from it, ``confidence`` 0 … 1.
    """

    @property
    def onset_s(self) -> float:
        """Start in seconds."""

    @property
    def offset_s(self) -> float:
        """End in seconds."""

    @property
    def midi(self) -> int | None:
        """Nearest sounding MIDI number; None for a stroke."""

    @property
    def cents(self) -> float | None:
        """Deviation from it; None when not measurable."""

    @property
    def confidence(self) -> float:
        """0 … 1."""


class Outcome(StrEnum):
    """What became of a written note."""

    RIGHT = "right"
    WRONG = "wrong"
    MISSED = "missed"
    NOT_SURE = "not sure"


@dataclass(frozen=True, slots=True)
class NoteResult:
    """A written note as it was played, for the last time in this round.

    Attributes
    ----------
    score_index, bar : int
        The written note and its bar. Notes tied on have no result of their own.
    round : int
        1, or 2 and more when a repeat was taken.
    outcome : Outcome
        Right, wrong, missed or not sure.
    note_index : int or None
        The heard note; None where none was found.
    onset_s : float or None
        When it was heard; for a missed note, when it was due (None outside what was played).
    heard_midi : int or None
        What was heard, sounding pitch, when that differs from the page.
    reason : str or None
        A plain sentence for anything but a right note.
    deviation_ms : float or None
        Onset against the player's own tempo around it; positive is late.
    length_ratio : float or None
        Sounding length over the written length at the player's tempo.
    level_db : float or None
        Level against the median of the etude, when levels were given.
    cents_off : float or None
        Of a right note: its pitch against the take's own tuning, where the hearing states cents.
    """

    score_index: int
    bar: int
    round: int
    outcome: Outcome
    note_index: int | None
    onset_s: float | None
    heard_midi: int | None = None
    reason: str | None = None
    deviation_ms: float | None = None
    length_ratio: float | None = None
    level_db: float | None = None
    cents_off: float | None = None


@dataclass(frozen=True, slots=True)
class ExtraNote:
    """A heard note that the page does not have; ``sure`` is False for a doubtful one."""

    note_index: int
    onset_s: float
    midi: int | None
    bar: int
    sure: bool


@dataclass(frozen=True, slots=True)
class Restart:
    """The player broke off in ``from_bar`` and went on again at ``to_bar`` (``at_s``: there)."""

    at_s: float
    from_bar: int
    to_bar: int
    from_index: int
    to_index: int


@dataclass(frozen=True, slots=True)
class Skip:
    """Whole bars that were left out, ``first_bar`` to ``last_bar``; ``at_s``: where it goes on."""

    at_s: float
    first_bar: int
    last_bar: int


@dataclass(frozen=True, slots=True)
class TurnTaken:
    """A repeat or ending that was played (``at_s``: the first note after it)."""

    at_s: float
    after_bar: int
    to_bar: int
    kind: str


@dataclass(frozen=True, slots=True)
class TempoPoint:
    """The player's tempo around one moment: ``bpm`` in quarter notes a minute."""

    at_s: float
    beat: float
    bpm: float


@dataclass(frozen=True, slots=True)
class BarSummary:
    """One bar in one round: counts, tempo, and how even, long and loud it was.

    ``tempo_bpm``, ``rhythm_ms`` (median absolute deviation of onsets), ``length_ratio`` and
    ``level_db`` (medians) are None where too little was heard in the bar.
    """

    bar: int
    number: str
    round: int
    start_s: float | None
    end_s: float | None
    right: int
    wrong: int
    missed: int
    not_sure: int
    extra: int
    tempo_bpm: float | None
    rhythm_ms: float | None
    length_ratio: float | None
    level_db: float | None


@dataclass(frozen=True, slots=True)
class Alignment:
    """A take against a score.

    Attributes
    ----------
    recognised : bool
        False when the take does not follow this score; then nothing is matched.
    says : tuple of str
        Plain sentences a person should read first (wrong octave, another piece, early end …).
    shift : int
        Semitones by which the whole take sounds above the page (12: an octave high).
    results : tuple of NoteResult
        In the order of the page, round after round.
    pairs : tuple of (int, int)
        Every heard note that was taken for a written one, (note_index, score_index), in the
        order of the take; earlier attempts before a restart are included.
    extras, restarts, skips, turns
        What the page does not have.
    tempo : tuple of TempoPoint
        The tempo curve, in the order of the take.
    tempo_bpm : float or None
        Median tempo in quarter notes a minute.
    tempo_steadiness : float or None
        1 minus the relative spread (standard deviation over mean) of the bars' tempi:
        1 is a metronome, .95 means that bars differ by about 5 %.
    bars : tuple of BarSummary
        Bar for bar as played.
    """

    recognised: bool
    says: tuple[str, ...]
    shift: int
    results: tuple[NoteResult, ...]
    pairs: tuple[tuple[int, int], ...]
    extras: tuple[ExtraNote, ...]
    restarts: tuple[Restart, ...]
    skips: tuple[Skip, ...]
    turns: tuple[TurnTaken, ...]
    tempo: tuple[TempoPoint, ...]
    tempo_bpm: float | None
    tempo_steadiness: float | None
    bars: tuple[BarSummary, ...]

    def count(self, outcome: Outcome) -> int:
        """How many written notes had this outcome."""
        return sum(result.outcome is outcome for result in self.results)

    def of_score_note(self, score_index: int) -> NoteResult | None:
        """The last result of one written note; None if it has none (tied on)."""
        found = [result for result in self.results if result.score_index == score_index]
        return found[-1] if found else None
