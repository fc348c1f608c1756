"""``fairhearing hear``: the hearing of one take, several, or a folder of them.

One take: a summary in the terminal, and the files asked for. Several: one JSON and one page a
take in a folder of results; what is there already and still true is not heard again, and one
broken file never stops the rest.
"""

from __future__ import annotations

import argparse
import json
import os
import sys
import tempfile
from collections.abc import Iterable, Mapping
from pathlib import Path
from typing import Any
from urllib.parse import quote

from rich.console import Console
from rich.progress import BarColumn, Progress, TextColumn, TimeRemainingColumn

from fairhearing import engine, steps
from fairhearing.core.errors import FairHearingError, RecordingError
from fairhearing.core.packet import instruments
from fairhearing.report.take_page import take_page
from fairhearing.report.terminal import print_summary
from fairhearing.season.takes import ENDINGS


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Declare the words of the command."""
    parser.add_argument("takes", nargs="+", metavar="TAKE|FOLDER", type=Path)
    parser.add_argument("--season", type=Path, help="a season folder or its season.toml")
    parser.add_argument("--instrument", metavar="NAME", help='for example "alto saxophone"')
    parser.add_argument("--score", type=Path, metavar="FILE", help="the etude as MusicXML or MIDI")
    parser.add_argument(
        "--json", type=Path, metavar="F", help="write the report here (several takes: a folder)"
    )
    parser.add_argument(
        "--html", type=Path, metavar="F", help="write the page here (several takes: a folder)"
    )
    parser.add_argument(
        "--workers", type=int, metavar="N", help="takes at a time (default: one a core)"
    )


def run(arguments: argparse.Namespace) -> int:
    """Hear what was asked for."""
    takes = list(_found(arguments.takes))
    jobs = _jobs(takes, arguments)
    several = len(jobs) > 1 or any(path.is_dir() for path in arguments.takes)
    return _many(jobs, arguments) if several else _one(jobs[0], arguments)


def _found(paths: Iterable[Path]) -> Iterable[Path]:
    for path in paths:
        if path.is_dir():
            inside = sorted(p for p in path.rglob("*") if p.suffix.lower() in ENDINGS)
            if not inside:
                raise RecordingError(
                    f"There is no recording in the folder {path.name}; "
                    "name a folder with takes (.mp4, .mov, .webm, .m4a, .wav …)."
                )
            yield from inside
        elif path.exists():
            yield path
        else:
            raise RecordingError(f"There is no file {path}; check the name.")


def _jobs(takes: list[Path], arguments: argparse.Namespace) -> list[dict[str, Any]]:
    instrument = instruments.find(arguments.instrument).id if arguments.instrument else None
    scores = {"etude": str(arguments.score.resolve())} if arguments.score else {}
    if arguments.score and not arguments.score.is_file():
        raise FairHearingError(f"There is no score file {arguments.score}; check the name.")
    if arguments.season is None:
        return [steps.take_job(path, instrument=instrument, scores=scores) for path in takes]
    return steps.season_jobs(arguments.season, takes, instrument=instrument, scores=scores)


def _one(job: dict[str, Any], arguments: argparse.Namespace) -> int:
    console = Console(stderr=True)
    with _progress(console) as progress:
        task = progress.add_task("listening", total=1.0)
        result = steps.hear_take(
            job, on_progress=lambda done: progress.update(task, completed=done)
        )
    _write_results(result, job, json_file=arguments.json, html_file=arguments.html)
    print_summary(result["report"], Console())
    return 0


def _many(jobs: list[dict[str, Any]], arguments: argparse.Namespace) -> int:
    console = Console(stderr=True)
    first = arguments.takes[0]
    default = (first if first.is_dir() else first.parent) / "hearings"
    folders = {"json": arguments.json or default, "html": arguments.html or default}
    for folder in folders.values():
        if folder.exists() and not folder.is_dir():
            raise FairHearingError(
                f"{folder.name} is a file; for several takes name a folder for the results."
            )
        folder.mkdir(parents=True, exist_ok=True)
    files = _result_files(jobs, folders)
    waiting = [job for job in jobs if not _still_true(job, files[job["path"]][0])]
    if len(waiting) < len(jobs):
        console.print(f"{len(jobs) - len(waiting)} of {len(jobs)} were heard before.")
    failed: list[tuple[str, str]] = []
    with _progress(console) as progress:
        task = progress.add_task(
            "listening", total=sum(Path(job["path"]).stat().st_size for job in waiting)
        )
        for outcome in engine.run(
            "fairhearing.steps:hear_take",
            waiting,
            workers=arguments.workers,
            preload="fairhearing.hearing",
        ):
            path = Path(outcome.job["path"])
            if outcome.result is not None:
                json_file, html_file = files[str(path)]
                _write_results(outcome.result, outcome.job, json_file, html_file)
            else:
                failed.append((path.name, outcome.error or ""))
                progress.console.print(f"{path.name}: {outcome.error}", markup=False)
            progress.advance(task, path.stat().st_size)
    said = f"{len(jobs) - len(failed)} of {len(jobs)} takes heard; results in {folders['json']}."
    said += f" {len(failed)} could not be heard." if failed else ""
    console.print(said, soft_wrap=True, highlight=False, markup=False)
    return 1 if failed else 0


def _result_files(
    jobs: list[dict[str, Any]], folders: dict[str, Path]
) -> dict[str, tuple[Path, Path]]:
    """Name the results after the takes; a folder's name is added where two takes share one."""
    names = [Path(job["path"]).name for job in jobs]
    files = {}
    for job, name in zip(jobs, names, strict=True):
        unique = name if names.count(name) == 1 else f"{Path(job['path']).parent.name}-{name}"
        files[job["path"]] = (
            folders["json"] / f"{unique}.json",
            folders["html"] / f"{unique}.html",
        )
    return files


def _still_true(job: dict[str, Any], json_file: Path) -> bool:
    """Say whether a result is there, of the same file, asked the same way."""
    try:
        report = json.loads(json_file.read_text(encoding="utf-8"))
        return bool(
            report["asked"] == steps.asked(job)
            and report["file"]["sha256"] == steps.file_sha256(Path(job["path"]))
        )
    except (OSError, ValueError, KeyError):
        return False


def _write_results(
    result: Mapping[str, Any],
    job: Mapping[str, Any],
    json_file: Path | None,
    html_file: Path | None,
) -> None:
    report = result["report"]
    if html_file:
        media = os.path.relpath(job["path"], html_file.resolve().parent).replace(os.sep, "/")
        _write(html_file, take_page(report, media=quote(media), pencil=result["pencil"]))
    if json_file:
        _write(json_file, json.dumps(report, ensure_ascii=False, indent=1) + "\n")


def _write(path: Path, text: str) -> None:
    """Write under a temporary name, then rename: never half a file."""
    try:
        with tempfile.NamedTemporaryFile(
            "w", encoding="utf-8", dir=path.parent, suffix=".part", delete=False
        ) as part:
            part.write(text)
        Path(part.name).replace(path)
    except OSError as error:
        raise FairHearingError(f"{path} cannot be written ({error.strerror}).") from None


def _progress(console: Console) -> Progress:
    return Progress(
        TextColumn("{task.description}"),
        BarColumn(),
        TextColumn("{task.percentage:3.0f} %"),
        TimeRemainingColumn(elapsed_when_finished=True),
        console=console,
        transient=True,
        disable=not sys.stderr.isatty(),
    )
