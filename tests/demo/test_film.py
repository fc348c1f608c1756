"""Files are written with exact times, sound and picture together, no frame like the one before."""

from __future__ import annotations

from itertools import pairwise
from pathlib import Path

import av
import numpy as np
import pytest

from fairhearing.demo import film, player
from fairhearing.demo.performance import perform
from fairhearing.demo.picture import frame_times, frames
from fairhearing.demo.rooms import HOMES

LENGTH_S = 3.0


def short_film(number: str = "215", start_s: float = 10.0, purpose: str = "scene") -> film.Film:
    performance = perform(player(number))
    home = HOMES[player(number).home]
    times = frame_times(performance, home, start_s, start_s + LENGTH_S)
    dice = np.random.default_rng(5)
    sound = (0.1 * dice.standard_normal(int(LENGTH_S * 48_000))).astype(np.float32)
    sound = np.convolve(sound, np.ones(8) / 8, "same").astype(np.float32)
    pictures = frames(performance, home, times + start_s, purpose)
    return film.Film(times, pictures, sound, home.sample_rate_hz, home.channels, home.frame_rate)


def read(path: Path):
    with av.open(str(path)) as file:
        pictures = [
            (float(f.pts * f.time_base), f.to_ndarray(format="gray")) for f in file.decode(video=0)
        ]
    return np.array([time for time, _ in pictures]), [luma for _, luma in pictures]


@pytest.mark.parametrize("kind", ["mp4", "webm", "mov"])
def test_times_are_kept_and_neighbours_differ(kind, tmp_path: Path):
    """Peer: PyAV's decoder."""
    one = short_film()
    path = film.write(tmp_path / f"take.{kind}", one)
    times, lumas = read(path)
    tick = 0.0006 if kind == "webm" else 2 / 90_000  # Matroska counts milliseconds
    assert times == pytest.approx(one.times_s, abs=tick)
    changes = [np.abs(a.astype(int) - b).mean() for a, b in pairwise(lumas)]
    assert min(changes) > 0.05
    assert not list(tmp_path.glob("*.part"))


@pytest.mark.parametrize(("kind", "number"), [("mp4", "215"), ("mp4", "209"), ("webm", "215")])
def test_sound_stays_where_it_was(kind, number, tmp_path: Path):
    one = short_film(number)
    path = film.write(tmp_path / f"take.{kind}", one)
    heard = film._decode_sound(path)
    middle = one.sound[48_000:72_000]
    lag = np.argmax(np.correlate(heard[47_000:73_000], middle, "valid")) - 1000
    assert abs(lag) <= 2


def test_the_upright_phone_films_upright(tmp_path: Path):
    _, lumas = read(film.write(tmp_path / "a.mp4", short_film("209")))
    assert lumas[0].shape == (640, 360)


def test_the_dark_room_is_dark_and_drops_frames(tmp_path: Path):
    _, bright = read(film.write(tmp_path / "a.mp4", short_film("215")))
    times, dark = read(film.write(tmp_path / "b.mp4", short_film("217")))
    assert np.mean(dark[0]) < 0.4 * np.mean(bright[0])
    gaps = np.diff(times)
    assert gaps.max() > 1.7 * np.median(gaps)


def test_the_same_film_gives_the_same_bytes(tmp_path: Path):
    paths = [film.write(tmp_path / name, short_film()) for name in ("a.mp4", "b.mp4")]
    assert paths[0].read_bytes() == paths[1].read_bytes()


def test_joined_films_follow_each_other(tmp_path: Path):
    parts = [
        film.write(tmp_path / f"{index}.mp4", short_film("216", start, f"scene {index}"))
        for index, start in enumerate((10.0, 40.0))
    ]
    joint = LENGTH_S - 0.013
    film.join(*parts, tmp_path / "joined.mp4", joint_s=joint, frame_rate=15)
    times, lumas = read(tmp_path / "joined.mp4")
    assert np.all(np.diff(times) > 0)
    changes = np.array([np.abs(a.astype(int) - b).mean() for a, b in pairwise(lumas)])
    assert times[np.argmax(changes) + 1] == pytest.approx(joint, abs=0.08)
    assert changes.max() > 3 * np.median(changes)
    heard = film._decode_sound(tmp_path / "joined.mp4")
    middle = short_film("216", 40.0, "scene 1").sound[48_000:72_000]
    at = round(joint * 48_000) + 48_000
    lag = np.argmax(np.correlate(heard[at - 1000 : at + 25_000], middle, "valid")) - 1000
    assert abs(lag) <= 2
    assert b"Lavf" in (tmp_path / "joined.mp4").read_bytes()


@pytest.mark.parametrize("kind", ["mp4", "webm"])
def test_a_camera_leaves_a_date_and_names_no_program(kind, tmp_path: Path):
    """Peer: PyAV reads the container's own words."""
    path = film.write(tmp_path / f"take.{kind}", short_film())
    with av.open(str(path)) as file:
        assert file.metadata["creation_time"].startswith("2027-05-02")
    assert b"Lavf" not in path.read_bytes()
