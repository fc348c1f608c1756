"""``fairhearing seat``: the seat plan with a reason for every student."""

from __future__ import annotations

import argparse
import json
import os
import sys
from pathlib import Path
from typing import Any

from rich.console import Console
from rich.table import Table

from fairhearing.core.errors import TableError
from fairhearing.core.seating import (
    SeatPlan,
    close_pairs,
    explain_all,
    justified_envy,
    redraw,
    seat,
)
from fairhearing.report.seat_table import COLUMNS, seat_json, seat_rows, shortfalls
from fairhearing.season import (
    Roster,
    Season,
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
        "--draws", type=int, default=200, help="redraws that tell how sure a seat is; 0 for none"
    )


def run(arguments: argparse.Namespace) -> int:
    """Seat a season."""
    season = read_season(arguments.season)
    roster = read_roster(arguments.roster or season.folder, season)
    scores = read_scores(arguments.scores, roster, season.seating.tie_break)
    pins = read_pins(arguments.pins, season, roster) if arguments.pins else ()
    task = seating_task(season, roster, scores, pins)
    plan = seat(task.problem)
    reasons = explain_all(plan)
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
        )
        write_json(arguments.json, content)
    if arguments.output:
        rows = seat_rows(plan, roster, reasons, standings, season.seating.alternates)
        write_table(arguments.output, COLUMNS, rows)
    console = Console(file=sys.stdout, highlight=False)
    show(console, plan, season, roster)
    for note in [*shortfalls(plan), *_envy(plan), *task.notes]:
        console.print(f"· {note}", markup=False, soft_wrap=True)
    uncertain = [pair for pair in close if pair.verdict == "too close to call"]
    if uncertain:
        console.print(f"\nToo close to call at a line or a first chair: {len(uncertain)}")
        for pair in uncertain:
            console.print(f"· {pair.chairs}: {pair.says}", markup=False, soft_wrap=True)
    for path in filter(None, (arguments.json, arguments.output)):
        console.print(f"Written: {path}", markup=False, soft_wrap=True)
    return 0


def show(console: Console, plan: SeatPlan, season: Season, roster: Roster) -> None:
    """Print who sits where, one ensemble after the other."""
    invented = " (invented data)" if season.invented else ""
    console.print(
        f"\n{season.name}{invented}: {len(plan.seats)} of {len(roster)} seated", markup=False
    )
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
    proof = "proven best under the plan" if plan.proven else "best found, not proven"
    console.print(f"\nNobody is passed over for a lower score; {proof}.")


def _envy(plan: SeatPlan) -> list[str]:
    """Return what pins do to others, found by the independent check."""
    return [
        f"{one.student} would rather sit in {one.chairs}, where {one.instead} is seated by hand"
        for one in justified_envy(plan.problem, plan.seated)
    ]


def write_json(path: Path, content: dict[str, Any]) -> None:
    """Write JSON under a temporary name, then rename it.

    Raises
    ------
    TableError
        If the file cannot be written.
    """
    part = path.with_name(f".{path.name}.{os.getpid()}.part")
    try:
        part.write_text(json.dumps(content, ensure_ascii=False, indent=1) + "\n", encoding="utf-8")
        part.replace(path)
    except OSError as error:
        raise TableError(f"cannot be written ({error.strerror})", path=path) from None
    finally:
        part.unlink(missing_ok=True)
