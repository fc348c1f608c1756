"""The judges' sound file: every take at one loudness, nothing else changed.

Gain only: no compression, no equaliser, no noise removed, so that a judge hears the student's own
dynamics. The gain brings the programme to −23 LUFS unless its true peak would pass the ceiling;
then it is as much as the peak allows. The spoken introduction is left out from a stated second,
and nothing in the file says whose it is: no name, no date, no device.

Every copy has two channels, because a file with one would sound 3 LU louder on two loudspeakers
than its reading says (BS.1770-4 counts channels).

Sources: EBU R 128 (target −23.0 LUFS, true peak at most −1 dBTP), ITU-R BS.1770-4.
"""

from __future__ import annotations

import tempfile
from collections.abc import Iterator
from dataclasses import dataclass
from fractions import Fraction
from pathlib import Path

import av
import numpy as np
from av.audio.frame import AudioFrame
from av.audio.resampler import AudioResampler
from av.audio.stream import AudioStream
from numpy.typing import NDArray

from fairhearing.core.errors import RecordingError
from fairhearing.core.quality.loudness import LoudnessMeter
from fairhearing.core.quality.true_peak import TruePeakMeter
from fairhearing.core.recording.store import NativeStore
from fairhearing.core.recording.types import Picture, Probe, SoundBlock

TARGET_LUFS = -23.0
# Half a decibel under what R 128 allows: coding moves peaks a little.
CEILING_DBTP = -1.5
_BIT_RATE = 192_000
_RATES_HZ = (48000, 44100, 32000, 24000, 22050, 16000)
_STRETCH_S = 10
_RAMP_S = 0.010


@dataclass(frozen=True, slots=True)
class CopyFacts:
    """What was done to one take.

    Attributes
    ----------
    start_s : float
        Second of the take at which the copy starts.
    duration_s : float
        Length of the copy.
    gain_db : float
        The one gain, over the whole length.
    loudness_lufs, true_peak_dbtp : float or None
        Of the copy, before coding; None when the take is silent.
    held_back : bool
        True when the peak did not allow the target loudness.
    """

    start_s: float
    duration_s: float
    gain_db: float
    loudness_lufs: float | None
    true_peak_dbtp: float | None
    held_back: bool


class ListeningCopy:
    """Observer that keeps the sound of the one decoding pass and writes the judges' file.

    Examples
    --------
    >>> copy = ListeningCopy()
    >>> probe = listen(take, [copy, ...])                    # doctest: +SKIP
    >>> facts = copy.write(Path("017.m4a"), start_s=8.4)     # doctest: +SKIP
    """

    def __init__(self) -> None:
        self._store = NativeStore()

    def begin(self, probe: Probe) -> None:
        """Prepare for a take."""
        self._store.begin(probe)

    def sound(self, block: SoundBlock) -> None:
        """Keep a stretch of sound."""
        self._store.sound(block)

    def picture(self, picture: Picture) -> None:
        """The judges' file has no picture."""

    def finish(self) -> None:
        """The take is over; ``write`` may be called."""
        self._store.finish()

    def close(self) -> None:
        """Let go of the kept sound."""
        self._store.close()

    def write(self, path: Path, *, start_s: float = 0.0) -> CopyFacts:
        """Write the judges' file (m4a, AAC); it appears complete or not at all.

        Parameters
        ----------
        path : Path
            Where to; replaced when it exists.
        start_s : float
            Where the introduction ends, in seconds of the take.

        Raises
        ------
        RecordingError
            Nothing is left to listen to from that second on.
        """
        rate_hz = self._store.rate_hz
        samples = self._store.samples[round(max(0.0, start_s) * rate_hz) :] if rate_hz else None
        if samples is None or len(samples) == 0:
            raise RecordingError(
                f"There is no sound after {start_s:.1f} s for the listening copy {path.name}; "
                "let it start earlier."
            )
        loudness, peak = _measured(samples, rate_hz)
        gain_db, held_back = _gain(loudness, peak)
        with tempfile.TemporaryDirectory(prefix=".copy-", dir=path.parent) as folder:
            partial = Path(folder) / "copy.m4a"
            _encode(samples, rate_hz, 10 ** (gain_db / 20), partial, ramp=start_s > 0)
            partial.replace(path)
        return CopyFacts(
            start_s=max(0.0, start_s),
            duration_s=len(samples) / rate_hz,
            gain_db=gain_db,
            loudness_lufs=None if loudness is None else loudness + gain_db,
            true_peak_dbtp=None if peak is None else peak + gain_db,
            held_back=held_back,
        )


def _gain(loudness: float | None, peak: float | None) -> tuple[float, bool]:
    """The gain in dB, and whether the peak holds it back."""
    if loudness is None or peak is None:
        return 0.0, False
    wanted, allowed = TARGET_LUFS - loudness, CEILING_DBTP - peak
    return min(wanted, allowed), wanted > allowed


def _measured(samples: NDArray[np.float32], rate_hz: int) -> tuple[float | None, float | None]:
    loudness, peak = LoudnessMeter(rate_hz, 2), TruePeakMeter(rate_hz, 2)
    for stretch in _stretches(samples, rate_hz):
        loudness.add(stretch)
        peak.add(stretch)
    return loudness.integrated_lufs(), peak.peak_dbtp()


def _stretches(samples: NDArray[np.float32], rate_hz: int) -> Iterator[NDArray[np.float32]]:
    """The sound in stretches of ten seconds, always on two channels, shape (n, 2)."""
    length = _STRETCH_S * rate_hz
    for first in range(0, len(samples), length):
        stretch = np.asarray(samples[first : first + length])
        yield stretch if stretch.shape[1] == 2 else np.repeat(stretch, 2, axis=1)


def _encode(
    samples: NDArray[np.float32], rate_hz: int, gain: float, path: Path, *, ramp: bool
) -> None:
    coded_hz = rate_hz if rate_hz in _RATES_HZ else _RATES_HZ[0]
    # Bit-exact muxing leaves out the names of the software and the date.
    options = {"fflags": "+bitexact", "movflags": "+faststart"}
    with av.open(str(path), "w", format="ipod", options=options) as container:
        stream = container.add_stream("aac", rate=coded_hz, layout="stereo")
        stream.codec_context.flags |= av.codec.context.Flags.bitexact
        stream.bit_rate = _BIT_RATE
        resampler = AudioResampler(format="fltp", layout="stereo", rate=coded_hz)
        first = 0
        for stretch in _stretches(samples, rate_hz):
            louder = stretch * np.float32(gain)
            if ramp and first == 0:
                _ramp_in(louder, rate_hz)
            frame = AudioFrame.from_ndarray(
                np.ascontiguousarray(louder.T), format="fltp", layout="stereo"
            )
            frame.sample_rate = rate_hz
            frame.time_base = Fraction(1, rate_hz)
            frame.pts = first
            first += len(stretch)
            _mux(container, stream, resampler.resample(frame))
        _mux(container, stream, resampler.resample(None))
        for packet in stream.encode(None):
            container.mux(packet)


def _ramp_in(samples: NDArray[np.float32], rate_hz: int) -> None:
    """Ten milliseconds from silence where the introduction was left out; else a click is heard."""
    length = min(len(samples), round(_RAMP_S * rate_hz))
    samples[:length] *= np.linspace(0, 1, length, dtype=np.float32)[:, None]


def _mux(
    container: av.container.OutputContainer, stream: AudioStream, frames: list[AudioFrame]
) -> None:
    for frame in frames:
        for packet in stream.encode(frame):
            container.mux(packet)
