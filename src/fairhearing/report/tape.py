"""The time tape: a take from left to right, as one SVG.

Waveform in the middle, brackets of the sections above, the scale minute and the findings below.
Everything is drawn from the report's plain dictionary; widths are user units of the SVG.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from html import escape
from typing import Any

from fairhearing.core.continuity.finding import LOOK_STRENGTH
from fairhearing.report.words import clock

WIDTH, LEFT, RIGHT = 960.0, 14.0, 14.0
MIDDLE, TALLEST = 82.0, 34.0
# About seven user units a letter: a label that would be wider than its bracket is left out.
LETTER = 7.0


def tape_svg(report: Mapping[str, Any]) -> str:
    """Return the time tape of one hearing report.

    Parameters
    ----------
    report : mapping
        A hearing report (see ``docs/report.md``); uses ``file.duration_s``, ``tape.peaks``,
        ``sections``, ``scales`` and ``continuity.findings``.
    """
    length = max(float(report["file"]["duration_s"] or 0.0), 0.001)

    def at(seconds: float) -> float:
        return LEFT + (WIDTH - LEFT - RIGHT) * min(max(seconds / length, 0.0), 1.0)

    parts = [
        f'<svg viewBox="0 0 {WIDTH:.0f} 176" role="img" aria-label="{escape(_label(report))}">',
        _waveform(report.get("tape", {}).get("peaks") or []),
        *(_section(section, at) for section in report["sections"]),
        _seconds(length, at),
        _minute(report.get("scales") or {}, at),
        *(_finding(number, each, at) for number, each in _placed_findings(report)),
    ]
    return "".join(parts) + "</svg>"


def _placed_findings(report: Mapping[str, Any]) -> list[tuple[int, Mapping[str, Any]]]:
    """Return findings worth a look with their number, as far as they have a place on the tape."""
    half = (report["file"]["duration_s"] or 0.0) / 2
    return [
        (number, finding)
        for number, finding in enumerate(report["continuity"]["findings"], start=1)
        if finding["end_s"] - finding["start_s"] <= half and finding["strength"] >= LOOK_STRENGTH
    ]


def _label(report: Mapping[str, Any]) -> str:
    named = ", ".join(
        f"{s['kind']} {clock(s['start_s'])} to {clock(s['end_s'])}" for s in report["sections"]
    )
    return f"Time tape of the take: {named or 'no sections found'}"


def _waveform(peaks: Sequence[float]) -> str:
    if not peaks:
        return f'<path class="sound" d="M{LEFT} {MIDDLE}H{WIDTH - RIGHT}"/>'
    step = (WIDTH - LEFT - RIGHT) / len(peaks)
    loudest = max(*peaks, 1e-6)
    strokes = []
    for index, peak in enumerate(peaks):
        half = 0.6 + TALLEST * (peak / loudest) ** 0.7
        strokes.append(f"M{LEFT + (index + 0.5) * step:.1f} {MIDDLE - half:.1f}v{2 * half:.1f}")
    return f'<path class="sound" d="{"".join(strokes)}"/>'


def _section(section: Mapping[str, Any], at: Any) -> str:
    x0, x1 = at(section["start_s"]) + 1, at(section["end_s"]) - 1
    if x1 <= x0:
        return ""
    kind = str(section["kind"])
    fits = len(kind) * LETTER < x1 - x0 + 12
    middle = (x0 + x1) / 2
    title = (
        f"{kind}, {clock(section['start_s'], tenths=True)}–{clock(section['end_s'], tenths=True)}"
    )
    word = (
        f'<text class="word" x="{middle:.1f}" y="20" text-anchor="middle">{escape(kind)}</text>'
        if fits
        else ""
    )
    return (
        f"<g><title>{escape(title)}</title>"
        f'<path class="bracket" d="M{x0:.1f} 36v-8H{x1:.1f}v8"/>{word}</g>'
    )


def _seconds(length: float, at: Any) -> str:
    step = next(s for s in (5, 10, 15, 30, 60, 120, 300, 600, 1800, 1e9) if length / s <= 12)
    marks = []
    second = 0.0
    while second <= length:
        x = at(second)
        anchor = "start" if second == 0 else "middle"
        marks.append(
            f'<path class="staff" d="M{x:.1f} 120v4"/>'
            f'<text class="faint" x="{x:.1f}" y="136" text-anchor="{anchor}">{clock(second)}</text>'
        )
        second += step
    return f'<path class="staff" d="M{LEFT} 120H{WIDTH - RIGHT}"/>' + "".join(marks)


def _minute(scales: Mapping[str, Any], at: Any) -> str:
    start, end = scales.get("window_start_s"), scales.get("window_end_s")
    if start is None or end is None:
        return ""
    x0, x1 = at(start), at(end)
    middle = (x0 + x1) / 2
    words = f"scale minute {clock(start, tenths=True)} – {clock(end, tenths=True)}"
    return (
        f'<path class="minute" d="M{x0:.1f} 142v6H{x1:.1f}v-6"/>'
        f'<path class="bell" d="M{x1:.1f} 40V142"/>'
        f'<text class="word accent" x="{middle:.1f}" y="164" text-anchor="middle">{words}</text>'
    )


def _finding(number: int, finding: Mapping[str, Any], at: Any) -> str:
    x = at((finding["start_s"] + finding["end_s"]) / 2)
    return (
        f"<g><title>{escape(str(finding['says']))}</title>"
        f'<path class="tab" d="M{x - 8:.1f} 40h16v13l-8 7l-8-7z"/>'
        f'<text class="on" x="{x:.1f}" y="52" text-anchor="middle">{number}</text></g>'
    )
