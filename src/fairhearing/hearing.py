"""One take through recording → continuity → quality → playing: the hearing report.

The take is decoded once, in a guarded child; every observer watches the same pass. The report is
a plain dictionary whose keys are the contract of ``docs/report.md``. Times are seconds, pitches
sounding MIDI numbers; ``None`` means "could not be measured".
"""

from __future__ import annotations

import time
from collections.abc import Callable, Mapping
from dataclasses import asdict, dataclass
from pathlib import Path
from typing import Any

from fairhearing.core import playing
from fairhearing.core.continuity.container import container_findings
from fairhearing.core.continuity.finding import ranked, summary
from fairhearing.core.continuity.observer import ContinuityObserver
from fairhearing.core.packet.instruments import Instrument
from fairhearing.core.playing.alignment import Alignment, Score, etude_report
from fairhearing.core.quality.observer import QualityObserver
from fairhearing.core.recording import Picture, Probe, SoundBlock, listen
from fairhearing.core.recording.envelope import Envelope
from fairhearing.core.recording.store import MonoStore
from fairhearing.pieces import place_pieces

VERSION = 1
PEAKS = 600
# Share of the wall time that decoding takes in a typical take; for the progress bar only.
DECODING_SHARE = 0.8


@dataclass(frozen=True, slots=True, eq=False)
class Hearing:
    """What was measured in one take.

    Attributes
    ----------
    report : dict
        The hearing report, JSON-able.
    aligned : dict of str to (Score, Alignment)
        The pieces that were set beside their score, by section kind.
    """

    report: dict[str, Any]
    aligned: dict[str, tuple[Score, Alignment]]


def hear(
    path: Path,
    *,
    instrument: Instrument | None = None,
    plan: playing.Plan | None = None,
    scores: Mapping[str, Score] | None = None,
    invented: bool = False,
    on_progress: Callable[[float], None] | None = None,
) -> Hearing:
    """Hear one take.

    Parameters
    ----------
    path : Path
        The recording; never trusted.
    instrument : Instrument, optional
        Whose take it is; without it, the range is guessed and pitches stay sounding.
    plan : Plan, optional
        What the audition asks for.
    scores : mapping of str to Score, optional
        The etude and the honors excerpt as plain scores, by section kind.
    invented : bool
        Marks the report as demo data.
    on_progress : callable, optional
        Told the share that is done, 0…1.

    Raises
    ------
    RecordingError
        One plain sentence; nothing was measured.
    """
    begun = time.perf_counter()
    progress = on_progress or (lambda done: None)
    player, plan = _player(instrument), plan or playing.Plan()
    mono = MonoStore(playing.RATE_HZ)
    quality, continuity, envelope = QualityObserver(), ContinuityObserver(), Envelope()
    try:
        probe = listen(path, [mono, quality, continuity, envelope, _Pace(progress)])
        decoded = time.perf_counter()
        heard = playing.hear_playing(mono.samples, player=player, plan=plan)
    finally:
        mono.close()
    findings = ranked([*container_findings(probe.facts), *continuity.findings])
    heard, aligned = place_pieces(heard, scores or {}, player=player, plan=plan)
    report: dict[str, Any] = {
        "version": VERSION,
        "invented": invented,
        "file": _file(probe, heard.duration_s),
        "instrument": _instrument(instrument),
        "continuity": {
            "summary": summary(findings),
            "findings": [finding.to_report() for finding in findings],
        },
        "quality": quality.quality.to_report(),
        **playing_report(heard, instrument),
        "etude": None,
        "honors": None,
        **{kind: etude_report(*pair) for kind, pair in aligned.items()},
        "remarks": [*probe.warnings, *(remark.says for remark in heard.remarks)],
        "tape": {"peaks": envelope.peaks(PEAKS)},
    }
    ended = time.perf_counter()
    report["timing"] = {
        "decode_s": round(decoded - begun, 3),
        "total_s": round(ended - begun, 3),
    }
    progress(1.0)
    return Hearing(report, aligned)


def playing_report(heard: playing.Playing, instrument: Instrument | None) -> dict[str, Any]:
    """Return the part of the report that comes from the playing room."""
    shift = -instrument.sounding_minus_written if instrument else 0
    tuning = asdict(heard.tuning)
    return {
        "sections": [_rounded(asdict(section)) for section in heard.sections],
        "speech": _rounded(heard.speech),
        "notes": [_note(note, shift if instrument else None) for note in heard.notes],
        "tuning": _rounded(tuning),
        "chromatic": _rounded(asdict(heard.chromatic)) if heard.chromatic else None,
        "chromatic_reason": heard.chromatic_reason,
        "scales": {
            "window_start_s": _ms(heard.scales.window_start_s),
            "window_end_s": _ms(heard.scales.window_end_s),
            "reason": heard.scales.reason,
            "played": [_rounded(asdict(scale)) for scale in heard.scales.played],
        },
        "drumming": _rounded(asdict(heard.drumming)) if heard.drumming else None,
        "remarks": [remark.says for remark in heard.remarks],
    }


class _Pace:
    """Observer that tells how far the pass has come."""

    def __init__(self, tell: Callable[[float], None]) -> None:
        self._tell = tell
        self._length_s: float | None = None

    def begin(self, probe: Probe) -> None:
        self._length_s = probe.duration_s

    def sound(self, block: SoundBlock) -> None:
        if self._length_s:
            self._tell(DECODING_SHARE * min(float(block.start) / self._length_s, 1.0))

    def picture(self, picture: Picture) -> None:
        """The sound alone tells how far it is."""

    def finish(self) -> None:
        self._tell(DECODING_SHARE)


def _player(instrument: Instrument | None) -> playing.Player:
    if instrument is None:
        return playing.Player()
    low, high = instrument.sounding_reach or (None, None)
    return playing.Player(
        lowest_midi=low,
        highest_midi=high,
        sounding_minus_written=instrument.sounding_minus_written,
        kind=instrument.kind,
    )


def _file(probe: Probe, sound_s: float) -> dict[str, Any]:
    return {
        "name": probe.name,
        "sha256": probe.sha256,
        "bytes": probe.bytes,
        "container": probe.container,
        "duration_s": _ms(probe.duration_s if probe.duration_s is not None else sound_s),
        "video": asdict(probe.video) if probe.video else None,
        "audio": asdict(probe.audio) if probe.audio else None,
    }


def _instrument(instrument: Instrument | None) -> dict[str, Any] | None:
    if instrument is None:
        return None
    return {
        "id": instrument.id,
        "name": instrument.name,
        "kind": instrument.kind,
        "clef": instrument.clef,
        "sounding_minus_written": instrument.sounding_minus_written,
    }


def _note(note: playing.Note, shift: int | None) -> dict[str, Any]:
    entry: dict[str, Any] = _rounded(asdict(note))
    if shift is not None:
        entry["written_midi"] = note.midi + shift
    return entry


def _rounded(value: Any) -> Any:
    """Return the same data with fractions of a millisecond (and their like) left out."""
    if isinstance(value, float):
        return round(value, 3)
    if isinstance(value, Mapping):
        return {key: _rounded(item) for key, item in value.items()}
    if isinstance(value, list | tuple):
        return [_rounded(item) for item in value]
    return value


def _ms(seconds: float | None) -> float | None:
    return None if seconds is None else round(float(seconds), 3)
