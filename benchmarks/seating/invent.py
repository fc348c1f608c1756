"""Invented seasons of any size.

Supply follows common instrumentation with up to 40 % more or less of each instrument. One student
in ten has a second audition or would switch, nearly always within reach (clarinet to bass
clarinet, alto to tenor or baritone saxophone, trumpet to horn or euphonium), sometimes anywhere.
The first ensemble is for grades 10 to 12 and has a minimum score.
"""

from __future__ import annotations

import random

from fairhearing.core.seating import Candidate, Chairs, Problem, Wish

# players of 60 by instrument; a published all-state list (about 60 players)
SUPPLY = {
    "flute": 6, "oboe": 2, "bassoon": 2, "clarinet": 8, "bass clarinet": 2, "alto saxophone": 3,
    "tenor saxophone": 1, "baritone saxophone": 1, "trumpet": 8, "horn": 4, "trombone": 5,
    "euphonium": 2, "tuba": 4, "percussion": 5,
}  # fmt: skip
NEAR = {
    "clarinet": ["bass clarinet"], "alto saxophone": ["tenor saxophone", "baritone saxophone"],
    "tenor saxophone": ["alto saxophone", "baritone saxophone"], "trumpet": ["horn", "euphonium"],
    "flute": ["oboe"], "trombone": ["euphonium"], "euphonium": ["tuba", "trombone"],
    "bass clarinet": ["clarinet"], "horn": ["trumpet"],
}  # fmt: skip
ENSEMBLES = ((1, 0.30), (2, 0.33), (3, 0.37))  # level and share of the students


def season(
    seed: int, *, schools: int, students: int, second: float = 0.10, far: float = 0.15
) -> Problem:
    """Return a season of `schools` with `students` each; `far` of the seconds go anywhere."""
    draw = random.Random(seed)
    chairs: list[Chairs] = []
    candidates: list[Candidate] = []
    total = sum(SUPPLY.values())
    names = list(SUPPLY)
    for school in range(schools):
        for level, share in ENSEMBLES:
            for name, count in SUPPLY.items():
                ideal = max(1, round(count / total * students * share))
                room = 0.25 if level < len(ENSEMBLES) else 1.5
                chairs.append(
                    Chairs(
                        f"{school}/{level}/{name}",
                        f"School {school}, ensemble {level}",
                        name,
                        level,
                        int(ideal * 0.6),
                        ideal,
                        ideal + max(1, round(ideal * room)),
                    )
                )
        weights = [SUPPLY[name] * draw.uniform(0.6, 1.4) for name in names]
        for number in range(students):
            main = draw.choices(names, weights)[0]
            candidates.append(_student(draw, school, number, _played(draw, main, second, far)))
    return Problem(tuple(chairs), tuple(candidates), lot=f"benchmark {seed}")


Played = list[tuple[str, str, int, float]]  # instrument, heard on, group, score


def _played(draw: random.Random, main: str, second: float, far: float) -> Played:
    score = min(100.0, max(0.0, draw.gauss(75, 9)))
    played = [(main, main, 0, score)]
    if draw.random() < second:
        near = NEAR.get(main)
        anything = [name for name in SUPPLY if name != main]
        other = draw.choice(near if near and draw.random() >= far else anything)
        if draw.random() < 0.5:
            played.append((other, other, 0, max(0.0, score - draw.uniform(0, 15))))
        else:
            played.append((other, main, 1, score))
    return played


def _student(draw: random.Random, school: int, number: int, played: Played) -> Candidate:
    grade = draw.randint(9, 12)
    wishes = [
        Wish(
            f"{school}/{level}/{name}",
            value,
            group,
            se=2.5,
            barred="it is for grades 10 to 12" if level == 1 and grade == 9 else "",
            minimum=60.0 if level == 1 else None,
            audition=heard_on,
        )
        for level, _ in ENSEMBLES
        for name, heard_on, group, value in played
    ]
    return Candidate(f"{school:03d}-{number:05d}", tuple(wishes))
