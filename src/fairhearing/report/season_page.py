"""The season on one page: seat plan with reasons, takes, judges. Plain dictionaries in, HTML out.

The page needs nothing beside it; where the pages of the takes lie next to it, it links to them.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any
from urllib.parse import quote

from markupsafe import Markup

from fairhearing.core.packet import instruments
from fairhearing.report.page import render
from fairhearing.report.take_page import Line, worth_a_look
from fairhearing.report.tape import tape_svg
from fairhearing.report.words import clock, counted, in_words, note_name
from fairhearing.season import Roster, Season, plain_id

Report = Mapping[str, Any]


@dataclass(frozen=True, slots=True)
class SeatedEnsemble:
    """An ensemble as it is shown: the drawing of the band and a line for each instrument."""

    name: str
    count: str
    svg: str
    rows: Sequence[Line]


@dataclass(frozen=True, slots=True)
class SeatedStudent:
    """A student's line: audition number, instrument, seat, fair score and the reason."""

    number: str
    instrument: str
    seat: str
    score: str
    reason: str


@dataclass(frozen=True, slots=True)
class HeardTake:
    """A take of the season: its report and where its own page lies (relative), if anywhere."""

    number: str
    report: Report
    page: str | None


@dataclass(frozen=True, slots=True)
class SeasonFacts:
    """Heading of the page."""

    name: str
    schools: Sequence[str]
    dates: str
    invented: bool


def season_report(
    season: Season,
    roster: Roster,
    *,
    reports: Mapping[str, Report],
    scores: Report,
    seats: Report,
    pages: str | None = None,
    charts: str | None = None,
    drawings: Mapping[str, str] | None = None,
) -> str:
    """Return the season's page from what the commands wrote.

    Students appear by audition number only.

    Parameters
    ----------
    reports : mapping of str to report
        Hearing reports by the name of the take's file.
    scores, seats : mapping
        The JSON of ``fairhearing score`` and ``fairhearing seat``.
    pages : str, optional
        Folder of the takes' own pages, relative to this page.
    charts : str, optional
        The page with the judges' charts, relative to this page.
    drawings : mapping of str to str, optional
        SVG of each ensemble as it sits, by the ensemble's id.
    """
    drawn = drawings or {}
    facts = SeasonFacts(
        name=season.name,
        schools=[school.name for school in season.schools],
        dates=_dates(season),
        invented=season.invented,
    )
    takes = [
        HeardTake(
            report.get("student") or name,
            report,
            f"{quote(pages)}/{quote(name)}.html" if pages else None,
        )
        for name, report in reports.items()
    ]
    return season_page(
        facts,
        takes=sorted(takes, key=lambda take: take.number),
        scores=scores,
        ensembles=[_ensemble(e, drawn.get(plain_id(e["name"]), "")) for e in seats["ensembles"]],
        students=_students(roster, scores, seats),
        plan_notes=seats["notes"],
        charts=charts,
    )


def season_page(
    season: SeasonFacts,
    *,
    takes: Sequence[HeardTake],
    scores: Report,
    ensembles: Sequence[SeatedEnsemble],
    students: Sequence[SeatedStudent],
    plan_notes: Sequence[str] = (),
    charts: str | None = None,
) -> str:
    """Return the season's self-contained page.

    Parameters
    ----------
    scores : mapping
        The JSON of ``fairhearing score``.
    plan_notes : sequence of str
        Sentences about the plan as a whole (shortfalls, ties broken by lot).
    """
    unusual = [take for take in takes if worth_a_look(take.report)]
    return render(
        "season.html",
        season=season,
        lines=_lines(takes, scores, students),
        ensembles=[_drawn(ensemble) for ensemble in ensembles],
        plan_notes=plan_notes,
        students=students,
        takes=[_take_row(take) for take in takes],
        tapes=[_tape(take) for take in unusual],
        judges=[_judge_row(judge) for judge in scores["judges"]],
        marks_words=_marks_words(scores),
        charts=charts,
    )


def _dates(season: Season) -> str:
    named = (("takes due", season.dates.due), ("results", season.dates.results))
    return " · ".join(f"{word} {when:%A %d %B %Y, %H:%M}" for word, when in named if when)


def _ensemble(entry: Report, drawing: str) -> SeatedEnsemble:
    sections = entry["sections"]
    players = sum(len(section["players"]) for section in sections)
    return SeatedEnsemble(
        name=entry["name"],
        count=counted(players, "player"),
        svg=drawing,
        rows=[
            Line(
                section["instrument"],
                ", ".join(section["players"]) or "open",
                f"{section['least']} to {section['most']}, best {section['ideal']}"
                + (f"; {section['shortfall']} short" if section["shortfall"] else ""),
            )
            for section in sections
        ],
    )


def _students(roster: Roster, scores: Report, seats: Report) -> list[SeatedStudent]:
    names = {
        section["chairs"]: f"{entry['name']}, {section['instrument']}"
        for entry in seats["ensembles"]
        for section in entry["sections"]
    }
    best: dict[str, list[str]] = {}
    for scored in scores["students"]:
        if scored["fair_score"] is not None:
            best.setdefault(scored["student"], []).append(f"{scored['fair_score']:.2f}")
    table = instruments.load()
    students = []
    for entry in seats["students"]:
        student = roster.get(entry["student"])
        seat = names.get(entry["chairs"] or "", "no seat")
        if entry["part"]:
            seat += f", {entry['part']}"
        if entry["chair"]:
            seat += f", chair {entry['chair']}"
        played = in_words([table[i].name for i in student.instruments]) if student else ""
        score = " / ".join(best.get(entry["student"], ["–"]))
        students.append(SeatedStudent(entry["student"], played, seat, score, entry["why"]))
    return students


def _lines(
    takes: Sequence[HeardTake], scores: Report, students: Sequence[SeatedStudent]
) -> list[Line]:
    look = sum(take.report["continuity"]["summary"] != "nothing unusual" for take in takes)
    seated = sum(student.seat != "no seat" for student in students)
    return [
        Line("Takes heard", str(len(takes))),
        Line("Takes with a place to look at", str(look), "a person decides"),
        Line("Takes with advice on the recording", str(sum(map(_advised, takes)))),
        Line("Judges", str(len(scores["judges"]))),
        Line("Auditions scored", str(len(scores["students"]))),
        Line("Students on the plan", f"{seated} of {len(students)}"),
    ]


def _advised(take: HeardTake) -> bool:
    return bool(take.report["quality"]["advice"])


def _drawn(ensemble: SeatedEnsemble) -> dict[str, Any]:
    return {
        "name": ensemble.name,
        "count": ensemble.count,
        "svg": Markup(ensemble.svg) if ensemble.svg else None,
        "rows": ensemble.rows,
    }


def _take_row(take: HeardTake) -> dict[str, Any]:
    report = take.report
    instrument = report.get("instrument") or {}
    chromatic, etude = report.get("chromatic"), report.get("etude") or {}
    shift = -int(instrument.get("sounding_minus_written") or 0)
    inside = [s for s in report["scales"]["played"] if s["complete"] and s["in_window"]]
    return {
        "number": take.number,
        "page": take.page,
        "instrument": instrument.get("name") or "not stated",
        "length": clock(report["file"]["duration_s"]),
        "chromatic": " to ".join(
            note_name(chromatic[key] + shift) for key in ("lowest_midi", "highest_midi")
        )
        if chromatic
        else "–",
        "scales": str(len(inside)) if report["scales"]["window_start_s"] is not None else "–",
        "etude": _etude_words(etude),
        "unbroken": report["continuity"]["summary"],
        "advice": counted(len(report["quality"]["advice"]), "hint"),
    }


def _etude_words(etude: Report) -> str:
    if etude.get("notes_right") is None:
        return "–"
    total = etude["notes_right"] + etude["notes_wrong"] + etude["notes_missed"]
    return f"{etude['notes_right']} of {total + (etude.get('notes_not_sure') or 0)}"


def _tape(take: HeardTake) -> dict[str, Any]:
    return {
        "number": take.number,
        "page": take.page,
        "instrument": (take.report.get("instrument") or {}).get("name") or "",
        "svg": Markup(tape_svg(take.report)),
        "says": [finding["says"] for finding in worth_a_look(take.report)],
    }


def _judge_row(judge: Report) -> dict[str, str]:
    def shown(value: float | None, pattern: str) -> str:
        return "–" if value is None else pattern.format(value)

    return {
        "judge": judge["judge"],
        "takes": str(judge["takes"]),
        "severity": shown(judge["severity"], "{:+.2f}"),
        "vote": shown(judge["precision"], "{:.2f}"),
    }


def _marks_words(scores: Report) -> str:
    icc = (scores["agreement"].get("icc") or {}).get("ICC(2,1)")
    alpha = (scores["agreement"].get("krippendorff_alpha") or {}).get("interval")
    words = (
        "Fair scores set the judges on one scale: a strict judge’s marks are lifted, a generous "
        "one’s lowered, by as much as their shared students show."
    )
    if alpha is not None:
        words += f" Krippendorff’s alpha of the raw marks is {alpha:.2f} (interval)."
    elif icc is not None:
        words += f" The intraclass correlation of the raw marks is {icc:.2f}."
    return words
