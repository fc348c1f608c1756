"""Broken and spiteful recordings without end: does anything outside the guarded child suffer?

``nice python -m benchmarks.fuzz_recording [--minutes 20] [--seed 1] [--keep FOLDER]``

Small recordings of every kind are made, then mutated: bits, lengths and counts, pieces left out,
doubled, exchanged, files cut short or grown together. Each mutant goes through the guarded pass;
its container is also read directly, many times as often, because that reader is ours. A run
fails when anything but a plain refusal comes out, when it takes longer than its limits allow, or
when a child is left behind. Prints what came out how often, and the slowest mutant.
"""

from __future__ import annotations

import argparse
import collections
import io
import json
import subprocess
import sys
import tempfile
import time
from pathlib import Path
from random import Random

from fairhearing.core.continuity.container import container_findings
from fairhearing.core.errors import RecordingError
from fairhearing.core.recording import Limits, guard, listen
from fairhearing.core.recording.facts_sent import facts_from_json, facts_to_json
from fairhearing.core.recording.opening import kind_of
from fairhearing.core.recording.reading_facts import read_facts
from fairhearing.core.recording.store import MonoStore

LIMITS = Limits(duration_s=120, start_s=30, pace=4, pictures=5000, decode_threads=2)
SLACK_S = 30.0  # the machine is shared with others
READINGS_EACH = 30
TELLING_NUMBERS = (0, 1, 0x7F, 0x80, 0xFF, 0x7FFF, 0xFFFF, 0x7FFFFFFF, 0x80000000, 0xFFFFFFFF)

SEEDS = {
    "h264.mp4": "-c:v libx264 -preset ultrafast -pix_fmt yuv420p -c:a aac",
    "front.mp4": "-c:v libx264 -bf 2 -pix_fmt yuv420p -c:a aac -movflags +faststart",
    "fragments.mp4": "-c:v libx264 -c:a aac -movflags +frag_keyframe+empty_moov -g 10",
    "hevc.mov": "-c:v libx265 -preset ultrafast -x265-params log-level=error -c:a pcm_s16le",
    "vp9.webm": "-c:v libvpx-vp9 -deadline realtime -cpu-used 8 -c:a libopus",
    "vp8.webm": "-c:v libvpx -deadline realtime -c:a libvorbis -ac 2",
    "sound.m4a": "-vn -c:a aac",
    "lossless.m4a": "-vn -c:a alac",
    "sound.mp3": "-vn -c:a libmp3lame",
    "sound.wav": "-vn",
}


def make_seeds(folder: Path) -> dict[str, bytes]:
    """One second of each kind, as small as it gets."""
    from imageio_ffmpeg import get_ffmpeg_exe  # noqa: PLC0415 - only needed to make the seeds

    made = {}
    for name, arguments in SEEDS.items():
        path = folder / name
        picture = ["-f", "lavfi", "-i", "testsrc2=s=96x64:r=15:d=1"]
        sound = ["-f", "lavfi", "-i", "sine=440:r=16000:d=1"]
        command = [get_ffmpeg_exe(), "-v", "error", "-y", *picture, *sound]
        subprocess.run([*command, *arguments.split(), str(path)], check=True)
        made[name] = path.read_bytes()
    return made


def mutate(content: bytes, other: bytes, random: Random) -> bytes:
    """Spoil a file in one to six places."""
    data = bytearray(content)
    for _ in range(random.choice((1, 1, 2, 3, 6))):
        if len(data) < 16:
            break
        # Tables lie at the ends of a file; most of its middle is sound and picture.
        span = random.choice((200, 2000, len(data)))
        place = random.randrange(min(span, len(data) - 8))
        if random.random() < 0.4:
            place = len(data) - 8 - place
        _spoil(data, max(0, place), other, random)
    return bytes(data)


def _spoil(data: bytearray, place: int, other: bytes, random: Random) -> None:
    kind = random.randrange(8)
    length = random.choice((1, 4, 16, 100, 3000))
    if kind == 0:
        data[place] ^= 1 << random.randrange(8)
    elif kind == 1:
        data[place] = random.randrange(256)
    elif kind in (2, 3):
        width = random.choice((1, 2, 4, 8))
        number = random.choice(TELLING_NUMBERS) % (1 << 8 * width)
        data[place : place + width] = number.to_bytes(width)
    elif kind == 4:
        del data[place : place + length]
    elif kind == 5:
        data[place:place] = data[place : place + length]
    elif kind == 6:
        start = random.randrange(max(1, len(other) - length))
        data[place : place + length] = other[start : start + length]
    else:
        del data[random.randrange(len(data)) :]


def read_directly(mutant: bytes) -> None:
    """Our own reading of boxes and elements, the way to the parent, and the findings from it."""
    kind = kind_of(mutant[:4096])
    if kind is None:
        return
    facts = read_facts(io.BytesIO(mutant), kind.demuxer)
    received = facts_from_json(json.loads(json.dumps(facts_to_json(facts))))
    for finding in container_findings(received):
        finding.to_report()


def hear(path: Path, children: list[subprocess.Popen[bytes]]) -> str:
    """One guarded pass; returns what came out."""
    store = MonoStore(16000)
    begun = time.monotonic()
    try:
        probe = listen(path, [store], limits=LIMITS)
        outcome = "heard, with warnings" if probe.warnings else "heard"
    except RecordingError as error:
        outcome = str(error).replace(path.name, "It")
    finally:
        store.close()
    if any(child.poll() is None for child in children):
        raise AssertionError("a child was left behind")
    if time.monotonic() - begun > LIMITS.start_s + LIMITS.pace * LIMITS.duration_s + SLACK_S:
        raise AssertionError("the limits on time did not hold")
    children.clear()
    return outcome


def count_children() -> list[subprocess.Popen[bytes]]:
    """Every child that is started from now on."""
    children: list[subprocess.Popen[bytes]] = []
    start = guard._started

    def started(*given: object) -> subprocess.Popen[bytes]:
        children.append(start(*given))  # type: ignore[arg-type]
        return children[-1]

    guard._started = started  # type: ignore[assignment]
    return children


def keep(path: Path, mutant: bytes) -> None:
    """Lay a mutant aside for a person to look at."""
    path.parent.mkdir(parents=True, exist_ok=True)
    path.write_bytes(mutant)


def main() -> int:
    """Run for the given time; return 1 when something failed."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--minutes", type=float, default=20.0)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--keep", type=Path, help="folder for mutants that made something fail")
    asked = parser.parse_args()
    random = Random(asked.seed)
    outcomes: collections.Counter[str] = collections.Counter()
    failures: collections.Counter[str] = collections.Counter()
    readings, slowest = 0, (0.0, "")
    until = time.monotonic() + 60 * asked.minutes
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        seeds = make_seeds(folder)
        children = count_children()
        while time.monotonic() < until:
            seed = random.choice(list(seeds))
            mutant = b""
            try:
                for _ in range(READINGS_EACH):
                    mutant = mutate(seeds[seed], random.choice(list(seeds.values())), random)
                    read_directly(mutant)
                    readings += 1
                path = folder / f"mutant-{seed}"
                path.write_bytes(mutant)
                begun = time.monotonic()
                outcome = hear(path, children)
                outcomes[outcome] += 1
                if asked.keep and "ended" in outcome:
                    keep(asked.keep / f"ended-{outcomes[outcome]}-{seed}", mutant)
                slowest = max(slowest, (time.monotonic() - begun, seed))
            except Exception as error:
                failures[f"{type(error).__name__}: {error}"[:100]] += 1
                if asked.keep:
                    keep(asked.keep / f"{sum(failures.values())}-{seed}", mutant)
    print(f"{sum(outcomes.values())} mutants heard in a child, {readings} read directly")
    print(f"slowest: {slowest[0]:.1f} s ({slowest[1]})")
    for outcome, count in outcomes.most_common():
        print(f"{count:7} {outcome}")
    print(f"failures: {sum(failures.values())}")
    for failure, count in failures.most_common():
        print(f"{count:7} {failure}")
    return 1 if failures else 0


if __name__ == "__main__":
    sys.exit(main())
