"""The ``[[ensemble]]`` tables of season.toml: who may sit where, and on how many chairs."""

from __future__ import annotations

import re
import unicodedata
from typing import Any, Literal

from fairhearing.core.packet.instruments import load
from fairhearing.season.entries import Entries, instrument_id
from fairhearing.season.types import Ensemble, PartSize, School, Seats

PERCUSSION = "percussion"
_SAME = (frozenset({"euphonium", "euphonium-treble"}),)  # one instrument, two clefs


def read_ensembles(top: Entries, schools: tuple[School, ...]) -> tuple[Ensemble, ...]:
    """Return the ensembles in order of level.

    Raises
    ------
    TableError
        If an entry is unknown or a plan contradicts itself.
    """
    ensembles: list[Ensemble] = []
    for level, values in enumerate(top.tables("ensemble"), start=1):
        one = top.inner(f'ensemble "{values.get("name", level)}"', values)
        one.only("id", "name", "grades", "honors", "minimum_score", "schools", "seats")
        name = one.text_of("name")
        ensemble = Ensemble(
            id=one.text_of("id", plain_id(name)),
            name=name,
            level=level,
            grades=_grades(one),
            honors=one.yes("honors", False),
            minimum_score=one.number("minimum_score", -1e9),
            schools=_only_schools(one, schools),
            seats=_seats(one),
        )
        if any(ensemble.id == other.id or ensemble.name == other.name for other in ensembles):
            raise one.error("it stands twice; give every ensemble its own name", near=name)
        ensembles.append(ensemble)
    return tuple(ensembles)


def plain_id(name: str) -> str:
    """Return a name as an id: "Wind Ensemble" gives "wind-ensemble"."""
    folded = unicodedata.normalize("NFKD", name).casefold()
    bare = "".join(letter for letter in folded if not unicodedata.combining(letter))
    return re.sub(r"[\W_]+", "-", bare).strip("-") or "ensemble"


def _grades(one: Entries) -> tuple[int, int] | None:
    value = one.values.get("grades")
    if value is None:
        return None
    whole = isinstance(value, list) and all(type(grade) is int for grade in value)
    if not whole or len(value) != 2 or value[0] > value[1]:
        raise one.error('"grades" must be [from, to], like [9, 12]', near="grades")
    return value[0], value[1]


def _only_schools(one: Entries, schools: tuple[School, ...]) -> tuple[str, ...]:
    chosen = []
    for word in one.texts("schools"):
        school = next((each for each in schools if word in (each.id, each.name)), None)
        if school is None:
            known = ", ".join(each.id for each in schools) or "none"
            raise one.error(f'"{word}" is not a school of the season ({known})', near=word)
        chosen.append(school.id)
    return tuple(chosen)


def _seats(one: Entries) -> tuple[Seats, ...]:
    values = one.values.get("seats")
    if not isinstance(values, dict) or not values:
        raise one.error(
            "it has no chairs; add [ensemble.seats] below it", near=one.what.split('"')[1]
        )
    seats: list[Seats] = []
    for word, plan in values.items():
        made = _one_seats(one, word, plan)
        if any(made.instrument == other.instrument for other in seats):
            raise one.error(f'the chairs of "{word}" stand twice', near=word)
        seats.append(made)
    return tuple(seats)


def _one_seats(one: Entries, word: str, plan: Any) -> Seats:
    here = one.inner(f'{one.what}, chairs of "{word}"', plan if isinstance(plan, dict) else {})
    if type(plan) is int:
        here.values["ideal"] = plan
    elif not isinstance(plan, dict):
        raise here.error("write a number or { least = 2, ideal = 4, most = 6 }", near=word)
    here.only("least", "ideal", "most", "parts", "fill", "doubles", "accepts")
    instrument = PERCUSSION if word.casefold() == PERCUSSION else instrument_id(one, word)
    parts = _parts(here, word)
    ideal = _whole(here, word, "ideal", sum(part.chairs or 0 for part in parts) or None)
    least = _whole(here, word, "least", 0)
    most = _whole(here, word, "most", max(ideal, least))
    if not least <= ideal <= most:
        raise here.error(
            f"least {least}, ideal {ideal}, most {most} must not fall from left to right", near=word
        )
    fill: Literal["top", "leaders"] = (
        "leaders" if here.one_of("fill", ("top", "leaders"), "top") == "leaders" else "top"
    )
    return Seats(
        instrument,
        _accepts(here, instrument),
        least,
        ideal,
        most,
        parts,
        fill,
        here.texts("doubles"),
    )


def _whole(here: Entries, word: str, name: str, default: int | None) -> int:
    value = here.values.get(name, default)
    if type(value) is not int or value < 0:
        raise here.error(f'"{name}" must be a whole number of chairs, 0 or more', near=word)
    return value


def _parts(here: Entries, word: str) -> tuple[PartSize, ...]:
    value = here.values.get("parts", [])
    if isinstance(value, list) and all(isinstance(name, str) and name.strip() for name in value):
        if len(set(value)) == len(value):
            return tuple(PartSize(name.strip()) for name in value)
    elif isinstance(value, dict) and all(type(n) is int and n > 0 for n in value.values()):
        return tuple(PartSize(name, number) for name, number in value.items())
    raise here.error(
        'write parts as ["1st", "2nd"] or { "1st" = 3, "2nd" = 4 }, each name once', near=word
    )


def _accepts(here: Entries, instrument: str) -> tuple[str, ...]:
    named = here.texts("accepts")
    if named:
        return tuple(dict.fromkeys(instrument_id(here, word) for word in named))
    if instrument == PERCUSSION:
        return tuple(one.id for one in load().values() if one.family == PERCUSSION)
    same = next((group for group in _SAME if instrument in group), frozenset({instrument}))
    return tuple(sorted(same, key=lambda one: (one != instrument, one)))
