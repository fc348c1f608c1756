"""``python -m benchmarks.judging [--seasons N]``: every floor of the judging room, with references.

Seeds start at 20 000; nothing was tuned on them.
"""

from __future__ import annotations

import argparse
import datetime

import numpy as np
from rich.console import Console
from rich.table import Table

from benchmarks.judging import accuracy, detection, speed, uncertainty

FIRST_SEED = 20_000
console = Console(width=110, highlight=False)


def table(title: str, *columns: str) -> Table:
    made = Table(title=title, title_justify="left", box=None, pad_edge=False)
    for number, name in enumerate(columns):
        made.add_column(name, justify="right" if number else "left")
    return made


def met(reached: bool) -> str:
    return "reached" if reached else "MISSED"


def show_accuracy(seeds: range) -> None:
    found = accuracy.ranking(seeds)
    made = table(
        f"Finding the better player: {accuracy.STUDENTS} students, {accuracy.PER_TAKE} of "
        f"{accuracy.JUDGES} judges, 6 criteria, {len(seeds)} seasons",
        "method", "tau, random panels", "right third", "tau, panels follow ability", "right third",
    )  # fmt: skip
    for name in accuracy.METHODS:
        cells = [found[mode][name] for mode in ("random", "ability")]
        made.add_row(name, *(f"{value:.3f}" for pair in cells for value in pair))
    console.print(made)
    ability = {name: pair[0] for name, pair in found["ability"].items()}
    over_raw = ability["fair score"] - ability["raw mean"]
    over_z = ability["fair score"] - ability["z-score per judge"]
    console.print(f"over raw means by {over_raw:.3f} (floor .05): {met(over_raw >= 0.05)}")
    console.print(f"over z-scores by {over_z:.3f} (floor .15): {met(over_z >= 0.15)}\n")


def show_linking(seeds: range) -> None:
    refused, by_added = accuracy.closed_panels(seeds)
    console.print(
        f"Closed panels refused: {refused} of {len(seeds)} (floor all): "
        f"{met(refused == len(seeds))}"
    )
    taus = ", ".join(f"{added} a panel {value:.3f}" for added, value in by_added.items())
    console.print(f"tau with cross-marks added: {taus}")
    drift = accuracy.listening_order(seeds)
    console.print(
        "tau when judges drift: "
        + ", ".join(f"{name} {value:.3f}" for name, value in drift.items())
        + "\n"
    )


def show_uncertainty(seeds: range, more: range) -> None:
    for mode in ("random", "ability"):
        found = uncertainty.calibration(more, mode)
        made = table(
            f"Stated and true probability, {mode} panels, {len(more)} seasons",
            "stated", "true: better player", "pairs", "true: same order again", "pairs",
        )  # fmt: skip
        for at in range(len(uncertainty.EDGES) - 1):
            better, again = found["better"][at], found["reversed"][at]
            made.add_row(
                f"{uncertainty.EDGES[at]:.2f}–{min(uncertainty.EDGES[at + 1], 1):.2f}",
                f"{better[1]:.3f} ({better[1] - better[0]:+.3f})",
                f"{better[2]:.0f}",
                f"{again[1]:.3f} ({again[1] - again[0]:+.3f})",
                f"{again[2]:.0f}",
            )
        console.print(made)
        for name, columns in found.items():
            worst = float(np.max(np.abs(columns[:, 1] - columns[:, 0])))
            console.print(f"{name}: off by at most {worst:.3f} (floor .020): {met(worst <= 0.02)}")
    stated, true = uncertainty.independent_criteria(more[:10])
    console.print(
        f"Reference, criteria taken as independent: states {stated:.3f}, true {true:.3f}\n"
    )
    listening = uncertainty.second_listening(seeds)
    made = table("Spending more listenings: share in the right third", "way", "right", "gain kept")
    base, full = listening["three judges"], listening["for everyone"]
    for name, value in listening.items():
        stated_only = name.startswith("stated")
        gain = "" if stated_only or full == base else f"{(value - base) / (full - base):.0%}"
        made.add_row(name, f"{value:.4f}", gain)
    console.print(made)
    kept = (listening["a fourth judge for the 20 % on the list"] - base) / (full - base)
    console.print(f"kept by the list: {kept:.0%} (floor 70 %): {met(kept >= 0.7)}\n")


def show_detection(seeds: range, more: range) -> None:
    large = detection.judges_described(seeds, 400, 12)
    small = detection.judges_described(seeds, 60, 5)
    made = table(f"What the diagnostics find, {len(seeds)} seasons", "", "400 × 12 judges",
                 "60 × 5 judges")  # fmt: skip
    for name, value in large.items():
        made.add_row(name, value, small[name])
    console.print(made)
    signs = ", ".join(
        f"{about} {share:.1%}" for about, share in detection.false_signs(more).items()
    )
    console.print(f"Signs in {len(more)} fair seasons (5 % meant): {signs}\n")


def show_speed() -> None:
    made = table(
        "Processor seconds (best of three; agreement, everything: one run)",
        "part", "400 × 12 judges", "30,000 × 300 judges",
    )  # fmt: skip
    small, large = speed.scoring(400, 12), speed.scoring(30_000, 300)
    for name, seconds in small.items():
        made.add_row(name, f"{seconds:.4f}", f"{large[name]:.3f}" if name in large else "–")
    console.print(made)
    console.print(f"400 × 3 × 6 (floor .1 s): {met(small['fair scores'] <= 0.1)}")
    console.print(f"30,000 × 3 × 6 (floor 2 s): {met(large['fair scores'] <= 2)}")
    memory = speed.peak_memory_mb(30_000, 300)
    console.print(f"peak memory at 30,000: {memory:.0f} MB (floor 1024): {met(memory <= 1024)}\n")


def show_panels() -> None:
    found = speed.panels(30_000, 300)
    made = table("Panels: 30,000 × 300 judges", "measure", "value")
    for name, value in found.items():
        made.add_row(name, f"{value:.2f}".rstrip("0").rstrip("."))
    console.print(made)
    console.print(f"loads within 1: {met(found['load difference'] <= 1)}")
    console.print(f"no conflicts: {met(found['conflicts'] == 0)}")


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--seasons", type=int, default=40)
    seasons = parser.parse_args().seasons
    console.print(f"benchmarks.judging, {datetime.date.today():%d %B %Y}\n")
    seeds = range(FIRST_SEED, FIRST_SEED + seasons)
    show_accuracy(seeds)
    show_linking(seeds)
    show_uncertainty(seeds, range(FIRST_SEED, FIRST_SEED + 4 * seasons))
    show_detection(seeds, range(FIRST_SEED, FIRST_SEED + 5 * seasons))
    show_speed()
    show_panels()


if __name__ == "__main__":
    main()
