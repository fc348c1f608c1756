"""Charts of the judges' marks, as SVG strings made on the server.

Colours are those of Okabe & Ito (2008, *Color Universal Design*), always with a marker of its own
shape and a label beside it, so that a chart says the same in black and white. Texts and lines take
the page's ink and paper where the page defines them. No chart needs a legend.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from html import escape

import numpy as np

from fairhearing.core.judging.diagnostics import JudgeReport, others_of
from fairhearing.core.judging.evaluate import Scoring
from fairhearing.core.judging.too_close import LineCall

INK, SOFT, HAIR = "var(--ink, #1d1a16)", "var(--soft, #655d51)", "var(--hair, #d9d0c0)"
BLUE, ORANGE, GREEN, VERMILLION = "#0072B2", "#E69F00", "#009E73", "#D55E00"
WIDTH = 720.0
_SANS = "font-family=\"system-ui, 'Segoe UI', 'Noto Sans', sans-serif\""
_MOST_JUDGES = 60
_MOST_POINTS = 160


def severity_chart(scoring: Scoring) -> str:
    """Return a dot plot of the judges' severity with 95 % intervals, the most severe first."""
    known = [report for report in scoring.judges if report.severity is not None]
    known.sort(key=lambda report: -_value(report))
    dropped = max(0, len(known) - _MOST_JUDGES)
    if dropped:
        half = _MOST_JUDGES // 2
        known = known[:half] + known[-half:]
    if not known:
        return _nothing("Severity cannot be measured: no two judges heard the same student twice.")
    low = min(report.severity.low for report in known if report.severity)
    high = max(report.severity.high for report in known if report.severity)
    left, right, row, top = 120.0, 190.0, 22.0, 46.0
    at = _scale(min(low, 0.0), max(high, 0.0), left, WIDTH - right)
    height = top + row * len(known) + 46
    names = scoring.scores.marks.judges
    out = [
        _line(at(0), top - 8, at(0), height - 38, SOFT, dash="2 3"),
        _text(at(0), 30, "average of the panel", size=12, anchor="middle", colour=SOFT),
        _text(left, 14, "← lenient", size=12, colour=SOFT),
        _text(WIDTH - right, 14, "severe →", size=12, anchor="end", colour=SOFT),
    ]
    for number, report in enumerate(known):
        estimate = report.severity
        if estimate is None:
            continue
        y = top + row * (number + 0.5)
        narrow = any("range" in flag for flag in report.flags)
        out += [
            _text(left - 14, y + 4, names[report.judge], anchor="end"),
            _line(at(estimate.low), y, at(estimate.high), y, INK, width=1.4),
            _marker("diamond" if narrow else "disc", at(estimate.value), y, _judge_colour(report)),
            _text(WIDTH - right + 12, y + 4, _judge_words(report, narrow), size=11, colour=SOFT),
        ]
    out.append(_axis(at, height - 36, left, WIDTH - right, "points below the panel's average"))
    if dropped:
        out.append(_text(left, height - 6, f"{dropped} judges in the middle are left out", size=11))
    return _svg(height, "Severity of each judge with its uncertainty", out)


def _value(report: JudgeReport) -> float:
    return report.severity.value if report.severity else 0.0


def _judge_colour(report: JudgeReport) -> str:
    if any("range" in flag for flag in report.flags):
        return VERMILLION
    return BLUE


def _judge_words(report: JudgeReport, narrow: bool) -> str:
    words = f"{_value(report):+.2f} · vote {report.vote:.2f}"
    return f"{words} · narrow" if narrow else words


def agreement_chart(scoring: Scoring) -> str:
    """Return one small picture a judge: the judge's marks against the other judges' score.

    Points on the diagonal agree; a cloud below it is a severe judge, a flat cloud a narrow range,
    a wide cloud an erratic ear.
    """
    scores = scoring.scores
    others, _ = others_of(scores)
    value = scores.heard.mean(scores.marks, scores.marks.mark)
    usable = ~np.isnan(others)
    judges = [j for j in range(scores.heard.n_judges) if usable[scores.heard.judge == j].any()]
    if not judges:
        return _nothing("Agreement cannot be drawn: no take was heard by two judges.")
    judges = judges[:24]
    low = float(min(value[usable].min(), others[usable].min()))
    high = float(max(value[usable].max(), others[usable].max()))
    columns = min(4, len(judges))
    cell, gap, top, left = 150.0, 20.0, 34.0, 44.0
    rows = math.ceil(len(judges) / columns)
    height = top + rows * (cell + gap + 16) + 20
    out = [_text(left, 14, "across: the other judges' score · up: this judge's mark", size=12)]
    for number, judge in enumerate(judges):
        x0 = left + (number % columns) * (cell + gap)
        y0 = top + (number // columns) * (cell + gap + 16)
        at_x = _scale(low, high, x0 + 4, x0 + cell - 4, margin=0.02)
        at_y = _scale(low, high, y0 + cell - 4, y0 + 4, margin=0.02)
        out += [
            _frame(x0, y0, cell, cell),
            _line(at_x(low), at_y(low), at_x(high), at_y(high), SOFT, dash="2 3"),
            _text(x0 + 4, y0 + 13, f"{scores.marks.judges[judge]}", size=12, weight="600"),
        ]
        own = np.flatnonzero(usable & (scores.heard.judge == judge))
        if len(own) > _MOST_POINTS:
            own = own[np.linspace(0, len(own) - 1, _MOST_POINTS).astype(int)]
        out += [_ring(at_x(float(others[k])), at_y(float(value[k]))) for k in own]
        use = scoring.judges[judge].range_use
        if use is not None:
            words = f"uses {use.value:.0%} of the range"
            out.append(_text(x0 + cell - 4, y0 + cell - 6, words, size=10, anchor="end"))
        if number % columns == 0:
            out.append(_text(x0 - 6, at_y(low), _tenth(low), size=10, anchor="end", colour=SOFT))
            out.append(
                _text(x0 - 6, at_y(high) + 8, _tenth(high), size=10, anchor="end", colour=SOFT)
            )
        out.append(_text(x0, y0 + cell + 12, _tenth(low), size=10, colour=SOFT))
        out.append(
            _text(x0 + cell, y0 + cell + 12, _tenth(high), size=10, anchor="end", colour=SOFT)
        )
    return _svg(height, "Each judge's marks against the other judges of the same takes", out)


def distribution_chart(scoring: Scoring) -> str:
    """Return the fair scores of each instrument as dots, with the seat lines drawn in."""
    scores = scoring.scores
    order = {name: units for name, units in scoring.ranking.order.items() if units}
    low, high = float(scores.fair.min()), float(scores.fair.max())
    left, right, top = 130.0, 30.0, 30.0
    at = _scale(low, high, left, WIDTH - right)
    out: list[str] = []
    y = top
    for name, units in order.items():
        stacks, tallest = _stacks([at(float(scores.fair[u])) for u in units])
        radius = 4.0 if tallest <= 12 else 48.0 / tallest
        row = max(34.0, tallest * 2 * radius + 20)
        base = y + row - 8
        out.append(_text(left - 14, base - 4, _plain(name), anchor="end"))
        out.append(_text(left - 14, base + 9, _counted(len(units)), 10, "end", colour=SOFT))
        out.append(_line(left, base, WIDTH - right, base, HAIR))
        for x, level in stacks:
            out.append(_disc(x, base - radius - level * 2 * radius, max(radius - 0.6, 1.0)))
        label_at = -math.inf
        for call in sorted(
            (call for call in scoring.lines if call.instrument == name), key=lambda c: -c.seats
        ):
            cut = (scores.fair[call.pair.higher] + scores.fair[call.pair.lower]) / 2
            x = at(float(cut))
            raised = 12.0 if x - label_at < 58 else 0.0
            out.append(_line(x, y - 2, x, base + 6, VERMILLION, width=1.6, dash="6 3"))
            out.append(_text(x, y - 6 - raised, f"{call.seats} above", 11, "middle"))
            label_at = x
        y += row + 26
    out.append(_axis(at, y, left, WIDTH - right, "fair score"))
    return _svg(y + 34, "Fair scores of each instrument, with the lines between ensembles", out)


def _stacks(positions: Sequence[float]) -> tuple[list[tuple[float, int]], int]:
    """Pile dots that would overlap; return positions with heights, and the tallest pile."""
    found: list[tuple[float, int]] = []
    piles: dict[int, int] = {}
    for x in sorted(positions):
        column = round(x / 8)
        level = piles.get(column, 0)
        piles[column] = level + 1
        found.append((column * 8.0, level))
    return found, max(piles.values(), default=0)


def too_close_chart(scoring: Scoring, call: LineCall, *, around: int = 6) -> str:
    """Return the students around one line with 95 % intervals; the too-close band is shaded.

    Parameters
    ----------
    call : LineCall
        One of ``scoring.lines``.
    around : int, default 6
        Students shown on each side, more if the band is wider (up to 20).
    """
    scores = scoring.scores
    units = scoring.ranking.order[call.instrument]
    reach_up = min(max(around, len(call.above) + 1), 20)
    reach_down = min(max(around, len(call.below) + 1), 20)
    shown = units[max(0, call.seats - reach_up) : call.seats + reach_down]
    half = [1.96 * scores.se[u] for u in shown]
    if any(math.isnan(value) for value in half):
        return _nothing("How close it is cannot be measured: too few takes were heard twice.")
    low = min(float(scores.fair[u]) - h for u, h in zip(shown, half, strict=True))
    high = max(float(scores.fair[u]) + h for u, h in zip(shown, half, strict=True))
    left, right, row, top = 150.0, 190.0, 24.0, 40.0
    at = _scale(low, high, left, WIDTH - right)
    height = top + row * len(shown) + 44
    band = set(call.above) | set(call.below)
    out = []
    inside = [number for number, unit in enumerate(shown) if unit in band]
    if inside and call.pair.call == "too close to call":
        y0, y1 = top + row * min(inside), top + row * (max(inside) + 1)
        out.append(
            f'<rect x="8" y="{y0:.1f}" width="{WIDTH - 16:.0f}" height="{y1 - y0:.1f}" rx="4" '
            f'fill="{ORANGE}" fill-opacity=".16"/>'
        )
        out.append(_text(14, y1 - 6, "too close to call", 11, colour=SOFT))
    for number, (unit, reach) in enumerate(zip(shown, half, strict=True)):
        y = top + row * (number + 0.5)
        value = float(scores.fair[unit])
        above = units.index(unit) < call.seats
        out += [
            _text(left - 14, y + 4, scores.marks.students[unit], anchor="end"),
            _line(at(value - reach), y, at(value + reach), y, INK, width=1.2),
            _marker("disc" if above else "square", at(value), y, BLUE if above else ORANGE),
            _text(WIDTH - right + 12, y + 4, f"{value:.2f} ± {reach:.2f}", 11, colour=SOFT),
        ]
    cut = top + row * max(shown.index(call.pair.lower), shown.index(call.pair.higher))
    out.append(_line(8, cut, WIDTH - 8, cut, VERMILLION, width=2, dash="6 3"))
    out.append(
        _text(
            14, 18, f"{_plain(call.instrument)}: line after {call.seats} · {_line_words(call)}", 13
        )
    )
    out.append(_axis(at, height - 34, left, WIDTH - right, "fair score"))
    return _svg(height, f"Students around the line after {call.seats}, {call.instrument}", out)


def _plain(instrument: str) -> str:
    return instrument.replace("-", " ") or "all"


def _counted(students: int) -> str:
    return "1 student" if students == 1 else f"{students} students"


def _line_words(call: LineCall) -> str:
    if call.pair.call == "too close to call":
        return f"another panel would draw it otherwise about 1 time in {call.pair.one_in}"
    return call.pair.call


def _scale(
    low: float, high: float, start: float, end: float, margin: float = 0.04
) -> Callable[[float], float]:
    pad = (high - low) * margin or 1.0
    low, high = low - pad, high + pad

    def at(value: float) -> float:
        return start + (value - low) / (high - low) * (end - start)

    return at


def _axis(at: Callable[[float], float], y: float, start: float, end: float, title: str) -> str:
    """Draw an axis with a few round numbers."""
    zero, one = at(0.0), at(1.0)
    low, high = (start - zero) / (one - zero), (end - zero) / (one - zero)
    step = _round_step((high - low) / 6)
    out = [_line(start, y, end, y, SOFT)]
    value = math.ceil(low / step) * step
    while value <= high + 1e-9:
        out.append(_line(at(value), y, at(value), y + 4, SOFT))
        out.append(_text(at(value), y + 15, _short(round(value, 9)), 10, "middle", colour=SOFT))
        value += step
    out.append(_text(end, y + 29, title, 11, "end", colour=SOFT))
    return "".join(out)


def _round_step(rough: float) -> float:
    power = 10.0 ** math.floor(math.log10(rough))
    return next(power * factor for factor in (1, 2, 5, 10) if power * factor >= rough * 0.999)


def _short(value: float) -> str:
    return f"{value:.6g}".replace("-", "−")


def _tenth(value: float) -> str:
    return f"{value:.1f}".replace("-", "−")


def _svg(height: float, label: str, parts: Sequence[str]) -> str:
    return (
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {WIDTH:.0f} {height:.0f}" '
        f'role="img" aria-label="{escape(label)}">' + "".join(parts) + "</svg>"
    )


def _nothing(sentence: str) -> str:
    return _svg(40, sentence, [_text(8, 24, sentence)])


def _text(
    x: float,
    y: float,
    words: str,
    size: int = 12,
    anchor: str = "start",
    *,
    colour: str = INK,
    weight: str = "400",
) -> str:
    # A page's style sheet may speak about every text of an SVG; the inner element keeps its own.
    return (
        f'<text x="{x:.1f}" y="{y:.1f}" text-anchor="{anchor}"><tspan {_SANS} '
        f'font-size="{size}" font-weight="{weight}" fill="{colour}">{escape(words)}</tspan></text>'
    )


def _line(
    x1: float, y1: float, x2: float, y2: float, colour: str, *, width: float = 1.0, dash: str = ""
) -> str:
    dashed = f' stroke-dasharray="{dash}"' if dash else ""
    return (
        f'<path d="M{x1:.1f} {y1:.1f}L{x2:.1f} {y2:.1f}" fill="none" stroke="{colour}" '
        f'stroke-width="{width:g}"{dashed}/>'
    )


def _frame(x: float, y: float, width: float, height: float) -> str:
    return (
        f'<rect x="{x:.1f}" y="{y:.1f}" width="{width:.1f}" height="{height:.1f}" fill="none" '
        f'stroke="{HAIR}"/>'
    )


def _disc(x: float, y: float, radius: float) -> str:
    return f'<circle cx="{x:.1f}" cy="{y:.1f}" r="{radius:.1f}" fill="{BLUE}"/>'


def _ring(x: float, y: float) -> str:
    return (
        f'<circle cx="{x:.1f}" cy="{y:.1f}" r="2.6" fill="{BLUE}" fill-opacity=".25" '
        f'stroke="{BLUE}" stroke-width=".8"/>'
    )


def _marker(shape: str, x: float, y: float, colour: str) -> str:
    outline = f'fill="{colour}" stroke="{INK}" stroke-width="1"'
    if shape == "square":
        return f'<rect x="{x - 5:.1f}" y="{y - 5:.1f}" width="10" height="10" {outline}/>'
    if shape == "diamond":
        return f'<path d="M{x:.1f} {y - 7:.1f}l7 7l-7 7l-7-7z" {outline}/>'
    return f'<circle cx="{x:.1f}" cy="{y:.1f}" r="5.5" {outline}/>'
