"""Sound into files that every phone plays: m4a (AAC) and mp3, with title and instrument."""

from __future__ import annotations

import io
from collections.abc import Mapping
from fractions import Fraction
from pathlib import Path
from typing import Literal

import av
import numpy as np
from numpy.typing import NDArray

from fairhearing.core.errors import FairHearingError

Kind = Literal["m4a", "mp3"]
KINDS: tuple[Kind, ...] = ("m4a", "mp3")
_BITS_PER_S = 96_000
# Container, codec, and the quicker search of each codec (a third to half of the time).
_CODECS: dict[Kind, tuple[str, str, dict[str, str]]] = {
    "m4a": ("ipod", "aac", {"aac_coder": "fast"}),
    "mp3": ("mp3", "libmp3lame", {"compression_level": "7"}),
}


def encoded(
    sound: NDArray[np.float32], rate: int, kind: Kind, tags: Mapping[str, str] | None = None
) -> bytes:
    """Return a mono sound as a file in memory.

    Parameters
    ----------
    sound : ndarray of float32, shape (n,)
        −1…1.
    rate : int
        Hz.
    kind : {"m4a", "mp3"}
    tags : mapping, optional
        For example title, artist, album, comment.

    Raises
    ------
    FairHearingError
        If this installation cannot write the format.
    """
    form, codec, options = _CODECS[kind]
    stream_of_bytes = io.BytesIO()
    try:
        with av.open(stream_of_bytes, mode="w", format=form) as container:
            container.metadata.update(dict(tags or {}))
            stream = container.add_stream(codec, rate=rate, layout="mono", options=options)
            assert isinstance(stream, av.AudioStream)
            stream.bit_rate = _BITS_PER_S
            frame = av.AudioFrame.from_ndarray(
                np.ascontiguousarray(sound[None, :], np.float32), format="fltp", layout="mono"
            )
            # With a start time the file says how much of the codec's lead-in to skip.
            frame.sample_rate, frame.pts, frame.time_base = rate, 0, Fraction(1, rate)
            container.mux(stream.encode(frame))
            container.mux(stream.encode(None))
    except (av.FFmpegError, ValueError) as error:
        raise FairHearingError(f"practice tracks cannot be written as {kind} ({error})") from error
    return stream_of_bytes.getvalue()


def decoded_mono(data: bytes | Path) -> tuple[NDArray[np.float32], int]:
    """Return a sound file as mono samples and its rate, as a listener's player would."""
    source = io.BytesIO(data) if isinstance(data, bytes) else str(data)
    with av.open(source, mode="r") as container:
        stream = container.streams.audio[0]
        rate = int(stream.rate or 0)
        resampler = av.AudioResampler(format="fltp", layout="mono", rate=rate)
        pieces = [
            out.to_ndarray()[0]
            for frame in container.decode(stream)
            for out in resampler.resample(frame)
        ]
        pieces += [out.to_ndarray()[0] for out in resampler.resample(None)]
    return np.concatenate(pieces).astype(np.float32), rate
