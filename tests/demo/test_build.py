"""The whole folder: made, taken up again, refused."""

from __future__ import annotations

import json
from pathlib import Path

import av
import pytest

from fairhearing.core.errors import FairHearingError
from fairhearing.demo import build, make_season, player


def test_a_strange_folder_is_left_alone(tmp_path: Path):
    (tmp_path / "homework.txt").write_text("mine", encoding="utf-8")
    with pytest.raises(FairHearingError, match="is not empty and not this program's demo season"):
        make_season(tmp_path)
    assert [path.name for path in tmp_path.iterdir()] == ["homework.txt"]


def test_a_season_is_made_and_taken_up_again(tmp_path: Path, monkeypatch):
    monkeypatch.setattr(build, "PLAYERS", (player("224"), player("225")))
    seen: list[tuple[int, int, str]] = []
    folder = make_season(tmp_path / "new", progress=lambda *step: seen.append(step), processes=1)
    assert seen == [(0, 1, ""), (1, 1, "224-snare-drum.mp4")]
    take = folder / "takes" / "224-snare-drum.mp4"
    truth = json.loads((folder / "truth.json").read_text(encoding="utf-8"))["takes"]["224"]
    with av.open(str(take)) as file:
        assert {s.codec_context.name for s in file.streams} == {"h264", "aac"}
        assert file.duration / 1e6 == pytest.approx(truth["duration_s"], abs=0.2)
    made = take.stat().st_mtime_ns
    (folder / "takes" / "999.mp4.part").touch()
    seen.clear()
    make_season(folder, progress=lambda *step: seen.append(step), processes=1)
    assert seen == [(1, 1, "")]
    assert take.stat().st_mtime_ns == made
    assert not list(folder.rglob("*.part"))


@pytest.mark.long
def test_the_whole_season_on_two_processes(tmp_path: Path):
    folder = make_season(tmp_path / "season", processes=2)
    takes = sorted((folder / "takes").iterdir())
    assert len(takes) == 24
    truth = json.loads((folder / "truth.json").read_text(encoding="utf-8"))["takes"]
    for take in takes:
        with av.open(str(take)) as file:
            assert file.streams.video
            assert file.streams.audio
            length = file.duration / 1e6
        assert length == pytest.approx(truth[take.name[:3]]["duration_s"], abs=0.2)
