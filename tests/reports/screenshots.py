"""Make a screenshot of every page of a folder: light, dark, phone and paper.

python tests/reports/screenshots.py PAGES OUT
"""

import sys
from pathlib import Path

from playwright.sync_api import sync_playwright

MEDIA = {
    "light": {"viewport": {"width": 1000, "height": 900}, "color_scheme": "light"},
    "dark": {"viewport": {"width": 1000, "height": 900}, "color_scheme": "dark"},
    "phone": {"viewport": {"width": 390, "height": 844}, "color_scheme": "light"},
    "paper": {"viewport": {"width": 760, "height": 1000}, "color_scheme": "light"},
}


def take(pages: Path, out: Path) -> None:
    """Photograph every page on every medium."""
    out.mkdir(parents=True, exist_ok=True)
    with sync_playwright() as playwright:
        browser = playwright.chromium.launch(
            executable_path="/usr/bin/chromium", args=["--no-sandbox", "--disable-gpu"]
        )
        for page in sorted(pages.glob("*.html")):
            for medium, context in MEDIA.items():
                tab = browser.new_context(**context).new_page()
                if medium == "paper":
                    tab.emulate_media(media="print")
                tab.goto(page.resolve().as_uri())
                tab.wait_for_timeout(1500)
                tab.screenshot(path=out / f"{page.stem}-{medium}.png", full_page=True)
                tab.context.close()
        browser.close()


if __name__ == "__main__":
    take(Path(sys.argv[1]), Path(sys.argv[2]))
