"""What the other rooms get to see of a recording: plain frozen data and one protocol."""

from __future__ import annotations

from dataclasses import dataclass, field
from fractions import Fraction
from typing import Protocol

import numpy as np
from numpy.typing import NDArray

from fairhearing.core.recording.facts import NO_FACTS, ContainerFacts


@dataclass(frozen=True, slots=True)
class VideoStream:
    """The picture track as the file declares it.

    Attributes
    ----------
    codec : str
        Name of the codec, as FFmpeg spells it ("h264", "hevc", "vp9").
    width, height : int
        Coded size in pixels, before rotation.
    rotation_deg : int
        Clockwise turn (0, 90, 180, 270) that makes the picture upright.
    frame_rate : float or None
        Average frames per second; None when the file does not say.
    variable_rate : bool
        True when frame durations differ by more than a tick of rounding; as measured, so
        False until the take has been decoded.
    """

    codec: str
    width: int
    height: int
    rotation_deg: int
    frame_rate: float | None
    variable_rate: bool


@dataclass(frozen=True, slots=True)
class AudioStream:
    """The sound track as the file declares it (rate in Hz)."""

    codec: str
    sample_rate_hz: int
    channels: int


@dataclass(frozen=True, slots=True)
class Probe:
    """What a file says about itself, before anything is decoded.

    Attributes
    ----------
    name, sha256, bytes
        File name without folders, hexadecimal digest of the whole file, size.
    container : str
        "mp4", "mov", "m4a", "webm", "matroska", "wav" or "mp3", by its content.
    duration_s : float or None
        End of the longest track in seconds; None when the file does not say. After decoding
        it is what was found.
    video, audio : VideoStream, AudioStream or None
        The tracks that are read; None when there is none (or it was not asked for).
    warnings : tuple of str
        Plain sentences about missing or spoiled parts; known after decoding only.
    facts : ContainerFacts
        The container's tables as they stand in the file; known from the beginning.
    """

    name: str
    sha256: str
    bytes: int
    container: str
    duration_s: float | None
    video: VideoStream | None
    audio: AudioStream | None
    warnings: tuple[str, ...] = ()
    facts: ContainerFacts = field(default=NO_FACTS, repr=False)


@dataclass(frozen=True, slots=True)
class SoundBlock:
    """A stretch of decoded sound.

    Attributes
    ----------
    start : Fraction
        Presentation time of the first sample, in seconds; never negative. Blocks follow one
        another without a hole unless the file has one, and never overlap.
    samples : ndarray of float32, shape (n, channels)
        One or two channels (more are folded down), −1…1, at the probe's sample rate.
    """

    start: Fraction
    samples: NDArray[np.float32]


@dataclass(frozen=True, slots=True)
class Picture:
    """One decoded frame, reduced.

    Attributes
    ----------
    time : Fraction
        Presentation time in seconds.
    luma : ndarray of uint8, shape (height, width)
        Upright, long side at most 320 px. Read-only.
    key_frame : bool
        True when the file can be entered here.
    """

    time: Fraction
    luma: NDArray[np.uint8]
    key_frame: bool


class Observer(Protocol):
    """Something that watches the one decoding pass: an evidence channel, a meter, a store.

    The calls come in order: ``begin`` once, then blocks and pictures in presentation order of
    their own track, then ``finish`` once. An observer keeps bounded state and never sees the
    file itself.
    """

    def begin(self, probe: Probe) -> None:
        """Learn what is coming; may be called for a file without picture or without sound."""

    def sound(self, block: SoundBlock) -> None:
        """Take the next stretch of sound."""

    def picture(self, picture: Picture) -> None:
        """Take the next picture."""

    def finish(self) -> None:
        """The take is over; compute what is left."""
