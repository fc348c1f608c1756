"""What changes when marks change: a judge left out, a mark corrected, a late listening."""

from __future__ import annotations

from dataclasses import dataclass

from fairhearing.core.judging.evaluate import Scoring


@dataclass(frozen=True, slots=True)
class PlaceChange:
    """One student before and after; None where the student was not scored.

    Attributes
    ----------
    student, instrument : str
    place_before, place_after : int or None
    score_before, score_after : float or None
        Fair scores, points.
    """

    student: str
    instrument: str
    place_before: int | None
    place_after: int | None
    score_before: float | None
    score_after: float | None

    @property
    def says(self) -> str:
        """The change in one plain sentence."""
        who = f"{self.student} ({self.instrument})" if self.instrument else self.student
        if self.place_after is None:
            return f"{who} has no marks left and no place (before: {self.place_before})."
        if self.place_before is None:
            return f"{who} is new, at place {self.place_after}."
        moved = self.place_before - self.place_after
        way = "up" if moved > 0 else "down"
        return f"{who} moves {way} from place {self.place_before} to {self.place_after}."


def place_changes(before: Scoring, after: Scoring) -> tuple[PlaceChange, ...]:
    """Return every student whose place differs, in the order of the places before."""
    old, new = _places(before), _places(after)
    changes = []
    for key in [*old, *(key for key in new if key not in old)]:
        place_before, score_before = old.get(key, (None, None))
        place_after, score_after = new.get(key, (None, None))
        if place_before != place_after:
            changes.append(
                PlaceChange(
                    student=key[0],
                    instrument=key[1],
                    place_before=place_before,
                    place_after=place_after,
                    score_before=score_before,
                    score_after=score_after,
                )
            )
    return tuple(changes)


def _places(scoring: Scoring) -> dict[tuple[str, str], tuple[int, float]]:
    marks = scoring.scores.marks
    return {
        (marks.students[unit], marks.instruments[unit]): (
            int(scoring.ranking.place[unit]),
            float(scoring.scores.fair[unit]),
        )
        for units in scoring.ranking.order.values()
        for unit in units
    }
