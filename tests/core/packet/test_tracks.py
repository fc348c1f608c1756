"""Practice tracks, measured on the decoded file: loudness, peaks, clicks, pitch, tags, honors."""

from __future__ import annotations

import io
from itertools import pairwise
from pathlib import Path

import av
import numpy as np
import pytest

from fairhearing.core.errors import ScoreFileError
from fairhearing.core.packet.audio_files import KINDS, decoded_mono, encoded
from fairhearing.core.packet.instruments import load
from fairhearing.core.packet.parts import accompaniment_of, part_for
from fairhearing.core.packet.reading import read_score
from fairhearing.core.packet.timing import default_tempi, marked_bpm, timeline
from fairhearing.core.packet.tracks import (
    RATE,
    click_sound,
    finished,
    loudness_lufs,
    practice_track,
    rendered_music,
    tuning_note,
)

ETUDE = "etude"


@pytest.fixture
def part(etude: Path):  # type: ignore[no-untyped-def]
    return part_for(etude, load()["trumpet"], "intermediate")


@pytest.fixture
def music(part):  # type: ignore[no-untyped-def]
    return rendered_music(part.score, part.instrument, 120, section=ETUDE)


@pytest.mark.parametrize("kind", KINDS)
def test_the_decoded_file_has_the_promised_loudness_and_tags(music, kind) -> None:  # type: ignore[no-untyped-def]
    """ITU-R BS.1770 by pyloudnorm, on the mono sound that a phone's player would give."""
    track = practice_track(music, 120, section=ETUDE)
    data = finished(track.sound, kind, {"title": "Etude · 120 · trumpet", "comment": "trumpet"})
    heard, rate = decoded_mono(data)
    assert loudness_lufs(heard, rate) == pytest.approx(-16.0, abs=0.5)
    assert 20 * np.log10(np.max(np.abs(heard))) <= -1.5
    with av.open(io.BytesIO(data)) as container:
        tags = {name.lower(): text for name, text in container.metadata.items()}
        assert "trumpet" in tags["title"]
        assert tags["comment"] == "trumpet"
        assert container.streams.audio[0].channels == 1
    # No lead-in of the codec is left: the file starts where the sound does.
    a, b = track.sound[20_000:90_000], heard[18_000:92_000]
    lag = int(np.argmax(np.correlate(b.astype(float), a.astype(float), "valid"))) - 2000
    assert abs(lag) <= 24


def test_clicks_stand_on_their_samples(part) -> None:  # type: ignore[no-untyped-def]
    when = timeline(part.score, 93)
    sound = click_sound(when.clicks, round(when.end_s * RATE) + RATE)
    loud = np.flatnonzero(np.abs(sound) > 0.3)
    starts = loud[np.flatnonzero(np.diff(loud, prepend=-RATE) > RATE // 10)]
    expected = np.array([click.at_s for click in when.clicks]) * RATE
    assert len(starts) == len(expected) == 4 + 32
    # Half a millisecond is the floor; they are exact to a sample.
    assert np.max(np.abs(starts - expected)) <= 1.0
    assert sum(click.first for click in when.clicks) == 1 + 8
    assert [c.count_in for c in when.clicks[:5]] == [True] * 4 + [False]


def test_the_line_is_heard_where_and_how_high_it_is_written(part, music) -> None:  # type: ignore[no-untyped-def]
    librosa = pytest.importorskip("librosa")
    when = timeline(part.score, 120, count_in_bars=0)
    long_notes = [n for n in when.notes if n.duration_s >= 0.45]
    assert len(long_notes) > 10
    for timed in long_notes:
        start = round((timed.at_s + 0.06) * RATE)
        piece = music.sound[start : start + round(0.3 * RATE)].astype(float)
        found = librosa.yin(piece, fmin=100, fmax=1500, sr=RATE, frame_length=4096)
        midi = 69 + 12 * np.log2(np.median(found) / 440)
        assert midi == pytest.approx(timed.note.sounding, abs=0.35)


def test_tempo_count_in_and_upbeat(write_score) -> None:  # type: ignore[no-untyped-def]
    path = write_score("up.musicxml", "F4:4", "Bb4:4 C5:4 D5:4 Eb5:4", tempo=100)
    text = path.read_text().replace('<measure number="1">', '<measure number="0" implicit="yes">')
    path.write_text(text)
    score = read_score(path)
    assert marked_bpm(score) == 100
    when = timeline(score, 60)
    # A full bar, then three beats up to the upbeat.
    assert sum(click.count_in for click in when.clicks) == 4 + 3
    assert when.music_from_s == pytest.approx(0.5 + 7.0)
    gaps = [b.at_s - a.at_s for a, b in pairwise(when.clicks)]
    assert gaps == pytest.approx([1.0] * len(gaps))
    assert when.notes[1].at_s - when.notes[0].at_s == pytest.approx(1.0)


def test_compound_time_counts_dotted_quarters(write_score) -> None:  # type: ignore[no-untyped-def]
    path = write_score("six.musicxml", "F4:2 F4:2 F4:2 A4:6")
    text = path.read_text().replace(
        "<beats>4</beats><beat-type>4</beat-type>", "<beats>6</beats><beat-type>8</beat-type>"
    )
    path.write_text(text)
    when = timeline(read_score(path), 60)
    assert when.notes[-1].duration_s == pytest.approx(1.0)
    assert sum(click.count_in for click in when.clicks) == 4  # two bars of two


def test_tempo_changes_keep_their_proportion(write_score) -> None:  # type: ignore[no-untyped-def]
    path = write_score("r.musicxml", "F4:4 F4:4 F4:4 F4:4", "F4:4 F4:4 F4:4 F4:4", tempo=80)
    slower = (
        '<measure number="2"><direction><direction-type><words>slower</words></direction-type>'
        '<sound tempo="40"/></direction>'
    )
    path.write_text(path.read_text().replace('<measure number="2">', slower))
    when = timeline(read_score(path), 160, count_in_bars=0)
    lengths = [bar.end_s - bar.start_s for bar in when.bars]
    assert lengths == pytest.approx([1.5, 3.0])


def test_repeats_are_played_and_doubtful_ones_refused(write_score) -> None:  # type: ignore[no-untyped-def]
    path = write_score("rep.musicxml", "F4:4 F4:4 F4:8", "G4:8 G4:8")
    repeat = '<barline location="right"><repeat direction="backward"/></barline></measure>'
    whole = path.read_text()
    path.write_text(whole.replace("</measure>", repeat, 1))
    when = timeline(read_score(path), 120)
    assert [bar.bar for bar in when.bars] == [0, 0, 1]
    assert len(when.notes) == 8
    path.write_text(
        whole.replace(
            '<measure number="2">',
            '<measure number="2"><barline location="left"><repeat direction="forward"/></barline>',
        )
    )
    with pytest.raises(ScoreFileError, match="never closes"):
        timeline(read_score(path), 120)


def test_the_tuning_note_is_exact() -> None:
    for hz in (440.0, 442.0, 233.08):
        tone = tuning_note(hz, 4.0).astype(float)
        spectrum = np.abs(np.fft.rfft(tone * np.hanning(len(tone)), 8 * len(tone)))
        peak = np.argmax(spectrum) * RATE / (8 * len(tone))
        assert abs(1200 * np.log2(peak / hz)) < 0.5
        assert loudness_lufs(tuning_note(hz, 4.0)) == pytest.approx(-16.0, abs=0.5)


def test_the_honors_excerpt_is_refused(part, music) -> None:  # type: ignore[no-untyped-def]
    with pytest.raises(ValueError, match="never made into a practice track"):
        rendered_music(part.score, part.instrument, 100, section="honors")
    with pytest.raises(ValueError, match="never made into a practice track"):
        practice_track(music, 100, section="honors")


def test_percussion_and_own_sound(snare: Path, part) -> None:  # type: ignore[no-untyped-def]
    drum = part_for(snare, load()["snare-drum"], "beginner")
    beat = rendered_music(drum.score, drum.instrument, 80, section=ETUDE)
    assert np.max(np.abs(beat.sound)) > 0.01
    own = rendered_music(part.score, part.instrument, 120, section=ETUDE, own_sound=True)
    piano = rendered_music(part.score, part.instrument, 120, section=ETUDE)
    assert len(own.sound) == len(piano.sound)
    assert not np.allclose(own.sound, piano.sound)


def test_a_piano_part_in_the_source_accompanies(etude: Path, tmp_path: Path) -> None:
    text = etude.read_text(encoding="utf-8")
    start, end = text.index("<part id"), text.index("</score-partwise>")
    piano = text[start:end].replace('id="P1"', 'id="P2"').replace("<octave>4", "<octave>3")
    both = (text[:end] + piano + text[end:]).replace(
        "</score-part></part-list>",
        '</score-part><score-part id="P2"><part-name>Piano</part-name></score-part></part-list>',
    )
    path = tmp_path / "with-piano.musicxml"
    path.write_text(both, encoding="utf-8")
    part = part_for(path, load()["trumpet"], "intermediate")
    assert len(part.score.notes) == 35
    behind = accompaniment_of(path)
    assert behind is not None
    assert {note.part for note in behind.notes} == {1}
    assert accompaniment_of(etude) is None
    alone = rendered_music(
        part.score, part.instrument, 120, section=ETUDE, accompaniment=behind, with_line=False
    )
    both_sound = rendered_music(
        part.score, part.instrument, 120, section=ETUDE, accompaniment=behind
    )
    line = rendered_music(part.score, part.instrument, 120, section=ETUDE)
    assert np.allclose(both_sound.sound, alone.sound + line.sound, atol=1e-6)
    assert np.max(np.abs(alone.sound)) > 0.01


def test_tempi_to_practise_at() -> None:
    assert default_tempi(100) == (60, 76, 90, 100)
    assert default_tempi(63)[-1] == 63


def test_silence_stays_silence() -> None:
    data = encoded(np.zeros(RATE, np.float32), RATE, "mp3")
    assert np.max(np.abs(decoded_mono(data)[0])) < 1e-4
