"""Where the written pieces lie in a take: the score decides what pauses and speech only suggest.

The playing room names sections by their place in the audition. Where a score is given, it can be
surer: the etude is where the etude's notes were played. The scales then end before it.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

from fairhearing.core.playing import Plan, Player, Playing, Section, with_sections
from fairhearing.core.playing.alignment import (
    Alignment,
    HeardNote,
    Outcome,
    Score,
    ScoreNote,
    align,
    strokes_as_notes,
)
from fairhearing.core.playing.types import SectionKind

ORDER = ("etude", "honors")
# A piece is taken to be found when this share of its written notes was played as written.
FOUND = 0.5
# With this share nothing would be gained by looking further.
CERTAIN = 0.9
ANNOUNCED_WITHIN_S = 12.0
LEAST_NOTES = 5
# An earlier attempt has at least this share of its notes in the score.
FOLLOWS = 0.75
_KINDS: dict[str, SectionKind] = {"etude": "etude", "honors": "honors"}


@dataclass(frozen=True, slots=True)
class Placed:
    """A piece and where it was found: positions in the take's notes, the last one excluded."""

    score: Score
    alignment: Alignment
    first: int
    end: int


def place_pieces(
    heard: Playing, scores: Mapping[str, Score], *, player: Player, plan: Plan
) -> tuple[Playing, dict[str, tuple[Score, Alignment]]]:
    """Set the scores beside the take and move the section boundaries to where they were played.

    Returns
    -------
    Playing
        With the sections of the pieces that were found, and scales and chromatic scale read
        anew where a boundary moved.
    dict of str to (Score, Alignment)
        By section kind; a piece that was not recognised has an alignment that says so. A piece
        whose section was not found at all is absent.
    """
    notes = _notes_or_strokes(heard)
    placed: dict[str, Placed] = {}
    for kind in (kind for kind in ORDER if kind in scores):
        after = max((one.end for one in placed.values()), default=_after_chromatic(heard, notes))
        found = _place(notes, scores[kind], _own(heard, notes, kind), after)
        if found is not None:
            placed[kind] = found
    sections = _with_pieces(heard, notes, placed)
    if sections != heard.sections:
        heard = with_sections(heard, sections, player=player, plan=plan)
    return heard, {kind: (one.score, one.alignment) for kind, one in placed.items()}


def _notes_or_strokes(heard: Playing) -> Sequence[HeardNote]:
    """Return what is set beside the score: notes, or on a drum the strokes and rolls."""
    if heard.drumming is None or heard.notes:
        return heard.notes
    return strokes_as_notes(heard.drumming.strokes, heard.drumming.rolls)


def _after_chromatic(heard: Playing, notes: Sequence[HeardNote]) -> int:
    end_s = max((s.end_s for s in heard.sections if s.kind == "chromatic"), default=0.0)
    return next((i for i, n in enumerate(notes) if n.onset_s >= end_s), len(notes))


def _own(heard: Playing, notes: Sequence[HeardNote], kind: str) -> range | None:
    """Return the positions of the notes in the section that the playing room named."""
    section = next((s for s in heard.sections if s.kind == kind), None)
    if section is None:
        return None
    inside = [i for i, n in enumerate(notes) if section.start_s <= n.onset_s < section.end_s]
    return range(inside[0], inside[-1] + 1) if inside else None


def _place(
    notes: Sequence[HeardNote], score: Score, own: range | None, after: int
) -> Placed | None:
    """Look in the named section first, then in everything that comes after."""
    tried = [own] if own is not None else []
    # Strokes without pitch fit too many places: a drum part is looked for in its section only.
    if any(note.midi is not None for note in score.notes):
        tried.append(range(after, len(notes)))
    best: Placed | None = None
    for where in tried:
        alignment = align(score, notes[where.start : where.stop])
        candidate = _placed(score, alignment, notes, where)
        if best is None or _share(candidate) > _share(best):
            best = candidate
        if _share(best) >= CERTAIN:
            return best
    if own is None and best is not None and _share(best) < FOUND:
        return None  # neither a section of that kind nor the piece
    return best


def _placed(score: Score, alignment: Alignment, notes: Sequence[HeardNote], where: range) -> Placed:
    inside = notes[where.start : where.stop]
    last_try = [r.note_index for r in alignment.results if r.note_index is not None]
    if not last_try:
        return Placed(score, alignment, where.start, where.stop)
    matched = {
        note
        for note, written in alignment.pairs
        if _same_pitch(inside[note], score.notes[written], alignment.shift)
    }
    first = where.start + _first_try(matched, min(last_try))
    end = where.start + max(last_try) + 1
    return Placed(score, alignment, first, end)


def _same_pitch(heard: HeardNote, written: ScoreNote, shift: int) -> bool:
    """Say whether a note sounds as written, the transposition of the whole take allowed for."""
    if written.midi is None or heard.midi is None:
        return True
    return abs(heard.midi - written.midi) == abs(shift)


def _first_try(matched: set[int], start: int) -> int:
    """Return where an earlier attempt began: notes before the last one that follow the score too.

    What only happens to have some notes of the piece (a scale in its key) is no attempt.
    """
    first, hits = start, 0
    for distance, note in enumerate(range(start - 1, -1, -1), start=1):
        hits += note in matched
        if note in matched and hits >= FOLLOWS * distance:
            first = note
    return first


def _share(placed: Placed) -> float:
    struck = sum(not note.tied for note in placed.score.notes)
    return placed.alignment.count(Outcome.RIGHT) / struck if struck else 0.0


def _with_pieces(
    heard: Playing, notes: Sequence[HeardNote], placed: Mapping[str, Placed]
) -> tuple[Section, ...]:
    """Return the sections with each piece where it was found; the others give way to it."""
    sections = list(heard.sections)
    for kind, piece in placed.items():
        if _share(piece) < FOUND or all(note.midi is None for note in piece.score.notes):
            continue
        own = next((s for s in sections if s.kind == kind), None)
        start_s = notes[piece.first].onset_s
        end_s = notes[piece.end - 1].offset_s
        announced = any(start_s - ANNOUNCED_WITHIN_S < end <= start_s for _, end in heard.speech)
        others = [_before_or_after(s, start_s, end_s, notes) for s in sections if s is not own]
        sections = [section for section in others if section is not None]
        sections.append(Section(_KINDS[kind], start_s, end_s, announced, 0.9))
    return tuple(sorted(sections, key=lambda section: section.start_s))


def _before_or_after(
    section: Section, start_s: float, end_s: float, notes: Sequence[HeardNote]
) -> Section | None:
    """Return what is left of a section outside a stretch; None when that is next to nothing."""
    if section.end_s <= start_s or section.start_s >= end_s:
        return section
    kept = [
        n
        for n in notes
        if section.start_s <= n.onset_s < section.end_s
        and (n.onset_s < start_s if section.start_s < start_s else n.onset_s >= end_s)
    ]
    if len(kept) < LEAST_NOTES:
        return None
    return replace(
        section,
        start_s=kept[0].onset_s,
        end_s=min(kept[-1].offset_s, start_s) if section.start_s < start_s else kept[-1].offset_s,
    )
