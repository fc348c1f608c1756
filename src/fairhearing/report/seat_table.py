"""A seat plan as a table, as JSON and as words: what a director files, reads and hands on."""

from __future__ import annotations

import json
import math
from collections.abc import Mapping
from pathlib import Path
from typing import Any

from fairhearing.core.errors import TableError
from fairhearing.core.seating import (
    Close,
    Explanation,
    Revision,
    SeatPlan,
    Standing,
    justified_envy,
    name_of,
)
from fairhearing.season import Roster, Season

COLUMNS = (
    *("student", "name", "school", "grade", "ensemble", "instrument", "part", "chair", "place"),
    *("doubles", "score", "standing", "alternate_for", "pinned", "why", "what_would_change"),
)


def seat_rows(
    plan: SeatPlan,
    roster: Roster,
    reasons: Mapping[str, Explanation],
    standings: Mapping[str, Standing],
    alternates: int,
) -> list[list[object]]:
    """Return one row per student under :data:`COLUMNS`, in score order, unseated ones last."""
    waiting = _alternate_for(plan, alternates)
    order = [student for row in plan.rows for student in row.players]
    order += sorted(set(plan.seated) - set(order))
    rows: list[list[object]] = []
    for number in order:
        student, seat = roster.get(number), plan.seats.get(number)
        chairs = plan.row(seat.chairs).chairs if seat else None
        wish = plan.wish(number, seat.chairs) if seat else None
        standing = standings.get(number)
        reason = reasons[number]
        rows.append(
            [
                number,
                student.name if student else "",
                student.school if student else "",
                student.grade if student else None,
                chairs.ensemble if chairs else "",
                chairs.instrument if chairs else "",
                seat.part if seat else "",
                seat.chair if seat else None,
                seat.rank if seat else None,
                "; ".join(seat.doubles) if seat else "",
                wish.score if wish else None,
                standing.word if standing else "",
                "; ".join(waiting.get(number, [])),
                "yes" if seat and seat.pinned else "",
                reason.why,
                " ".join(change.says for change in reason.changes[:2]),
            ]
        )
    return rows


def seat_json(
    plan: SeatPlan,
    season: Season,
    *,
    reasons: Mapping[str, Explanation],
    standings: Mapping[str, Standing],
    close: tuple[Close, ...],
    notes: tuple[str, ...],
    revision: Revision | None = None,
) -> dict[str, Any]:
    """Return the plan as JSON (version 1); the keys are described in ``docs/seating.md``."""
    return {
        "version": 1,
        "season": season.name,
        "invented": season.invented,
        "lot": plan.problem.lot,
        "proven": plan.proven,
        "charge": plan.cost,
        "least_charge": plan.bound if math.isfinite(plan.bound) else None,
        "ensembles": _ensembles(plan),
        "students": [
            _student(plan, number, reasons[number], standings.get(number))
            for number in sorted(plan.seated)
        ],
        "close": [
            {
                "chairs": pair.chairs,
                "upper": pair.upper,
                "lower": pair.lower,
                "where": pair.where,
                "probability": pair.probability,
                "verdict": pair.verdict,
                "says": pair.says,
            }
            for pair in close
        ],
        "notes": list(notes),
        "moves": [
            {
                "student": move.student,
                "before": move.before,
                "after": move.after,
                "way": move.way,
                "says": move.says,
            }
            for move in (revision.moves if revision else ())
        ],
        "envy": [
            {"student": one.student, "chairs": one.chairs, "instead": one.instead}
            for one in justified_envy(plan.problem, plan.seated)
        ],
    }


def read_earlier(path: Path) -> tuple[dict[str, str | None], dict[str, int]]:
    """Return (student to chairs, chairs to size) of a plan that was written as JSON.

    Raises
    ------
    TableError
        If the file is no such plan.
    """
    try:
        content = json.loads(path.read_text(encoding="utf-8"))
        seats = {str(one["student"]): one["chairs"] for one in content["students"]}
        sizes = {
            str(section["chairs"]): int(section["size"])
            for ensemble in content["ensembles"]
            for section in ensemble["sections"]
        }
    except OSError as error:
        raise TableError(f"cannot be read ({error.strerror})", path=path) from None
    except (ValueError, KeyError, TypeError, AttributeError):
        raise TableError(
            "is not a seat plan; give a file that fairhearing seat --json wrote", path=path
        ) from None
    return seats, sizes


def shortfalls(plan: SeatPlan) -> list[str]:
    """Return a sentence for every section that has fewer players than the plan's least."""
    return [
        f"{name_of(row.chairs)}: {len(row.players)} of at least {row.chairs.least}, "
        f"{row.shortfall} short; {_supply(plan, row.chairs.id)}"
        for row in plan.rows
        if row.shortfall
    ]


def _supply(plan: SeatPlan, chairs: str) -> str:
    able = sum(
        any(wish.chairs == chairs and wish.possible for wish in one.wishes)
        for one in plan.problem.candidates
    )
    return f"{able} students could sit there in all"


def _alternate_for(plan: SeatPlan, alternates: int) -> dict[str, list[str]]:
    found: dict[str, list[str]] = {}
    for row in plan.rows:
        for place, student in enumerate(row.alternates[:alternates], start=1):
            found.setdefault(student, []).append(f"{place}: {name_of(row.chairs)}")
    return found


def _ensembles(plan: SeatPlan) -> list[dict[str, Any]]:
    ensembles: dict[str, dict[str, Any]] = {}
    for row in plan.rows:
        chairs = row.chairs
        entry = ensembles.setdefault(
            chairs.ensemble, {"name": chairs.ensemble, "level": chairs.level, "sections": []}
        )
        entry["sections"].append(
            {
                "chairs": chairs.id,
                "instrument": chairs.instrument,
                "least": chairs.least,
                "ideal": chairs.ideal,
                "most": chairs.most,
                "size": row.size,
                "shortfall": row.shortfall,
                "players": list(row.players),
                "alternates": list(row.alternates),
            }
        )
    return list(ensembles.values())


def _student(
    plan: SeatPlan, number: str, reason: Explanation, standing: Standing | None
) -> dict[str, Any]:
    seat = plan.seats.get(number)
    return {
        "student": number,
        "chairs": seat.chairs if seat else None,
        "part": seat.part if seat else None,
        "chair": seat.chair if seat else None,
        "place": seat.rank if seat else None,
        "doubles": list(seat.doubles) if seat else [],
        "pinned": bool(seat and seat.pinned),
        "standing": standing.word if standing else None,
        "share": standing.share if standing else None,
        "why": reason.why,
        "family": reason.family,
        "changes": [
            {
                "chairs": change.chairs,
                "kind": change.kind,
                "score": change.score,
                "more": change.more,
                "says": change.says,
            }
            for change in reason.changes
        ],
    }
