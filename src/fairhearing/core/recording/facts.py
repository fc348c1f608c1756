"""What the container says, as it stands in the file: tables of times, edits, key frames, origin.

Libraries apply edit lists and smooth time stamps silently; evidence about a file's making lies
in exactly what they hide. Times are integer ticks of the track's own clock.
"""

from __future__ import annotations

from dataclasses import dataclass
from fractions import Fraction
from typing import Literal

Run = tuple[int, int]


@dataclass(frozen=True, slots=True)
class Edit:
    """One entry of a track's edit list (ISO/IEC 14496-12 §8.6.6).

    Attributes
    ----------
    lasts_s : Fraction
        Length on the take's timeline in seconds; 0 means "to the end".
    media_time : int
        First tick of the track that is shown; −1 for an empty stretch.
    """

    lasts_s: Fraction
    media_time: int


@dataclass(frozen=True, slots=True)
class TrackFacts:
    """One track's tables.

    Attributes
    ----------
    kind : str
        "video", "audio" or "other".
    codec : str
        Four-character code or Matroska codec name.
    timescale : int
        Ticks a second.
    handler : str
        The handler's name, which often tells the writing software.
    created : int or None
        Seconds since 1970 (UTC); None when it is absent or zero.
    durations : tuple of (count, ticks)
        Decoding durations in runs, as the file has them (rebuilt from time stamps in Matroska
        and in fragmented files).
    offsets : tuple of (count, ticks)
        Composition minus decoding time in runs; empty when there is none.
    key_frames : tuple of int or None
        Sample numbers from 0 at which the track can be entered; None when it is all of them.
    edits : tuple of Edit
        The edit list; empty when there is none.
    new_descriptions : tuple of int
        Sample numbers at which the coder's description changes.
    starts_at : int
        Decoding tick of the first sample.
    """

    kind: Literal["video", "audio", "other"]
    codec: str
    timescale: int
    handler: str
    created: int | None
    durations: tuple[Run, ...]
    offsets: tuple[Run, ...]
    key_frames: tuple[int, ...] | None
    edits: tuple[Edit, ...]
    new_descriptions: tuple[int, ...]
    starts_at: int


@dataclass(frozen=True, slots=True)
class ContainerFacts:
    """What a file says about its making.

    Attributes
    ----------
    container : str
        "iso" (mp4, mov, m4a), "matroska" (webm) or "other".
    brands : tuple of str
        Major brand first, then the compatible ones, or the document type.
    order : tuple of str
        Kinds of the outermost boxes in file order, repetitions left out.
    created : int or None
        Seconds since 1970 (UTC) of the whole film; None when absent or zero.
    writers : tuple of str
        What the file says about the software and device that wrote it, printable and short.
    fragmented : bool
        True when the samples come in fragments, as browsers record.
    tracks : tuple of TrackFacts
        In file order.
    """

    container: Literal["iso", "matroska", "other"]
    brands: tuple[str, ...]
    order: tuple[str, ...]
    created: int | None
    writers: tuple[str, ...]
    fragmented: bool
    tracks: tuple[TrackFacts, ...]


NO_FACTS = ContainerFacts("other", (), (), None, (), False, ())
"""For containers without such tables (wav, mp3)."""


def plain_text(raw: bytes | str, most: int = 80) -> str:
    """Text of a file made harmless: printable, one line, short."""
    text = raw if isinstance(raw, str) else raw.decode("utf-8", "replace")
    return "".join(c for c in text if c.isprintable() and c != "\ufffd").strip()[:most]


def in_runs(values: list[int]) -> tuple[Run, ...]:
    """Run-length code: 3 3 5 → (2, 3) (1, 5)."""
    runs: list[list[int]] = []
    for value in values:
        if runs and runs[-1][1] == value:
            runs[-1][0] += 1
        else:
            runs.append([1, value])
    return tuple((count, value) for count, value in runs)
