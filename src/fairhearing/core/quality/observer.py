"""Everything that the hearing wants to know about quality, in the one decoding pass."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from fairhearing.core.quality.advice import Language, advice_keys, advice_texts
from fairhearing.core.quality.background import BackgroundMeter
from fairhearing.core.quality.clipping import ClippingMeter
from fairhearing.core.quality.loudness import LoudnessMeter
from fairhearing.core.quality.picture import PictureMeter, PictureQuality
from fairhearing.core.quality.true_peak import TruePeakMeter
from fairhearing.core.recording.types import Picture, Probe, SoundBlock


@dataclass(frozen=True, slots=True)
class Quality:
    """Is the take fit to be judged?

    Every quantity that could not be measured is None and has a sentence in ``unmeasured``.

    Attributes
    ----------
    loudness_lufs : float or None
        Integrated loudness (ITU-R BS.1770-4).
    true_peak_dbtp : float or None
        True peak (ITU-R BS.1770-4 annex 2).
    clipped_ms : float or None
        Time on flat tops.
    background_dbfs, snr_db : float or None
        Level of the room in the pauses, and of the playing above it.
    picture : PictureQuality or None
    advice_keys : tuple of str
        At most three, most useful first; the words are :meth:`advice`.
    unmeasured : dict
        Name of a quantity → why it is None.
    """

    loudness_lufs: float | None
    true_peak_dbtp: float | None
    clipped_ms: float | None
    background_dbfs: float | None
    snr_db: float | None
    picture: PictureQuality | None
    advice_keys: tuple[str, ...]
    unmeasured: dict[str, str]

    def advice(self, language: Language = "en") -> tuple[str, ...]:
        """Return the advice as plain sentences."""
        return advice_texts(self.advice_keys, language)

    def to_report(self, language: Language = "en") -> dict[str, Any]:
        """Return the ``quality`` entry of the hearing report."""

        def rounded(value: float | None) -> float | None:
            return None if value is None else round(value, 1)

        return {
            "loudness_lufs": rounded(self.loudness_lufs),
            "true_peak_dbtp": rounded(self.true_peak_dbtp),
            "clipped_ms": rounded(self.clipped_ms),
            "background_dbfs": rounded(self.background_dbfs),
            "snr_db": rounded(self.snr_db),
            "advice": list(self.advice(language)),
            "advice_keys": list(self.advice_keys),
            "picture": None if self.picture is None else self.picture.to_report(),
            "unmeasured": dict(self.unmeasured),
        }


class QualityObserver:
    """Watches one take; ``quality`` is there after ``finish``.

    Sound is gathered into stretches of about a second, so that a codec's small blocks do not
    cost a call of every filter each. When sound blocks and the probe disagree about channels
    the blocks are believed.
    """

    def __init__(self) -> None:
        self._quality: Quality | None = None

    @property
    def quality(self) -> Quality:
        """What was measured.

        Raises
        ------
        RuntimeError
            Before ``finish``.
        """
        if self._quality is None:
            raise RuntimeError("the take is not over yet: quality is known after finish()")
        return self._quality

    def begin(self, probe: Probe) -> None:
        """Prepare for a take."""
        self._quality = None
        self._probe = probe
        self._waiting: list[NDArray[np.float32]] = []
        self._waiting_n = 0
        self._sound_meters: _SoundMeters | None = None
        self._picture_meter = PictureMeter(probe.duration_s)

    def sound(self, block: SoundBlock) -> None:
        """Take the next stretch of sound."""
        self._waiting.append(block.samples)
        self._waiting_n += len(block.samples)
        if self._probe.audio is not None and self._waiting_n >= self._probe.audio.sample_rate_hz:
            self._measure()

    def picture(self, picture: Picture) -> None:
        """Take the next picture."""
        self._picture_meter.add(picture)

    def finish(self) -> None:
        """Compute what is left."""
        self._measure()
        heard = self._sound_meters.results() if self._sound_meters else {}
        seen = self._picture_meter.quality()
        numbers: dict[str, float | None] = {}
        unmeasured: dict[str, str] = {}
        for name in ("loudness_lufs", "true_peak_dbtp", "clipped_ms", "background_dbfs", "snr_db"):
            value = heard.get(name, "There is no sound in this file.")
            numbers[name] = None if isinstance(value, str) else value
            if isinstance(value, str):
                unmeasured[name] = value
        if seen is None:
            unmeasured["picture"] = "There is no picture in this file."
        self._quality = Quality(
            **numbers,
            picture=seen,
            advice_keys=advice_keys(
                has_sound=numbers["true_peak_dbtp"] is not None,
                loudness_lufs=numbers["loudness_lufs"],
                clipped_ms=numbers["clipped_ms"],
                snr_db=numbers["snr_db"],
                brightness=seen.brightness if seen else None,
                upright=seen.upright if seen else None,
                shake_percent=seen.shake_percent if seen else None,
                somebody_share=seen.somebody_share if seen else None,
            ),
            unmeasured=unmeasured,
        )

    def _measure(self) -> None:
        if not self._waiting_n or self._probe.audio is None:
            return
        samples = np.concatenate(self._waiting)
        self._waiting, self._waiting_n = [], 0
        if self._sound_meters is None:
            self._sound_meters = _SoundMeters(self._probe.audio.sample_rate_hz, samples.shape[1])
        self._sound_meters.add(samples)


class _SoundMeters:
    def __init__(self, sample_rate_hz: int, channels: int):
        self._loudness = LoudnessMeter(sample_rate_hz, channels)
        self._true_peak = TruePeakMeter(sample_rate_hz, channels)
        self._clipping = ClippingMeter(sample_rate_hz, channels)
        self._background = BackgroundMeter(sample_rate_hz, channels)

    def add(self, samples: NDArray[np.float32]) -> None:
        self._loudness.add(samples)
        self._true_peak.add(samples)
        self._clipping.add(samples)
        self._background.add(samples)

    def results(self) -> dict[str, float | str]:
        """Return each number, or the sentence why there is none."""
        loudness = self._loudness.integrated_lufs()
        peak = self._true_peak.peak_dbtp()
        silent = "Every sample of the sound track is zero."
        return {
            "loudness_lufs": "The sound is too quiet or too short to have a loudness."
            if loudness is None
            else loudness,
            "true_peak_dbtp": silent if peak is None else peak,
            "clipped_ms": self._clipping.clipped_ms(),
            "background_dbfs": self._background.background_dbfs(),
            "snr_db": self._background.snr_db(),
        }
