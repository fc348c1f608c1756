"""Invented bands of any size, drawn from a seed."""

from __future__ import annotations

import random
from collections.abc import Callable
from dataclasses import replace

import pytest

from fairhearing.core.seating import Candidate, Chairs, Pin, Problem, Wish

INSTRUMENTS = {  # ideal, least, most in the first ensemble
    "flute": (6, 4, 8),
    "oboe": (2, 1, 2),
    "clarinet": (9, 6, 12),
    "bass clarinet": (2, 1, 2),
    "alto saxophone": (4, 2, 5),
    "horn": (4, 3, 6),
    "trumpet": (8, 5, 10),
    "tuba": (3, 2, 4),
}
Band = Callable[..., Problem]


def invent_band(
    seed: int, students: int = 60, ensembles: int = 3, second: float = 0.2, whole: bool = False
) -> Problem:
    """Return an invented problem: second instruments, switching, grades, a minimum, ties."""
    draw = random.Random(seed)
    size = students / 150
    chairs = [
        Chairs(
            f"e{level}/{name}",
            f"Ensemble {level}",
            name,
            level,
            round(least * size),
            max(1, round(ideal * size)),
            max(1, round(most * size)) + (5 if level == ensembles else 0),
        )
        for level in range(1, ensembles + 1)
        for name, (ideal, least, most) in INSTRUMENTS.items()
    ]
    names = list(INSTRUMENTS)
    candidates = []
    for index in range(students):
        score = draw.gauss(75, 8)
        main = draw.choices(names, [INSTRUMENTS[name][0] for name in names])[0]
        played = [(main, main, 0, score)]
        if draw.random() < second:
            other = draw.choice([name for name in names if name != main])
            heard = draw.random() < 0.5
            played.append(
                (other, other, 0, score - draw.uniform(0, 12)) if heard else (other, main, 1, score)
            )
        grade = draw.randint(9, 12)
        wishes = [
            Wish(
                f"e{level}/{name}",
                round(value) if whole else value,
                group,
                se=2.0,
                barred="it is for grades 10 to 12" if level == 1 and grade == 9 else "",
                minimum=60.0 if level == 1 else None,
                audition=heard_on,
            )
            for level in range(1, ensembles + 1)
            for name, heard_on, group, value in played
        ]
        candidates.append(Candidate(f"{index:04d}", tuple(wishes)))
    return Problem(tuple(chairs), tuple(candidates), lot="an invented season")


@pytest.fixture
def band() -> Band:
    return invent_band


@pytest.fixture
def shuffled() -> Callable[[Problem, int], Problem]:
    def shuffle(problem: Problem, seed: int) -> Problem:
        draw = random.Random(seed)
        chairs, candidates, pins = (
            list(problem.chairs),
            list(problem.candidates),
            list[Pin](problem.pins),
        )
        for items in (chairs, candidates, pins):
            draw.shuffle(items)
        return replace(
            problem, chairs=tuple(chairs), candidates=tuple(candidates), pins=tuple(pins)
        )

    return shuffle
