"""Every evidence channel that needs picture or sound, in the one decoding pass."""

from __future__ import annotations

from fractions import Fraction

import numpy as np
from numpy.typing import NDArray

from fairhearing.core.continuity.coincidence import coincidence_findings
from fairhearing.core.continuity.finding import Finding, ranked
from fairhearing.core.continuity.picture_jump import PictureTracer
from fairhearing.core.continuity.sound_joint import SoundTracer
from fairhearing.core.recording.types import Picture, Probe, SoundBlock

_SLIP_S = 0.010


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
        self._pictures.add(picture)

    def finish(self) -> None:
        """Compute what is left."""
        pictures = self._pictures.trace()
        sounds = (
            self._sounds.trace(float(self._first_sound))
            if self._sounds is not None and self._first_sound is not None
            else None
        )
        self._findings = ranked(
            coincidence_findings(pictures if len(pictures.times_s) else None, sounds)
        )

    def _take(self, mono: NDArray[np.float32]) -> None:
        if self._sounds is not None:
            self._sounds.add(mono)
            self._heard += len(mono)
