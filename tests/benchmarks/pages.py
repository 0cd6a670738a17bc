"""Time every page of the demo: written, weighed, and painted by Debian's Chromium.

Run with `python tests/benchmarks/pages.py RECORDS_FILE` on a fitted demo (`studcurve demo` leaves
one). Targets: all pages in 20 s after import, each under 2.5 MB, first paint under 1.5 s. Wall time
holds whatever else the machine does; processor time is printed beside it.
"""

import sys
import tempfile
import time
from pathlib import Path

from studcurve.pipelines.run import DEMO_TODAY, write_every_page

ALL_S, PAGE_MB, PAINT_MS = 20.0, 2.5, 1500.0
PAINTED = "performance.getEntriesByName('first-contentful-paint')[0]"


def first_paint_ms(browser, page):
    """First contentful paint of a page that no cache has seen."""
    tab = browser.new_context().new_page()
    tab.goto(page.as_uri())
    tab.wait_for_function(f"() => {PAINTED}")
    painted = tab.evaluate(f"{PAINTED}.startTime")
    tab.context.close()
    return painted


def main():
    records = Path(sys.argv[1])
    with tempfile.TemporaryDirectory() as folder:
        out = Path(folder)
        started, used = time.perf_counter(), time.process_time()
        write_every_page(records, out, today=DEMO_TODAY, say=lambda sentence: None)
        wall, processor = time.perf_counter() - started, time.process_time() - used
        pages = sorted(out.rglob("*.html"))
        print(f"{len(pages)} pages: {wall:.1f} s, of a processor {processor:.1f} s "
              f"(target {ALL_S:.0f} s)")  # fmt: skip
        from playwright.sync_api import sync_playwright

        with sync_playwright() as playwright:
            browser = playwright.chromium.launch(
                executable_path="/usr/bin/chromium", args=["--no-sandbox", "--disable-gpu"]
            )
            paints = {page: first_paint_ms(browser, page) for page in pages}
            browser.close()
        for page in pages:
            size = page.stat().st_size
            print(
                f"  {page.relative_to(out)}: {size / 1e6:.2f} MB (target {PAGE_MB}), "
                f"{paints[page]:.0f} ms"
            )
    heavy = [page.name for page in pages if paints[page] >= PAINT_MS]
    print(f"first paint at most {max(paints.values()):.0f} ms (target {PAINT_MS:.0f} ms)"
          + (f"; over it: {', '.join(heavy)}" if heavy else ""))  # fmt: skip


if __name__ == "__main__":
    main()
