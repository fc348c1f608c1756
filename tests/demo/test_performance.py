"""The demo's performances hold to the rules of the audition and of major scales."""

from __future__ import annotations

import json
from dataclasses import replace

import numpy as np
import pytest

from fairhearing.core.packet import instruments
from fairhearing.demo import melodies, voices
from fairhearing.demo.cast import PLAYERS, player
from fairhearing.demo.performance import perform
from fairhearing.demo.takes import truth_of

SENT = [who for who in PLAYERS if who.take is not None]
TABLE = instruments.load()


@pytest.fixture(scope="module", params=SENT, ids=[who.number for who in SENT])
def performance(request):
    return perform(request.param)


def test_the_same_player_plays_the_same_take(performance):
    again = perform(performance.player)
    assert json.dumps(truth_of(again)) == json.dumps(truth_of(performance))


def test_one_note_after_the_other(performance):
    onsets = np.array([note.onset_s for note in performance.notes])
    ends = onsets + [note.duration_s for note in performance.notes]
    assert np.all(np.diff(onsets) > 0)
    assert np.all(ends[:-1] <= onsets[1:] + 0.02)
    assert ends[-1] < performance.duration_s
    assert 60 <= performance.duration_s <= 150


def test_nobody_plays_and_speaks_at_once(performance):
    for spoken in performance.spoken:
        end = spoken.start_s + voices.length_s(spoken.phrase)
        for note in performance.notes:
            assert note.onset_s + note.duration_s <= spoken.start_s or note.onset_s >= end


def test_sections_are_in_the_order_of_the_audition(performance):
    order = ["introduction", "chromatic", "scales", "other", "etude", "honors"]
    kinds = [section.kind for section in performance.sections]
    assert kinds == sorted(kinds, key=order.index)
    assert ("honors" in kinds) == performance.player.honors
    starts = [section.start_s for section in performance.sections]
    assert starts == sorted(starts)


def test_the_chromatic_goes_up_and_back_by_semitones(performance):
    truth = performance.chromatic
    if truth is None:
        assert TABLE[performance.player.instrument].kind == "drum"
        return
    played = [note.midi for note in performance.notes if note.section == "chromatic"]
    wanted = [
        midi
        for midi in range(truth.lowest_midi, truth.highest_midi + 1)
        if midi not in truth.missing_midi
    ]
    assert played == wanted + wanted[-2::-1]


def test_right_scales_are_major_scales(performance):
    """Step pattern 2-2-1-2-2-2-1: any theory text."""
    pattern = [2, 2, 1, 2, 2, 2, 1]
    notes = [note for note in performance.notes if note.section == "scales"]
    for scale in performance.scales:
        own = [n for n in notes if scale.start_s <= n.onset_s < scale.end_s]
        wrong = sum(note.said == "wrong" for note in own)
        assert wrong == scale.wrong_notes
        steps = pattern * scale.octaves
        if not wrong:
            assert np.diff([n.midi for n in own]).tolist() == steps + [-s for s in steps[::-1]]
        assert own[0].midi == own[-1].midi == scale.tonic_midi


def test_tonics_agree_with_music21(performance):
    """Peer: music21's names of pitch classes."""
    pitch = pytest.importorskip("music21.pitch")
    shift = TABLE[performance.player.instrument].sounding_minus_written
    for scale in performance.scales:
        for name, midi in (
            (scale.tonic_concert, scale.tonic_midi),
            (scale.tonic, scale.tonic_midi - shift),
        ):
            plain = name.replace("-flat", "-").replace("-sharp", "#")
            assert pitch.Pitch(plain).pitchClass == midi % 12


def test_the_minute_is_counted_from_the_first_scale_note(performance):
    if performance.window_s is None:
        return
    start, end = performance.window_s
    first = next(note for note in performance.notes if note.section == "scales")
    assert start == first.onset_s
    assert end - start == pytest.approx(60)
    for scale in performance.scales:
        assert scale.in_window == (scale.end_s <= end)
        assert scale.start_s < end + 1.5


def test_pieces_and_slips_account_for_every_written_note(performance):
    for section, piece in (("etude", melodies.etude), ("honors", melodies.honors)):
        if section not in {part.kind for part in performance.sections}:
            continue
        written = [n for n in piece(performance.player.instrument).notes if n.sounds]
        shift = TABLE[performance.player.instrument].sounding_minus_written
        played = [n for n in performance.notes if n.section == section]
        slips = [slip for slip in performance.slips if slip.section == section]
        restarts = [slip for slip in slips if slip.kind == "restart"]
        missed = {slip.score_note for slip in slips if slip.kind == "missed"}
        once = {n.score_note for n in played}
        assert once | missed == set(range(len(written)))
        for note in played:
            want = written[note.score_note].midi
            right = note.midi == (None if want is None else want + shift)
            assert right == (note.said != "wrong")
        if not restarts:
            count = sum(n.said != "extra" for n in played)
            assert count == len(written) - sum(slip.kind == "missed" for slip in slips)


def test_a_restart_goes_back_to_the_beginning():
    plain = player("205")
    performance = perform(replace(plain, restart_bar=6))
    [restart] = [slip for slip in performance.slips if slip.kind == "restart"]
    again = [n for n in performance.notes if n.said == "again"]
    assert restart.bar == 6
    assert restart.time_s == again[0].onset_s
    assert again[0].score_note == 0
    before = [n for n in performance.notes if n.section == "etude" and n.onset_s < restart.time_s]
    assert again[0].onset_s - (before[-1].onset_s + before[-1].duration_s) > 1


def test_weaker_players_slip_more_and_waver_more():
    strong, weak = (perform(replace(player("205"), skill=skill)) for skill in (0.95, 0.2))
    assert len(weak.slips) > len(strong.slips)
    spread = [
        np.std([n.cents for n in p.notes if n.section == "chromatic"]) for p in (strong, weak)
    ]
    assert spread[1] > 2 * spread[0]


def test_the_season_has_what_it_promises():
    assert len(SENT) == 24
    assert len({who.instrument for who in SENT}) >= 9
    assert {"tuba", "xylophone", "snare-drum"} <= {who.instrument for who in SENT}
    homes = {who.home for who in SENT}
    assert {"joined", "loud", "fan", "hum", "tiled", "far", "near", "dark"} <= homes
    assert any(who.restart_bar for who in SENT)
    everything = [perform(who) for who in SENT]
    assert any(not scale.in_window for p in everything for scale in p.scales)
    assert {slip.kind for p in everything for slip in p.slips} == {
        "wrong", "missed", "extra", "restart",
    }  # fmt: skip
