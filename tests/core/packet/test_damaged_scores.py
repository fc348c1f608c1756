"""Damaged files: every reader error is a sentence of ours, never a crash of somebody's parser."""

from __future__ import annotations

import io
import random
import zipfile
from pathlib import Path

import mido
import pytest

from fairhearing.core.errors import ScoreFileError
from fairhearing.core.packet.instruments import load
from fairhearing.core.packet.musicxml_reading import score_from_tree
from fairhearing.core.packet.opening import parse_tree
from fairhearing.core.packet.parts import part_for
from fairhearing.core.packet.reading import read_score
from fairhearing.core.packet.unfolding import played


def damaged(data: bytes, dice: random.Random) -> bytes:
    """Cut, double, swap or overwrite pieces, and put odd numbers where numbers stand."""
    broken = bytearray(data)
    for _ in range(dice.randint(1, 6)):
        at = dice.randrange(len(broken))
        size = dice.randint(1, 40)
        match dice.randrange(5):
            case 0:
                del broken[at : at + size]
            case 1:
                broken[at:at] = broken[at : at + size]
            case 2:
                broken[at : at + 1] = bytes([dice.randrange(256)])
            case 3:
                digits = [n for n, c in enumerate(broken) if chr(c).isdigit()]
                if digits:
                    odd = dice.choice([b"-1", b"0", b"1e9", b"999999999", b"", b"x", b".5", b"1/3"])
                    spot = dice.choice(digits)
                    broken[spot : spot + 1] = odd
            case 4:
                other = dice.randrange(len(broken))
                broken[at : at + size] = broken[other : other + size]
        if not broken:
            return b"x"
    return bytes(broken)


def survive(path: Path) -> str:
    try:
        score = read_score(path)
        for part in range(len(score.parts)):
            played(score, part)
        part_for(path, load()["trumpet"], "intermediate")
    except ScoreFileError as error:
        assert "\n" not in str(error)
        return "refused"
    return "read"


def trial(path: Path, data: bytes, rounds: int, seed: int) -> dict[str, int]:
    found = {"read": 0, "refused": 0}
    for number in range(rounds):
        path.write_bytes(damaged(data, random.Random(seed + number)))
        found[survive(path)] += 1
    return found


@pytest.mark.parametrize("rounds", [150, pytest.param(6000, marks=pytest.mark.long)])
def test_damaged_musicxml(etude: Path, tmp_path: Path, rounds: int) -> None:
    found = trial(tmp_path / "x.musicxml", etude.read_bytes(), rounds, 1)
    assert found["refused"] > 0
    assert found["read"] > 0


@pytest.mark.parametrize("rounds", [150, pytest.param(6000, marks=pytest.mark.long)])
def test_damaged_midi(tmp_path: Path, rounds: int) -> None:
    song = mido.MidiFile(ticks_per_beat=96)
    track = mido.MidiTrack([mido.MetaMessage("key_signature", key="Eb")])
    song.tracks.append(track)
    for key in (63, 65, 67, 68, 70) * 4:
        track.append(mido.Message("note_on", note=key, velocity=70))
        track.append(mido.Message("note_off", note=key, time=96))
    song.save(tmp_path / "x.mid")
    found = trial(tmp_path / "y.mid", (tmp_path / "x.mid").read_bytes(), rounds, 2)
    assert found["refused"] > 0
    assert found["read"] > 0


@pytest.mark.parametrize("rounds", [100, pytest.param(4000, marks=pytest.mark.long)])
def test_damaged_archives(etude: Path, tmp_path: Path, rounds: int) -> None:
    stream = io.BytesIO()
    with zipfile.ZipFile(stream, "w", zipfile.ZIP_DEFLATED) as archive:
        archive.writestr("score.xml", etude.read_bytes())
    found = trial(tmp_path / "x.mxl", stream.getvalue(), rounds, 3)
    assert found["refused"] > 0


def test_the_tree_of_a_hostile_score_is_small(etude: Path) -> None:
    text = etude.read_text(encoding="utf-8").replace("<duration>12<", "<duration>99999999999999<")
    with pytest.raises(ScoreFileError, match="too long to be an audition piece"):
        score_from_tree(parse_tree(text.encode()))
