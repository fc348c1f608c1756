"""From a player to a take: sound and truth in memory, or the whole file with a picture."""

from __future__ import annotations

from dataclasses import asdict
from pathlib import Path
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray
from scipy.signal import resample_poly

from fairhearing.demo import film, voices
from fairhearing.demo.cast import Player, player
from fairhearing.demo.performance import perform
from fairhearing.demo.picture import frame_times, frames
from fairhearing.demo.rooms import HOMES, LATER
from fairhearing.demo.sound import RATE_HZ, take_sound
from fairhearing.demo.truth import Performance


def render_take(
    who: Player | str, *, rate_hz: int = RATE_HZ
) -> tuple[NDArray[np.float32], dict[str, Any]]:
    """Return the sound of a take and everything that is true of it; no picture, no file.

    Parameters
    ----------
    who : Player or str
        A player, or an audition number of the demo season. Vary a player with
        ``dataclasses.replace(player("205"), home="tiled", restart_bar=5)``.
    rate_hz : int
        Sample rate of the answer.

    Returns
    -------
    samples : ndarray of float32, shape (n,)
        Mono, −1…1, before any codec.
    truth : dict
        As one entry of truth.json, see :func:`truth_of`.
    """
    performance = perform(player(who) if isinstance(who, str) else who)
    sound = take_sound(performance)
    if rate_hz != RATE_HZ:
        common = int(np.gcd(rate_hz, RATE_HZ))
        sound = resample_poly(sound, rate_hz // common, RATE_HZ // common).astype(np.float32)
    return sound, truth_of(performance)


def truth_of(performance: Performance) -> dict[str, Any]:
    """Return what is true of a take, as plain data.

    Times are seconds of the take; ``midi`` is sounding pitch. Sections run from the first onset
    to the last note's end (the introduction: the words). ``scale_window_s`` begins at the first
    onset of the first scale.
    """
    who = performance.player
    home = HOMES[who.home]
    return {
        "invented": True,
        "student": who.number,
        "instrument": who.instrument,
        "file": who.take,
        "skill": who.skill,
        "home": {"name": who.home, **asdict(home)},
        "duration_s": round(performance.duration_s, 6),
        "tuning_cents": round(performance.tuning_cents, 2),
        "tempo_bpm": {name: round(bpm, 2) for name, bpm in performance.beats_bpm.items()},
        "joint_s": None if performance.joint_s is None else round(performance.joint_s, 6),
        "sections": [_rounded(asdict(section)) for section in performance.sections],
        "spoken": [
            {
                "section": spoken.phrase.split("/")[0],
                "start_s": round(spoken.start_s, 6),
                "end_s": round(spoken.start_s + voices.length_s(spoken.phrase), 6),
            }
            for spoken in performance.spoken
        ],
        "chromatic": None if performance.chromatic is None else asdict(performance.chromatic),
        "scale_window_s": performance.window_s and [round(t, 6) for t in performance.window_s],
        "scales": [_rounded(asdict(scale)) for scale in performance.scales],
        "slips": [_rounded(asdict(slip)) for slip in performance.slips],
        "notes": [_rounded(asdict(note)) for note in performance.notes],
    }


def _rounded(row: dict[str, Any]) -> dict[str, Any]:
    return {key: round(value, 6) if type(value) is float else value for key, value in row.items()}


def film_take(who: Player, folder: Path) -> Path:
    """Render a take with its picture and write it into a folder.

    Raises
    ------
    ValueError
        If the player sent no take.
    """
    if who.take is None:
        raise ValueError(f"{who.number} sent no take")
    cv2.setNumThreads(1)  # the machine's cores are shared out by take
    performance = perform(who)
    home = HOMES[who.home]
    sound = take_sound(performance)
    path = folder / who.take
    if performance.joint_s is None:
        times = frame_times(performance, home, 0.0, performance.duration_s)
        pictures = frames(performance, home, times)
        rate, channels = home.sample_rate_hz, home.channels
        whole = film.Film(times, pictures, sound, rate, channels, home.frame_rate)
        return film.write(path, whole)
    return _film_joined(performance, sound, path)


def _film_joined(performance: Performance, sound: NDArray[np.float32], path: Path) -> Path:
    """Film two recordings, then put one behind the other and encode them again."""
    joint = performance.joint_s or 0.0
    parts: list[Path] = []
    spans = ((0.0, joint, HOMES["joined"]), (joint, performance.duration_s, LATER))
    try:
        for index, (start, end, home) in enumerate(spans):
            times = frame_times(performance, home, start, end)
            pictures = frames(performance, home, times + start, f"scene {index}")
            piece = sound[round(start * RATE_HZ) : round(end * RATE_HZ)]
            part = path.with_name(f"{path.stem}.{index}.part")
            parts.append(part)
            one = film.Film(times, pictures, piece, frame_rate=home.frame_rate)
            film.write(part, one, path.suffix.lstrip("."))
        rate = HOMES["joined"].frame_rate
        film.join(parts[0], parts[1], path, joint_s=joint, frame_rate=rate)
    finally:
        for part in parts:
            part.unlink(missing_ok=True)
    return path
