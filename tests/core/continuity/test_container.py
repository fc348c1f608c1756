"""What the container alone shows: on files joined and cut by another program, and on controls."""

from __future__ import annotations

import gzip
import itertools
import subprocess
from collections.abc import Callable
from fractions import Fraction
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from fairhearing.core.continuity.container import container_findings, written_by_other_software
from fairhearing.core.continuity.finding import Channel, Finding
from fairhearing.core.recording import Picture, Probe, SoundBlock, listen
from fairhearing.core.recording.facts import (
    NO_FACTS,
    ContainerFacts,
    Edit,
    TrackFacts,
    in_runs,
)

DEBIAN_CLIPS = Path("/usr/share/doc/opencv-doc/opencv4/html")
H264 = ("-c:v", "libx264", "-preset", "ultrafast", "-g", "30", "-pix_fmt", "yuv420p", "-c:a", "aac")
VP9 = ("-c:v", "libvpx-vp9", "-deadline", "realtime", "-cpu-used", "8", "-g", "60")
VARIABLE = "select='not(eq(mod(n,7),3))*not(between(n,20,24))'"
KINDS = {
    "h264.mp4": (H264, "null"),
    "timescale.mov": ((*H264, "-video_track_timescale", "600"), VARIABLE),
    "b-frames.mp4": ((*H264, "-preset", "veryfast", "-bf", "2"), "null"),
    "vp9.webm": ((*VP9, "-c:a", "libopus"), "null"),
}


class Brightness:
    """Observer that keeps each picture's time and mean."""

    def __init__(self) -> None:
        self.seen: list[tuple[float, float]] = []

    def begin(self, probe: Probe) -> None: ...

    def sound(self, block: SoundBlock) -> None: ...

    def picture(self, picture: Picture) -> None:
        self.seen.append((float(picture.time), float(picture.luma.mean())))

    def finish(self) -> None: ...


@pytest.fixture(scope="module")
def ffmpeg() -> Callable[..., None]:
    imageio_ffmpeg = pytest.importorskip("imageio_ffmpeg")

    def run(*arguments: object) -> None:
        command = [imageio_ffmpeg.get_ffmpeg_exe(), "-v", "error", "-nostdin", "-y"]
        subprocess.run([*command, *map(str, arguments)], check=True, timeout=120)

    return run


@pytest.fixture(scope="module")
def film(ffmpeg, tmp_path_factory) -> Callable[..., Path]:
    """A dark or bright film of moving patterns and noise."""
    folder = tmp_path_factory.mktemp("films")

    def make(name: str, seconds: float, *, bright: bool) -> Path:
        codecs, chosen = KINDS[name]
        path = folder / f"{bright}-{seconds}-{name}"
        if not path.exists():
            level = "128+val/3" if bright else "val/3"
            picture = f"testsrc2=s=160x90:r=30:d={seconds},lutyuv=y='{level}',{chosen}"
            sound = f"anoisesrc=r=48000:d={seconds}:a=0.1:seed={int(bright)}"
            ffmpeg("-f", "lavfi", "-i", picture, "-f", "lavfi", "-i", sound,
                   "-fps_mode", "vfr", *codecs, path)  # fmt: skip
        return path

    return make


def cut(ffmpeg, path: Path, target: Path, *, start: float = 0, end: float | None = None) -> Path:
    """Copy a part without decoding it."""
    until = () if end is None else ("-t", end)
    ffmpeg(*(("-ss", start) if start else ()), *until, "-i", path, "-c", "copy", target)
    return target


def joined(ffmpeg, parts: list[Path], target: Path) -> Path:
    """Join without decoding."""
    target.with_suffix(".txt").write_text("".join(f"file {part}\n" for part in parts))
    ffmpeg("-f", "concat", "-safe", 0, "-i", target.with_suffix(".txt"), "-c", "copy", target)
    return target


def heard(path: Path) -> tuple[list[tuple[float, float]], tuple[Finding, ...]]:
    watch = Brightness()
    probe = listen(path, [watch])
    return watch.seen, container_findings(probe.facts)


def time_stamps(findings) -> list[Finding]:
    return [finding for finding in findings if finding.channel == Channel.TIME_STAMPS]


@pytest.mark.parametrize("name", KINDS)
@pytest.mark.parametrize("whole", [True, False])
def test_a_copied_joint_is_found_within_a_picture(name, whole, film, ffmpeg, tmp_path):
    dark, bright = film(name, 5.21, bright=False), film(name, 6.37, bright=True)
    parts = [dark, bright]
    if not whole:
        suffix = dark.suffix
        parts = [
            cut(ffmpeg, dark, tmp_path / f"a{suffix}", end=3.31),
            cut(ffmpeg, bright, tmp_path / f"b{suffix}", start=2.47),
        ]
    seen, findings = heard(joined(ffmpeg, parts, tmp_path / f"joined-{name}"))
    # The truth is in the decoded pictures: where dark becomes bright.
    first_bright = next(time for time, level in seen if level > 115)
    before = max(time for time, _ in seen if time < first_bright)
    found = [f for f in time_stamps(findings) if "joint" in f.says]
    assert len(found) == 1
    picture = max(1 / 30, first_bright - before)
    assert found[0].start_s == pytest.approx(first_bright, abs=picture + 1e-3)
    assert found[0].strength >= 0.8


@pytest.mark.parametrize("name", [name for name in KINDS if not name.endswith("webm")])
@pytest.mark.parametrize("start", [0.71, 1.3, 2.93])
def test_a_beginning_left_out_is_found(name, start, film, ffmpeg, tmp_path):
    path = cut(ffmpeg, film(name, 5.21, bright=False), tmp_path / f"cut-{name}", start=start)
    _, findings = heard(path)
    found = time_stamps(findings)
    assert len(found) == 1
    assert "before the first moment" in found[0].says


@pytest.mark.parametrize("name", KINDS)
def test_a_film_in_one_piece_has_no_finding_in_its_time_stamps(name, film):
    _, findings = heard(film(name, 6.37, bright=True))
    assert time_stamps(findings) == []
    assert [finding.channel for finding in findings] == [Channel.ORIGIN]  # it was made here


def test_an_edit_list_that_jumps_is_a_joint():
    track = steady("video", 30_000, 1000, 600)
    edits = (Edit(Fraction(4), 0), Edit(Fraction(5), 9 * 30_000))
    found = time_stamps(container_findings(film_of(replaced(track, edits=edits))))
    assert [finding.start_s for finding in found] == [4.0]


def test_debians_camera_clips(tmp_path):
    if not DEBIAN_CLIPS.exists():
        pytest.skip("needs the Debian package opencv-doc")
    for name in ("cup.mp4", "box.mp4"):
        path = tmp_path / name
        path.write_bytes(gzip.decompress((DEBIAN_CLIPS / f"{name}.gz").read_bytes()))
        _, findings = heard(path)
        assert time_stamps(findings) == [], name
        # box.mp4 says itself that a media player wrote it; cup.mp4 keeps its device's date.
        assert len(findings) == (name == "box.mp4")


def steady(kind, timescale: int, step: int, samples: int) -> TrackFacts:
    keys = tuple(range(0, samples, 30)) if kind == "video" else None
    codec = "avc1" if kind == "video" else "mp4a"
    return TrackFacts(
        kind, codec, timescale, "", 1_700_000_000, ((samples, step),), (), keys, (), (), 0
    )


def replaced(track: TrackFacts, **fields) -> TrackFacts:
    values = {name: getattr(track, name) for name in TrackFacts.__slots__}
    return TrackFacts(**(values | fields))


def film_of(*tracks: TrackFacts) -> ContainerFacts:
    return ContainerFacts(
        "iso", ("qt",), ("ftyp", "mdat", "moov"), 1_700_000_000, (), False, tracks
    )


@settings(max_examples=150, deadline=None)
@given(st.integers(0, 2**32 - 1))
def test_genuine_irregularity_is_not_evidence(seed):
    """Trembling clocks, dropped pictures, long gaps, odd beginnings, priming, edit lists."""
    rng = np.random.default_rng(seed)
    scale, step = [(600, 20), (90_000, 3000), (30_000, 1001)][rng.integers(3)]
    samples = int(rng.integers(300, 4000))
    ticks = np.full(samples, step)
    if rng.random() < 0.5:
        ticks += rng.integers(-step // 6, step // 6 + 1, samples)  # variable rate
    dropped = rng.random(samples) < rng.choice([0, 0.002, 0.05])
    ticks[dropped] = step * rng.integers(2, 6, dropped.sum())
    if rng.random() < 0.3:
        ticks[rng.integers(3, samples)] = 2 * scale  # a camera that stood still for two seconds
    ticks[: rng.integers(0, 3)] = rng.integers(1, 3 * step)
    key_every = int(rng.choice([15, 30, 60]))
    lead = int(rng.choice([0, 0, 2]))  # pictures out of order: offsets and media time go together
    video = replaced(
        steady("video", scale, step, samples),
        durations=in_runs(ticks.tolist()),
        offsets=((samples, lead * step),) if lead else (),
        key_frames=tuple(range(0, samples, key_every)),
        edits=(Edit(Fraction(int(ticks.sum()), scale), lead * step),),
    )
    length = int(ticks.sum() / scale * 48000 / 1024)
    sounds = np.full(length, 1024)
    if rng.random() < 0.4:
        sounds += rng.integers(-40, 41, length)  # a clock that trembles
    elif rng.random() < 0.5:
        sounds[rng.integers(3, length)] += int(rng.integers(-5, 6))  # one correction of the clock
    sounds[-1] = rng.integers(1, 1025)
    audio = replaced(
        steady("audio", 48000, 1024, length),
        durations=in_runs(sounds.tolist()),
        edits=(Edit(Fraction(int(ticks.sum()), scale), int(rng.choice([0, 1024, 2112]))),),
    )
    assert container_findings(film_of(video, audio)) == ()


def test_other_software_is_told_by_name_or_by_a_lost_date():
    video = steady("video", 600, 20, 300)
    lost = replaced(video, created=None)
    camera = film_of(video)
    assert not written_by_other_software(camera)
    assert not container_findings(camera)

    def with_writers(*writers, created=None, tracks=(lost,)):
        return ContainerFacts("iso", ("isom",), ("ftyp",), created, writers, False, tracks)

    assert written_by_other_software(with_writers())
    assert written_by_other_software(with_writers("too: Lavf60.3.100", created=1, tracks=(video,)))
    assert not written_by_other_software(with_writers("com.apple.quicktime.make: Apple"))
    assert not written_by_other_software(with_writers("com.android.version: 14"))
    browser = ContainerFacts(
        "matroska", ("webm",), ("info",), None, ("muxing: Chrome", "writing: Chrome"), False, ()
    )
    assert not written_by_other_software(browser)
    assert container_findings(NO_FACTS) == ()


def test_tables_of_impossible_length_are_left_alone():
    huge = replaced(steady("video", 600, 20, 300), durations=((1 << 32, 1),) * 3)
    assert time_stamps(container_findings(film_of(huge))) == []


def test_sentences_name_ordinary_causes_and_blame_nobody(film, ffmpeg, tmp_path):
    parts = [film("h264.mp4", 5.21, bright=bright) for bright in (False, True)]
    path = joined(ffmpeg, parts, tmp_path / "j.mp4")
    short = cut(ffmpeg, parts[0], tmp_path / "c.mp4", start=1.3)
    late = tmp_path / "late.mp4"
    ffmpeg("-i", parts[0], "-ss", 1.3, "-c", "copy", late)
    for finding in itertools.chain.from_iterable(heard(p)[1] for p in (path, short, late)):
        words = finding.says.lower()
        for banned in ("edit", "forg", "cheat", "manipul", "fake", "student", "%"):
            assert banned not in words
        assert words.endswith(".")


@pytest.mark.parametrize("squeezed", [1, 20, 38, 59])
def test_a_joint_among_pictures_out_of_order(squeezed):
    """Tables as a copying program writes them when the second part brings a hidden beginning."""
    before, scale, step = 140, 15360, 512
    after = squeezed + 90
    durations = [step] * (before - 1) + [1] * squeezed + [step - squeezed] + [step] * (after - 2)
    group = [1024, 2048, 512, 512]  # a picture, and those that are stored after it, shown before
    offsets = [group[n % 4] for n in range(before)] + [group[n % 4] for n in range(after)]
    keys = (0, 60, 120, before, before + 60)
    video = replaced(
        steady("video", scale, step, len(offsets)),
        durations=in_runs([*durations, step][: len(offsets)]),
        offsets=in_runs(offsets),
        key_frames=keys,
        edits=(Edit(Fraction(len(offsets), 30), 1024),),
    )
    sounds = [1024] * 218 + [1] * (squeezed + 6) + [788] + [1024] * 140
    audio = replaced(
        steady("audio", 48000, 1024, len(sounds)),
        durations=in_runs(sounds),
        edits=(Edit(Fraction(8), 0),),
    )
    found = time_stamps(container_findings(film_of(video, audio)))
    assert len(found) == 1
    assert found[0].start_s == pytest.approx((before - 1) / 30, abs=4.5 / 30)
