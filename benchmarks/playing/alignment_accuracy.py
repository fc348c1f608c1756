"""How well takes are matched with their score: ``python -m benchmarks.playing.alignment_accuracy``.

One table: perfect hearing, strokes without pitch, and real recorded notes heard by the program
in clean and home conditions, each beside a plain edit distance in the same run. Seeds, bank and
instruments are the ones that nothing was tuned on (``--tuning`` uses the others).

Conventions: a pair (heard note, written note) is right when a played note of that written note
starts within 100 ms of the heard one; a restart when it is placed within 1 s; a statement about a
note ("wrong", "missed") is compared with its last attempt.
"""

from __future__ import annotations

import argparse
import time
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, field

import numpy as np
from benchmarks.playing import split
from benchmarks.playing.alignment_sound import HeardTake, heard_take
from benchmarks.playing.alignment_takes import (
    TEST_SEEDS,
    TRILLED,
    TUNING_SEEDS,
    Slips,
    Take,
    make_etude,
    play,
)
from benchmarks.playing.banks import recorded

from fairhearing.core.playing.alignment import Alignment, Outcome, Score, align

ONSET_S = 0.1
RESTART_S = 1.0
Pairs = Sequence[tuple[int, int]]


@dataclass(slots=True)
class Tally:
    """Counts over the takes of one row: hits, stated, true for each kind of statement."""

    f1: list[float] = field(default_factory=list)
    reference: list[float] = field(default_factory=list)
    tempo: list[float] = field(default_factory=list)
    seconds: float = 0.0
    music_s: float = 0.0
    unrecognised: int = 0
    counts: dict[str, list[int]] = field(
        default_factory=lambda: {
            key: [0, 0, 0] for key in ("wrong", "missed", "extra", "restart", "skip")
        }
    )

    def add(self, key: str, hits: int, stated: int, true: int) -> None:
        for place, value in enumerate((hits, stated, true)):
            self.counts[key][place] += value


def match_f1(pairs: Pairs, heard_onsets: Sequence[float], take: Take) -> float:
    """F1 of matched pairs against the truth."""
    free: dict[int, list[float]] = {}
    for note, written in zip(take.notes, take.of, strict=True):
        if written is not None and written != TRILLED:
            free.setdefault(written, []).append(note.onset_s)
    true = sum(len(onsets) for onsets in free.values())
    hits = 0
    for note, written in pairs:
        onsets = free.get(written, [])
        near = [o for o in onsets if abs(o - heard_onsets[note]) <= ONSET_S]
        if near:
            onsets.remove(min(near, key=lambda o: abs(o - heard_onsets[note])))
            hits += 1
    return 2 * hits / max(1, true + len(pairs))


def edit_distance(score: Score, heard: Sequence[int | None]) -> list[tuple[int, int]]:
    """The reference: unit costs, pitches only; pairs of equal or substituted notes."""
    page = [(k, n.midi) for k, n in enumerate(score.notes) if not n.tied]
    m, n = len(heard), len(page)
    cost = np.zeros((m + 1, n + 1), dtype=np.int32)
    cost[:, 0], cost[0, :] = np.arange(m + 1), np.arange(n + 1)
    for i in range(1, m + 1):
        for j in range(1, n + 1):
            change = cost[i - 1, j - 1] + (page[j - 1][1] not in (None, heard[i - 1]))
            cost[i, j] = min(change, cost[i - 1, j] + 1, cost[i, j - 1] + 1)
    pairs, i, j = [], m, n
    while i and j:
        if cost[i, j] == cost[i - 1, j - 1] + (page[j - 1][1] not in (None, heard[i - 1])):
            pairs.append((i - 1, page[j - 1][0]))
            i, j = i - 1, j - 1
        elif cost[i, j] == cost[i - 1, j] + 1:
            i -= 1
        else:
            j -= 1
    return pairs[::-1]


def tally(found: Alignment, one: HeardTake, into: Tally) -> None:
    """Compare one alignment with the truth of its take."""
    take = one.take
    onsets = [note.onset_s for note in one.heard]
    into.unrecognised += not found.recognised
    into.f1.append(match_f1(found.pairs, onsets, take))
    reference = edit_distance(one.score, [note.midi for note in one.heard])
    into.reference.append(match_f1(reference, onsets, take))
    if found.tempo_bpm is not None:
        into.tempo.append(abs(found.tempo_bpm / take.bpm - 1))
    for outcome in (Outcome.WRONG, Outcome.MISSED):
        last = {r.score_index: r.outcome for r in found.results}
        stated = {k for k, what in last.items() if what is outcome}
        true = {k for k, what in take.outcome.items() if what == outcome.value}
        into.add(outcome.value, len(stated & true), len(stated), len(true))
    stray = [n.onset_s for n, of in zip(take.notes, take.of, strict=True) if of is None]
    sure = [extra.onset_s for extra in found.extras if extra.sure]
    hits = sum(any(abs(a - b) <= ONSET_S for b in stray) for a in sure)
    into.add("extra", hits, len(sure), len(stray))
    true_s, stated_s = [r[0] for r in take.restarts], [r.at_s for r in found.restarts]
    hits = sum(any(abs(a - b) <= RESTART_S for b in stated_s) for a in true_s)
    into.add("restart", hits, len(stated_s), len(true_s))
    skipped = [(s.first_bar, s.last_bar) for s in found.skips]
    into.add("skip", sum(s in skipped for s in take.skipped), len(skipped), len(take.skipped))


def run(name: str, takes: Iterator[HeardTake]) -> Tally:
    """Align the takes of one row and print it."""
    row = Tally()
    for one in takes:
        begin = time.process_time()
        found = align(one.score, one.heard)
        row.seconds += time.process_time() - begin
        row.music_s += one.take.notes[-1].offset_s
        tally(found, one, row)
    numbers = [f"{np.mean(row.f1):.3f}", f"{min(row.f1):.3f}", f"{np.mean(row.reference):.3f}"]
    for key in ("wrong", "missed", "extra", "restart", "skip"):
        hits, stated, true = row.counts[key]
        precision = f"{hits / stated:.2f}" if stated else " – "
        recall = f"{hits / true:.2f}" if true else " – "
        numbers.append(f"{precision}/{recall}")
    numbers.append(f"{100 * np.median(row.tempo):.1f} %" if row.tempo else "–")
    numbers.append(f"{row.music_s / row.seconds:.0f}×")
    print(f"{name:<28}{len(row.f1):>6}" + "".join(f"{n:>12}" for n in numbers), flush=True)
    return row


def symbolic(seeds: range, *, ornaments: bool = False, drum: bool = False) -> Iterator[HeardTake]:
    """Takes as a perfect hearing would give them."""
    for seed in seeds:
        score = make_etude(
            seed,
            bars=32,
            beats=3 + seed % 2,
            pickup=seed % 3 == 0,
            repeat=seed % 4 == 1,
            ornaments=ornaments,
            drum=drum,
        )
        take = play(score, seed, take_repeats=seed % 8 == 1)
        yield HeardTake("", "perfect", score, take, tuple(take.notes))  # type: ignore[arg-type]


def sound(condition: str, *, tuning: bool, each: int) -> Iterator[HeardTake]:
    """Takes on recorded notes, heard by the program."""
    voices = split.TUNING if tuning else split.TEST
    seeds = split.TUNING_SEEDS if tuning else split.TEST_SEEDS
    for number, voice in enumerate(voices):
        if tuning:
            from benchmarks.playing.train import tuning_instrument  # noqa: PLC0415 (needs sklearn)

            bank = tuning_instrument(voice)
        else:
            bank = recorded(voice.name)
        for k in range(each):
            yield heard_take(voice, bank, condition, seeds[number * each + k])


def other_pieces(seeds: range, *, drum: bool) -> tuple[int, int]:
    """How many takes of another piece (rhythm) in the same range are taken for this one."""
    taken = 0
    for seed in seeds:
        score = make_etude(seed, bars=16, drum=drum)
        take = play(make_etude(seed + 5000, bars=16, drum=drum), seed, Slips())
        taken += align(score, take.notes).recognised
    return taken, len(seeds)


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--tuning", action="store_true", help="the seeds and bank of tuning")
    parser.add_argument("--each", type=int, default=3, help="sounding takes per instrument")
    parser.add_argument("--no-sound", action="store_true", help="only perfect hearing")
    asked = parser.parse_args()
    seeds = TUNING_SEEDS if asked.tuning else TEST_SEEDS
    head = ["match F1", "lowest", "edit dist.", "wrong", "missed", "extra", "restart", "skip"]
    head += ["tempo", "speed"]
    print(f"{'':<28}{'takes':>6}" + "".join(f"{word:>12}" for word in head))
    rows: list[tuple[str, Callable[[], Iterator[HeardTake]]]] = [
        ("perfect hearing", lambda: symbolic(seeds)),
        ("with grace notes and trills", lambda: symbolic(seeds, ornaments=True)),
        ("strokes without pitch", lambda: symbolic(seeds, drum=True)),
    ]
    if not asked.no_sound:
        rows += [
            ("heard, clean", lambda: sound("clean", tuning=asked.tuning, each=asked.each)),
            ("heard, home", lambda: sound("home", tuning=asked.tuning, each=asked.each)),
        ]
    for name, takes in rows:
        run(name, takes())
    for drum, what in ((False, "piece"), (True, "rhythm without pitch")):
        taken, count = other_pieces(seeds, drum=drum)
        print(f"takes of another {what} taken for this one: {taken} of {count}")
    print("wrong, missed, extra, restart, skip: precision/recall of what is stated; tempo: median")
    print("error; speed: seconds of music per second of one core, alignment alone")


if __name__ == "__main__":
    main()
