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
        help="each ensemble as it sits and against plan, SVG",
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
        console.print("Nobody is passed over for a lower score.")
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
    if not folder.is_dir():
        raise TableError("there is no such folder for the drawings", path=folder)
    written = []
    for name in dict.fromkeys(row.chairs.ensemble for row in plan.rows):
        drawings = {
            f"{plain_id(name)}.svg": seat_plan_svg(plan, name, close=uncertain),
            f"{plain_id(name)}-instrumentation.svg": instrumentation_svg(plan, name),
        }
        for file, drawing in drawings.items():
            _write(folder / file, drawing + "\n")
            written.append(folder / file)
    return written


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
