"""``fairhearing seat``: the seat plan with a reason for every student, and what a change does."""

from __future__ import annotations

import argparse
import json
import os
import sys
from collections.abc import Mapping
from dataclasses import replace
from pathlib import Path
from typing import Any

from rich.console import Console
from rich.table import Table

from fairhearing.core.errors import TableError
from fairhearing.core.seating import (
    Close,
    Problem,
    Revision,
    SeatPlan,
    close_pairs,
    explain_all,
    justified_envy,
    moves,
    redraw,
    revise_seats,
    seat,
    withdrawn,
)
from fairhearing.report.instrumentation_chart import instrumentation_svg
from fairhearing.report.seat_plan import seat_plan_svg
from fairhearing.report.seat_table import COLUMNS, read_earlier, seat_json, seat_rows, shortfalls
from fairhearing.season import (
    Roster,
    Season,
    plain_id,
    read_pins,
    read_roster,
    read_scores,
    read_season,
    seating_task,
)
from fairhearing.tables import write_table


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Add the command's arguments."""
    parser.add_argument("scores", metavar="SCORES.csv", type=Path, help="from fairhearing score")
    parser.add_argument("season", metavar="SEASON", type=Path, help="folder with season.toml")
    parser.add_argument("--roster", type=Path, help="another roster than the season's")
    parser.add_argument("--pins", type=Path, help="students seated by hand (docs/seating.md)")
    parser.add_argument("--json", type=Path, metavar="F", help="write the plan as JSON")
    parser.add_argument(
        "-o", "--output", type=Path, metavar="SEATS.csv", help="write a table (.csv or .xlsx)"
    )
    parser.add_argument(
        "--drawings",
        type=Path,
        metavar="DIR",
        help="each ensemble as it sits and against plan, SVG; the folder is made",
    )
    parser.add_argument(
        "--draws", type=int, default=200, help="redraws that tell how sure a seat is; 0 for none"
    )
    parser.add_argument(
        "--compare", type=Path, metavar="PLAN.json", help="say who sits elsewhere than in that plan"
    )
    change = parser.add_argument_group("after a change")
    change.add_argument(
        "--after", type=Path, metavar="PLAN.json", help="the plan so far; as few as possible move"
    )
    change.add_argument(
        "--withdrawn", metavar="NUMBERS", default="", help="who has withdrawn, commas between"
    )
    change.add_argument(
        "--released", action="store_true", help="seats were announced: nobody loses one"
    )
    change.add_argument(
        "--no-added-chairs", action="store_true", help="after release, add no chairs"
    )


def run(arguments: argparse.Namespace) -> int:
    """Seat a season."""
    season = read_season(arguments.season)
    _check_outputs(arguments, season)
    roster = read_roster(arguments.roster or season.folder, season)
    scores = read_scores(arguments.scores, roster, season.seating.tie_break)
    pins = read_pins(arguments.pins, season, roster) if arguments.pins else ()
    task = seating_task(season, roster, scores, pins)
    gone = [word.strip() for word in arguments.withdrawn.split(",") if word.strip()]
    problem = withdrawn(task.problem, *gone)
    revision = _revision(arguments, problem)
    plan = revision.plan if revision else seat(problem)
    reasons = explain_all(plan)
    if arguments.released:  # a seat that is kept is not explained by scores alone
        reasons = {one.student: replace(one, changes=(), family="") for one in reasons.values()}
    standings = redraw(plan, arguments.draws) if arguments.draws > 0 else {}
    close = close_pairs(plan)
    if arguments.json:
        content = seat_json(
            plan,
            season,
            reasons=reasons,
            standings=standings,
            close=close,
            notes=task.notes,
            revision=revision,
        )
        write_json(arguments.json, content)
    if arguments.output:
        rows = seat_rows(plan, roster, reasons, standings, season.seating.alternates)
        write_table(arguments.output, COLUMNS, rows)
    drawings = _draw(arguments.drawings, plan, close) if arguments.drawings else []
    console = Console(file=sys.stdout, highlight=False)
    show(console, plan, season, roster)
    _say(console, plan, close, task.notes, revision)
    if arguments.compare:
        _compare(console, arguments.compare, plan)
    for path in filter(None, (arguments.json, arguments.output, *drawings)):
        console.print(f"Written: {path}", markup=False, soft_wrap=True)
    return 0


def _revision(arguments: argparse.Namespace, problem: Problem) -> Revision | None:
    if arguments.after is None:
        if arguments.released:
            raise TableError("--released needs the plan that was announced: --after PLAN.json")
        return None
    seats, sizes = read_earlier(arguments.after)
    return revise_seats(
        seats,
        sizes,
        problem,
        released=arguments.released,
        add_chairs=not arguments.no_added_chairs,
    )


def show(console: Console, plan: SeatPlan, season: Season, roster: Roster) -> None:
    """Print who sits where, one ensemble after the other."""
    invented = " (invented data)" if season.invented else ""
    seated = f"{len(plan.seats)} of {len(plan.seated)} seated"
    console.print(f"\n{season.name}{invented}: {seated}", markup=False, soft_wrap=True)
    for name in dict.fromkeys(row.chairs.ensemble for row in plan.rows):
        table = Table(title=name, title_justify="left", box=None, pad_edge=False)
        table.add_column("instrument")
        table.add_column("players", justify="right")
        table.add_column("plan", justify="right")
        table.add_column("in order")
        table.add_column("alternates")
        for row in plan.rows:
            if row.chairs.ensemble == name:
                table.add_row(
                    row.chairs.instrument,
                    str(len(row.players)),
                    f"{row.chairs.least}-{row.chairs.ideal}-{row.chairs.most}",
                    ", ".join(row.players),
                    ", ".join(row.alternates[: season.seating.alternates]),
                )
        console.print()
        console.print(table)


def _say(
    console: Console,
    plan: SeatPlan,
    close: tuple[Close, ...],
    notes: tuple[str, ...],
    revision: Revision | None,
) -> None:
    """Print what a person should know beside the plan."""
    console.print()
    envy = _envy(plan)
    if not envy:
        wishes = (wish for one in plan.problem.candidates for wish in one.wishes)
        placed = any(wish.place is not None for wish in wishes)
        lower = "a lower place or score" if placed else "a lower score"
        console.print(f"Nobody is passed over for {lower}.")
    if revision is None:
        proof = "No fair plan fits the instrumentation better (proven)."
        gap = f"charge {plan.cost:g}, at least {plan.bound:g} is sure"
        console.print(proof if plan.proven else f"The best plan found, not proven best: {gap}.")
    else:
        console.print(f"Changes: {len(revision.moves)}")
    lines = [move.says for move in revision.moves] if revision else []
    names = {one.id: f"{one.instrument} in {one.ensemble}" for one in plan.problem.chairs}
    lines += [
        f"{count} added to {names[at]}"
        for at, count in (revision.added if revision else {}).items()
    ]
    for line in [*lines, *shortfalls(plan), *envy, *notes]:
        console.print(f"· {line}", markup=False, soft_wrap=True)
    uncertain = [pair for pair in close if pair.verdict == "too close to call"]
    if uncertain:
        console.print(f"\nToo close to call at a line or a first chair: {len(uncertain)}")
        for pair in uncertain:
            console.print(f"· {names[pair.chairs]}: {pair.says}", markup=False, soft_wrap=True)


def _compare(console: Console, path: Path, plan: SeatPlan) -> None:
    other, _ = read_earlier(path)
    found = moves(other, plan)
    console.print(f"\nBeside {path.name}: {len(found)} sit elsewhere", markup=False)
    for move in found:
        console.print(f"· {move.says}", markup=False, soft_wrap=True)


def _envy(plan: SeatPlan) -> list[str]:
    """Return who is passed over and by whom, found by the independent check."""
    names = {one.id: f"{one.instrument} in {one.ensemble}" for one in plan.problem.chairs}
    pinned = {pin.student for pin in plan.problem.pins}
    return [
        f"{one.student} would rather sit on {names[one.chairs]}, where {one.instead} "
        + ("is seated by hand" if one.instead in pinned else "keeps an announced seat")
        for one in justified_envy(plan.problem, plan.seated)
        if one.student not in pinned
    ]


def _draw(folder: Path, plan: SeatPlan, close: tuple[Close, ...]) -> list[Path]:
    uncertain = {
        student
        for pair in close
        if pair.verdict == "too close to call"
        for student in (pair.upper, pair.lower)
    }
    try:
        folder.mkdir(parents=True, exist_ok=True)
    except OSError as error:
        raise TableError(f"cannot be made a folder ({error.strerror})", path=folder) from None
    written = []
    for name in dict.fromkeys(row.chairs.ensemble for row in plan.rows):
        as_it_sits, against_plan = _drawing_files(folder, name)
        _write(as_it_sits, seat_plan_svg(plan, name, close=uncertain) + "\n")
        _write(against_plan, instrumentation_svg(plan, name) + "\n")
        written += [as_it_sits, against_plan]
    return written


def _drawing_files(folder: Path, ensemble: str) -> tuple[Path, Path]:
    name = plain_id(ensemble)
    return folder / f"{name}.svg", folder / f"{name}-instrumentation.svg"


def _check_outputs(arguments: argparse.Namespace, season: Season) -> None:
    """Refuse before anything is written if one of the outputs cannot be."""
    files: list[Path] = [one for one in (arguments.json, arguments.output) if one is not None]
    if len(files) > len({one.resolve() for one in files}):
        raise TableError("is named for two outputs; give each its own file", path=files[0])
    for file in files:
        if not file.parent.is_dir():
            raise TableError(
                f"cannot be written: there is no folder {file.parent}; make it first", path=file
            )
    if arguments.drawings is not None:
        for ensemble in season.ensembles:
            files += _drawing_files(arguments.drawings, ensemble.name)
    for file in files:
        if file.is_dir():
            raise TableError("is a folder, and a file is to be written there", path=file)
        there = next(one for one in file.absolute().parents if one.exists())
        if not there.is_dir():
            raise TableError("is a file; give a folder for the drawings", path=there)
        if not os.access(there, os.W_OK | os.X_OK):
            raise TableError("cannot be written to; choose another folder", path=there)


def write_json(path: Path, content: Mapping[str, Any]) -> None:
    """Write JSON under a temporary name, then rename it.

    Raises
    ------
    TableError
        If the file cannot be written.
    """
    _write(path, json.dumps(content, ensure_ascii=False, indent=1) + "\n")


def _write(path: Path, text: str) -> None:
    part = path.with_name(f".{path.name}.{os.getpid()}.part")
    try:
        part.write_text(text, encoding="utf-8")
        part.replace(path)
    except OSError as error:
        raise TableError(f"cannot be written ({error.strerror})", path=path) from None
    finally:
        part.unlink(missing_ok=True)
