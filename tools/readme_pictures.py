"""Takes the pictures of the README from the pages of the demo season.

Run after ``fairhearing demo``: ``python tools/readme_pictures.py demo-season``. Needs Playwright
and Debian's Chromium; writes to ``docs/pictures``.
"""

from __future__ import annotations

import shutil
import sys
from pathlib import Path

from playwright.sync_api import Page, sync_playwright

PICTURES = Path(__file__).resolve().parents[1] / "docs" / "pictures"
QUIET = [
    "--no-sandbox",
    "--disable-gpu",
    "--no-first-run",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
]


def section(page: Page, heading: str, name: str, *, tallest: int = 900) -> None:
    """Take a picture of the section with a heading."""
    box = page.locator(f"section[aria-labelledby={heading}]").bounding_box()
    assert box is not None
    clip = {"x": 0, "y": box["y"] - 8, "width": 1000, "height": min(box["height"] + 16, tallest)}
    page.screenshot(path=PICTURES / f"{name}.png", clip=clip, full_page=True)


def main(season: Path) -> None:
    """Take every picture."""
    with sync_playwright() as playwright:
        browser = playwright.chromium.launch(executable_path=shutil.which("chromium"), args=QUIET)
        page = browser.new_page(viewport={"width": 1000, "height": 800}, color_scheme="light")
        page.goto((season / "season.html").resolve().as_uri())
        section(page, "seats", "season-seats")
        section(page, "why", "season-why", tallest=560)
        take = season / "hearings" / "207-clarinet.mp4.html"
        page.goto(take.resolve().as_uri())
        page.wait_for_timeout(1500)
        page.screenshot(
            path=PICTURES / "take-glance.png", clip={"x": 0, "y": 0, "width": 1000, "height": 900}
        )
        section(page, "piece1", "take-pencil", tallest=640)
        page.goto((season / "scores.html").resolve().as_uri())
        page.screenshot(
            path=PICTURES / "scores.png",
            clip={"x": 0, "y": 0, "width": 1000, "height": 1100},
            full_page=True,
        )
        browser.close()


if __name__ == "__main__":
    main(Path(sys.argv[1]))
