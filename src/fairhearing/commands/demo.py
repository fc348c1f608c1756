"""``fairhearing demo``: an invented season, complete, by the same commands that a director uses.

The season's folder is made, then ``hear``, ``score`` and ``seat`` run on it as they would on a
real one, and everything is drawn on one page. What is there already is not made again.
"""

from __future__ import annotations

import argparse
import importlib
import json
import os
import sys
import time
import webbrowser
from pathlib import Path
from typing import Any

from rich.console import Console
from rich.progress import BarColumn, Progress, TextColumn, TimeRemainingColumn

from fairhearing.core.errors import FairHearingError
from fairhearing.demo import make_season
from fairhearing.report.season_page import season_report
from fairhearing.season import read_roster, read_season


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Declare the words of the command."""
    parser.add_argument("-o", "--output", type=Path, default=Path("demo-season"), metavar="FOLDER")
    parser.add_argument("--no-open", action="store_true", help="do not open the page in a browser")
    parser.add_argument("--workers", type=int, default=os.cpu_count() or 1, metavar="N")


def run(arguments: argparse.Namespace) -> int:
    """Make, hear, score, seat and show the invented season."""
    console = Console(stderr=True, highlight=False)
    begun = time.perf_counter()
    folder: Path = arguments.output
    console.print("Every name, school, take and mark in this season is invented.")
    _make(folder, arguments.workers, console)
    results = folder / "hearings"
    workers = ["--workers", str(arguments.workers)]
    places = ["--json", str(results), "--html", str(results)]
    _command(console, "hear", [str(folder / "takes"), "--season", str(folder), *places, *workers])
    scores_csv, scores_json = folder / "scores.csv", folder / "scores.json"
    seats_csv, seats_json = folder / "seats.csv", folder / "seats.json"
    marks = str(folder / "marks.csv")
    charts = folder / "scores.html"
    outputs = ["--json", str(scores_json), "-o", str(scores_csv), "--html", str(charts)]
    _command(console, "score", [marks, "--season", str(folder), *outputs])
    drawings = folder / "drawings"
    drawings.mkdir(exist_ok=True)
    outputs = ["--json", str(seats_json), "-o", str(seats_csv), "--drawings", str(drawings)]
    _command(console, "seat", [str(scores_csv), str(folder), *outputs])
    season = read_season(folder)
    page = season_report(
        season,
        read_roster(folder, season),
        reports=_reports(results),
        scores=_read(scores_json),
        seats=_read(seats_json),
        pages="hearings",
        charts=charts.name,
        drawings=_drawings(drawings),
    )
    report = folder / "season.html"
    report.write_text(page, encoding="utf-8")
    console.print(f"\nThe season on one page: {report}", soft_wrap=True)
    console.print(f"Made in {time.perf_counter() - begun:.0f} s.")
    if not arguments.no_open and sys.stderr.isatty():
        webbrowser.open(report.resolve().as_uri())
    return 0


def _make(folder: Path, processes: int, console: Console) -> None:
    columns = (
        TextColumn("{task.description}"),
        *(BarColumn(), TextColumn("{task.percentage:3.0f} %"), TimeRemainingColumn()),
    )
    quiet = not sys.stderr.isatty()
    with Progress(*columns, console=console, transient=True, disable=quiet) as progress:
        task = progress.add_task("rendering the invented takes", total=None)
        make_season(
            folder,
            progress=lambda done, total, name: progress.update(task, completed=done, total=total),
            processes=processes,
        )


def _command(console: Console, name: str, words: list[str]) -> None:
    """Run another command, showing it as it would be typed."""
    console.print(f"\n[bold]fairhearing {name} {' '.join(words)}[/bold]", soft_wrap=True)
    module = importlib.import_module(f"fairhearing.commands.{name}")
    parser = argparse.ArgumentParser(prog=f"fairhearing {name}")
    module.add_arguments(parser)
    if module.run(parser.parse_args(words)):
        raise FairHearingError(f"The demo stopped at {name}; what went wrong stands above.")


def _reports(folder: Path) -> dict[str, dict[str, Any]]:
    """Return the hearing reports by the name of their file, without its ending."""
    return {path.name.removesuffix(".json"): _read(path) for path in sorted(folder.glob("*.json"))}


def _drawings(folder: Path) -> dict[str, str]:
    """Return the drawings of the ensembles by the name of their file."""
    return {path.stem: path.read_text(encoding="utf-8") for path in sorted(folder.glob("*.svg"))}


def _read(path: Path) -> dict[str, Any]:
    content: dict[str, Any] = json.loads(path.read_text(encoding="utf-8"))
    return content
