"""An ensemble as it sits: rows of chairs in arcs before the conductor, drawn as SVG.

Which instruments sit in front and which behind is common practice, no source; a band room may
differ. A section that does not fit a row goes on behind its own last chair, so that players of one
instrument stay together. The drawing needs nothing beside it; inside a page it takes the page's
colours.
"""

from __future__ import annotations

import math
import re
from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass
from html import escape
from itertools import pairwise

from fairhearing.core.seating import Row, SeatPlan

CHAIR_W, CHAIR_H = 54.0, 32.0
_GAP = 14.0  # along the arc; where it slopes, chairs come closer than that
_FIRST_ROW, _ROW_STEP = 105.0, 56.0  # radius upwards, in drawing units
_WIDER = 1.75  # arcs are wider than deep
_OPENING = math.radians(6)  # the arcs end this far above the conductor's line

# front to back; a section not named here sits before the low brass
FRONT_TO_BACK = (
    *("piccolo", "flute", "oboe", "clarinet", "alto-clarinet", "bass-clarinet", "bassoon"),
    *("alto-saxophone", "tenor-saxophone", "baritone-saxophone", "horn", "trumpet"),
    *("trombone", "bass-trombone", "euphonium", "euphonium-treble", "tuba"),
)
STANDING = frozenset(
    ["percussion", "snare-drum", "timpani", "xylophone", "bells", "marimba"]
)  # behind all others
SHORT = {
    "piccolo": "Picc", "flute": "Fl", "oboe": "Ob", "clarinet": "Cl", "alto-clarinet": "A.Cl",
    "bass-clarinet": "B.Cl", "bassoon": "Bsn", "alto-saxophone": "A.Sx", "tenor-saxophone": "T.Sx",
    "baritone-saxophone": "B.Sx", "horn": "Hn", "trumpet": "Tpt", "trombone": "Tbn",
    "bass-trombone": "B.Tbn", "euphonium": "Euph", "euphonium-treble": "Euph", "tuba": "Tuba",
    "percussion": "Perc", "snare-drum": "Snare", "timpani": "Timp", "xylophone": "Xyl",
    "bells": "Bells", "marimba": "Mar",
}  # fmt: skip

STYLE = """
.as-it-sits text{font:12px system-ui,"Segoe UI","Noto Sans",sans-serif;fill:#1e1a16;
fill:var(--ink,#1e1a16);text-anchor:middle}
.as-it-sits .who{font-size:11px}
.as-it-sits .what{font-size:10px;fill:#62594d;fill:var(--quiet,#62594d)}
.as-it-sits .words{font-size:12px;text-anchor:start}
.as-it-sits rect{fill:#fffdf8;fill:var(--sheet,#fffdf8);stroke:#1e1a16;stroke:var(--ink,#1e1a16)}
.as-it-sits .open rect{stroke:#b9ad9b;stroke:var(--quiet,#b9ad9b);stroke-dasharray:1 3}
.as-it-sits .open text{fill:#62594d;fill:var(--quiet,#62594d)}
.as-it-sits .close rect{stroke:#5a294d;stroke:var(--accent,#5a294d);stroke-width:1.8;
stroke-dasharray:5 3}
.as-it-sits .pinned rect{stroke-width:2.8}
.as-it-sits .lead{fill:none;stroke:#1e1a16;stroke:var(--ink,#1e1a16);stroke-width:2}
.as-it-sits .podium{fill:none;stroke:#1e1a16;stroke:var(--ink,#1e1a16);stroke-width:5}
"""


@dataclass(frozen=True, slots=True)
class _Chair:
    """One chair to draw; ``student`` None is an open one."""

    section: str
    short: str
    instrument: str
    student: str | None
    part: str | None
    place: int
    leads: bool
    pinned: bool


def seat_plan_svg(
    plan: SeatPlan,
    ensemble: str,
    *,
    close: Collection[str] = (),
    labels: Mapping[str, str] | None = None,
) -> str:
    """Return the drawing of one ensemble.

    Parameters
    ----------
    plan : SeatPlan
    ensemble : str
        Its name.
    close : collection of str
        Students at a line that is too close to call; their chairs are dashed.
    labels : mapping of str to str, optional
        What to write on a chair instead of the audition number; long ones are cut.

    Returns
    -------
    str
        An ``<svg>`` element. Empty text where the ensemble has no chairs.
    """
    sitting, standing = _chairs(plan, ensemble)
    if not sitting and not standing:
        return ""
    rows = _rows(sitting)
    if standing:
        rows.append(standing)
    arcs = _arcs(rows)
    width = 2 * (max(arcs, default=0.0) * _WIDER + CHAIR_W / 2 + 12)
    middle, floor = width / 2, max(arcs) + CHAIR_H + 14
    drawn: list[str] = []
    shown: set[str] = set()
    for number, (row, radius) in enumerate(zip(rows, arcs, strict=True)):
        spots = _spots(len(row), radius)
        for chair, (x, y) in zip(row if number % 2 == 0 else row[::-1], spots, strict=True):
            classes = _classes(chair, close)
            shown.update(classes)
            drawn.append(_chair(chair, middle + x, floor - y, classes, labels or {}))
    players = sum(chair.student is not None for chair in (*sitting, *standing))
    key, height = _key(shown, floor + 44)
    says = (
        f"{ensemble} as it sits: {players} players, {len(sitting) + len(standing) - players} open"
    )
    return (
        f'<svg xmlns="http://www.w3.org/2000/svg" class="as-it-sits" role="img" '
        f'viewBox="0 0 {width:.0f} {height:.0f}" aria-label="{escape(says)}">'
        f"<style>{STYLE}</style>{''.join(drawn)}"
        f'<path class="podium" d="M{middle - 22:.0f} {floor + 6:.0f}h44"/>'
        f'<text class="what" x="{middle:.0f}" y="{floor + 24:.0f}">conductor</text>{key}</svg>'
    )


def _chairs(plan: SeatPlan, ensemble: str) -> tuple[list[_Chair], list[_Chair]]:
    rows = [row for row in plan.rows if row.chairs.ensemble == ensemble]
    rows.sort(key=lambda row: _depth(_instrument(row)))
    sitting: list[_Chair] = []
    standing: list[_Chair] = []
    for row in rows:
        (standing if _instrument(row) in STANDING else sitting).extend(_section(plan, row))
    return sitting, standing


def _instrument(row: Row) -> str:
    return row.chairs.id.rpartition("/")[2]


def _depth(instrument: str) -> float:
    if instrument in FRONT_TO_BACK:
        return FRONT_TO_BACK.index(instrument)
    return FRONT_TO_BACK.index("trombone") - 0.5


def _section(plan: SeatPlan, row: Row) -> list[_Chair]:
    """Return the chairs of a section: part by part, the leader first, open ones last."""
    short = SHORT.get(_instrument(row), row.chairs.instrument[:5].title())
    parts = [part.name for part in row.chairs.parts]
    seats = sorted(
        (plan.seats[student] for student in row.players),
        key=lambda seat: (parts.index(seat.part) if seat.part in parts else 0, seat.chair),
    )
    name = row.chairs.instrument
    chairs = [
        _Chair(
            row.chairs.id,
            f"{short} {_numeral(seat.part)}".strip(),
            name if seat.part is None else f"{seat.part} {name}",
            seat.student,
            seat.part,
            seat.chair,
            leads=seat.rank == 1,
            pinned=seat.pinned,
        )
        for seat in seats
    ]
    empty = max(row.open, row.chairs.ideal - len(row.players))
    chairs += [
        _Chair(row.chairs.id, short, name, None, None, 0, leads=False, pinned=False)
        for _ in range(max(0, empty))
    ]
    return chairs


def _numeral(part: str | None) -> str:
    found = re.match(r"\d+", part or "")
    return found[0] if found else ""


def _rows(chairs: Sequence[_Chair]) -> list[list[_Chair]]:
    """Cut the band, front to back, into rows that hold what their arc holds.

    Of all ways to cut, the one is taken that splits the fewest sections, least of all by a single
    chair, and leaves the rows evenly full (least sum of charges, by dynamic programming).
    """
    room: list[int] = []
    while sum(room) < len(chairs):
        room.append(_capacity(_FIRST_ROW + _ROW_STEP * len(room)))
    if not chairs:
        return []
    fullness = len(chairs) / sum(room)
    best: list[dict[int, tuple[float, int]]] = [{0: (0.0, 0)}]
    for capacity in room:
        reached: dict[int, tuple[float, int]] = {}
        for start, (cost, _) in best[-1].items():
            for end in range(start + 1, min(start + capacity, len(chairs)) + 1):
                total = cost + _cut(chairs, end) + ((end - start) / capacity - fullness) ** 2 * 40
                if total < reached.get(end, (math.inf, 0))[0]:
                    reached[end] = total, start
        best.append(reached)
    cuts = [len(chairs)]
    for reached in reversed(best[1:]):
        cuts.append(reached[cuts[-1]][1])
    cuts.reverse()
    return [list(chairs[a:b]) for a, b in pairwise(cuts)]


def _cut(chairs: Sequence[_Chair], at: int) -> float:
    """Return the charge for ending a row before chair `at`."""
    if at >= len(chairs) or chairs[at - 1].section != chairs[at].section:
        return 0.0
    section = chairs[at].section
    before = sum(one.section == section for one in chairs[:at])
    after = sum(one.section == section for one in chairs[at:])
    if min(before, after) == 1:
        return 3.0
    return 0.6 if chairs[at - 1].part != chairs[at].part else 1.0


def _arcs(rows: Sequence[Sequence[_Chair]]) -> list[float]:
    """Return a radius for each row, wide enough for it."""
    arcs: list[float] = []
    for row in rows:
        radius = arcs[-1] + _ROW_STEP if arcs else _FIRST_ROW
        while _capacity(radius) < len(row):
            radius += 10
        arcs.append(radius)
    return arcs


def _path(radius: float, steps: int = 720) -> list[tuple[float, float, float]]:
    """Return (x, y, length so far) along an arc from left to right."""
    points: list[tuple[float, float, float]] = []
    length = 0.0
    for step in range(steps + 1):
        angle = math.pi - _OPENING - (math.pi - 2 * _OPENING) * step / steps
        x, y = _WIDER * radius * math.cos(angle), radius * math.sin(angle)
        if points:
            length += math.hypot(x - points[-1][0], y - points[-1][1])
        points.append((x, y, length))
    return points


def _capacity(radius: float) -> int:
    return int(_path(radius)[-1][2] // (CHAIR_W + _GAP)) + 1


def _spots(count: int, radius: float) -> list[tuple[float, float]]:
    """Return the places of `count` chairs, evenly along the arc."""
    path = _path(radius)
    length = path[-1][2]
    room = min(length / count, 1.6 * (CHAIR_W + _GAP))  # a few chairs stay together in the middle
    wanted = [length / 2 + (i - (count - 1) / 2) * room for i in range(count)]
    spots = []
    at = 0
    for place in wanted:
        while at < len(path) - 1 and path[at][2] < place:
            at += 1
        spots.append((path[at][0], path[at][1]))
    return spots


def _classes(chair: _Chair, close: Collection[str]) -> list[str]:
    if chair.student is None:
        return ["open"]
    found = []
    if chair.student in close:
        found.append("close")
    if chair.pinned:
        found.append("pinned")
    if chair.leads:
        found.append("leads")
    return found


def _chair(
    chair: _Chair, x: float, y: float, classes: Sequence[str], labels: Mapping[str, str]
) -> str:
    if chair.student is None:
        title, who = f"open chair, {chair.instrument}", "open"
    else:
        title = f"{chair.student}, {chair.instrument}, chair {chair.place}"
        who = labels.get(chair.student, chair.student)
    who = who if len(who) <= 9 else who[:8] + "…"
    left, top = x - CHAIR_W / 2, y - CHAIR_H / 2
    lead = (
        f'<path class="lead" d="M{left + 8:.1f} {top + CHAIR_H - 3.5:.1f}h{CHAIR_W - 16:.1f}"/>'
        if "leads" in classes
        else ""
    )
    return (
        f'<g class="{" ".join(["chair", *classes])}"><title>{escape(title)}</title>'
        f'<rect x="{left:.1f}" y="{top:.1f}" width="{CHAIR_W:.0f}" height="{CHAIR_H:.0f}" rx="4"/>'
        f'<text class="what" x="{x:.1f}" y="{top + 12:.1f}">{escape(chair.short)}</text>'
        f'<text class="who" x="{x:.1f}" y="{top + 25:.1f}">{escape(who)}</text>{lead}</g>'
    )


def _key(shown: Collection[str], top: float) -> tuple[str, float]:
    """Return the key for what occurs in the drawing, and where it ends."""
    words = {
        "leads": "leads the section",
        "close": "at a line too close to call",
        "pinned": "seated by the director",
        "open": "open chair",
    }
    drawn = []
    x = 12.0
    for kind, text in words.items():
        if kind in shown:
            lead = (
                f'<path class="lead" d="M{x + 4:.0f} {top + 14:.0f}h20"/>'
                if kind == "leads"
                else ""
            )
            drawn.append(
                f'<g class="{kind}"><rect x="{x:.0f}" y="{top:.0f}" width="28" height="18" rx="3"/>'
                f'{lead}</g><text class="words" x="{x + 36:.0f}" y="{top + 13:.0f}">{text}</text>'
            )
            x += 52 + 6.4 * len(text)
    return "".join(drawn), top + (30 if drawn else 0)
