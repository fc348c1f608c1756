"""Every evidence channel that needs picture or sound, in the one decoding pass."""

from __future__ import annotations

from fractions import Fraction

import numpy as np
from numpy.typing import NDArray

from fairhearing.core.continuity.coincidence import coincidence_findings
from fairhearing.core.continuity.digital_silence import silence_findings
from fairhearing.core.continuity.finding import Finding, ranked
from fairhearing.core.continuity.frozen_picture import frozen_findings
from fairhearing.core.continuity.picture_jump import PictureTracer
from fairhearing.core.continuity.preview import PreviewKeeper
from fairhearing.core.continuity.processed_sound import processed_findings
from fairhearing.core.continuity.room_change import room_findings
from fairhearing.core.continuity.sound_joint import SoundTracer
from fairhearing.core.recording.types import Picture, Probe, SoundBlock

_SLIP_S = 0.010
_LONG_S = 10.0  # a longer finding is shown at its start


class ContinuityObserver:
    """Watches one take; ``findings`` is there after ``finish``.

    The container's own evidence (boxes and time stamps) is read elsewhere and joined by the
    hearing: ``ranked([*container_findings, *observer.findings])``.
    """

    def __init__(self) -> None:
        self._findings: tuple[Finding, ...] | None = None

    @property
    def findings(self) -> tuple[Finding, ...]:
        """What was found, ranked.

        Raises
        ------
        RuntimeError
            Before ``finish``.
        """
        if self._findings is None:
            raise RuntimeError("the take is not over yet: findings are known after finish()")
        return self._findings

    def begin(self, probe: Probe) -> None:
        """Prepare for a take."""
        self._findings = None
        self._pictures = PictureTracer()
        self._rate = probe.audio.sample_rate_hz if probe.audio is not None else None
        self._sounds = SoundTracer(self._rate) if self._rate else None
        self._first_sound: Fraction | None = None
        self._heard = 0
        self._previews = PreviewKeeper(self._rate)

    def sound(self, block: SoundBlock) -> None:
        """Take the next stretch of sound; a gap in its time stamps is filled with silence."""
        if self._rate is None:
            return
        if self._first_sound is None:
            self._first_sound = block.start
        due = self._first_sound + Fraction(self._heard, self._rate)
        missing = float(block.start - due)
        if missing > _SLIP_S:
            self._take(np.zeros(round(missing * self._rate), dtype=np.float32))
        self._take(np.asarray(block.samples.mean(axis=1), dtype=np.float32))

    def picture(self, picture: Picture) -> None:
        """Take the next picture."""
        self._previews.picture(picture, self._pictures.add(picture))

    def finish(self) -> None:
        """Compute what is left."""
        pictures = self._pictures.trace()
        found: list[Finding] = []
        sounds = None
        if self._sounds is not None and self._first_sound is not None:
            sounds = self._sounds.trace(float(self._first_sound))
            found += silence_findings(sounds)
            found += processed_findings(sounds)
            found += room_findings(sounds)
        found += frozen_findings(pictures)
        found += coincidence_findings(pictures if len(pictures.times_s) else None, sounds)
        self._findings = ranked(found)

    def preview(self, finding: Finding) -> bytes | None:
        """Return two seconds around a finding's middle as PNG: frames over a spectrogram.

        None when the take has neither picture nor sound there. For a finding that concerns the
        whole take the beginning is shown. Known after ``finish``.
        """
        middle_s = (finding.start_s + finding.end_s) / 2
        if finding.end_s - finding.start_s > _LONG_S:
            middle_s = finding.start_s
        return self._previews.png(middle_s)

    def _take(self, mono: NDArray[np.float32]) -> None:
        if self._sounds is not None:
            self._previews.sound(mono, self._first_sound or Fraction(0))
            self._sounds.add(mono)
            self._heard += len(mono)
