"""The plain score that a take is compared with: notes, bars, and where the music may turn back.

Conventions: beats are quarter notes as exact fractions, counted from the first bar's start;
``midi`` is the *sounding* pitch (60 = middle C), ``None`` for a stroke without pitch; a bar is
named by its place in :attr:`Score.bars` (0, 1, 2 …), and by ``Bar.number`` when it is shown.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from fractions import Fraction
from typing import Literal

from fairhearing.core.errors import ScoreFileError

TurnKind = Literal["repeat", "ending", "da capo", "coda"]


@dataclass(frozen=True, slots=True)
class ScoreNote:
    """One written note.

    Attributes
    ----------
    onset, duration : Fraction
        In quarter-note beats from the start of the score; a grace note lasts 0.
    midi : int or None
        Sounding pitch; None for a stroke without pitch (snare drum).
    bar : int
        Place of its bar in the score's ``bars``.
    grace : bool
        A grace note; it stands at the onset of the note that it leads to.
    tied : bool
        Tied on from the note before: held, not struck again.
    trill : bool
        A trill, roll, turn or mordent: neighbouring notes (or strokes) belong to it.
    """

    onset: Fraction
    duration: Fraction
    midi: int | None
    bar: int
    grace: bool = False
    tied: bool = False
    trill: bool = False


@dataclass(frozen=True, slots=True)
class Bar:
    """A bar: its printed number, its start and its real length in beats (a pick-up is short)."""

    number: str
    start: Fraction
    length: Fraction


@dataclass(frozen=True, slots=True)
class Turn:
    """At the end of bar ``after`` the music may go on at the start of bar ``to``.

    A repeat barline, a first or second ending, da capo, dal segno and coda are all turns. Both
    are places in ``Score.bars``. A turn may be taken or not; neither is a mistake.
    """

    after: int
    to: int
    kind: TurnKind = "repeat"


@dataclass(frozen=True, slots=True)
class Score:
    """One line of music.

    Attributes
    ----------
    notes : tuple of ScoreNote
        In the order of their onsets, a grace note before the note that it leads to; notes of
        one chord share their onset.
    bars : tuple of Bar
        In the order of the page.
    turns : tuple of Turn
        Repeats, endings and the like; see :func:`repeat_turns`.
    tempo_bpm : float or None
        The printed tempo in quarter notes a minute, a hint only.
    """

    notes: tuple[ScoreNote, ...]
    bars: tuple[Bar, ...]
    turns: tuple[Turn, ...] = ()
    tempo_bpm: float | None = None

    def beats_end(self) -> Fraction:
        """The end of the last bar, in beats."""
        return self.bars[-1].start + self.bars[-1].length if self.bars else Fraction(0)


def repeat_turns(
    first_bar: int, last_bar: int, endings: Sequence[tuple[int, int]] = ()
) -> tuple[Turn, ...]:
    """Give the turns of a repeated stretch, with or without first and later endings.

    Parameters
    ----------
    first_bar, last_bar : int
        The stretch from the opening repeat sign to the (first) closing one, places in ``bars``.
    endings : sequence of (int, int)
        First and last bar of each ending, in order; the last ending may follow ``last_bar``.

    Examples
    --------
    >>> repeat_turns(0, 3)
    (Turn(after=3, to=0, kind='repeat'),)
    >>> repeat_turns(0, 3, [(3, 3), (4, 4)])
    (Turn(after=3, to=0, kind='repeat'), Turn(after=2, to=4, kind='ending'))
    """
    if not endings:
        return (Turn(last_bar, first_bar, "repeat"),)
    back = tuple(Turn(last, first_bar, "repeat") for _, last in endings[:-1])
    forward = tuple(Turn(endings[0][0] - 1, first, "ending") for first, _ in endings[1:])
    return back + forward


def validate(score: Score) -> None:
    """Refuse a score that contradicts itself.

    Raises
    ------
    ScoreFileError
        No bars; a note in a bar that is not there; onsets out of order; a negative length; a
        turn to or from a bar that is not there.
    """
    if not score.bars:
        raise ScoreFileError("The score has no bars; choose the file with the student's part.")
    last = len(score.bars) - 1
    before = None
    for place, note in enumerate(score.notes, start=1):
        if not 0 <= note.bar <= last:
            raise ScoreFileError(
                f"Note {place} of the score names bar {note.bar + 1}, "
                f"but the score has {last + 1} bars; export the part again."
            )
        if note.duration < 0:
            raise ScoreFileError(f"Note {place} of the score has a negative length; check it.")
        if before is not None and note.onset < before:
            raise ScoreFileError(
                f"Note {place} of the score starts before the note in front of it; "
                "give one line of music (one voice), in order."
            )
        before = note.onset
    for turn in score.turns:
        if not (0 <= turn.after <= last and 0 <= turn.to <= last):
            raise ScoreFileError(
                f"A {turn.kind} goes from bar {turn.after + 1} to bar {turn.to + 1}, "
                f"but the score has {last + 1} bars; export the part again."
            )
