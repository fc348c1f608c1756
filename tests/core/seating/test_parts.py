"""Parts and chairs within a section."""

from __future__ import annotations

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from fairhearing.core.seating import Part
from fairhearing.core.seating.parts import assign_parts, part_sizes


@pytest.mark.parametrize(
    ("parts", "players", "sizes"),
    [
        ([None, None, None], 9, [3, 3, 3]),
        ([None, None, None], 8, [3, 3, 2]),
        ([None, None, None], 7, [3, 2, 2]),
        ([2, 2, 4], 8, [2, 2, 4]),
        ([2, 2, 4], 4, [1, 1, 2]),
        ([1, 9], 3, [1, 2]),
        ([None, None], 1, [1, 0]),
        ([None, None], 0, [0, 0]),
        ([], 5, []),
    ],
)
def test_sizes(parts: list[int | None], players: int, sizes: list[int]) -> None:
    assert part_sizes([Part(str(i), size) for i, size in enumerate(parts)], players) == sizes


@settings(deadline=None)
@given(
    st.lists(st.one_of(st.none(), st.integers(1, 9)), min_size=1, max_size=5),
    st.integers(0, 60),
    st.sampled_from(["top", "leaders"]),
)
def test_everybody_has_one_chair_and_no_part_is_unplayed(
    sizes: list[int | None], players: int, fill: str
) -> None:
    parts = [Part(str(i), size) for i, size in enumerate(sizes)]
    seats = assign_parts(parts, players, "leaders" if fill == "leaders" else "top")
    assert len(set(seats)) == len(seats) == players
    played = {part for part, _ in seats}
    assert len(played) == min(players, len(parts))
    for part in played:
        chairs = sorted(chair for name, chair in seats if name == part)
        assert chairs == list(range(1, len(chairs) + 1))


def test_top_and_leaders() -> None:
    parts = [Part("1st"), Part("2nd")]
    assert assign_parts(parts, 4) == [("1st", 1), ("1st", 2), ("2nd", 1), ("2nd", 2)]
    assert assign_parts(parts, 4, "leaders") == [("1st", 1), ("2nd", 1), ("1st", 2), ("2nd", 2)]
    assert assign_parts([], 2) == [(None, 1), (None, 2)]
