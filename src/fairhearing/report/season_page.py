"""The season on one page: seat plan with reasons, takes, judges. Plain dictionaries in, HTML out.

The page needs nothing beside it; where the pages of the takes lie next to it, it links to them.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from markupsafe import Markup

from fairhearing.report.page import render
from fairhearing.report.take_page import Line
from fairhearing.report.tape import tape_svg
from fairhearing.report.words import clock, counted, note_name

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


def season_page(
    season: SeasonFacts,
    *,
    takes: Sequence[HeardTake],
    scores: Report,
    ensembles: Sequence[SeatedEnsemble],
    students: Sequence[SeatedStudent],
    plan_notes: Sequence[str] = (),
) -> str:
    """Return the season's self-contained page.

    Parameters
    ----------
    scores : mapping
        The JSON of ``fairhearing score``.
    plan_notes : sequence of str
        Sentences about the plan as a whole (shortfalls, ties broken by lot).
    """
    unusual = [take for take in takes if take.report["continuity"]["findings"]]
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
    )


def _lines(
    takes: Sequence[HeardTake], scores: Report, students: Sequence[SeatedStudent]
) -> list[Line]:
    look = sum(take.report["continuity"]["summary"] != "nothing unusual" for take in takes)
    seated = sum(student.seat != "" and "alternate" not in student.seat for student in students)
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
        "says": [finding["says"] for finding in take.report["continuity"]["findings"]],
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
