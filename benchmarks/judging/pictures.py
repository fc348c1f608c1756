"""``python -m benchmarks.judging.pictures``: the charts of docs/scores.md, from invented marks."""

from __future__ import annotations

import dataclasses
from pathlib import Path

import numpy as np

from benchmarks.judging.simulator import season
from fairhearing.core.judging.evaluate import evaluate
from fairhearing.report.charts_judging import (
    agreement_chart,
    distribution_chart,
    severity_chart,
    too_close_chart,
)

FOLDER = Path(__file__).parents[2] / "docs" / "pictures"


def main() -> None:
    rng = np.random.default_rng(2027)
    marks, _ = season(rng, 84, 8, 3)
    names = rng.choice(["clarinet", "flute", "trumpet"], 84, p=[0.4, 0.35, 0.25])
    marks = dataclasses.replace(
        marks,
        instruments=tuple(str(name) for name in names),
        students=tuple(str(200 + number) for number in range(84)),
    )
    lines = {"clarinet": (10, 22), "flute": (8, 18), "trumpet": (6, 14)}
    scoring = evaluate(marks, lines=lines)
    pictures = {
        "judges-severity": severity_chart(scoring),
        "judges-agreement": agreement_chart(scoring),
        "scores-and-lines": distribution_chart(scoring),
        "too-close": too_close_chart(scoring, scoring.lines[0]),
    }
    for name, svg in pictures.items():
        (FOLDER / f"{name}.svg").write_text(svg + "\n", encoding="utf-8")
        print(FOLDER / f"{name}.svg")


if __name__ == "__main__":
    main()
