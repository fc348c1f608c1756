"""Everything that the hearing wants to know about quality, in the one decoding pass."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Any

import numpy as np
from numpy.typing import NDArray

from fairhearing.core.quality.advice import Language, advice_keys, advice_texts
from fairhearing.core.quality.background import STEP_S, LevelMeter, background_dbfs, snr_db
from fairhearing.core.quality.background_kind import BackgroundKindMeter, Kind
from fairhearing.core.quality.clipping import ClippingMeter
from fairhearing.core.quality.endings import (
    echo_s,
    gain_pumping_db,
    gated_ends,
    sudden_noises_s,
)
from fairhearing.core.quality.loudness import LoudnessMeter
from fairhearing.core.quality.picture import PictureMeter, PictureQuality
from fairhearing.core.quality.true_peak import TruePeakMeter
from fairhearing.core.recording.types import Picture, Probe, SoundBlock

_MOST_TIMES = 5
# Why a number may be missing although there is sound.
_SOUND_NUMBERS = {
    "loudness_lufs": "The sound is too quiet or too short to have a loudness.",
    "true_peak_dbtp": "Every sample of the sound track is zero.",
    "clipped_ms": "There is no sound in this file.",
    "background_dbfs": "There is no sound in which a background could be heard.",
    "snr_db": "There is no sound in which a background could be heard.",
    "echo_s": "There are too few clear note endings to hear the room.",
    "gain_pumping_db": "There are fewer than three pauses of a second.",
}


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
    background_kind : "hum", "steady noise", "voices", "music" or None
        A hint; None when unclear.
    echo_s : float or None
        A hint on room and distance: seconds in which sound dies by 60 dB.
    gain_pumping_db : float or None
        How far the noise creeps up in pauses.
    gated_ends : int or None
        How many notes end dead.
    sudden_noises_s : tuple of float
        Times of short bursts in pauses; meaningless on percussion.
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
    background_kind: Kind | None
    echo_s: float | None
    gain_pumping_db: float | None
    gated_ends: int | None
    sudden_noises_s: tuple[float, ...]
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
            "background_kind": self.background_kind,
            "echo_s": rounded(self.echo_s),
            "gain_pumping_db": rounded(self.gain_pumping_db),
            "gated_ends": self.gated_ends,
            "sudden_noises_s": [round(time_s, 2) for time_s in self.sudden_noises_s[:_MOST_TIMES]],
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
        heard = self._sound_meters.results() if self._sound_meters else _Heard()
        seen = self._picture_meter.quality()
        unmeasured = dict(heard.unmeasured)
        if seen is None:
            unmeasured["picture"] = "There is no picture in this file."
        self._quality = Quality(
            loudness_lufs=heard.numbers.get("loudness_lufs"),
            true_peak_dbtp=heard.numbers.get("true_peak_dbtp"),
            clipped_ms=heard.numbers.get("clipped_ms"),
            background_dbfs=heard.numbers.get("background_dbfs"),
            snr_db=heard.numbers.get("snr_db"),
            background_kind=heard.kind,
            echo_s=heard.numbers.get("echo_s"),
            gain_pumping_db=heard.numbers.get("gain_pumping_db"),
            gated_ends=heard.gated_ends,
            sudden_noises_s=heard.sudden_noises_s,
            picture=seen,
            advice_keys=advice_keys(
                has_sound=heard.numbers.get("true_peak_dbtp") is not None,
                loudness_lufs=heard.numbers.get("loudness_lufs"),
                clipped_ms=heard.numbers.get("clipped_ms"),
                snr_db=heard.numbers.get("snr_db"),
                background_kind=heard.kind,
                echo_s=heard.numbers.get("echo_s"),
                gain_pumping_db=heard.numbers.get("gain_pumping_db"),
                gated_a_minute=heard.gated_a_minute,
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


@dataclass(frozen=True, slots=True)
class _Heard:
    numbers: dict[str, float] = field(default_factory=dict)
    unmeasured: dict[str, str] = field(
        default_factory=lambda: dict.fromkeys(_SOUND_NUMBERS, "There is no sound in this file.")
    )
    kind: Kind | None = None
    gated_ends: int | None = None
    gated_a_minute: float | None = None
    sudden_noises_s: tuple[float, ...] = ()


class _SoundMeters:
    def __init__(self, sample_rate_hz: int, channels: int):
        self._loudness = LoudnessMeter(sample_rate_hz, channels)
        self._true_peak = TruePeakMeter(sample_rate_hz, channels)
        self._clipping = ClippingMeter(sample_rate_hz, channels)
        self._level = LevelMeter(sample_rate_hz, channels)
        self._kind = BackgroundKindMeter(sample_rate_hz)

    def add(self, samples: NDArray[np.float32]) -> None:
        self._loudness.add(samples)
        self._true_peak.add(samples)
        self._clipping.add(samples)
        self._level.add(samples)
        self._kind.add(np.asarray(samples.mean(axis=1), dtype=np.float32))

    def results(self) -> _Heard:
        """Return each number, or the sentence why there is none."""
        powers = self._level.powers()
        found: dict[str, float | str | None] = {
            "loudness_lufs": self._loudness.integrated_lufs(),
            "true_peak_dbtp": self._true_peak.peak_dbtp(),
            "clipped_ms": self._clipping.clipped_ms(),
            "background_dbfs": background_dbfs(powers),
            "snr_db": snr_db(powers),
            "echo_s": echo_s(powers),
            "gain_pumping_db": gain_pumping_db(powers),
        }
        gated = gated_ends(powers)
        return _Heard(
            numbers={k: v for k, v in found.items() if isinstance(v, float)},
            unmeasured={
                name: value if isinstance(value, str) else _SOUND_NUMBERS[name]
                for name, value in found.items()
                if not isinstance(value, float)
            },
            kind=self._kind.kind(),
            gated_ends=gated,
            gated_a_minute=gated / max(len(powers) * STEP_S / 60, 1e-9),
            sudden_noises_s=sudden_noises_s(powers),
        )
