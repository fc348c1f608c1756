"""Print detection and false marks per channel and together."""

from __future__ import annotations

import numpy as np

from benchmarks.continuity.cases import Case
from benchmarks.continuity.made import HARD, HARD_JOINS, JOINS, PLAIN, UNSEEN
from fairhearing.core.continuity.coincidence import coincidence_findings
from fairhearing.core.continuity.finding import LOOK_STRENGTH, Channel
from fairhearing.core.continuity.picture_jump import PictureTrace
from fairhearing.core.continuity.sound_joint import SoundTrace

WITHIN_S = 0.1
Result = tuple[Case, PictureTrace, SoundTrace]


def print_table(results: list[Result]) -> None:
    rows: dict[str, list[tuple[bool, bool, bool, bool, bool]]] = {}
    minutes, marks = 0.0, 0
    for case, picture, sound in results:
        findings = coincidence_findings(picture, sound)
        near = [
            f
            for f in findings
            if case.at_s is None or abs((f.start_s + f.end_s) / 2 - case.at_s) <= WITHIN_S
        ]
        looked = [f for f in findings if f.strength >= LOOK_STRENGTH]
        top = sorted(findings, key=lambda f: -f.strength)[:3]
        counted = near if case.joined else findings
        rows.setdefault(case.kind, []).append(
            (
                any(f.channel == Channel.PICTURE for f in counted),
                any(f.channel == Channel.SOUND for f in counted),
                any(f.channel == Channel.PICTURE_AND_SOUND for f in counted),
                bool(looked),
                any(f in near for f in top),
            )
        )
        if case.kind in PLAIN:
            minutes += case.seconds / 60
            marks += len(looked)
    print(f"{'':42s}{'n':>5s}{'picture':>9s}{'sound':>9s}{'BOTH':>9s}{'look':>9s}{'top 3':>9s}")
    for title, kinds in (
        ("plain controls: share marked", PLAIN),
        ("hard controls: share marked", tuple(HARD)),
        ("joins: share marked within 0.1 s", tuple(JOINS)),
        ("not expected to be detected", UNSEEN),
    ):
        print(title)
        for kind in kinds:
            _line(kind, rows.get(kind, []))
        if len(kinds) > 1 and kinds is not UNSEEN:
            _line("all of these", [r for kind in kinds for r in rows.get(kind, [])])
    _line("hard joins of 0.5 s and more", [r for kind in HARD_JOINS for r in rows.get(kind, [])])
    print(f"marks a minute of plain control: {marks / max(minutes, 1e-9):.3f} ({minutes:.0f} min)")


def _line(name: str, rows: list[tuple[bool, bool, bool, bool, bool]]) -> None:
    if not rows:
        return
    shares = np.mean(np.array(rows, dtype=float), axis=0)
    print(f"  {name:40s}{len(rows):5d}" + "".join(f"{share:9.1%}" for share in shares))
