"""``fairhearing panel``: who hears whom, in which order, linked and without conflicts."""

from __future__ import annotations

import argparse
from pathlib import Path

import numpy as np
from rich.console import Console
from rich.table import Table

from fairhearing.core.errors import FairHearingError
from fairhearing.core.judging.dropout import after_dropout, extra_listeners
from fairhearing.core.judging.linking import weakest_link
from fairhearing.core.judging.panel_plan import PanelPlan
from fairhearing.core.judging.panels import assign
from fairhearing.season import Season, read_roster, read_season
from fairhearing.season.marks import read_marks
from fairhearing.season.panels import PLAN_COLUMNS, plan_rows, read_judges, read_plan, takes_of
from fairhearing.tables import read_table, write_table


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Add the words of the command."""
    parser.add_argument(
        "roster", type=Path, metavar="ROSTER", help="roster.csv, or a season's folder"
    )
    parser.add_argument(
        "judges",
        type=Path,
        metavar="JUDGES.csv",
        help="judge and, where they matter, instruments,schools,not,most",
    )
    parser.add_argument("-o", "--output", type=Path, metavar="PANEL.csv", help="write the plan")
    parser.add_argument(
        "--per-take", type=int, default=3, metavar="N", help="judges for each take (default 3)"
    )
    parser.add_argument(
        "--calibration",
        type=int,
        default=3,
        metavar="N",
        help="takes that every judge hears first (default 3)",
    )
    parser.add_argument(
        "--shuffle", default="", metavar="TEXT", help="any text; another text, other panels"
    )
    parser.add_argument(
        "--plan", type=Path, metavar="PANEL.csv", help="the plan that is being followed"
    )
    parser.add_argument(
        "--steps-back",
        metavar="JUDGE",
        help="with --plan: hand this judge's unfinished takes to others",
    )
    parser.add_argument(
        "--accept-fewer",
        action="store_true",
        help="with --steps-back: where nobody can take over, leave a take with fewer judges",
    )
    parser.add_argument(
        "--marks", type=Path, metavar="MARKS.csv", help="with --plan: what has been marked so far"
    )
    parser.add_argument(
        "--again",
        type=Path,
        metavar="LIST.csv",
        help="with --plan: one further judge for each student listed (column student)",
    )


def run(arguments: argparse.Namespace) -> int:
    """Make a plan, or change one that is being followed."""
    season, roster_path = _season(arguments.roster)
    roster = read_roster(roster_path, season)
    judges = read_judges(arguments.judges, roster, season)
    takes = takes_of(roster)
    console = Console(highlight=False)
    if arguments.plan is None:
        if arguments.steps_back or arguments.again or arguments.marks:
            raise FairHearingError(
                "--steps-back, --again and --marks change a plan; say which with --plan PANEL.csv"
            )
        plan = assign(
            takes,
            judges,
            per_take=arguments.per_take,
            calibration=arguments.calibration,
            seed=arguments.shuffle,
        )
    else:
        plan = _changed(arguments, read_plan(arguments.plan, takes, judges, arguments.shuffle))
    _show(console, plan)
    if arguments.output is not None:
        write_table(arguments.output, PLAN_COLUMNS, plan_rows(plan))
        console.print(f"Written: {arguments.output}", markup=False, soft_wrap=True)
    return 0


def _season(path: Path) -> tuple[Season | None, Path]:
    if path.is_dir() and (path / "season.toml").is_file():
        return read_season(path), path
    return None, path


def _changed(arguments: argparse.Namespace, plan: PanelPlan) -> PanelPlan:
    if arguments.steps_back and arguments.again:
        raise FairHearingError("change one thing at a time: --steps-back or --again")
    if arguments.steps_back:
        return after_dropout(
            plan,
            arguments.steps_back,
            _finished(arguments, plan),
            accept_fewer=arguments.accept_fewer,
        )
    if arguments.again:
        return _again(arguments.again, plan)
    return plan


def _finished(arguments: argparse.Namespace, plan: PanelPlan) -> list[tuple[str, str, str]]:
    """Return the listenings in the marks, each with the instrument the plan knows."""
    if arguments.marks is None:
        return []
    marks = read_marks(arguments.marks)
    main: dict[str, str] = {}
    for take in plan.takes:
        main.setdefault(take.student, take.instrument)
    pairs = sorted(set(zip(marks.judge.tolist(), marks.student.tolist(), strict=True)))
    return [
        (
            marks.judges[judge],
            marks.students[unit],
            marks.instruments[unit] or main.get(marks.students[unit], ""),
        )
        for judge, unit in pairs
    ]


def _again(path: Path, plan: PanelPlan) -> PanelPlan:
    """Add one further judge for each listed take, at the end of that judge's order."""
    unit = {(take.student, take.instrument): at for at, take in reversed([*enumerate(plan.takes)])}
    for at, take in reversed([*enumerate(plan.takes)]):
        unit[take.student, ""] = at
    wanted = []
    for row in read_table(path, required=("student",), optional=("instrument",)):
        key = (row.need("student"), row["instrument"])
        if key not in unit:
            raise row.error(f"{' '.join(key).strip()} is not in the plan")
        wanted.append(unit[key])
    hears = plan.hears.copy()
    order = [list(own) for own in plan.order]
    for unit_again, judge in extra_listeners(plan, wanted):
        hears[unit_again, judge] = True
        order[judge].append(unit_again)
    return PanelPlan(
        plan.takes,
        plan.judges,
        hears,
        plan.calibration,
        tuple(tuple(own) for own in order),
        plan.seed,
        plan.notes,
    )


def _show(console: Console, plan: PanelPlan) -> None:
    table = Table(box=None, header_style="italic", pad_edge=False)
    table.add_column("judge")
    table.add_column("takes", justify="right")
    table.add_column("begins with")
    for judge, load, order in zip(plan.judges, plan.loads, plan.order, strict=True):
        first = ", ".join(plan.takes[take].student for take in order[:6])
        table.add_row(judge.name, str(load), f"{first}{' …' if len(order) > 6 else ''}")
    console.print(table)
    heard = plan.hears.sum(axis=1)
    console.print(
        f"{len(plan.takes)} takes, {int(heard.min())} to {int(heard.max())} judges each."
        f"{'' if plan.notes else _link_words(plan)}",
        soft_wrap=True,
    )
    for note in plan.notes:
        console.print(note, markup=False, soft_wrap=True)
    if plan.calibration:
        names = ", ".join(plan.takes[take].student for take in plan.calibration)
        console.print(
            f"Everyone hears first: {names}. Talk about these marks, then go on alone.",
            soft_wrap=True,
        )


def _link_words(plan: PanelPlan) -> str:
    take, judge = np.nonzero(plan.hears)
    weak = weakest_link(take, judge, len(plan.takes), len(plan.judges))
    if weak is None:
        return " All panels are linked: no two judges' students stand apart."
    return f" All panels are linked, by {len(weak.students)} takes where the link is thinnest."
