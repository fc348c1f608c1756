"""``fairhearing score``: fair scores from judges' marks, with their uncertainty."""

from __future__ import annotations

import argparse
import json
import os
from pathlib import Path

from rich.console import Console

from fairhearing.core.errors import FairHearingError, TableError
from fairhearing.core.judging.evaluate import Facts, evaluate
from fairhearing.core.judging.marks import Marks
from fairhearing.core.judging.rescore import place_changes
from fairhearing.core.judging.rubric import Rubric, read_rubric, shipped
from fairhearing.core.judging.rules import Rules, read_rules, require_announced
from fairhearing.core.packet.instruments import find
from fairhearing.report.score_page import score_page
from fairhearing.report.score_table import changes_json, score_json, score_rows
from fairhearing.report.score_terminal import print_scoring
from fairhearing.season import Season, read_roster, read_season
from fairhearing.season.marks import read_facts, read_marks, unknown_instruments, with_order
from fairhearing.tables import write_table

Lines = dict[str, tuple[int, ...]]


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Add the words of the command."""
    parser.add_argument(
        "marks",
        type=Path,
        metavar="MARKS.csv",
        help="one mark a row: student,judge,criterion,mark and, where needed, "
        "section,instrument,weight,order",
    )
    parser.add_argument("--json", type=Path, metavar="F", help="write everything as JSON")
    parser.add_argument(
        "-o", "--output", type=Path, metavar="SCORES.csv", help="write the scores as CSV or XLSX"
    )
    parser.add_argument("--html", type=Path, metavar="F", help="write a page with charts")
    parser.add_argument(
        "--season",
        type=Path,
        metavar="SEASON",
        help="the season's folder: instruments, rubric and lines",
    )
    parser.add_argument(
        "--rubric",
        metavar="RUBRIC",
        help=f"weights and scales: a file, or one of {', '.join(shipped())}",
    )
    parser.add_argument("--rules", type=Path, metavar="RULES.toml", help="how places are given")
    parser.add_argument(
        "--announced",
        metavar="FINGERPRINT",
        help="refuse unless the rules are the ones announced under this fingerprint",
    )
    parser.add_argument(
        "--equal-votes",
        action="store_true",
        help="count every judge alike instead of by how exact the marks are",
    )
    parser.add_argument(
        "--line",
        action="append",
        default=[],
        metavar="[INSTRUMENT=]N",
        help="look closely at the line after N students (1: first chair); may be repeated",
    )
    parser.add_argument(
        "--without",
        action="append",
        default=[],
        metavar="JUDGE",
        help="leave a judge's marks out and say whose place changes",
    )
    parser.add_argument(
        "--plan",
        type=Path,
        metavar="PANEL.csv",
        help="the plan from fairhearing panel: in which order each judge listened",
    )
    parser.add_argument(
        "--facts",
        type=Path,
        metavar="FACTS.csv",
        help="what is known about the takes (student,school,grade,…): do marks follow it?",
    )


def run(arguments: argparse.Namespace) -> int:
    """Score the marks; write the files asked for, or show the scores."""
    _check_places(arguments.json, arguments.output, arguments.html)
    season = read_season(arguments.season) if arguments.season else None
    rules = _rules(arguments)
    roster = read_roster(season.folder, season) if season else None
    rubric = _rubric(arguments, season)
    marks = read_marks(arguments.marks, rubric=rubric, roster=roster, season=season)
    if arguments.plan:
        marks = with_order(marks, arguments.plan)
    everyone = evaluate(marks, rules=rules) if arguments.without else None
    if arguments.without:
        marks = marks.without_judges(arguments.without)
    scoring = evaluate(
        marks,
        rules=rules,
        lines=_lines(arguments.line, marks, season),
        facts=_facts(arguments.facts, marks, season),
        own_school=_own_schools(season),
    )
    changes = place_changes(everyone, scoring) if everyone is not None else ()
    if arguments.json is not None:
        content = score_json(scoring)
        if everyone is not None:
            content |= {"without": arguments.without, "changes": changes_json(changes)}
        _write(arguments.json, json.dumps(content, indent=1, ensure_ascii=False) + "\n")
    if arguments.output is not None:
        columns, rows = score_rows(scoring, with_places=arguments.rules is not None)
        write_table(arguments.output, columns, rows)
    if arguments.html is not None:
        heading = season.name if season else arguments.marks.stem
        remark = "invented data" if season and season.invented else ""
        _write(arguments.html, score_page(scoring, heading=heading, remark=remark))
    console = Console()
    if arguments.json is None:
        print_scoring(scoring, console)
    if everyone is not None:
        console.print(f"Without {', '.join(arguments.without)}: {len(changes)} places change.")
    sentences = [change.says for change in changes[:40]]
    for sentence in (*sentences, *unknown_instruments(marks)):
        console.print(sentence, markup=False, highlight=False, soft_wrap=True)
    if arguments.rules is not None:
        console.print(f"Rules: {rules.fingerprint}", highlight=False)
    for path in filter(None, (arguments.json, arguments.output, arguments.html)):
        console.print(f"Written: {path}", highlight=False, soft_wrap=True, markup=False)
    return 0


def _check_places(*paths: Path | None) -> None:
    """Refuse before anything is written if one of the files cannot be."""
    for path in filter(None, paths):
        if path.is_dir():
            raise TableError("is a folder; give the name of a file in it", path=path)
        if not path.parent.is_dir():
            raise TableError(
                f"cannot be written: there is no folder {path.parent}; make it first", path=path
            )


def _rules(arguments: argparse.Namespace) -> Rules:
    rules = read_rules(arguments.rules) if arguments.rules else Rules()
    if arguments.equal_votes:
        if arguments.rules and not rules.equal_votes:
            raise FairHearingError(
                "--equal-votes is not what the rules say; set equal_votes = true there instead"
            )
        rules = Rules(equal_votes=True) if not arguments.rules else rules
    if arguments.announced:
        require_announced(rules, arguments.announced)
    return rules


def _rubric(arguments: argparse.Namespace, season: Season | None) -> Rubric | None:
    if arguments.rubric:
        return read_rubric(arguments.rubric)
    if season is None or season.rubric is None:
        return None
    beside = season.folder / season.rubric
    return read_rubric(beside if beside.is_file() else season.rubric)


def _lines(words: list[str], marks: Marks, season: Season | None) -> Lines:
    """Return the lines asked for; from a season, first chairs and the ensembles' ideal sizes."""
    found: dict[str, set[int]] = {}
    present = set(marks.instruments)
    if season is not None and not words:
        for name in present:
            found[name] = {1}
        for instrument, seats in _season_lines(season).items():
            found.setdefault(instrument, set()).update(seats)
    for word in words:
        name, _, count = word.rpartition("=")
        if not count.isdecimal() or int(count) < 1:
            raise FairHearingError(
                f'--line {word} is not a line; write a number of students, like "8" or "clarinet=8"'
            )
        instruments = present if not name else {_present(name, present)}
        for instrument in instruments:
            found.setdefault(instrument, set()).add(int(count))
    return {name: tuple(sorted(found[name])) for name in sorted(found) if name in present}


def _present(name: str, present: set[str]) -> str:
    wanted = name if name in present else find(name).id
    if wanted not in present:
        raise FairHearingError(f"--line {name}: there are no marks for {wanted}")
    return wanted


def _season_lines(season: Season) -> dict[str, list[int]]:
    """Return where each instrument's ranking is cut when every ensemble has its ideal size."""
    found: dict[str, list[int]] = {}
    for ensemble in sorted(season.ensembles, key=lambda one: one.level):
        for seats in ensemble.seats:
            if len(seats.accepts) == 1:
                cuts = found.setdefault(seats.accepts[0], [])
                cuts.append((cuts[-1] if cuts else 0) + seats.ideal)
    return found


def _facts(path: Path | None, marks: Marks, season: Season | None) -> Facts | None:
    if path is None:
        return None
    facts = dict(read_facts(path, marks))
    if season is not None and "school" in facts:
        names = {school.id: school.name for school in season.schools}
        facts["school"] = [names.get(str(value), value) for value in facts["school"]]
    return facts


def _own_schools(season: Season | None) -> dict[str, str]:
    if season is None:
        return {}
    return {judge: school.name for school in season.schools for judge in school.staff}


def _write(path: Path, text: str) -> None:
    """Write a text under a temporary name, then rename it."""
    part = path.with_name(f".{path.name}.{os.getpid()}.part")
    try:
        part.write_text(text, encoding="utf-8")
        part.replace(path)
    except OSError as error:
        raise TableError(
            f"cannot be written ({error.strerror}); choose another folder", path=path
        ) from None
    finally:
        part.unlink(missing_ok=True)
