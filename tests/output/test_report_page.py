"""The report: what it says, and what a browser makes of it."""

from __future__ import annotations

import os
import re
import shutil
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest

from nestkit.output import write_plan
from nestkit.output.report import report_bytes, report_of, show_time
from tests.output.sample_plan import lantern

CASE = lantern()


@pytest.fixture(scope="module")
def page() -> str:
    return report_bytes(CASE.build, CASE.plan, CASE.jobs).decode("utf-8")


def test_front_says_what_to_buy_and_what_is_left_out(page: str) -> None:
    report = report_of(CASE.build, CASE.plan, CASE.jobs)
    assert (report.sheets_used, report.cost) == ("3 sheets", "33.50")
    assert (report.placed, report.asked) == (27, 28)
    assert report.left_out == (("pennant 1", CASE.plan.unplaced[0].why),)
    front = page[: page.index('id="sheets"')]
    for text in ("eva 10 mm 1500 x 1000", "33.50", "pennant 1", "the outline had a gap of 0.3 mm"):
        assert text in front


def test_fewer_sheets_are_ruled_out_only_when_that_is_proven() -> None:
    report = report_of(CASE.build, CASE.plan, CASE.jobs)
    assert [group.verdict for group in report.groups] == [
        "at least 1 is certainly needed",
        "no plan can do with fewer",
        "no plan can do with fewer",
    ]
    assert report.verdict == "at least 3 are certainly needed"
    proven = replace(CASE.plan, groups=tuple(replace(group, proven=True) for group in CASE.plan.groups))
    assert report_of(CASE.build, proven, CASE.jobs).verdict == "no plan can do with fewer"


def test_assemblies_are_ready_after_their_last_sheet() -> None:
    rows = {row.name: row.ready for row in report_of(CASE.build, CASE.plan, CASE.jobs).assemblies}
    assert rows == {
        "base": "after sheet 3",
        "lamp house": "after sheet 2",
        "roof": "after sheet 1",
        "no assembly": "not complete: 1 copy left out",
    }


def test_blanks_are_told_with_their_place() -> None:
    (stock,) = report_of(CASE.build, CASE.plan, CASE.jobs).stock_sheets
    assert stock.title == "eva 10 mm 1500 x 1000, bought sheet number 1"
    assert stock.steps[1] == "Sheet 4: 1400 x 300 mm, 0 mm from the left and 600 mm from the bottom"


def test_lengths_are_in_the_builds_unit() -> None:
    page = report_bytes(replace(CASE.build, unit="in"), CASE.plan, CASE.jobs).decode("utf-8")
    visible = re.sub(r"<svg.*?</svg>|<style>.*?</style>", "", page, flags=re.S)
    assert "10.236 x 7.087 in" in visible
    # Millimetres stand only in what the maker, the plan or a drawing called something.
    for named in (*(sheet.name for sheet in CASE.build.sheets), CASE.plan.unplaced[0].why, "0.3 mm"):
        visible = visible.replace(named, "")
    assert not re.search(r"\d mm", visible)


def test_nothing_comes_from_elsewhere(page: str) -> None:
    assert not re.search(r"https?://|//[a-z]|@import|url\(|<script|src=", page)
    assert set(re.findall(r'href="([^"#]+)"', page)) == {
        "data:,",
        *(f"jobs/{job.name}.dxf" for job in CASE.jobs),
    }


def test_a_plan_without_sheets_can_be_read() -> None:
    empty = replace(CASE.plan, groups=(), sheets=())
    page = report_bytes(CASE.build, empty, ()).decode("utf-8")
    assert "0 sheets" in page
    assert "no plan can do with fewer" not in page


@pytest.mark.parametrize(
    ("seconds", "shown"),
    [
        (0, "0 s"),
        (59.4, "59 s"),
        (59.6, "1 min"),
        (3569, "59 min"),
        (3599, "1 h 00 min"),
        (3900, "1 h 05 min"),
    ],
)
def test_times(seconds: float, shown: str) -> None:
    assert show_time(seconds) == shown


def find_browser() -> tuple[str, str]:
    """Paths of a Chromium and its driver; skips when there is none, unless the project's CI runs."""
    browser = shutil.which("chromium") or shutil.which("chromium-browser") or shutil.which("google-chrome")
    driver = shutil.which("chromedriver")
    if browser and driver:
        return browser, driver
    reason = "no chromium with chromedriver on this machine"
    if os.environ.get("NESTKIT_CI") == "1":
        pytest.fail(reason)
    pytest.skip(reason)


@pytest.fixture(scope="module")
def browser(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Any]:
    binary, driver = find_browser()
    from selenium import webdriver

    options = webdriver.ChromeOptions()
    options.binary_location = binary
    options.set_capability("goog:loggingPrefs", {"browser": "ALL"})
    for flag in (
        "headless=new",
        "no-sandbox",
        "disable-gpu",
        "no-first-run",
        "disable-background-networking",
        "disable-component-update",
        "disable-sync",
        "disable-dev-shm-usage",
        f"user-data-dir={tmp_path_factory.mktemp('browser')}",
    ):
        options.add_argument(f"--{flag}")
    chrome = webdriver.Chrome(options=options, service=webdriver.ChromeService(driver))
    chrome.set_page_load_timeout(60)
    yield chrome
    chrome.quit()


@pytest.fixture(scope="module")
def written(tmp_path_factory: pytest.TempPathFactory) -> Path:
    out = tmp_path_factory.mktemp("report") / "out"
    write_plan(CASE.build, CASE.plan, CASE.jobs, out)
    return out / "report.html"


MEASURE = """
return [...document.querySelectorAll('svg.sheet-picture')].map(svg => {
  const box = svg.getBoundingClientRect();
  const foam = svg.querySelector('.foam').getBoundingClientRect();
  const inside = [...svg.querySelectorAll('g')].filter(g => g.querySelector(':scope > .part')).map(g => {
    const part = g.querySelector('.part').getBBox();
    const text = [...g.querySelectorAll('text')].map(t => t.getComputedTextLength());
    return [Math.max(part.width, part.height), Math.max(0, ...text)];
  });
  const bar = svg.closest('figure').querySelector('.under i').getBoundingClientRect().width;
  return {bar, box: [box.left, box.right, box.width, box.height], foam: [foam.width, foam.height],
          parts: svg.querySelectorAll('.part').length, inside};
});
"""


@pytest.mark.parametrize(("width", "height"), [(1400, 900), (1400, 480), (390, 844)])
def test_a_browser_shows_every_sheet_to_scale(browser: Any, written: Path, width: int, height: int) -> None:
    metrics = {"width": width, "height": height, "deviceScaleFactor": 1, "mobile": width < 800}
    browser.execute_cdp_cmd("Emulation.setDeviceMetricsOverride", metrics)
    browser.get(written.as_uri())
    assert browser.get_log("browser") == []
    assert browser.title == "Storm lantern: cutting plan"
    # Nothing sticks out to the side.
    assert browser.execute_script("return document.documentElement.scrollWidth") <= width
    sheets = browser.execute_script(MEASURE)
    assert len(sheets) == len(CASE.jobs)
    for shown, job in zip(sheets, CASE.jobs, strict=True):
        w, h = job.sheet.outline.size
        left, right, box_width, box_height = shown["box"]
        assert 0 <= left < right <= width
        assert box_width > 300
        assert box_width / box_height == pytest.approx(w / h, rel=0.01)
        assert shown["foam"][0] / shown["foam"][1] == pytest.approx(w / h, rel=0.02)
        assert shown["bar"] / box_width == pytest.approx(100.0 / w, rel=0.03)
        assert shown["parts"] == len(job.sheet.placed)
        for longest, text in shown["inside"]:
            assert text <= longest


CONTRAST = """
const rgb = c => (c.match(/[\\d.]+/g) || []).map(Number);
const lum = c => { const [r, g, b] = c.slice(0, 3).map(v => { v /= 255;
  return v <= 0.03928 ? v / 12.92 : ((v + 0.055) / 1.055) ** 2.4; });
  return 0.2126 * r + 0.7152 * g + 0.0722 * b; };
const out = [];
const walk = document.createTreeWalker(document.body, NodeFilter.SHOW_TEXT);
while (walk.nextNode()) {
  const node = walk.currentNode, el = node.parentElement;
  if (!node.textContent.trim() || el.closest('svg')) continue;
  let back = [255, 255, 255];
  for (let e = el; e; e = e.parentElement) {
    const c = rgb(getComputedStyle(e).backgroundColor);
    if (c.length < 4 || c[3] > 0) { back = c; break; }
  }
  const [a, b] = [lum(rgb(getComputedStyle(el).color)), lum(back)].sort((x, y) => y - x);
  out.push([(a + 0.05) / (b + 0.05), node.textContent.trim().slice(0, 40)]);
}
return out;
"""


def test_all_text_has_contrast(browser: Any, written: Path) -> None:
    browser.get(written.as_uri())
    found = browser.execute_script(CONTRAST)
    assert len(found) > 100
    assert [each for each in found if each[0] < 4.5] == []


def test_links_lead_somewhere(browser: Any, written: Path) -> None:
    browser.get(written.as_uri())
    missing = browser.execute_script(
        "return [...document.querySelectorAll('a[href^=\"#\"]')].map(a => a.getAttribute('href'))"
        ".filter(h => !document.getElementById(h.slice(1)))"
    )
    assert missing == []
    assert all((written.parent / f"jobs/{job.name}.dxf").is_file() for job in CASE.jobs)
