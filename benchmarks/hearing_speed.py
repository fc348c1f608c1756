"""How long a hearing takes beside a plain decode of the same file, and how much memory.

``python -m benchmarks.hearing_speed [--seconds 300] [--rounds 3] [--roles plain-1,hearing …]``

A phone-like take (1080p, 30 pictures a second, H.264 High at 14 Mbit/s with AAC) is generated.
Each role runs in a process of its own; rounds alternate, so that a busy machine is unkind to all
of them alike. Printed: median wall time, ratio to the plain decode (one thread) of the same
round, processor time, and peak memory of the parent and of its guarded child.
"""

from __future__ import annotations

import argparse
import json
import resource
import statistics
import subprocess
import sys
import tempfile
import time
import wave
from collections.abc import Callable
from pathlib import Path

import av
import numpy as np

PATTERN_S = 20
RATE_HZ = 48000


def make_take(folder: Path, seconds: int) -> Path:
    """A noisy moving picture that a coder cannot make small, and a player's notes."""
    from imageio_ffmpeg import get_ffmpeg_exe  # noqa: PLC0415 - only needed to make the take

    take = folder / f"take-{seconds}.mp4"
    if take.exists():
        return take
    pattern, sound = folder / "pattern.mp4", folder / "sound.wav"
    source = f"testsrc2=s=1920x1080:r=30:d={PATTERN_S},noise=alls=9:allf=t"
    coder = "-c:v libx264 -preset veryfast -profile:v high -b:v 14M -bf 0 -g 30 -pix_fmt yuv420p"
    run = [get_ffmpeg_exe(), "-v", "error", "-y"]
    subprocess.run([*run, "-f", "lavfi", "-i", source, *coder.split(), str(pattern)], check=True)
    write_notes(sound, seconds)
    loops = str(-(-seconds // PATTERN_S) - 1)
    inputs = ["-stream_loop", loops, "-i", str(pattern), "-i", str(sound)]
    coded = ["-c:v", "copy", "-c:a", "aac", "-b:a", "160k", "-t", str(seconds)]
    partial = take.with_suffix(".part.mp4")
    subprocess.run([*run, *inputs, *coded, str(partial)], check=True)
    partial.rename(take)
    return take


def write_notes(path: Path, seconds: int) -> None:
    """Half-second notes with partials, up and down two octaves, in a little noise."""
    rng = np.random.default_rng(11)
    note = np.arange(RATE_HZ // 2) / RATE_HZ
    shape = np.minimum(1, np.minimum(note / 0.02, (0.5 - note) / 0.06))
    steps = [*range(24), *range(24, 0, -1)]
    with wave.open(str(path), "wb") as file:
        file.setnchannels(2)
        file.setsampwidth(2)
        file.setframerate(RATE_HZ)
        for n in range(2 * seconds):
            hertz = 220 * 2 ** (steps[n % len(steps)] / 12)
            tone = sum(np.sin(2 * np.pi * hertz * k * note) / k for k in range(1, 9))
            sound = 0.15 * tone * shape + 1e-3 * rng.standard_normal(len(note))
            stereo = np.repeat((sound * 32767).astype("<i2")[:, None], 2, axis=1)
            file.writeframes(stereo.tobytes())


def plain(path: Path, threads: int | None) -> None:
    """Decode everything and keep nothing."""
    with av.open(str(path)) as container:
        video, audio = container.streams.video[0], container.streams.audio[0]
        if threads is not None:
            video.codec_context.thread_count = threads
        for packet in container.demux(video, audio):
            for _ in packet.decode():
                pass


def frame_threads(path: Path) -> None:
    """The fastest plain decode: whole pictures in parallel on two threads."""
    with av.open(str(path)) as container:
        video, audio = container.streams.video[0], container.streams.audio[0]
        video.codec_context.thread_type = "FRAME"
        video.codec_context.thread_count = 2
        for packet in container.demux(video, audio):
            for _ in packet.decode():
                pass


def screening(path: Path) -> None:
    """Boxes, first picture and digest only."""
    from fairhearing.core.recording import screen  # noqa: PLC0415

    screen(path)


def pass_alone(path: Path) -> None:
    """The guarded pass without anybody watching."""
    from fairhearing.core.recording import listen  # noqa: PLC0415 - counted with its imports

    listen(path, [])


def pass_and_store(path: Path) -> None:
    """The guarded pass and the mono sound at 16 kHz."""
    from fairhearing.core.recording import listen  # noqa: PLC0415
    from fairhearing.core.recording.store import MonoStore  # noqa: PLC0415

    listen(path, [MonoStore(16000)])


def whole_hearing(path: Path) -> None:
    """Everything that ``fairhearing hear`` does."""
    from fairhearing.hearing import hear  # noqa: PLC0415

    hear(path)


ROLES: dict[str, Callable[[Path], None]] = {
    "plain-1": lambda path: plain(path, 1),
    "plain-default": lambda path: plain(path, None),
    "plain-frames-2": frame_threads,
    "screen": screening,
    "pass": pass_alone,
    "pass+store": pass_and_store,
    "hearing": whole_hearing,
}


def play_role(role: str, path: Path) -> None:
    """Run one role in this process and print its costs as JSON."""
    begun = time.perf_counter()
    ROLES[role](path)
    wall = time.perf_counter() - begun
    own = resource.getrusage(resource.RUSAGE_SELF)
    child = resource.getrusage(resource.RUSAGE_CHILDREN)
    print(
        json.dumps(
            {
                "wall_s": wall,
                "cpu_s": own.ru_utime + own.ru_stime + child.ru_utime + child.ru_stime,
                "parent_mib": own.ru_maxrss / 1024,
                "child_mib": child.ru_maxrss / 1024,
            }
        )
    )


def measure(role: str, path: Path) -> dict[str, float]:
    """Run one role in a process of its own."""
    command = [sys.executable, "-m", "benchmarks.hearing_speed", "--play", role, str(path)]
    done = subprocess.run(command, check=True, stdout=subprocess.PIPE, text=True)
    costs: dict[str, float] = json.loads(done.stdout.splitlines()[-1])
    return costs


def main() -> None:
    """Print the table."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--seconds", type=int, default=300)
    parser.add_argument("--rounds", type=int, default=3)
    parser.add_argument("--roles", default=",".join(ROLES))
    parser.add_argument("--folder", type=Path, default=Path(tempfile.gettempdir()) / "fh-speed")
    parser.add_argument("--play", nargs=2, metavar=("ROLE", "FILE"), help=argparse.SUPPRESS)
    asked = parser.parse_args()
    if asked.play:
        play_role(asked.play[0], Path(asked.play[1]))
        return
    asked.folder.mkdir(parents=True, exist_ok=True)
    path = make_take(asked.folder, asked.seconds)
    roles = [role for role in ROLES if role in asked.roles.split(",") or role == "plain-1"]
    costs: dict[str, list[dict[str, float]]] = {role: [] for role in roles}
    for _ in range(asked.rounds):
        for role in roles:
            costs[role].append(measure(role, path))
    print(f"{path.name}, {path.stat().st_size / 2**20:.0f} MiB, rounds: {asked.rounds}")
    print(
        f"{'role':16} {'wall s':>8} {'× plain-1':>10} {'cpu s':>8} {'× cpu':>6} "
        f"{'parent MiB':>11} child MiB"
    )
    for role in roles:
        runs = costs[role]
        ratios = [
            run["wall_s"] / base["wall_s"] for run, base in zip(runs, costs["plain-1"], strict=True)
        ]
        processor = [
            run["cpu_s"] / base["cpu_s"] for run, base in zip(runs, costs["plain-1"], strict=True)
        ]
        print(
            f"{role:16} {statistics.median(r['wall_s'] for r in runs):8.1f} "
            f"{statistics.median(ratios):10.2f} {statistics.median(r['cpu_s'] for r in runs):8.1f} "
            f"{statistics.median(processor):6.2f} "
            f"{max(r['parent_mib'] for r in runs):11.0f} {max(r['child_mib'] for r in runs):9.0f}"
        )


if __name__ == "__main__":
    main()
