"""The season's papers: season.toml, roster.csv, takes.csv, marks.csv and the sheet music.

The formats are those of docs/season.md; ``language`` is "en" or "es" and decides the names of
the season, its ensembles, instruments and criteria. Every file says that it is
invented, where its format has room for words.
"""

from __future__ import annotations

import csv
import io
from pathlib import Path

from fairhearing.core.packet import instruments
from fairhearing.demo import melodies
from fairhearing.demo.cast import (
    CRITERIA,
    INVENTED,
    INVENTED_ES,
    JUDGES,
    PLAYERS,
    SCHOOLS,
    Player,
)
from fairhearing.demo.sheet import musicxml

_WEIGHTS = {"tone": 2.0, "intonation": 1.0, "rhythm": 1.5, "technique": 1.5,
            "articulation": 1.0, "musicianship": 1.0}  # fmt: skip

#: Seats per instrument: least, ideal, most in the first and in the second ensemble.
_SEATS: dict[str, tuple[tuple[int, int, int], tuple[int, int, int]]] = {
    "flute": ((1, 2, 2), (0, 2, 4)),
    "oboe": ((0, 1, 1), (0, 1, 1)),
    "clarinet": ((1, 2, 3), (0, 3, 4)),
    "bassoon": ((0, 1, 1), (0, 1, 1)),
    "alto-saxophone": ((1, 1, 2), (0, 2, 3)),
    "horn": ((1, 1, 2), (0, 2, 2)),
    "trumpet": ((1, 2, 2), (0, 3, 4)),
    "trombone": ((1, 1, 2), (0, 2, 3)),
    "euphonium": ((0, 1, 1), (0, 1, 2)),
    "tuba": ((1, 1, 1), (0, 1, 1)),
    "percussion": ((1, 1, 2), (0, 2, 3)),
}
_PARTS = {
    "flute": ("1st", "2nd"),
    "clarinet": ("1st", "2nd", "3rd"),
    "trumpet": ("1st", "2nd"),
    "trombone": ("1st", "2nd"),
}


_NAME = "Spring placement auditions of an invented band"
_SPANISH = {
    _NAME: "Audiciones de primavera de una banda inventada",
    "Wind Ensemble": "Banda Sinfónica",
    "Concert Band": "Banda de Concierto",
    "tone": "sonido",
    "intonation": "afinación",
    "rhythm": "ritmo",
    "technique": "técnica",
    "articulation": "articulación",
    "musicianship": "musicalidad",
    "1st": "1.ª parte",
    "2nd": "2.ª parte",
    "3rd": "3.ª parte",
}


def write_papers(folder: Path, language: str = "en") -> None:
    """Write everything but the takes and the truth into a folder."""
    scores = folder / "scores"
    scores.mkdir(parents=True, exist_ok=True)
    table = instruments.load()
    for name in melodies.instruments():
        for section, piece in (("etude", melodies.etude(name)), ("honors", melodies.honors(name))):
            _write(scores / f"{name}-{section}.musicxml", musicxml(piece, table[name]))
    _write(folder / "roster.csv", roster(language))
    _write(folder / "takes.csv", received())
    _write(folder / "marks.csv", marks(language))
    _write(folder / "INVENTED.txt", f"{INVENTED}\n{INVENTED_ES}\nMade by `fairhearing demo`.\n")
    _write(folder / "season.toml", season_toml(language))


def _write(path: Path, text: str) -> None:
    part = path.with_name(path.name + ".part")
    part.write_text(text, encoding="utf-8", newline="\n")
    part.replace(path)


def _table(rows: list[tuple[object, ...]]) -> str:
    out = io.StringIO()
    csv.writer(out, lineterminator="\n").writerows(rows)
    return out.getvalue()


def roster(language: str = "en") -> str:
    """Return the text of roster.csv."""
    head = ("student", "name", "grade", "school", "instrument", "would_switch", "honors", "level")
    rows: list[tuple[object, ...]] = [head]
    table = instruments.load()
    for who in PLAYERS:
        rows.append(
            (
                who.number,
                who.name,
                who.grade,
                who.school,
                table[who.instrument].names[language],
                "; ".join(who.would_switch),
                "yes" if who.honors else "no",
                "intermediate",
            )
        )
    return _table(rows)


def received() -> str:
    """Return the text of takes.csv, as a form tool would export it."""
    rows: list[tuple[object, ...]] = [("Audition number", "Instrument", "File")]
    table = instruments.load()
    rows += [
        (who.number, table[who.instrument].name, who.take)
        for who in PLAYERS
        if who.take is not None
    ]
    return _table(rows)


def panel(place: int) -> tuple[str, ...]:
    """Return the three judges of the student at `place` on the list.

    All twenty panels of three out of six judges take turns, so that every two judges hear some
    students together and severity can be told from skill.
    """
    names = tuple(JUDGES)
    trios = [
        (a, b, c)
        for i, a in enumerate(names)
        for j, b in enumerate(names[i + 1 :], i + 1)
        for c in names[j + 1 :]
    ]
    # Seven steps at a time, for neighbours to be heard by different judges (7 and 20 are coprime).
    return trios[7 * place % len(trios)]


#: Spread of a judge's whole impression of one take, in mark points; chosen, no source.
HALO = 0.6


def marks(language: str = "en") -> str:
    """Return the text of marks.csv: 1 to 10 in halves, from ability, severity and scatter."""
    rows: list[tuple[object, ...]] = [("student", "judge", "criterion", "mark")]
    for place, who in enumerate(PLAYERS):
        if who.take is None:
            continue
        for judge in panel(place):
            severity, scatter = JUDGES[judge]
            dice = who.dice(f"mark/{judge}")
            # The impression of one listening colours all its marks (a halo), so that judges
            # differ about a student by more than the scatter of single marks.
            halo = dice.normal(0, HALO)
            for criterion in _criteria(who):
                heard = 1.5 + 8.2 * who.ability(criterion) - severity + halo
                heard += dice.normal(0, scatter)
                rows.append((who.number, judge, _word(criterion, language), _half(heard)))
    return _table(rows)


def _criteria(who: Player) -> tuple[str, ...]:
    kind = instruments.load()[who.instrument].kind
    return tuple(c for c in CRITERIA if c != "intonation" or kind == "melodic")


def _word(english: str, language: str) -> str:
    return _SPANISH[english] if language == "es" else english


def _half(mark: float) -> str:
    return f"{round(2 * min(max(mark, 1), 10)) / 2:g}"


def season_toml(language: str = "en") -> str:
    """Return the text of season.toml."""
    lines = [
        f"# {INVENTED if language == 'en' else INVENTED_ES}",
        f'name = "{_word(_NAME, language)}"',
        "invented = true",
        f'language = "{language}"',
        'time_zone = "America/Chicago"',
        'level = "intermediate"',
        "",
        "[dates]",
        "opens = 2027-04-12T08:00:00",
        "due = 2027-05-14T21:00:00",
        "results = 2027-05-24T16:00:00",
        "delete_takes = 2027-08-31",
    ]
    for school in SCHOOLS:
        staff = ", ".join(f'"{name}"' for name in school.staff)
        lines += ["", "[[school]]", f'id = "{school.id}"', f'name = "{school.name}"']
        lines += [f"staff = [{staff}]"]
    lines += _sections() + _pieces()
    for criterion in CRITERIA:
        lines += [
            "",
            "[[criterion]]",
            f'name = "{_word(criterion, language)}"',
            f"weight = {_WEIGHTS[criterion]}",
        ]
        if criterion == "intonation":
            lines += ['for = ["melodic"]']
    lines += ["", "[seating]", "seat_everyone = true", "alternates = 1"]
    lines += _ensemble("Wind Ensemble", 0, language) + _ensemble("Concert Band", 1, language)
    return "\n".join(lines) + "\n"


def _sections() -> list[str]:
    pitched = 'for = ["melodic", "mallet"]'
    blocks: tuple[tuple[str, ...], ...] = (
        ('kind = "introduction"',),
        ('kind = "chromatic"', pitched),
        ('kind = "scales"', pitched, "limit_s = 60"),
        ('kind = "other"', 'name = "rudiments"', 'for = ["drum"]'),
        ('kind = "etude"',),
        ('kind = "honors"', "optional = true"),
    )
    return [line for block in blocks for line in ("", "[[section]]", *block)]


def _pieces() -> list[str]:
    lines: list[str] = []
    for name in melodies.instruments():
        for section, piece in (("etude", melodies.etude(name)), ("honors", melodies.honors(name))):
            lines += ["", "[[piece]]", f'section = "{section}"', f'for = ["{name}"]']
            lines += [f'file = "scores/{name}-{section}.musicxml"', f'title = "{piece.title}"']
            lines += [f"tempo_bpm = {piece.tempo_bpm}"]
    return lines


def _ensemble(name: str, place: int, language: str) -> list[str]:
    lines = ["", "[[ensemble]]", f'name = "{_word(name, language)}"', "", "[ensemble.seats]"]
    for instrument, plans in _SEATS.items():
        least, ideal, most = plans[place]
        parts = ", ".join(f'"{_word(part, language)}"' for part in _PARTS.get(instrument, ()))
        more = f", parts = [{parts}]" if parts else ""
        lines.append(f"{instrument} = {{ least = {least}, ideal = {ideal}, most = {most}{more} }}")
    return lines
