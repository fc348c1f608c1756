"""Repeats played out: the order of bars, and the notes as they sound one after another.

Understood: repeat signs (also several times), first and second endings, da capo and dal segno,
al fine and al coda. Nested repeats are refused, because programs unfold them differently.
"""

from __future__ import annotations

from dataclasses import dataclass
from fractions import Fraction

from fairhearing.core.errors import ScoreFileError
from fairhearing.core.packet.score import Bar, Score, ScoreNote

MAX_PLAYED_BARS = 20_000


@dataclass(frozen=True, slots=True)
class PlayedNote:
    """One note as it is struck: ties joined, repeats played out.

    Attributes
    ----------
    onset, duration : Fraction
        Quarter beats from the start of the performance; a grace note lasts 0.
    sounding : int or None
        MIDI number; None for unpitched percussion.
    written : int or None
    bar : int
        Index into ``Score.bars``.
    turn : int
        How often this bar has been played before in this performance (0 the first time).
    ids : tuple of str
        The written note heads (several when tied).
    grace : bool
    percussion_key : int or None
    """

    onset: Fraction
    duration: Fraction
    sounding: int | None
    written: int | None
    bar: int
    turn: int
    ids: tuple[str, ...]
    grace: bool = False
    percussion_key: int | None = None


def bar_order(score: Score) -> tuple[int, ...]:
    """Return the bar indices in playing order.

    Raises
    ------
    ScoreFileError
        On nested repeats, endings without a repeat, a jump to a sign that is not there.
    """
    order = _with_repeats(score)
    return _with_jumps(score, order)


def _with_repeats(score: Score) -> list[tuple[int, bool]]:
    """Bars in order with the repeat signs obeyed; True marks the last time a bar is played."""
    bars = score.bars
    order: list[int] = []
    start = index = 0
    opened = ""
    while index < len(bars):
        bar = bars[index]
        if bar.repeat_from and index > start:
            if opened:
                raise _malformed(bar, f"a repeat opens inside the one of bar {opened}")
            order.extend(range(start, index))
            start = index
        if bar.repeat_from:
            opened = bar.number
        if bar.endings:
            runs = _endings(score, index)
            turns = max(number for run in runs for number in bars[run[0]].endings)
            if len(runs) == 1 and bars[runs[0][-1]].repeat_to:
                turns += 1  # the last time goes on behind the bracket
            for turn in range(1, turns + 1):
                order.extend(range(start, index))
                order.extend(next((r for r in runs if turn in bars[r[0]].endings), ()))
            start = index = runs[-1][-1] + 1
            opened = ""
        elif bar.repeat_to:
            order.extend([*range(start, index + 1)] * bar.times)
            start = index = index + 1
            opened = ""
        else:
            index += 1
        if len(order) > MAX_PLAYED_BARS:
            raise ScoreFileError("the repeats make this piece endless; write the music out")
    if opened:
        raise ScoreFileError(f"bar {opened}: a repeat opens here and never closes; close it")
    order.extend(range(start, len(bars)))
    later: set[int] = set()
    marked: list[tuple[int, bool]] = []
    for played_bar in reversed(order):
        marked.append((played_bar, played_bar not in later))
        later.add(played_bar)
    return marked[::-1]


def _malformed(bar: Bar, reason: str) -> ScoreFileError:
    return ScoreFileError(
        f"bar {bar.number}: {reason}; write the music out, because everybody would play it "
        "differently"
    )


def _endings(score: Score, first: int) -> list[list[int]]:
    """Group the volta brackets that start at a bar; refuse what is not 1, 2, 3… in order."""
    runs: list[list[int]] = []
    index = first
    while index < len(score.bars) and score.bars[index].endings:
        bar = score.bars[index]
        fresh = not runs or bar.endings != score.bars[runs[-1][0]].endings
        if fresh and runs and not score.bars[index - 1].repeat_to:
            raise _malformed(bar, "an ending begins before the one before it has turned back")
        if fresh:
            runs.append([])
        runs[-1].append(index)
        index += 1
        if bar.repeat_to and (index >= len(score.bars) or not score.bars[index].endings):
            break
    numbers = [number for run in runs for number in score.bars[run[0]].endings]
    if numbers != list(range(1, len(numbers) + 1)):
        raise _malformed(score.bars[first], f"the endings are numbered {numbers}")
    return runs


def _with_jumps(score: Score, order: list[tuple[int, bool]]) -> tuple[int, ...]:
    bars = score.bars
    played: list[int] = []
    for index, last in order:
        played.append(index)
        jumps = bars[index].jumps
        if not last or not {"da capo", "dal segno"} & set(jumps):
            continue
        start = 0 if "da capo" in jumps else _sign(score, "segno", index)
        return (*played, *_second_time(score, start, index))
    return tuple(played)


def _second_time(score: Score, start: int, jump_from: int) -> list[int]:
    """After the jump: no repeats, last endings, to the fine or through the coda."""
    jumps = score.bars[jump_from].jumps
    stop_at = "to coda" if "al coda" in jumps else "fine"
    order: list[int] = []
    for index in range(start, len(score.bars)):
        bar = score.bars[index]
        if bar.endings and _earlier_ending(score, index):
            continue
        order.append(index)
        if stop_at in bar.jumps:
            if stop_at == "to coda":
                coda = _sign(score, "coda", jump_from, after=index)
                order.extend(range(coda, len(score.bars)))
            return order
        if index == jump_from:
            break
    if stop_at == "to coda":
        coda = _sign(score, "coda", jump_from, after=jump_from - 1)
        order.extend(range(coda, len(score.bars)))
    elif "al fine" in jumps:
        raise ScoreFileError(f"bar {score.bars[jump_from].number}: there is no Fine to stop at")
    return order


def _earlier_ending(score: Score, index: int) -> bool:
    """Whether the last time round passes this ending by: another follows, or the open road."""
    own = score.bars[index].endings
    last = index
    for later in range(index + 1, len(score.bars)):
        if not score.bars[later].endings:
            break
        if score.bars[later].endings != own:
            return True
        last = later
    return score.bars[last].repeat_to and 1 in own


def _sign(score: Score, sign: str, jump_from: int, after: int = -1) -> int:
    for index, bar in enumerate(score.bars):
        if index > after and sign in bar.jumps:
            return index
    raise ScoreFileError(
        f"bar {score.bars[jump_from].number}: the music jumps to a {sign} that is not there"
    )


def played(score: Score, part: int = 0) -> tuple[PlayedNote, ...]:
    """Return one part as it is played: repeats obeyed, tied notes joined.

    Notes are sorted by onset; grace notes come before the note they lean on.

    Raises
    ------
    ScoreFileError
        See :func:`bar_order`.
    """
    by_bar: dict[int, list[ScoreNote]] = {}
    for note in score.part_notes(part):
        by_bar.setdefault(note.bar, []).append(note)
    result: list[PlayedNote] = []
    open_ties: dict[int | None, int] = {}
    turns: dict[int, int] = {}
    now = Fraction(0)
    for bar in bar_order(score):
        turn = turns.get(bar, 0)
        turns[bar] = turn + 1
        for note in sorted(by_bar.get(bar, ()), key=lambda note: (note.onset, not note.grace)):
            onset = now + note.onset - score.bars[bar].start
            held = open_ties.pop(note.written, None) if note.tie_stop else None
            if held is not None and result[held].onset + result[held].duration == onset:
                before = result[held]
                result[held] = PlayedNote(
                    before.onset,
                    before.duration + note.duration,
                    before.sounding,
                    before.written,
                    before.bar,
                    before.turn,
                    (*before.ids, note.id),
                    before.grace,
                    before.percussion_key,
                )
                where = held
            else:
                where = len(result)
                result.append(
                    PlayedNote(
                        onset,
                        note.duration,
                        note.sounding,
                        note.written,
                        bar,
                        turn,
                        (note.id,),
                        note.grace,
                        note.percussion_key,
                    )
                )
            if note.tie_start:
                open_ties[note.written] = where
        now += score.bars[bar].length
    return tuple(sorted(result, key=lambda note: (note.onset, not note.grace)))
