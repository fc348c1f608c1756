"""Parts and chairs within a section: who leads, who sits beside whom."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Literal

from fairhearing.core.seating.problem import Part


def part_sizes(parts: Sequence[Part], players: int) -> list[int]:
    """Return how many of `players` each part gets.

    Numbers given for the parts are kept in proportion; without numbers the players are shared
    out evenly. What does not divide goes to the upper parts first. Every part gets a player as
    long as there are any: an unplayed part is worse than an uneven one (common practice).
    """
    if not parts:
        return []
    weights = [part.chairs if part.chairs is not None else 1 for part in parts]
    total = sum(weights)
    sizes = [players * weight // total for weight in weights]
    rest = [(players * weight % total, -at) for at, weight in enumerate(weights)]
    for _, at in sorted(rest, reverse=True)[: players - sum(sizes)]:
        sizes[-at] += 1
    for at in range(min(players, len(parts))):
        if sizes[at] == 0:
            sizes[at] += 1
            sizes[max(range(len(parts)), key=lambda other: (sizes[other], -other))] -= 1
    return sizes


def assign_parts(
    parts: Sequence[Part], players: int, fill: Literal["top", "leaders"] = "top"
) -> list[tuple[str | None, int]]:
    """Return (part, chair) of each player, the best first; chair 1 leads the part.

    With "leaders" the best players lead one part each, in order, and the others fill up from the
    first part on. Without parts everybody is numbered through.
    """
    if not parts:
        return [(None, place + 1) for place in range(players)]
    sizes = part_sizes(parts, players)
    seats = [(part, chair) for part, size in enumerate(sizes) for chair in range(1, size + 1)]
    if fill == "leaders":
        seats.sort(key=lambda seat: (seat[1] > 1, seat[0], seat[1]))
    return [(parts[part].name, chair) for part, chair in seats]
