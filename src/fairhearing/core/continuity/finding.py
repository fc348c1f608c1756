"""A finding: one piece of evidence with its place in time and a plain sentence.

Conventions: times in seconds of presentation time; strength 0 (barely worth a look) to 1 (as
plain as this channel can show). A finding is a reason to look or listen, never a verdict: its
sentence says what was seen, where, and which ordinary causes look the same. No sentence says
anything about the student.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from enum import StrEnum
from typing import Literal

Summary = Literal["nothing unusual", "look here", "ask for the original"]

NOTHING_FOUND = "Nothing unusual found; that does not prove one unbroken recording."

LOOK_STRENGTH = 0.5
"""A finding of this strength or more sends a person to look; weaker ones are only listed."""


class Channel(StrEnum):
    """Where a piece of evidence comes from; the value is the report's ``channel``."""

    TIME_STAMPS = "time stamps"
    ORIGIN = "origin of the file"
    PICTURE_AND_SOUND = "picture and sound"
    PICTURE = "picture"
    SOUND = "sound"
    FROZEN_PICTURE = "frozen picture"
    DIGITAL_SILENCE = "digital silence"
    PROCESSED_SOUND = "processed sound"
    SAME_RECORDING = "same recording"


@dataclass(frozen=True, slots=True)
class Finding:
    """One piece of evidence.

    Attributes
    ----------
    channel : str
        One of :class:`Channel`.
    start_s, end_s : float
        Where to look, in seconds; equal to 0 and the duration when it concerns the whole file.
    strength : float
        0…1, comparable inside a channel; across channels only through :func:`ranked`.
    says : str
        One to three plain sentences, with the innocent causes.
    """

    channel: str
    start_s: float
    end_s: float
    strength: float
    says: str

    def __post_init__(self) -> None:
        """Refuse what no channel may hand over.

        Raises
        ------
        ValueError
            For an unknown channel, a reversed or non-finite span, a strength outside 0…1, or
            no sentence.
        """
        Channel(self.channel)
        if not (math.isfinite(self.start_s) and math.isfinite(self.end_s)):
            raise ValueError("a finding needs finite times")
        if self.end_s < self.start_s:
            raise ValueError(f"a finding ends ({self.end_s}) before it starts ({self.start_s})")
        if not 0.0 <= self.strength <= 1.0:
            raise ValueError(f"strength must lie between 0 and 1, not {self.strength}")
        if not self.says.strip():
            raise ValueError("a finding needs a sentence")

    def to_report(self) -> dict[str, str | float]:
        """Return the entry of the hearing report (times to the millisecond)."""
        return {
            "channel": str(self.channel),
            "start_s": round(self.start_s, 3),
            "end_s": round(self.end_s, 3),
            "strength": round(self.strength, 3),
            "says": self.says,
        }


# What a person should look at first. Joints in the file's own time stamps are the strongest
# evidence that was measured, both senses changing together the next; one sense alone is weak.
_FIRST_TO_LAST: tuple[Channel, ...] = (
    Channel.SAME_RECORDING,
    Channel.TIME_STAMPS,
    Channel.PICTURE_AND_SOUND,
    Channel.FROZEN_PICTURE,
    Channel.DIGITAL_SILENCE,
    Channel.ORIGIN,
    Channel.SOUND,
    Channel.PICTURE,
    Channel.PROCESSED_SOUND,
)


def ranked(findings: Iterable[Finding]) -> tuple[Finding, ...]:
    """Order findings by what a person should look at first.

    Findings that are strong enough to look at come before the weaker ones; then by channel
    (the order of what was measured to be good evidence), strength, and time.
    """
    order = {channel: place for place, channel in enumerate(_FIRST_TO_LAST)}

    def key(finding: Finding) -> tuple[bool, int, float, float]:
        return (
            finding.strength < LOOK_STRENGTH,
            order[Channel(finding.channel)],
            -finding.strength,
            finding.start_s,
        )

    return tuple(sorted(findings, key=key))


def summary(findings: Sequence[Finding]) -> Summary:
    """Return the one phrase for a take.

    "look here" when there is a place to look at; "ask for the original" when the only thing
    to say is that the file does not come straight from a camera; otherwise "nothing unusual".
    The phrase is for the staff, who decide; nothing is asked of anybody by itself.
    """
    strong = [finding for finding in findings if finding.strength >= LOOK_STRENGTH]
    if any(finding.channel != Channel.ORIGIN for finding in strong):
        return "look here"
    if strong:
        return "ask for the original"
    return "nothing unusual"


def clock(seconds: float) -> str:
    """Write a time as a person reads it off a player: 2:14.3."""
    tenths = round(max(seconds, 0.0) * 10)
    minutes, rest = divmod(tenths, 600)
    return f"{minutes}:{rest // 10:02d}.{rest % 10}"
