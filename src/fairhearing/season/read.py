"""Read ``season.toml``: every entry known, every doubt one sentence with the line to look at."""

from __future__ import annotations

import itertools
import re
import tomllib
from datetime import date, datetime
from pathlib import Path
from typing import Any
from zoneinfo import ZoneInfo

from fairhearing.core.errors import TableError
from fairhearing.core.packet.instruments import LEVELS, load
from fairhearing.season.ensembles import read_ensembles
from fairhearing.season.entries import Entries, instrument_id, whom
from fairhearing.season.types import (
    SCALE_MINUTE_S,
    SECTION_KINDS,
    Criterion,
    Dates,
    Piece,
    School,
    Season,
    SeatingRules,
    Section,
)
from fairhearing.tables import decode

LARGEST_BYTES = 2_000_000
LANGUAGES = ("en", "es")


def season_file(path: Path | str) -> Path:
    """Return the season.toml meant by a folder or a file name.

    Raises
    ------
    TableError
        If there is none.
    """
    path = Path(path)
    if path.is_dir():
        path = path / "season.toml"
    if not path.is_file():
        raise TableError(
            "there is no season here; give a folder with season.toml (docs/season.md)", path=path
        )
    return path


def read_season(path: Path | str) -> Season:
    """Read a season from its folder or its season.toml.

    Raises
    ------
    TableError
        If anything in it is missing, unknown or contradictory.
    """
    path = season_file(path)
    content = path.read_bytes()
    if len(content) > LARGEST_BYTES:
        raise TableError("is far too large for a season.toml", path=path)
    text = decode(content, path).replace("\r\n", "\n")
    try:
        values = tomllib.loads(text)
    except tomllib.TOMLDecodeError as error:
        raise _syntax(str(error), path) from None
    top = Entries(path, text, "", values)
    top.only(*_TOP)
    schools = _schools(top)
    sections = _sections(top)
    return Season(
        name=top.text_of("name"),
        folder=path.parent,
        invented=top.yes("invented", False),
        language=top.one_of("language", LANGUAGES, "en"),
        time_zone=_zone(top),
        level=top.one_of("level", LEVELS, "intermediate"),
        rubric=top.text_of("rubric") if "rubric" in values else None,
        dates=_dates(top),
        schools=schools,
        sections=sections,
        pieces=_pieces(top, sections),
        criteria=_criteria(top, sections),
        ensembles=read_ensembles(top, schools),
        seating=_seating(top),
    )


_TOP = (
    *("name", "invented", "language", "time_zone", "level", "rubric", "dates", "school"),
    *("section", "piece", "criterion", "seating", "ensemble"),
)


def _syntax(message: str, path: Path) -> TableError:
    found = re.search(r"\(at line (\d+)", message)
    plain = message.split(" (at ", maxsplit=1)[0]
    return TableError(
        f"this line cannot be read ({plain.lower()}); texts need quotation marks, "
        "entries look like name = value",
        path=path,
        line=int(found[1]) if found else None,
    )


def _zone(top: Entries) -> ZoneInfo:
    name = top.text_of("time_zone", "UTC")
    try:
        return ZoneInfo(name)
    except (KeyError, ValueError, OSError):
        raise top.error(
            f'"{name}" is no time zone; write it like "America/Chicago"', near="time_zone"
        ) from None


def _dates(top: Entries) -> Dates:
    entries = top.inner("[dates]", _table(top, "dates"))
    entries.only("opens", "due", "results", "delete_takes")
    zone = _zone(top)

    def moment(name: str) -> datetime | None:
        value = entries.values.get(name)
        if value is None:
            return None
        if isinstance(value, datetime):
            return value if value.tzinfo else value.replace(tzinfo=zone)
        raise entries.error(f'"{name}" needs day and hour, like 2027-05-14T21:00:00', near=name)

    opens, due, results = moment("opens"), moment("due"), moment("results")
    named = [(n, m) for n, m in (("opens", opens), ("due", due), ("results", results)) if m]
    for (early, before), (late, after) in itertools.pairwise(named):
        if after <= before:
            raise entries.error(f'"{late}" must come after "{early}"', near=late)
    delete = entries.values.get("delete_takes")
    if isinstance(delete, datetime):
        delete = delete.date()
    if delete is not None and not isinstance(delete, date):
        raise entries.error('"delete_takes" needs a day, like 2027-08-31', near="delete_takes")
    if delete is not None and results is not None and delete < results.date():
        raise entries.error('"delete_takes" must not come before "results"', near="delete_takes")
    return Dates(opens, due, results, delete)


def _table(top: Entries, name: str) -> dict[str, Any]:
    value = top.values.get(name, {})
    if not isinstance(value, dict):
        raise top.error(f"write it as a table [{name}]", near=name)
    return value


def _schools(top: Entries) -> tuple[School, ...]:
    schools: list[School] = []
    for values in top.tables("school"):
        one = top.inner("[[school]]", values)
        one.only("id", "name", "staff")
        school = School(
            one.text_of("id"), one.text_of("name", one.text_of("id")), one.texts("staff")
        )
        if any(school.id == other.id or school.name == other.name for other in schools):
            raise one.error(f'the school "{school.name}" stands twice', near=school.id)
        schools.append(school)
    return tuple(schools)


def _sections(top: Entries) -> tuple[Section, ...]:
    sections: list[Section] = []
    for values in top.tables("section"):
        kind = values.get("kind")
        one = top.inner(f'section "{values.get("name", kind)}"', values)
        one.only("kind", "name", "for", "limit_s", "optional", "on")
        if kind not in SECTION_KINDS:
            raise one.error(f'"kind" must be one of {", ".join(SECTION_KINDS)}', near="kind")
        section = Section(
            kind=kind,
            name=one.text_of("name", kind),
            limit_s=one.number("limit_s", 1, SCALE_MINUTE_S if kind == "scales" else None),
            optional=one.yes("optional", kind == "honors"),
            instruments=whom(one)[0],
            on=instrument_id(one, one.text_of("on")) if "on" in values else None,
        )
        for other in sections:
            if other.name == section.name and other.instruments & section.instruments:
                shared = load()[min(other.instruments & section.instruments)].name
                raise one.error(
                    f"it stands twice for {shared}; give one of them another name",
                    near=section.name,
                )
        sections.append(section)
    if not sections:
        raise top.error("no [[section]] says what is played in the audition")
    return tuple(sections)


def _pieces(top: Entries, sections: tuple[Section, ...]) -> tuple[Piece, ...]:
    pieces: list[Piece] = []
    for values in top.tables("piece"):
        one = top.inner(f'piece "{values.get("file", "?")}"', values)
        one.only("section", "for", "level", "file", "title", "tempo_bpm")
        instruments, narrow = whom(one)
        file = top.path.parent / one.text_of("file")
        if not file.is_file():
            raise one.error("there is no such file beside season.toml", near=one.text_of("file"))
        pieces.append(
            Piece(
                section=_section_name(one, sections),
                instruments=instruments,
                level=one.one_of("level", LEVELS, "") if "level" in values else None,
                file=file,
                title=one.text_of("title", file.stem),
                tempo_bpm=one.number("tempo_bpm", 1),
                narrowness=narrow,
            )
        )
    return tuple(pieces)


def _section_name(one: Entries, sections: tuple[Section, ...]) -> str:
    name = one.text_of("section")
    known = sorted({section.name for section in sections})
    if name not in known:
        raise one.error(f'there is no section "{name}"; there are {", ".join(known)}', near=name)
    return name


def _criteria(top: Entries, sections: tuple[Section, ...]) -> tuple[Criterion, ...]:
    criteria: list[Criterion] = []
    for values in top.tables("criterion"):
        one = top.inner(f'criterion "{values.get("name", "?")}"', values)
        one.only("name", "weight", "section", "for")
        section = _section_name(one, sections) if "section" in values else None
        weight = one.number("weight", 0, 1.0)
        if not weight:
            raise one.error(
                '"weight" must be above 0; leave the criterion out instead', near="weight"
            )
        criteria.append(Criterion(one.text_of("name"), weight, section, whom(one)[0]))
    return tuple(criteria)


def _seating(top: Entries) -> SeatingRules:
    one = top.inner("[seating]", _table(top, "seating"))
    one.only("seat_everyone", "switchers", "tie_break", "alternates")
    switchers = one.one_of("switchers", ("after", "by score"), "after")
    return SeatingRules(
        seat_everyone=one.yes("seat_everyone", True),
        switchers="after" if switchers == "after" else "by score",
        tie_break=one.texts("tie_break"),
        alternates=int(one.number("alternates", 0, 2) or 0),
    )
