"""Make the cases of a use ("tuning" or "report") one by one."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from pathlib import Path

import numpy as np

from benchmarks.continuity import cases
from benchmarks.continuity.cases import Case, Raw
from benchmarks.continuity.clips import CLIPS, PROGRAMS, SOUND_RATE_HZ, in_a_room, load_clip, played

SECONDS = 6.0

PLAIN = ("plain", "hand-held")
HARD: dict[str, Callable[[Raw, float, np.random.Generator], Raw]] = {
    "light switched, with its click": cases.light_switched,
    "camera bumped, with its thump": cases.bumped,
    "somebody walks through": cases.somebody_walks_in,
    "exposure hunting": cases.exposure_hunts,
    "focus hunting": cases.focus_hunts,
    "knocks": cases.knocked,
    "notification sound": cases.notified,
    "dropped frames": cases.frames_dropped,
}
JOINS: dict[str, tuple[float, float, int, bool]] = {
    # name: seconds removed, sound fade in seconds, frames dissolved, hand-held
    "0.3 s removed": (0.3, 0.0, 0, False),
    "0.5 s removed": (0.5, 0.0, 0, False),
    "1 s removed": (1.0, 0.0, 0, False),
    "2 s removed": (2.0, 0.0, 0, False),
    "4 s removed": (4.0, 0.0, 0, False),
    "1 s removed, hand-held": (1.0, 0.0, 0, True),
    "1 s removed, sound faded 5 ms": (1.0, 0.005, 0, False),
    "1 s removed, sound faded 50 ms": (1.0, 0.05, 0, False),
    "1 s removed, dissolve of 8 frames": (1.0, 0.25, 8, False),
}
HARD_JOINS = tuple(
    name
    for name in JOINS
    if name[0] in "0124" and "faded" not in name and "dissolve" not in name and "0.3" not in name
)
UNSEEN = ("2 s dubbed", "tempo 2 % faster", "a semitone higher", "echo added")


def make(
    use: str, counts: dict[str, int], folder: Path, clips: Path, seed: int
) -> Iterator[tuple[Case, Path]]:
    """Yield cases with their files, in an order that mixes the kinds.

    ``counts`` gives a number for "plain", "hard", "joins" and "unseen", per kind.
    """
    kinds: list[str] = [kind for kind in PLAIN for _ in range(counts["plain"])]
    kinds += [kind for kind in HARD for _ in range(counts["hard"])]
    kinds += [kind for kind in JOINS for _ in range(counts["joins"])]
    kinds += [kind for kind in UNSEEN for _ in range(counts["unseen"])]
    order = np.random.default_rng(seed)
    order.shuffle(kinds)
    names = [name for name, (_, used, _) in CLIPS.items() if used == use]
    for i, kind in enumerate(kinds):
        random = np.random.default_rng([seed, i])
        clip = load_clip(names[i % len(names)], clips)
        raw, at_s = _one(kind, clip, use, random)
        path = folder / f"{use}-{i}.mp4"
        cases.write(raw, path, 1 + int(random.random() < 0.5), random)
        joined = kind in JOINS or kind in UNSEEN
        yield Case(kind, joined, at_s, clip.name, float(raw.times[-1])), path
        path.unlink()


def _one(kind: str, clip, use: str, random: np.random.Generator) -> tuple[Raw, float | None]:
    at = float(random.uniform(0.2, 0.8))
    removed = JOINS[kind][0] if kind in JOINS else 0.0
    raw = cases.cut_out(clip, use, SECONDS + removed, random)
    if kind == "plain":
        return raw, None
    if kind == "hand-held":
        return cases.hand_held(raw, random), None
    if kind in HARD:
        return HARD[kind](raw, at, random), at * float(raw.times[-1])
    if kind in JOINS:
        removed, fade_s, dissolve, held = JOINS[kind]
        raw = cases.hand_held(raw, random) if held else raw
        gone = max(round(removed / raw.times[1]), 1)
        at_s = float(raw.times[int(at * (len(raw.frames) - gone))])
        return cases.join(raw, removed, at, fade_s, dissolve), at_s
    if kind == "2 s dubbed":
        other = in_a_room(played(int(random.choice(PROGRAMS[use])), 240.0, 0), random)
        start = int(random.integers(0, len(other) - len(raw.sound)))
        at_s = at * (len(raw.sound) / SOUND_RATE_HZ - 2)
        return cases.dubbed(raw, other[start : start + len(raw.sound)], at), at_s
    return cases.changed_throughout(raw, kind), None
