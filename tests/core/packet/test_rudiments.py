"""Rudiments: sticking as the published list names them, drawn without a lost stroke."""

from __future__ import annotations

import re

from fairhearing.core.packet.engraving import engrave
from fairhearing.core.packet.instruments import LEVELS
from fairhearing.core.packet.musicxml_reading import score_from_tree
from fairhearing.core.packet.rudiments import rudiment_lines


def test_sticking_follows_the_published_patterns() -> None:
    """Percussive Arts Society, International Drum Rudiments (from memory)."""
    found = {line.names["en"]: line.sticking for line in rudiment_lines("advanced")}
    assert found["single paradiddle"].startswith("R L R R L R L L")
    assert found["double stroke roll"].startswith("R R L L R R L L")
    assert found["double paradiddle"] == "R L R L R R L R L R L L"
    assert found["single paradiddle-diddle"].startswith("R L R R L L")


def test_levels_build_on_one_another_and_nothing_is_lost_in_print() -> None:
    counts = [len(rudiment_lines(level)) for level in LEVELS]
    assert counts == sorted(counts)
    assert len(set(counts)) == 3
    for line in rudiment_lines("advanced"):
        assert set(line.names) == {"en", "es"}
        notes = score_from_tree(line.tree).notes
        assert sum(not note.grace for note in notes) == len(line.sticking.split())
        made = engrave(line.tree, width_mm=150, bar_numbers=False, full_width=True)
        assert made.note_count == len(notes)
        letters = re.findall(r">([RLrl])<", made.systems[0].svg)
        assert len(letters) == len(notes)
