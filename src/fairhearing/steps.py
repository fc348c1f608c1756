"""The jobs that an engine may run anywhere: plain functions, JSON in, JSON out.

A *take job* says which file, whose instrument, what the audition asks for and which scores to set
it beside. Running one twice gives the same result; what it was asked is kept in the report, so
that a result can be recognised as still true.
"""

from __future__ import annotations

import hashlib
from collections.abc import Callable, Mapping, Sequence
from dataclasses import asdict
from pathlib import Path
from typing import Any

from fairhearing.core import playing
from fairhearing.core.packet import instruments
from fairhearing.hearing import VERSION, hear
from fairhearing.report.pencil import pencil_from_file
from fairhearing.season import Season, Student, match_takes, read_roster, read_season
from fairhearing.written_music import plain_score

Job = dict[str, Any]


def take_job(
    path: Path,
    *,
    instrument: str | None = None,
    plan: playing.Plan | None = None,
    scores: Mapping[str, str] | None = None,
    student: str | None = None,
    invented: bool = False,
) -> Job:
    """Return the job of one take.

    Parameters
    ----------
    path : Path
        The recording.
    instrument : str, optional
        Id in the instrument table.
    scores : mapping of str to str, optional
        Score files by section kind.
    student : str, optional
        Audition number; the report never holds more about a student than that.
    """
    return {
        "path": str(path.resolve()),
        "instrument": instrument,
        "plan": asdict(plan or playing.Plan()),
        "scores": {kind: str(Path(file).resolve()) for kind, file in (scores or {}).items()},
        "student": student,
        "invented": invented,
    }


def season_jobs(
    season_path: Path,
    takes: Sequence[Path],
    *,
    instrument: str | None = None,
    scores: Mapping[str, str] | None = None,
) -> list[Job]:
    """Return the jobs of takes that belong to a season.

    A take is matched to the roster; one that matches nobody is heard all the same, without an
    instrument (``student`` stays None). What is said by `instrument` and `scores` counts first.

    Raises
    ------
    TableError
        For a season or roster that cannot be read.
    """
    season = read_season(season_path)
    roster = read_roster(season.folder, season)
    owners: dict[Path, Student] = {}
    for folder in sorted({take.resolve().parent for take in takes}):
        table = season.folder / "takes.csv"
        matched = match_takes(folder, roster, table if table.is_file() else None)
        for number, files in matched.takes.items():
            for file in files:
                owners[file.resolve()] = roster[number]
    jobs = []
    for take in takes:
        student = owners.get(take.resolve())
        wanted = instrument or (_instrument_of(student, take) if student else None)
        jobs.append(
            take_job(
                take,
                instrument=wanted,
                plan=_plan(season, wanted),
                scores={**_pieces(season, wanted, student), **(scores or {})},
                student=student.number if student else None,
                invented=season.invented,
            )
        )
    return jobs


def hear_take(job: Job, on_progress: Callable[[float], None] | None = None) -> dict[str, Any]:
    """Hear one take.

    Returns
    -------
    dict
        ``report`` (the hearing report) and ``pencil`` (SVG by section kind).

    Raises
    ------
    FairHearingError
        One plain sentence about the recording or a score.
    """
    table = instruments.load()
    instrument = table[job["instrument"]] if job["instrument"] else None
    plan = job["plan"]
    heard = hear(
        Path(job["path"]),
        instrument=instrument,
        plan=playing.Plan(
            order=tuple(plan["order"]),
            scales_limit_s=plan["scales_limit_s"],
            modes=tuple(plan["modes"]),
            tonics_written=tuple(plan["tonics_written"]) if plan["tonics_written"] else None,
        ),
        scores={kind: plain_score(file, instrument) for kind, file in job["scores"].items()},
        invented=job["invented"],
        on_progress=on_progress,
    )
    report = {**heard.report, "student": job["student"], "asked": asked(job)}
    pencil = {
        kind: pencil_from_file(job["scores"][kind], score, alignment, name=kind)
        for kind, (score, alignment) in heard.aligned.items()
        if alignment.recognised
    }
    return {"report": report, "pencil": pencil}


def asked(job: Job) -> dict[str, Any]:
    """Return what a result depends on besides the take: settings, scores, report version."""
    return {
        "version": VERSION,
        "instrument": job["instrument"],
        "plan": {k: list(v) if isinstance(v, tuple) else v for k, v in job["plan"].items()},
        "scores": {kind: file_sha256(Path(file)) for kind, file in job["scores"].items()},
        "student": job["student"],
    }


def file_sha256(path: Path) -> str:
    """Return the SHA-256 of a file, in hexadecimal."""
    with path.open("rb") as file:
        return hashlib.file_digest(file, "sha256").hexdigest()


def _instrument_of(student: Student, take: Path) -> str:
    """Return the instrument of a take; of two, the one that the file's name mentions."""
    name = take.stem.casefold().replace("_", "-").replace(" ", "-")
    named = [one for one in student.instruments if one in name]
    return named[0] if named else student.instrument


def _plan(season: Season, instrument: str | None) -> playing.Plan:
    if instrument is None:
        return playing.Plan()
    sections = season.sections_for(instrument)
    limit = next((s.limit_s for s in sections if s.kind == "scales" and s.limit_s), 60.0)
    order = tuple(dict.fromkeys(section.kind for section in sections if section.on is None))
    return playing.Plan(order=order, scales_limit_s=limit)  # type: ignore[arg-type]


def _pieces(season: Season, instrument: str | None, student: Student | None) -> dict[str, str]:
    if instrument is None:
        return {}
    level = student.level if student else None
    found: dict[str, str] = {}
    for section in season.sections_for(instrument):
        piece = season.piece_for(section.name, instrument, level)
        if section.kind in ("etude", "honors") and section.on is None and piece is not None:
            found.setdefault(section.kind, str(piece.file))
    return found
