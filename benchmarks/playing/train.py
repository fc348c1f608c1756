"""Train the network that says where notes begin and sound: ``python -m benchmarks.playing.train``.

Takes the instruments, the bank and the seeds that are set apart for tuning (``split.py``), in
clean and in random home conditions, and writes ``beginnings.npz`` into the package. Needs
scikit-learn (librosa brings it) and the Debian package fluid-soundfont-gm.
"""

from __future__ import annotations

import argparse
from collections.abc import Iterator
from pathlib import Path

import numpy as np
from benchmarks.playing import conditions, exercises, split
from benchmarks.playing.assemble import Event, Manner, perform
from benchmarks.playing.banks import Instrument, rendered
from sklearn.neural_network import MLPClassifier

import fairhearing.core.playing as room
from fairhearing.core.playing.attacks import measure_attacks
from fairhearing.core.playing.beginnings import in_context, measures
from fairhearing.core.playing.octaves import settle_octaves
from fairhearing.core.playing.pitch import HOP_S, hz_of_midi, track_pitch


def tuning_instrument(voice: split.Voice) -> Instrument:
    """Return an instrument of the tuning bank."""
    down = 12 * voice.octaves_down
    bank = rendered(voice.name, voice.program or 0, voice.low + down, voice.high + down)
    if not down:
        return bank
    # An octave lower by reading the samples at half speed: as a tuba is to a trombone.
    slow = {
        midi - down: np.interp(np.arange(0, len(s) - 1, 0.5), np.arange(len(s)), s)
        for midi, s in bank.notes.items()
    }
    lead = {midi - down: 2 * samples for midi, samples in bank.lead.items()}
    pitch = {midi - down: real - down for midi, real in bank.pitch.items()}
    return Instrument(voice.name, slow, lead, pitch)


def tuning_takes(
    seeds: range, per_voice: int
) -> Iterator[tuple[split.Voice, str, str, list[Event], np.ndarray]]:
    """Yield voice, exercise, condition, truth and sound."""
    for number, voice in enumerate(split.TUNING):
        bank = tuning_instrument(voice)
        for k in range(per_voice):
            rng = np.random.default_rng([seeds[k], number])
            made = [
                exercises.chromatic_exercise(voice.low, voice.high, rng),
                exercises.etude_exercise(voice.low, voice.high, rng),
                exercises.repeated_exercise(voice.low, voice.high, rng),
            ]
            for exercise in made:
                events = exercises.detuned(
                    exercise.events, float(rng.uniform(-35, 35)), float(rng.uniform(-8, 8))
                )
                dry = perform(
                    events, bank, rng, release_s=exercise.release_s, manner=_manner(voice, rng)
                )
                yield voice, exercise.name, "clean", events, conditions.apply("clean", dry, rng)
                for _ in range(2):
                    wet = conditions.add_room(
                        dry, float(rng.uniform(0.2, 0.8)), rng, float(rng.uniform(-3, 5))
                    )
                    noisy = conditions.add_noise(
                        wet, float(rng.uniform(15, 35)), rng, hum=bool(rng.random() < 0.5)
                    )
                    peak = float(rng.uniform(0.05, 0.9)) / np.abs(noisy).max()
                    sound = conditions.through_aac(noisy * peak, 64_000)
                    yield voice, exercise.name, "home", events, sound


def _manner(voice: split.Voice, rng: np.random.Generator) -> Manner | None:
    """Sampled notes are too even: two takes in three are played as people do."""
    if voice.kind == "mallet" or rng.random() < 1 / 3:
        return None
    return Manner(float(rng.uniform(0, 0.2)), float(rng.uniform(0, 80)), 25.0)


def examples(
    voice: split.Voice, events: list[Event], sound: np.ndarray
) -> tuple[np.ndarray, np.ndarray]:
    """Return the network's inputs and truths of one take."""
    track = track_pitch(sound, lowest_midi=voice.low - 2, highest_midi=voice.high + 2)
    track = settle_octaves(
        sound, track, kind=voice.kind, lowest_midi=voice.low - 2, highest_midi=voice.high + 2
    )
    attacks = measure_attacks(sound, track, lowest_hz=hz_of_midi(voice.low - 2))
    values = measures(attacks, track)
    truth = np.zeros((len(values), 2), dtype=bool)
    for event in events:
        frame = round(event.onset_s / HOP_S)
        truth[max(0, frame - 1) : frame + 2, 0] = True
        truth[frame : round(event.offset_s / HOP_S), 1] = True
    return in_context(values, 0, len(values)), truth


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--per-voice", type=int, default=2)
    parser.add_argument("--hidden", type=int, default=64)
    parser.add_argument("--epochs", type=int, default=12)
    parser.add_argument("--out", type=Path, help="where the weights go (default: the package)")
    options = parser.parse_args()
    inputs, truths = [], []
    for voice, _, _, events, sound in tuning_takes(split.TUNING_SEEDS, options.per_voice):
        x, y = examples(voice, events, sound)
        inputs.append(x)
        truths.append(y)
    x, y = np.concatenate(inputs), np.concatenate(truths)
    mean, spread = x.mean(axis=0), x.std(axis=0) + 1e-3
    network = MLPClassifier(
        (options.hidden,),
        batch_size=1024,
        learning_rate_init=2e-3,
        max_iter=options.epochs,
        alpha=1e-4,
        random_state=1,
        verbose=True,
    )
    network.fit((x - mean) / spread, y)
    w1 = network.coefs_[0] / spread[:, None]
    b1 = network.intercepts_[0] - mean @ w1
    target = options.out or Path(room.__file__).with_name("beginnings.npz")
    np.savez_compressed(
        target,
        w1=w1.astype(np.float32),
        b1=b1.astype(np.float32),
        w2=network.coefs_[1].astype(np.float32),
        b2=network.intercepts_[1].astype(np.float32),
    )
    print(f"{len(x)} frames, {y[:, 0].mean():.3f} beginnings, {target.stat().st_size} bytes")


if __name__ == "__main__":
    main()
