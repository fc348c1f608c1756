"""Instrumentation against plan: how many sit in each section, beside least, ideal and most.

A hairline from least to most, a tick at the ideal, a disc for the players who are there; a ring
where there are fewer than the least. Shape and place say it; colour adds nothing.
"""

from __future__ import annotations

from collections.abc import Sequence
from html import escape

from fairhearing.core.seating import Row, SeatPlan

WIDTH = 760.0
_LEFT, _RIGHT, _STEP, _TOP = 210.0, 200.0, 26.0, 34.0

STYLE = """
.against-plan text{font:12px system-ui,"Segoe UI","Noto Sans",sans-serif;fill:#1e1a16;
fill:var(--ink,#1e1a16)}
.against-plan .soft{fill:#62594d;fill:var(--quiet,#62594d);font-size:11px}
.against-plan .span{stroke:#62594d;stroke:var(--quiet,#62594d);stroke-width:1.4;fill:none}
.against-plan .ideal{stroke:#1e1a16;stroke:var(--ink,#1e1a16);stroke-width:2;fill:none}
.against-plan .grid{stroke:#d8cebd;stroke:var(--hair,#d8cebd);fill:none}
.against-plan .there{fill:#0072b2;stroke:#fffdf8;stroke:var(--sheet,#fffdf8)}
.against-plan .short{fill:#fffdf8;fill:var(--sheet,#fffdf8);stroke:#d55e00;stroke-width:2.4}
"""


def instrumentation_svg(plan: SeatPlan, ensemble: str) -> str:
    """Return the chart of one ensemble; empty text where it has no chairs."""
    rows = [row for row in plan.rows if row.chairs.ensemble == ensemble]
    if not rows:
        return ""
    # a section that takes in whoever is left may have very many chairs at most: cut the scale
    most = max(max(len(row.players), row.chairs.ideal) for row in rows) + 2
    height = _TOP + _STEP * len(rows) + 34
    drawn = [_axis(most, height)]
    for number, row in enumerate(rows):
        drawn.append(_row(row, _TOP + _STEP * (number + 0.5), most))
    label = f"Players of {ensemble} in each section, beside the plan"
    return (
        f'<svg xmlns="http://www.w3.org/2000/svg" class="against-plan" role="img" '
        f'viewBox="0 0 {WIDTH:.0f} {height:.0f}" aria-label="{escape(label)}">'
        f"<style>{STYLE}</style>{''.join(drawn)}</svg>"
    )


def _x(players: float, most: int) -> float:
    return _LEFT + (WIDTH - _LEFT - _RIGHT) * players / most


def _axis(most: int, height: float) -> str:
    step = max(1, -(-most // 8))
    drawn = []
    for value in range(0, most + 1, step):
        x = _x(value, most)
        drawn.append(
            f'<path class="grid" d="M{x:.1f} {_TOP:.1f}V{height - 34:.1f}"/>'
            f'<text class="soft" x="{x:.1f}" y="{_TOP - 8:.1f}" text-anchor="middle">{value}</text>'
        )
    key = "line: least to most · tick: ideal · disc: players · ring: fewer than the least"
    drawn.append(f'<text class="soft" x="{_LEFT:.0f}" y="{height - 12:.0f}">{key}</text>')
    return "".join(drawn)


def _row(row: Row, y: float, most: int) -> str:
    chairs, players = row.chairs, len(row.players)
    start, end = _x(chairs.least, most), _x(min(chairs.most, most), most)
    arrow = "l-5 -3m5 3l-5 3" if chairs.most > most else ""
    kind = "short" if row.shortfall else "there"
    name, says, right = escape(chairs.instrument), escape(_says(row)), WIDTH - _RIGHT + 14
    return (
        f'<text x="{_LEFT - 12:.0f}" y="{y + 4:.1f}" text-anchor="end">{name}</text>'
        f'<path class="span" d="M{start:.1f} {y:.1f}H{end:.1f}{arrow}"/>'
        f'<path class="ideal" d="M{_x(chairs.ideal, most):.1f} {y - 7:.1f}v14"/>'
        f'<circle class="{kind}" cx="{_x(players, most):.1f}" cy="{y:.1f}" r="6"/>'
        f'<text class="soft" x="{right:.0f}" y="{y + 4:.1f}">{says}</text>'
    )


def _says(row: Row) -> str:
    players, ideal = len(row.players), row.chairs.ideal
    if row.shortfall:
        return f"{players}; {row.shortfall} below the least"
    if players == ideal:
        return f"{players}, as planned"
    return f"{players}; {abs(players - ideal)} {'above' if players > ideal else 'below'} the ideal"


def instrumentation_charts(plan: SeatPlan) -> Sequence[tuple[str, str]]:
    """Return (ensemble, chart) for every ensemble of a plan."""
    names = dict.fromkeys(row.chairs.ensemble for row in plan.rows)
    return [(name, instrumentation_svg(plan, name)) for name in names]
