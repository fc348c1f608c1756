"""``fairhearing packet``: what is handed out, for every instrument of a season, in one folder.

Reads ``season.toml`` (sections, pieces, dates), ``roster.csv`` if it is there (which instruments
and levels are needed) and ``packet.toml`` if it is there (paper, languages, logo, wording, tempi).
Run again, it makes only what changed.
"""

from __future__ import annotations

import argparse
import os
import sys
from datetime import date, datetime
from pathlib import Path

from rich.console import Console
from rich.progress import BarColumn, MofNCompleteColumn, Progress, TextColumn, TimeRemainingColumn

from fairhearing.core.errors import TableError
from fairhearing.core.packet.building import Done, PacketJob, build
from fairhearing.core.packet.instruments import LEVELS, Instrument, find, load
from fairhearing.core.packet.settings import Settings, read_settings
from fairhearing.core.packet.spec import PAPERS, PacketSpec, Piece, Step
from fairhearing.core.packet.wording import LANGUAGES
from fairhearing.season import Season, read_roster, read_season


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Declare the words of the command."""
    parser.add_argument("season", type=Path, help="a season folder or its season.toml")
    parser.add_argument("-o", "--output", type=Path, default=Path("packet"), metavar="DIR")
    parser.add_argument(
        "--instrument", action="append", metavar="NAME", help="only this one (may be repeated)"
    )
    parser.add_argument("--level", choices=LEVELS, help="instead of the season's")
    parser.add_argument("--language", choices=LANGUAGES, action="append")
    parser.add_argument("--paper", choices=tuple(PAPERS))
    parser.add_argument(
        "--no-tracks", action="store_true", help="paper only, no practice tracks and pages"
    )
    parser.add_argument(
        "--each-student",
        action="store_true",
        help="also a PDF for every line of the roster, with the audition number",
    )
    parser.add_argument(
        "--workers", type=int, metavar="N", help="packets at a time (default: one a core)"
    )


def run(arguments: argparse.Namespace) -> int:
    """Make the packets."""
    season = read_season(arguments.season)
    settings = read_settings(season.folder / "packet.toml")
    jobs = packet_jobs(season, settings, arguments)
    console = Console(stderr=True)
    columns = (
        TextColumn("{task.description}"),
        BarColumn(),
        MofNCompleteColumn(),
        TimeRemainingColumn(),
    )
    workers = arguments.workers
    if workers is None:
        workers = min(os.cpu_count() or 1, len(jobs), 4)
    with Progress(*columns, console=console, transient=True) as bar:
        task = bar.add_task("Packets", total=len(jobs))

        def step(done: Done) -> None:
            bar.update(task, advance=1, description=done.folder)

        results = build(jobs, arguments.output, workers=workers, progress=step)
    _report(results, arguments.output)
    return 0


def packet_jobs(
    season: Season, settings: Settings, arguments: argparse.Namespace
) -> list[PacketJob]:
    """Return one job for every instrument, level and language that is wanted.

    Raises
    ------
    TableError
        If the season has no sections for a wanted instrument.
    """
    wanted = _wanted(season, arguments)
    several_levels = len({level for _, level in wanted}) > 1
    languages = arguments.language or settings.languages or (season.language,)
    students = _students(season, settings) if arguments.each_student else {}
    jobs = []
    for instrument, level in wanted:
        steps = _steps(season, instrument, level)
        if not steps:
            raise TableError(
                f"no section of the audition is for {instrument.name}; add one to season.toml",
                path=season.folder / "season.toml",
            )
        folder = f"{instrument.id}-{level}" if several_levels else instrument.id
        for number, language in enumerate(languages):
            spec = _spec(
                season=season,
                settings=settings,
                instrument=instrument,
                level=level,
                steps=steps,
                language=language,
                arguments=arguments,
            )
            tracks = None if arguments.no_tracks else settings.tracks
            each = students.get((instrument.id, level), ())
            jobs.append(PacketJob(folder, spec, tracks, number == 0, each))
    return jobs


def _spec(
    *,
    season: Season,
    settings: Settings,
    instrument: Instrument,
    level: str,
    steps: tuple[Step, ...],
    language: str,
    arguments: argparse.Namespace,
) -> PacketSpec:
    dates: list[tuple[str, date | datetime]] = []
    for name in ("opens", "due", "results", "delete_takes"):
        day = getattr(season.dates, name)
        if day is not None:
            dates.append((name, day))
    return PacketSpec(
        title=season.name,
        schools=" · ".join(school.name for school in season.schools),
        invented=season.invented,
        instrument=instrument,
        level=level,
        steps=steps,
        dates=tuple(dates),
        language=language,
        paper=arguments.paper or settings.paper,
        address=settings.address,
        logo=settings.logo,
        note=settings.note,
        scales=settings.scales,
        wording=dict(settings.wording.get(language, {})),
        has_tracks=not arguments.no_tracks,
    )


def _steps(season: Season, instrument: Instrument, level: str) -> tuple[Step, ...]:
    table = load()
    steps = []
    for section in season.sections_for(instrument.id):
        on = table[section.on] if section.on else None
        played_on = section.on or instrument.id
        found = season.piece_for(section.name, played_on, level) or season.piece_for(
            section.name, instrument.id, level
        )
        piece = Piece(found.file, found.title, found.tempo_bpm) if found else None
        steps.append(Step(section.kind, section.name, section.limit_s, section.optional, piece, on))
    return tuple(steps)


def _wanted(season: Season, arguments: argparse.Namespace) -> list[tuple[Instrument, str]]:
    level = arguments.level or season.level
    table = load()
    if arguments.instrument:
        return [(find(name), level) for name in dict.fromkeys(arguments.instrument)]
    if (season.folder / "roster.csv").is_file() or (season.folder / "roster.xlsx").is_file():
        roster = read_roster(season.folder, season)
        pairs = {
            (name, arguments.level or student.level or season.level)
            for student in roster.students
            for name in student.instruments
        }
        if pairs:
            order = list(table)
            ordered = sorted(pairs, key=lambda pair: (order.index(pair[0]), LEVELS.index(pair[1])))
            return [(table[name], found) for name, found in ordered]
    return [(table[name], level) for name in table if season.sections_for(name)]


def _students(
    season: Season, settings: Settings
) -> dict[tuple[str, str], tuple[tuple[str, str], ...]]:
    found: dict[tuple[str, str], list[tuple[str, str]]] = {}
    for student in read_roster(season.folder, season).students:
        for name in student.instruments:
            place = (name, student.level or season.level)
            found.setdefault(place, []).append((student.number, settings.address))
    return {place: tuple(numbers) for place, numbers in found.items()}


def _report(results: list[Done], out: Path) -> None:
    made = sum(done.made for done in results)
    kept = sum(done.kept for done in results)
    folders = len({done.folder for done in results} - {"tuning"})
    print(f"{folders} packets in {out}: {made} files made, {kept} unchanged.")
    remarks = list(dict.fromkeys(remark for done in results for remark in done.remarks))
    for remark in remarks:
        print(f"  {remark}", file=sys.stdout)
