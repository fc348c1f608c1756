"""Where the written pieces lie in a take: the score decides."""

from __future__ import annotations

from fractions import Fraction

from fairhearing.core.playing import Note, Plan, Player, Playing, Scales, Section, Tuning
from fairhearing.core.playing.alignment import Bar, Score, ScoreNote
from fairhearing.pieces import place_pieces

ETUDE = [60, 64, 67, 65, 62, 65, 69, 67, 64, 67, 72, 71, 67, 62, 65, 64, 60, 67, 64, 60]
SCALE = [60, 62, 64, 65, 67, 69, 71, 72, 71, 69, 67, 65, 64, 62, 60]


def score(midi: list[int]) -> Score:
    bars = tuple(Bar(str(i + 1), Fraction(4 * i), Fraction(4)) for i in range((len(midi) + 3) // 4))
    notes = tuple(ScoreNote(Fraction(i), Fraction(1), m, i // 4) for i, m in enumerate(midi))
    return Score(notes, bars)


def played(midi: list[int], start_s: float, step_s: float = 0.5) -> list[Note]:
    return [
        Note(start_s + i * step_s, start_s + (i + 0.9) * step_s, m, 0.0, 2.0, 0.9)
        for i, m in enumerate(midi)
    ]


def take(notes: list[Note], *sections: Section) -> Playing:
    return Playing(
        notes=tuple(notes),
        speech=(),
        sections=sections,
        tuning=Tuning(None, None, None),
        chromatic=None,
        chromatic_reason=None,
        scales=Scales(None, None),
        drumming=None,
        remarks=(),
        duration_s=notes[-1].offset_s + 1,
    )


def spans(heard: Playing) -> dict[str, tuple[float, float]]:
    return {s.kind: (round(s.start_s, 2), round(s.end_s, 2)) for s in heard.sections}


def test_an_etude_that_was_named_part_of_the_scales_is_found_by_its_score():
    scales, etude = played(SCALE, 10), played(ETUDE, 18.2)
    everything = Section("scales", 10.0, etude[-1].offset_s, True, 0.9)
    heard, aligned = place_pieces(
        take([*scales, *etude], everything), {"etude": score(ETUDE)}, player=Player(), plan=Plan()
    )
    assert spans(heard) == {"scales": (10.0, 17.45), "etude": (18.2, 28.15)}
    assert aligned["etude"][1].recognised
    # The scales are read anew within their own boundaries.
    assert [(s.tonic, s.complete) for s in heard.scales.played] == [("C", True)]


def test_a_voice_taken_for_notes_does_not_belong_to_the_etude():
    voice, etude = played([50, 47, 49], 20, 0.3), played(ETUDE, 22)
    named = Section("etude", 20.0, etude[-1].offset_s, False, 0.6)
    heard, _ = place_pieces(
        take([*played(SCALE, 10), *voice, *etude], named),
        {"etude": score(ETUDE)},
        player=Player(),
        plan=Plan(),
    )
    assert spans(heard)["etude"][0] == 22.0


def test_another_piece_moves_no_boundary_and_says_so():
    other = played([48, 61, 55, 70, 49, 63, 52, 66, 58, 71, 50, 61], 20)
    named = Section("etude", 20.0, other[-1].offset_s, False, 0.6)
    heard, aligned = place_pieces(
        take(other, named), {"etude": score(ETUDE)}, player=Player(), plan=Plan()
    )
    assert heard.sections == (named,)
    assert not aligned["etude"][1].recognised


def test_a_piece_that_was_not_played_is_absent():
    heard, aligned = place_pieces(
        take(played(SCALE, 10)), {"honors": score(ETUDE)}, player=Player(), plan=Plan()
    )
    assert heard.sections == ()
    assert aligned == {}
