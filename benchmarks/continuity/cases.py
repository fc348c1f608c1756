"""Takes made from clips: plain controls, hard controls, and joined takes.

Every case is a real file: frames and sound are changed first and then go through real encoders
(H.264 and AAC, FFmpeg through PyAV), half of them twice, as after a messenger or an editor.
Joined takes and controls share the chain, so that the codec cannot give the answer away.
"""

from __future__ import annotations

from dataclasses import dataclass
from fractions import Fraction
from pathlib import Path

import av
import cv2
import numpy as np
from numpy.typing import NDArray
from scipy import signal

from benchmarks.continuity.clips import PROGRAMS, SOUND_RATE_HZ, Clip, in_a_room, played

Frames = list[NDArray[np.uint8]]
Sound = NDArray[np.float32]
SIZE = (320, 180)  # what the decoding pass hands to the channels


@dataclass(frozen=True)
class Case:
    """One take; ``at_s`` is where something was done, ``joined`` whether it was a join."""

    kind: str
    joined: bool
    at_s: float | None
    clip: str
    seconds: float


@dataclass
class Raw:
    frames: Frames
    times: list[Fraction]
    sound: Sound


def cut_out(clip: Clip, use: str, seconds: float, random: np.random.Generator) -> Raw:
    """Return a stretch of a clip in a framing, a light and a room of its own."""
    n = min(int(seconds / clip.frame_time), len(clip.frames))
    first = int(random.integers(0, len(clip.frames) - n + 1))
    height, width = clip.frames[0].shape
    wide = int(width * random.uniform(0.6, 1.0))
    high = min(int(wide * SIZE[1] / SIZE[0]), height)
    x, y = int(random.integers(0, width - wide + 1)), int(random.integers(0, height - high + 1))
    flip, gain = random.random() < 0.5, random.uniform(0.7, 1.15)
    noise = random.uniform(0.5, 2.5)
    frames = []
    for luma in clip.frames[first : first + n]:
        part = cv2.resize(luma[y : y + high, x : x + wide], SIZE, interpolation=cv2.INTER_AREA)
        part = part[:, ::-1] if flip else part
        grain = cv2.resize(
            random.standard_normal((SIZE[1] // 2, SIZE[0] // 2)).astype(np.float32), SIZE
        )
        frames.append(np.clip(part * gain + noise * grain, 0, 255).astype(np.uint8))
    program = int(random.choice(PROGRAMS[use]))
    line = played(program, 240.0, 0)
    samples = int(n * clip.frame_time * SOUND_RATE_HZ)
    start = int(random.integers(0, len(line) - samples))
    return Raw(
        frames,
        [i * clip.frame_time for i in range(n)],
        in_a_room(line[start : start + samples], random),
    )


# -- joins ---------------------------------------------------------------------------------


def join(raw: Raw, removed_s: float, at: float, fade_s: float = 0.0, dissolve: int = 0) -> Raw:
    """Remove a stretch after the share ``at`` of what is left; sound cut hard or cross-faded."""
    step = raw.times[1] - raw.times[0]
    gone = max(round(removed_s / step), 1)
    first = int(at * (len(raw.frames) - gone))
    frames = raw.frames[:first] + raw.frames[first + gone :]
    for i in range(dissolve):
        share = (i + 1) / (dissolve + 1)
        k = first + i - dissolve // 2
        old = raw.frames[k].astype(np.float32)
        frames[k] = ((1 - share) * old + share * raw.frames[k + gone]).astype(np.uint8)
    a, b = (round(k * step * SOUND_RATE_HZ) for k in (first, first + gone))
    sound = np.concatenate([raw.sound[:a], raw.sound[b:]])
    n = int(fade_s * SOUND_RATE_HZ)
    if n:
        up = np.linspace(0, 1, n, dtype=np.float32)
        sound[a - n // 2 : a - n // 2 + n] = (
            raw.sound[a - n // 2 : a - n // 2 + n] * (1 - up)
            + raw.sound[b - n // 2 : b - n // 2 + n] * up
        )
    return Raw(frames, raw.times[: len(frames)], sound)


def dubbed(raw: Raw, other: Sound, at: float) -> Raw:
    """Replace two seconds of the sound by another performance, cross-faded over 20 ms."""
    n, fade = 2 * SOUND_RATE_HZ, SOUND_RATE_HZ // 50
    a = int(at * (len(raw.sound) - n))
    window = np.minimum(1, np.minimum(np.arange(n), np.arange(n)[::-1]) / fade)
    sound = raw.sound.copy()
    sound[a : a + n] = sound[a : a + n] * (1 - window) + other[a : a + n] * window
    return Raw(raw.frames, raw.times, sound.astype(np.float32))


def changed_throughout(raw: Raw, kind: str) -> Raw:
    """Change the whole take: nothing in it is a joint."""
    sound = raw.sound
    if kind == "tempo 2 % faster":
        sound = signal.resample_poly(sound, 49, 50)
        sound = np.pad(sound, (0, len(raw.sound) - len(sound)))
    elif kind == "a semitone higher":
        short = signal.resample(sound, round(len(sound) / 2 ** (1 / 12)))
        sound = np.resize(short, len(sound))
    else:
        t = np.arange(SOUND_RATE_HZ) / SOUND_RATE_HZ
        echo = np.random.default_rng(0).standard_normal(len(t)) * 10 ** (-3 * t)
        echo *= 0.5 / np.sqrt(np.sum(echo**2))
        sound = sound + signal.fftconvolve(sound, echo)[: len(sound)]
    return Raw(raw.frames, raw.times, sound.astype(np.float32))


# -- innocent events -----------------------------------------------------------------------


def click(random: np.random.Generator, level: float = 0.5) -> Sound:
    """A switch or a knock: a short burst that dies within some milliseconds."""
    t = np.arange(int(0.06 * SOUND_RATE_HZ)) / SOUND_RATE_HZ
    fall = np.exp(-t / random.uniform(0.002, 0.012))
    burst = random.standard_normal(len(t)) * fall
    low, high = random.uniform(150, 900), random.uniform(3000, 12000)
    burst = signal.sosfilt(
        signal.butter(1, [low, high], "bandpass", fs=SOUND_RATE_HZ, output="sos"), burst
    )
    return (level * random.uniform(0.3, 1) * burst / np.abs(burst).max()).astype(np.float32)


def with_sound(raw: Raw, extra: Sound, at_s: float) -> Raw:
    sound = raw.sound.copy()
    a = int(at_s * SOUND_RATE_HZ)
    extra = extra[: len(sound) - a]
    sound[a : a + len(extra)] += extra
    return Raw(raw.frames, raw.times, sound)


def with_picture(raw: Raw, change) -> Raw:
    """Apply ``change(i, frame)`` to every frame."""
    frames = [
        np.clip(change(i, f.astype(np.float32)), 0, 255).astype(np.uint8)
        for i, f in enumerate(raw.frames)
    ]
    return Raw(frames, raw.times, raw.sound)


def light_switched(raw: Raw, at: float, random: np.random.Generator) -> Raw:
    first, gain = int(at * len(raw.frames)), random.choice([0.55, 0.7, 1.35])
    side = np.linspace(random.uniform(0.6, 1), random.uniform(0.6, 1), SIZE[0])[None]
    lit = with_picture(raw, lambda i, f: f * (1 + (gain - 1) * side) if i >= first else f)
    return with_sound(lit, click(random), float(raw.times[first]) + random.uniform(-0.02, 0.01))


def bumped(raw: Raw, at: float, random: np.random.Generator) -> Raw:
    first = int(at * len(raw.frames))
    push = random.uniform(2, 8, 2) * random.choice([-1, 1], 2)
    stays = random.uniform(-2, 2, 2)
    step_s = float(raw.times[1])

    def moved(i: int, f: NDArray[np.float32]) -> NDArray[np.float32]:
        if i < first:
            return f
        t = (i - first) * step_s
        by = push * np.exp(-t / 0.12) * np.cos(2 * np.pi * 7 * t) + stays
        return cv2.warpAffine(
            f, np.float32([[1, 0, by[0]], [0, 1, by[1]]]), SIZE, borderMode=cv2.BORDER_REPLICATE
        )

    thump = click(random, 0.6)
    return with_sound(with_picture(raw, moved), thump, float(raw.times[first]))


def somebody_walks_in(raw: Raw, at: float, random: np.random.Generator) -> Raw:
    first, step_s = int(at * len(raw.frames)), float(raw.times[1])
    wide, speed = int(random.integers(40, 100)), random.uniform(50, 160)
    texture = cv2.GaussianBlur(random.integers(10, 120, SIZE[::-1]).astype(np.float32), (0, 0), 6)

    def passing(i: int, f: NDArray[np.float32]) -> NDArray[np.float32]:
        x = int((i - first) * step_s * speed) - wide
        if i < first or x >= SIZE[0]:
            return f
        out = f.copy()
        a, b = max(x, 0), min(x + wide, SIZE[0])
        if b > a:
            out[SIZE[1] // 6 :, a:b] = texture[SIZE[1] // 6 :, a - x : b - x]
        return out

    return with_picture(raw, passing)


def exposure_hunts(raw: Raw, at: float, random: np.random.Generator) -> Raw:
    first, step_s = int(at * len(raw.frames)), float(raw.times[1])
    size = random.uniform(0.1, 0.35)
    return with_picture(
        raw,
        lambda i, f: (
            f
            * (
                1
                + size
                * np.sin(2 * np.pi * 1.5 * (i - first) * step_s)
                * np.exp(-(i - first) * step_s / 0.8)
                * (i >= first)
            )
        ),
    )


def focus_hunts(raw: Raw, at: float, random: np.random.Generator) -> Raw:
    first, step_s = int(at * len(raw.frames)), float(raw.times[1])
    most = random.uniform(1.5, 4)

    def soft(i: int, f: NDArray[np.float32]) -> NDArray[np.float32]:
        t = (i - first) * step_s
        sigma = most * np.sin(np.pi * min(max(t / 0.6, 0), 1))
        return cv2.GaussianBlur(f, (0, 0), sigma) if sigma > 0.2 else f

    return with_picture(raw, soft)


def knocked(raw: Raw, at: float, random: np.random.Generator) -> Raw:
    for k in range(int(random.integers(1, 4))):
        raw = with_sound(raw, click(random, 0.6), at * float(raw.times[-1]) + 0.17 * k)
    return raw


def notified(raw: Raw, at: float, random: np.random.Generator) -> Raw:
    t = np.arange(int(0.5 * SOUND_RATE_HZ)) / SOUND_RATE_HZ
    pitch = random.choice([880.0, 1175.0, 1568.0])
    ding = np.sin(2 * np.pi * pitch * t) + 0.5 * np.sin(2 * np.pi * pitch * 2.76 * t)
    ding *= np.exp(-t / 0.12) * random.uniform(0.1, 0.4)
    return with_sound(raw, ding.astype(np.float32), at * float(raw.times[-1]))


def frames_dropped(raw: Raw, at: float, random: np.random.Generator) -> Raw:
    """A busy phone leaves frames out; time stamps stay true, the sound goes on."""
    first, lost = int(at * len(raw.frames)), int(random.integers(1, 9))
    keep = [i for i in range(len(raw.frames)) if not first <= i < first + lost]
    return Raw([raw.frames[i] for i in keep], [raw.times[i] for i in keep], raw.sound)


def hand_held(raw: Raw, random: np.random.Generator) -> Raw:
    n = len(raw.frames)
    smooth = signal.butter(2, 3.0, fs=float(1 / raw.times[1]), output="sos")
    way = signal.sosfilt(smooth, random.standard_normal((2, n + 60)), axis=1)[:, 60:]
    way *= random.uniform(0.7, 2.5) / way.std()
    return with_picture(
        raw,
        lambda i, f: cv2.warpAffine(
            f,
            np.float32([[1, 0, way[0, i]], [0, 1, way[1, i]]]),
            SIZE,
            borderMode=cv2.BORDER_REFLECT,
        ),
    )


# -- files ---------------------------------------------------------------------------------


def write(raw: Raw, path: Path, generations: int, random: np.random.Generator) -> None:
    """Encode once or twice; each time with a quality of its own."""
    for generation in range(generations):
        target = path if generation == generations - 1 else path.with_suffix(".first.mp4")
        _encode(raw, target, crf=int(random.integers(19, 27)), sound_bps=128_000)
        if target != path:
            raw = _decode(target)
            target.unlink()


def _encode(raw: Raw, path: Path, crf: int, sound_bps: int) -> None:
    with av.open(str(path), "w") as out:
        picture = out.add_stream(
            "libx264", rate=30, options={"crf": str(crf), "preset": "ultrafast", "threads": "1"}
        )
        picture.width, picture.height, picture.pix_fmt = *SIZE, "yuv420p"
        ticks = Fraction(1, 90_000)
        picture.codec_context.time_base = ticks
        sound = out.add_stream("aac", rate=SOUND_RATE_HZ)
        sound.layout, sound.bit_rate = "mono", sound_bps
        for luma, time in zip(raw.frames, raw.times, strict=True):
            yuv = np.full((SIZE[1] * 3 // 2, SIZE[0]), 128, np.uint8)
            yuv[: SIZE[1]] = luma
            frame = av.VideoFrame.from_ndarray(yuv, format="yuv420p")
            frame.pts, frame.time_base = round(time / ticks), ticks
            out.mux(picture.encode(frame))
        out.mux(picture.encode(None))
        block = av.AudioFrame.from_ndarray(raw.sound[None], format="fltp", layout="mono")
        block.sample_rate, block.pts, block.time_base = SOUND_RATE_HZ, 0, Fraction(1, SOUND_RATE_HZ)
        out.mux(sound.encode(block))
        out.mux(sound.encode(None))


def _decode(path: Path) -> Raw:
    frames, times, parts = [], [], []
    with av.open(str(path)) as container:
        for frame in container.decode(video=0):
            frames.append(frame.to_ndarray(format="gray"))
            times.append(frame.pts * frame.time_base)
    with av.open(str(path)) as container:
        for block in container.decode(audio=0):
            parts.append(block.to_ndarray()[0])
    return Raw(frames, [t - times[0] for t in times], np.concatenate(parts))
