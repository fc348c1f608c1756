"""What a panel plan is made of: takes, judges, and who hears whom in which order."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from fairhearing.core.judging.marks import Indices

Permitted = NDArray[np.bool_]


@dataclass(frozen=True, slots=True)
class Take:
    """A take to be heard; judges see `student` (an audition number) and nothing else.

    Attributes
    ----------
    student : str
    instrument : str
    school : str
        Used for conflicts only.
    """

    student: str
    instrument: str = ""
    school: str = ""


@dataclass(frozen=True, slots=True)
class Judge:
    """Someone who listens.

    Attributes
    ----------
    name : str
    instruments : frozenset of str
        Instruments that this judge may hear; empty for all.
    schools : frozenset of str
        Schools whose students the judge does not hear (own students).
    conflicts : frozenset of str
        Further students the judge does not hear (relatives, private pupils).
    most : int or None
        Most takes that the judge hears, calibration takes included.
    """

    name: str
    instruments: frozenset[str] = frozenset()
    schools: frozenset[str] = frozenset()
    conflicts: frozenset[str] = frozenset()
    most: int | None = None

    def may_hear(self, take: Take) -> bool:
        """Return whether nothing stands against this judge hearing this take."""
        return (
            (not self.instruments or take.instrument in self.instruments)
            and take.student not in self.conflicts
            and (not take.school or take.school not in self.schools)
        )


@dataclass(frozen=True, slots=True)
class PanelPlan:
    """Who hears whom, in which order.

    Attributes
    ----------
    takes : tuple of Take
    judges : tuple of Judge
    hears : ndarray of bool, shape (T, J)
    calibration : tuple of int
        Takes that every permitted judge hears first, in this order.
    order : tuple of tuple of int
        Each judge's takes in listening order.
    seed : str
    notes : tuple of str
        Plain sentences, such as instruments that no judge links.
    """

    takes: tuple[Take, ...]
    judges: tuple[Judge, ...]
    hears: Permitted
    calibration: tuple[int, ...]
    order: tuple[tuple[int, ...], ...]
    seed: str
    notes: tuple[str, ...] = field(default=())

    @property
    def loads(self) -> Indices:
        """Number of takes that each judge hears, shape (J,)."""
        return np.asarray(self.hears.sum(axis=0), dtype=np.int64)


def listed(names: Sequence[str], limit: int = 8) -> str:
    """Return names as they stand in a sentence, the rest counted."""
    shown = list(names[:limit])
    if len(names) > limit:
        shown.append(f"{len(names) - limit} more")
    return shown[0] if len(shown) == 1 else f"{', '.join(shown[:-1])} and {shown[-1]}"
