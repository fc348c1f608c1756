"""The same recording twice: how many copies are found, how many pairs of players are confused.

Players of one etude are rendered from the same samples of the same SoundFont, half of them in
step with a metronome at one tempo, so that they are more alike than people in different rooms
with different instruments can be.

Run as ``python -m benchmarks.continuity.copies [players]``.
"""

from __future__ import annotations

import io
import sys
import time

import av
import numpy as np
from numpy.typing import NDArray
from scipy import signal

from benchmarks.continuity.clips import SOUND_RATE_HZ, in_a_room, rendered
from fairhearing.core.continuity.fingerprint import Fingerprint, fingerprint
from fairhearing.core.continuity.same_recording import RULES, compare, find_copies

Sound = NDArray[np.float32]
ETUDE_S = 60.0
PROGRAMS = {"clarinet": 71, "trumpet": 56}


def etude(seed: int) -> list[tuple[float, float, int]]:
    """Return (onset, length, pitch) in beats and MIDI numbers."""
    random = np.random.default_rng(seed)
    beat, pitch, notes = 0.0, 64, []
    while beat < 88:
        length = float(random.choice([0.5, 0.5, 1.0, 1.0, 1.5, 2.0]))
        if random.random() > 0.1:
            pitch = int(np.clip(pitch + random.choice([-4, -2, -1, 1, 2, 3, 5]), 55, 77))
            notes.append((beat, length, pitch))
        beat += length
    return notes


def players(program: int, count: int, seed: int) -> list[Sound]:
    """Return performances of one etude, in rooms of their own."""
    random = np.random.default_rng(seed)
    score = etude(1)
    events, starts = [], []
    for k in range(count):
        start = k * (ETUDE_S + 6)
        metronome = k % 2 == 0
        beat_s = 0.6 if metronome else 0.6 * random.normal(1, 0.05)
        spread_s = random.uniform(0.01, 0.03)
        for beat, length, pitch in score:
            onset = start + 0.5 + beat * beat_s + random.normal(0, spread_s)
            held = length * beat_s * random.uniform(0.75, 0.98)
            velocity = int(np.clip(random.normal(90, 12), 30, 127))
            events += [(max(onset, 0), pitch, velocity), (max(onset, 0) + held, pitch, 0)]
        starts.append(start)
    line = rendered(program, events, starts[-1] + ETUDE_S + 6)
    n = int(ETUDE_S * SOUND_RATE_HZ)
    return [in_a_room(line[int(s * SOUND_RATE_HZ) :][:n], random) for s in starts]


def coded(sound: Sound, rate_hz: int, bit_rate: int, codec: str = "aac") -> Sound:
    file = io.BytesIO()
    with av.open(file, "w", format="mp4" if codec == "aac" else "webm") as out:
        stream = out.add_stream(codec, rate=rate_hz)
        stream.layout, stream.bit_rate = "mono", bit_rate
        packing = "fltp" if codec == "aac" else "flt"
        block = av.AudioFrame.from_ndarray(sound[None].astype(np.float32), packing, "mono")
        block.sample_rate = rate_hz
        out.mux(stream.encode(block))
        out.mux(stream.encode(None))
    file.seek(0)
    with av.open(file) as back:
        return np.concatenate([f.to_ndarray()[0] for f in back.decode(audio=0)])


def dressed(sound: Sound, kind: str, random: np.random.Generator) -> tuple[Sound, int]:
    """Return a copy in another dress and its sample rate."""
    if kind == "AAC 48 kbit/s":
        return coded(sound, SOUND_RATE_HZ, 48_000), SOUND_RATE_HZ
    if kind == "Opus 24 kbit/s":
        return coded(sound, SOUND_RATE_HZ, 24_000, "libopus"), SOUND_RATE_HZ
    if kind == "44.1 kHz, AAC 64 kbit/s":
        other = signal.resample_poly(sound, 147, 160).astype(np.float32)
        return coded(other, 44_100, 64_000), 44_100
    if kind == "cut to 20 s, AAC 64 kbit/s":
        first = int(random.uniform(5, ETUDE_S - 25) * SOUND_RATE_HZ)
        return coded(sound[first : first + 20 * SOUND_RATE_HZ], SOUND_RATE_HZ, 64_000), 48_000
    narrow = signal.butter(2, [200, 6000], "bandpass", fs=SOUND_RATE_HZ, output="sos")
    played_back = signal.sosfilt(narrow, sound).astype(np.float32)
    return coded(in_a_room(played_back, random), SOUND_RATE_HZ, 64_000), SOUND_RATE_HZ


DRESSES = (
    "AAC 48 kbit/s",
    "Opus 24 kbit/s",
    "44.1 kHz, AAC 64 kbit/s",
    "cut to 20 s, AAC 64 kbit/s",
    "played back in another room, AAC 64 kbit/s",
)


def main(count: int) -> None:
    random = np.random.default_rng(11)
    found: dict[str, list[bool]] = {kind: [] for kind in DRESSES}
    closest = []
    for name, program in PROGRAMS.items():
        takes = players(program, count, seed=program)
        prints = [fingerprint(take, SOUND_RATE_HZ) for take in takes]
        for i, take in enumerate(takes):
            kind = DRESSES[i % len(DRESSES)]
            copy = fingerprint(*dressed(take, kind, random))
            found[kind].append(compare("a", prints[i], "b", copy) is not None)
        for i in range(count):
            for j in range(i):
                pair = compare("a", prints[i], "b", prints[j], rules=((1, 0.0),))
                closest.append((pair.moments, pair.share) if pair else (0, 0.0))
        print(f"{name}: {np.mean([len(p.hashes) for p in prints]):.0f} hashes a minute of take")
    for kind, hits in found.items():
        print(f"  {kind:45s} found {np.mean(hits):6.1%} of {len(hits)}")
    hits = [hit for kind in found.values() for hit in kind]
    print(f"  {'all copies':45s} found {np.mean(hits):6.1%} of {len(hits)}")
    moments, share = np.array(closest).T
    confused = np.zeros(len(moments), dtype=bool)
    for least, least_share in RULES:
        confused |= (moments >= least) & (share >= least_share)
    print(f"pairs of different players of one etude: {len(closest)}, confused: {confused.sum()}")
    enough = moments >= RULES[0][0]
    print(
        f"  most moments {moments.max():.0f}; largest share among those with enough "
        f"{share[enough].max(initial=0):.2f} (a copy needs {RULES})"
    )
    season(random)


def season(random: np.random.Generator, takes: int = 30_000) -> None:
    """Time a search over a season of made-up hashes with some copies put in.

    Thirteen etudes; of a take's hashes 15 in 100 come from 20,000 that players of its etude
    share, so that two of them have about seven in common at all shifts together.
    """
    pools = random.integers(0, 2**32, (13, 20_000), dtype=np.uint32)
    many = {}
    for k in range(takes):
        n = int(random.integers(1500, 3000))
        own = random.integers(0, 2**32, n, dtype=np.uint32)
        shared = random.random(n) < 0.15
        own[shared] = random.choice(pools[k % 13], int(shared.sum()))
        places = np.sort(random.integers(0, 300_000, n)).astype(np.uint32)
        many[f"{k:05d}"] = Fingerprint(own, places, 300.0)
    for k in range(20):
        source = many[f"{k:05d}"]
        keep = np.sort(random.choice(len(source.hashes), len(source.hashes) // 6, replace=False))
        many[f"copy{k}"] = Fingerprint(source.hashes[keep], source.places_ms[keep] + 1600, 300.0)
    started = time.perf_counter()
    found = find_copies(many)
    print(
        f"season of {len(many)} takes, all against all: {time.perf_counter() - started:.0f} s, "
        f"{sum(c.second.startswith('copy') for c in found)} of 20 copies, "
        f"{sum(not c.second.startswith('copy') for c in found)} others"
    )


if __name__ == "__main__":
    main(int(sys.argv[1]) if len(sys.argv) > 1 else 102)
