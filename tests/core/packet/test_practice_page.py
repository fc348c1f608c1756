"""The practice page in a real browser: softly, offline, with a cursor that keeps time."""

from __future__ import annotations

import json
import re
import shutil
from collections.abc import Iterator
from itertools import pairwise
from pathlib import Path
from typing import Any

import pytest

from fairhearing.core.packet.instruments import load
from fairhearing.core.packet.parts import part_for
from fairhearing.core.packet.practice_page import PageTrack, practice_page
from fairhearing.core.packet.tracks import finished, practice_track, rendered_music
from fairhearing.core.packet.wording import Wording

CHROMIUM = shutil.which("chromium") or shutil.which("chromium-browser")


def page_for(etude: Path, folder: Path, language: str = "en", title: str = "Etude") -> Path:
    part = part_for(etude, load()["trumpet"], "intermediate")
    tracks = []
    for bpm in (120, 150):
        music = rendered_music(part.score, part.instrument, bpm, section="etude")
        track = practice_track(music, bpm, section="etude", clicks=False, count_in_bars=0)
        tracks.append(PageTrack(bpm, finished(track.sound, "mp3", {}), track.timeline))
    path = folder / f"practice-{language}.html"
    text = practice_page(part, tracks, Wording(language), title=title, over="Invented")
    path.write_text(text, encoding="utf-8")
    return path


def test_the_page_holds_everything_and_fetches_nothing(etude: Path, tmp_path: Path) -> None:
    text = page_for(etude, tmp_path, title="</script><b>Etude</b>").read_text(encoding="utf-8")
    assert not re.search(r"""(?:src|href)\s*=\s*["']?(?:https?:)?//""", text)
    assert "url(http" not in text
    assert "<b>Etude</b>" not in text
    piece = json.loads(re.search(r'id="piece">(.*?)</script>', text, re.S)[1])  # type: ignore[index]
    slow = piece["tracks"][0]
    assert [track["bpm"] for track in piece["tracks"]] == [120, 150]
    assert len(slow["bars"]) == 8
    assert len(slow["clicks"]) == 32
    ids = {note[1] for note in slow["notes"]}
    assert all(f'id="{name}"' in text for name in ids)
    volume = re.search(r'id="volume"[^>]*value="(\d+)"', text)
    assert volume is not None
    assert int(volume[1]) <= 40
    assert Wording("en")("careful") in text


@pytest.fixture(scope="module")
def browser() -> Iterator[Any]:
    api = pytest.importorskip("playwright.sync_api", reason="playwright drives the browser")
    if CHROMIUM is None:
        pytest.skip("chromium (apt) is not installed")
    quiet = ["--no-sandbox", "--disable-gpu", "--no-first-run", "--disable-background-networking",
             "--disable-component-update", "--disable-sync",
             "--autoplay-policy=no-user-gesture-required"]  # fmt: skip
    with api.sync_playwright() as play:
        chromium = play.chromium.launch(executable_path=CHROMIUM, args=quiet)
        yield chromium
        chromium.close()


# Listens to what the page sends to the speakers, and notes on the audio clock when a click starts.
LISTEN = """async () => {
  const code = `registerProcessor('ear', class extends AudioWorkletProcessor {
    process(inputs) { const x = inputs[0][0]; if (x) for (let n = 0; n < x.length; n++) {
      if (Math.abs(x[n]) > 0.004 && currentFrame + n - (this.last || -1e9) > sampleRate / 10) {
        this.port.postMessage((currentFrame + n) / sampleRate); }
      if (Math.abs(x[n]) > 0.004) this.last = currentFrame + n; } return true; } })`;
  await practice.context.audioWorklet.addModule(
    URL.createObjectURL(new Blob([code], { type: 'text/javascript' })));
  const ear = new AudioWorkletNode(practice.context, 'ear');
  window.heard = []; window.seen = [];
  ear.port.onmessage = (e) => heard.push(e.data);
  practice.volume.connect(ear); ear.connect(practice.context.destination);
  document.addEventListener('note', (e) => seen.push(
    [practice.context.currentTime - (practice.context.outputLatency || 0), e.detail[0]]));
}"""


@pytest.mark.long
def test_the_cursor_keeps_time_with_what_is_heard(
    browser: Any,
    write_score,  # type: ignore[no-untyped-def]
    tmp_path: Path,
) -> None:
    etude = write_score("q.musicxml", *["F4:4 G4:4 A4:4 Bb4:4"] * 4, tempo=120)
    page = browser.new_page()
    text = page_for(etude, tmp_path).read_text(encoding="utf-8")
    # The listener needs an address; the page itself works from a file (see the next test).
    page.route(
        "http://localhost/**", lambda route: route.fulfill(body=text, content_type="text/html")
    )
    page.goto("http://localhost/practice.html")
    page.evaluate(LISTEN)
    page.click("#play")
    page.wait_for_timeout(9000)
    heard, seen = page.evaluate("heard"), page.evaluate("seen")
    page.close()
    assert len(seen) >= 10
    begin = heard[0] + 4 * 0.5  # the count-in's first click is heard before anything else
    lags = [(at - (begin + note - seen[0][1])) * 1000 for at, note in seen[1:]]
    lags.sort()
    assert lags[len(lags) // 2] <= 35, lags
    assert lags[0] >= -20, lags


@pytest.mark.long
def test_tempo_loop_pause_and_volume(browser: Any, etude: Path, tmp_path: Path) -> None:
    requests: list[str] = []
    page = browser.new_page(viewport={"width": 320, "height": 700})
    page.on("request", lambda request: requests.append(request.url))
    errors: list[str] = []
    page.on("pageerror", lambda error: errors.append(str(error)))
    page.goto(page_for(etude, tmp_path, "es").as_uri())
    assert page.evaluate("document.documentElement.scrollWidth") <= 320
    assert page.evaluate("document.documentElement.lang") == "es"
    assert page.evaluate("practice.volume.gain.value") < 0.2
    page.check("input[name=tempo][value='1']")
    page.select_option("#from", index=1)
    page.select_option("#to", index=1)
    page.check("#loop")
    page.click("#play")
    page.wait_for_function("practice.running() && practice.position() > 2.2", timeout=20_000)
    bar = 4 * 60 / 150
    start, end = 0.5 + bar, 0.5 + 2 * bar
    places = []
    for _ in range(30):
        places.append(page.evaluate("practice.position()"))
        page.wait_for_timeout(100)
    assert all(start - 0.05 <= place <= end + 0.05 for place in places), places
    assert any(b < a for a, b in pairwise(places))  # it went round
    page.click("#play")
    assert not page.evaluate("practice.running()")
    assert page.get_attribute("#play", "aria-pressed") == "false"
    assert errors == []
    assert [url for url in requests if not url.startswith(("file:", "data:", "blob:"))] == []
    page.close()
