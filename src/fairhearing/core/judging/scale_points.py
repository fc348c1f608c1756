"""Points for scales: a table that the director sets turns counts into points."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from typing import Any

from fairhearing.core.errors import TableError


@dataclass(frozen=True, slots=True)
class CountTable:
    """Points from counts: how many scales were complete, and what is added or taken off.

    Attributes
    ----------
    rows : tuple of (int, float)
        Complete scales and the points for at least that many, rising from 0.
    wrong_note : float
        Points for each wrong note in a scale that counts (0 or less).
    extra_octave : float
        Points for each octave beyond the first.
    most : float
        No more points than this.
    """

    rows: tuple[tuple[int, float], ...]
    wrong_note: float
    extra_octave: float
    most: float

    def points(self, complete: int, wrong_notes: int = 0, extra_octaves: int = 0) -> float:
        """Return the points, between 0 and `most`.

        Raises
        ------
        TableError
            If a count is negative.
        """
        if min(complete, wrong_notes, extra_octaves) < 0:
            raise TableError("a count of scales, notes or octaves is 0 or more")
        base = [points for count, points in self.rows if count <= complete][-1]
        total = base + wrong_notes * self.wrong_note + extra_octaves * self.extra_octave
        return min(max(total, 0.0), self.most)


def scale_counts(played: Iterable[Mapping[str, Any]]) -> tuple[int, int, int]:
    """Return the counts for a :class:`CountTable` from the scales that were heard in a take.

    A scale counts if it is complete and inside the scale minute, each tonic once with its best
    attempt. The counts support a judge's mark; they are a proposal, never the mark itself.

    Parameters
    ----------
    played : iterable of mapping
        ``scales.played`` of a hearing report: ``tonic``, ``complete``, ``in_window``,
        ``octaves``, ``wrong_notes``.

    Returns
    -------
    complete, wrong_notes, extra_octaves : int
    """
    best: dict[str, tuple[int, int]] = {}
    for scale in played:
        if not (scale["complete"] and scale["in_window"]):
            continue
        tonic = str(scale.get("tonic_concert") or scale["tonic"])
        attempt = (int(scale["wrong_notes"] or 0), -(int(scale["octaves"] or 1) - 1))
        best[tonic] = min(best.get(tonic, attempt), attempt)
    wrong = sum(notes for notes, _ in best.values())
    return len(best), wrong, -sum(octaves for _, octaves in best.values())
