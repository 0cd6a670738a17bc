"""Photograph every page of a folder: light, dark, phone, and as it prints on A4 and Letter.

python tests/reports/screenshots.py PAGES OUT [WORD]    pages whose name holds the word
"""

import sys
from pathlib import Path

from playwright.sync_api import sync_playwright

SCREENS = {
    "light": {"viewport": {"width": 1000, "height": 900}, "color_scheme": "light"},
    "dark": {"viewport": {"width": 1000, "height": 900}, "color_scheme": "dark"},
    "phone": {"viewport": {"width": 390, "height": 844}, "color_scheme": "light"},
}
SHEETS = {"a4": "A4", "letter": "Letter"}


def take(pages: Path, out: Path, word: str = "") -> None:
    """Photograph every page on every medium; sheets also as PNG where the typesetter is there."""
    out.mkdir(parents=True, exist_ok=True)
    with sync_playwright() as playwright:
        browser = playwright.chromium.launch(
            executable_path="/usr/bin/chromium", args=["--no-sandbox", "--disable-gpu"]
        )
        for page in sorted(pages.rglob("*.html")):
            name = "-".join(page.relative_to(pages).with_suffix("").parts)
            if word not in name:
                continue
            for medium, context in SCREENS.items():
                tab = browser.new_context(**context).new_page()
                tab.goto(page.resolve().as_uri())
                tab.wait_for_function(
                    "() => document.querySelectorAll('.chart').length"
                    " === document.querySelectorAll('.chart[data-drawn]').length"
                )
                tab.screenshot(path=out / f"{name}-{medium}.png", full_page=True)
                if medium == "light":
                    for sheet, size in SHEETS.items():
                        tab.pdf(path=out / f"{name}-{sheet}.pdf", format=size,
                                prefer_css_page_size=False, tagged=True)  # fmt: skip
                tab.context.close()
        browser.close()


if __name__ == "__main__":
    take(Path(sys.argv[1]), Path(sys.argv[2]), *sys.argv[3:4])
