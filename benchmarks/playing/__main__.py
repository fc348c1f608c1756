"""Accuracy and speed of what is heard in a take: ``python -m benchmarks.playing``.

Builds performances with exact truth from real recorded notes (fetched with npm; none of their
instruments, and no seed, was used in tuning), clean and at home, and prints one table: ours,
SwiftF0's own note segmenter, and ``librosa.pyin`` with onsets and median pitch (chromatic and
etude only; it is slow), all on the same sound in the same run. ``--own FOLDER`` adds a school's
own takes: a sound file and beside it a table of the same name, ``onset_s,offset_s,pitch`` in CSV.
"""

from __future__ import annotations

import argparse
import datetime
import time
from collections import defaultdict
from pathlib import Path

import numpy as np
from benchmarks.playing import conditions, exercises, split
from benchmarks.playing.assemble import Event, perform
from benchmarks.playing.banks import RATE_HZ, decode, recorded
from benchmarks.playing.measures import note_f1, notes_of, scales_right
from benchmarks.playing.references import pyin_notes, segmenter_notes

from fairhearing.core.playing import Player, Playing, hear_playing
from fairhearing.core.playing.annotations import read_annotations

Table = dict[tuple[str, ...], list[float]]


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--seeds", type=int, default=1, help="takes of each kind (default 1)")
    parser.add_argument("--first", type=int, default=1, help="first seed (default 1)")
    parser.add_argument("--only", help="one instrument of the test bank")
    parser.add_argument("--no-pyin", action="store_true", help="leave the slow reference out")
    parser.add_argument("--own", type=Path, help="a folder with your own annotated takes")
    options = parser.parse_args()
    seeds = f"seeds {options.first} to {options.first + options.seeds - 1}"
    print(f"benchmarks.playing, {datetime.date.today():%d %B %Y}, {seeds}")
    table: Table = defaultdict(list)
    for number, voice in enumerate(split.TEST):
        if options.only in (None, voice.name):
            _voice(number, voice, options, table)
    if options.own:
        _own(options.own, table)
    report(table)


def _voice(number: int, voice: split.Voice, options: argparse.Namespace, table: Table) -> None:
    bank = recorded(voice.name)
    first = split.TEST_SEEDS.index(options.first)
    for seed in split.TEST_SEEDS[first : first + options.seeds]:
        rng = np.random.default_rng([seed, number])
        scales, truth = exercises.scales_exercise(voice.low, voice.high, rng)
        made = [
            exercises.chromatic_exercise(voice.low, voice.high, rng),
            exercises.etude_exercise(voice.low, voice.high, rng),
            exercises.repeated_exercise(voice.low, voice.high, rng),
            scales,
        ]
        for exercise in made:
            cents, drift = float(rng.uniform(-30, 30)), float(rng.uniform(-6, 6))
            events = exercises.detuned(exercise.events, cents, drift)
            dry = perform(events, bank, rng, release_s=exercise.release_s)
            for condition in conditions.CONDITIONS:
                sound = conditions.apply(condition, dry, rng)
                key = (condition, exercise.name)
                slow = exercise.name in ("chromatic", "etude") and not options.no_pyin
                playing = _hear(voice, sound, events, key, table, pyin=slow)
                if exercise.name == "scales":
                    _scales(playing, truth, condition, table)


def _player(voice: split.Voice) -> Player:
    return Player(
        voice.low - 2, voice.high + 2, 0, "mallet" if voice.kind == "mallet" else "melodic"
    )


def _hear(
    voice: split.Voice,
    sound: np.ndarray,
    events: list[Event],
    key: tuple[str, str],
    table: Table,
    *,
    pyin: bool,
) -> Playing:
    condition, exercise = key
    length_s = len(sound) / RATE_HZ
    begun = time.process_time()
    playing = hear_playing(sound, player=_player(voice))
    table["speed", "ours"].append(length_s / (time.process_time() - begun))
    f1 = note_f1(events, notes_of(playing))
    table["f1", condition, exercise, "ours"].append(f1)
    table["voice", condition, voice.name].append(f1)
    spoken = sum(end - start for start, end in playing.speech)
    table["speech", condition].append(spoken / length_s)
    if playing.tuning.cents is not None:
        true_cents = 100 * float(np.median([e.midi - round(e.midi) for e in events]))
        table["tuning", condition].append(abs(playing.tuning.cents - true_cents))
    begun = time.process_time()
    table["f1", condition, exercise, "segmenter"].append(
        note_f1(events, segmenter_notes(sound, voice.low - 2, voice.high + 2))
    )
    table["speed", "segmenter"].append(length_s / (time.process_time() - begun))
    if pyin:
        begun = time.process_time()
        table["f1", condition, exercise, "pyin"].append(
            note_f1(events, pyin_notes(sound, voice.low - 2, voice.high + 2))
        )
        table["speed", "pyin"].append(length_s / (time.process_time() - begun))
    return playing


def _scales(
    playing: Playing, truth: list[exercises.ScaleTruth], condition: str, table: Table
) -> None:
    for name, value in scales_right(truth, playing.scales.played).items():
        table["scales", condition, name].append(value)
    start_s = playing.scales.window_start_s
    table["scales", condition, "start"].append(
        abs(start_s - truth[0].start_s) if start_s is not None else np.inf
    )


def _own(folder: Path, table: Table) -> None:
    for path in sorted(folder.glob("*.csv")):
        sounds = [p for p in folder.glob(f"{path.stem}.*") if p.suffix != ".csv"]
        if not sounds:
            print(f"{path.name}: no sound file of that name beside it; left out")
            continue
        events = [Event(n.onset_s, n.offset_s, n.pitch_midi) for n in read_annotations(path)]
        playing = hear_playing(decode(sounds[0]))
        table["own", path.stem].append(note_f1(events, notes_of(playing)))


def report(table: Table) -> None:
    names = [n for n in ("ours", "segmenter", "pyin") if ("speed", n) in table]
    print(f"\n{'note F1 (50 ms, 50 cents)':34}" + "".join(f"{n:>11}" for n in names))
    for condition in conditions.CONDITIONS:
        for exercise in ("chromatic", "etude", "repeated", "scales"):
            cells = [table.get(("f1", condition, exercise, n), []) for n in names]
            if cells[0]:
                label = f"{condition}, {exercise}"
                print(f"{label:34}" + "".join(_cell(c) for c in cells))
    print(f"{'× real time, one core':34}" + "".join(f"{_rate(table, n):11.0f}" for n in names))
    print(f"\n{'note F1 by instrument, ours':34}{'clean':>11}{'home':>11}")
    for voice in split.TEST:
        cells = [table.get(("voice", c, voice.name), []) for c in conditions.CONDITIONS]
        if cells[0]:
            print(f"{voice.name:34}" + "".join(f"{np.mean(c):11.3f}" for c in cells))
    print(f"\n{'other measures, ours':34}{'clean':>11}{'home':>11}")
    for label, value in _others(table).items():
        print(f"{label:34}" + "".join(f"{v:>11}" for v in value))
    for key, value in table.items():
        if key[0] == "own":
            print(f"{'own take: ' + key[1]:34}{np.mean(value):11.3f}")


def _cell(values: list[float]) -> str:
    return f"{np.mean(values):11.3f}" if values else f"{'–':>11}"


def _rate(table: Table, name: str) -> float:
    rates = np.array(table["speed", name])
    return float(len(rates) / np.sum(1 / rates))


def _others(table: Table) -> dict[str, list[str]]:
    rows: dict[str, list[str]] = defaultdict(list)
    for c in conditions.CONDITIONS:
        count = {n: int(sum(table["scales", c, n])) for n in ("wanted", "found", "false", "exact")}
        lists = len(table["scales", c, "exact"])
        rows["complete scales found"].append(f"{count['found']}/{count['wanted']}")
        rows["called complete and false"].append(str(count["false"]))
        rows["exact ordered lists"].append(f"{count['exact']}/{lists}")
        start = np.array(table["scales", c, "start"])
        rows["start of the time within 0.1 s"].append(f"{int(np.sum(start <= 0.1))}/{len(start)}")
        tuning = np.array(table["tuning", c])
        rows["tuning centre off, median (cents)"].append(f"{np.median(tuning):.1f}")
        rows["tuning centre off, worst (cents)"].append(f"{np.max(tuning):.1f}")
        rows["playing called speech (%)"].append(f"{100 * np.mean(table['speech', c]):.1f}")
    return rows


if __name__ == "__main__":
    main()
