"""Notes as they were heard: staff lines, a head where each note starts, a line while it lasts.

The horizontal place is time (so a rushed group *looks* rushed), the vertical place the written
note on its staff. An unsure note has an open head and a dotted line. Rows wrap like a page.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from html import escape
from typing import Any

from fairhearing.report.words import clock, note_name

WIDTH, LEFT = 960.0, 34.0
SPACE = 8.0  # between two staff lines
ROW_S = 15.0
SURE = 0.5
_STEP_OF = {"C": 0, "D": 1, "E": 2, "F": 3, "G": 4, "A": 5, "B": 6}


@dataclass(frozen=True, slots=True)
class _Staff:
    """A staff: the step of its bottom line, the clef's letter and line, the written shift."""

    bottom_step: int
    letter: str
    letter_line: int
    shift: int = 0
    prefer: str = "usual"

    def place(self, midi: int) -> tuple[int, str]:
        """Return steps above the bottom line and the accidental of a sounding note."""
        written = midi + self.shift
        name = note_name(written, prefer=self.prefer, octave=False)
        return 7 * (written // 12 - 1) + _STEP_OF[name[0]] - self.bottom_step, name[1:]


# Steps count 7 an octave from C0: E4 is step 30, G2 step 18.
_CLEFS = {"treble": _Staff(30, "G", 1), "bass": _Staff(18, "F", 3)}


def pitch_tape_svg(
    notes: Sequence[Mapping[str, Any]],
    *,
    start_s: float,
    end_s: float,
    clef: str = "treble",
    written_minus_sounding: int = 0,
    prefer: str = "usual",
    label: str = "notes as heard",
) -> str:
    """Return one SVG of the notes between two seconds of a take.

    Parameters
    ----------
    notes : sequence of mapping
        The report's ``notes`` (``onset_s``, ``offset_s``, ``midi``, ``confidence``).
    start_s, end_s : float
        The stretch to draw, in seconds of the take.
    clef : {"treble", "bass"}
        The staff.
    written_minus_sounding : int
        Semitones from the sounding to the written note.
    """
    staff = replace(_CLEFS.get(clef, _CLEFS["treble"]), shift=written_minus_sounding, prefer=prefer)
    rows: list[str] = []
    y = 0.0
    first = start_s
    while first < end_s - 0.05:
        last = min(first + ROW_S, end_s)
        inside = [n for n in notes if first <= n["onset_s"] < last]
        if not inside and first + ROW_S >= end_s and rows:
            break  # nothing begins in what is left: no empty staff at the end
        steps = [staff.place(n["midi"])[0] for n in inside]
        top = y + 14 + max(0, *(s - 8 for s in steps), 0) * SPACE / 2
        rows.append(_row(inside, first, top, staff))
        y = top + 4 * SPACE + max(0, *(-s for s in steps), 0) * SPACE / 2 + 16
        first += ROW_S
    return (
        f'<svg viewBox="0 0 {WIDTH:.0f} {max(y, 10):.0f}" role="img" aria-label="{escape(label)}">'
        + "".join(rows)
        + "</svg>"
    )


def _row(notes: Sequence[Mapping[str, Any]], first: float, top: float, staff: _Staff) -> str:
    bottom = top + 4 * SPACE
    letter_y = bottom - staff.letter_line * SPACE + 5
    out = [
        "".join(
            f'<path class="staff" d="M4 {top + i * SPACE:.1f}H{WIDTH - 4}"/>' for i in range(5)
        ),
        f'<text class="word" x="7" y="{letter_y:.1f}">{staff.letter}</text>',
        f'<text class="faint" x="{LEFT - 10}" y="{top - 5:.1f}">{clock(first)}</text>',
    ]
    per_second = (WIDTH - LEFT - 10) / ROW_S
    for note in notes:
        x = LEFT + (note["onset_s"] - first) * per_second
        end = min(LEFT + (note["offset_s"] - first) * per_second, WIDTH - 6)
        out.append(_note(note, x, max(end, x + 5), bottom, staff))
    return "".join(out)


def _note(note: Mapping[str, Any], x: float, end: float, bottom: float, staff: _Staff) -> str:
    step, sign = staff.place(note["midi"])
    y = bottom - step * SPACE / 2
    look = "note unsure" if (note.get("confidence") or 0.0) < SURE else "note"
    name = note_name(note["midi"] + staff.shift, prefer=staff.prefer)
    return (
        f'<g class="{look}">'
        f"<title>{name} at {clock(note['onset_s'], tenths=True)}</title>"
        f"{_ledgers(x, step, bottom)}"
        f'<path class="held" d="M{x + 4:.1f} {y:.1f}H{end:.1f}"/>'
        f'<ellipse class="head" cx="{x:.1f}" cy="{y:.1f}" rx="4.6" ry="3.5"'
        f' transform="rotate(-20 {x:.1f} {y:.1f})"/>'
        + (f'<text x="{x - 13:.1f}" y="{y + 4:.1f}">{sign}</text>' if sign else "")
        + "</g>"
    )


def _ledgers(x: float, step: int, bottom: float) -> str:
    places = [*range(-2, step - 1, -2), *range(10, step + 1, 2)]
    return "".join(
        f'<path class="staff" d="M{x - 8:.1f} {bottom - p * SPACE / 2:.1f}h16"/>' for p in places
    )
