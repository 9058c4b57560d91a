"""The report in a real browser: lights up, plays the cut order, zooms, prints; asks nobody for anything."""

from __future__ import annotations

import base64
import json
import os
import shutil
from collections.abc import Iterator
from itertools import groupby
from pathlib import Path
from typing import Any

import ezdxf
import pypdfium2
import pytest

from nestkit.build.model import Part
from nestkit.nesting.model import Group, Plan
from nestkit.output import write_plan
from nestkit.output.dxf import APP_ID
from nestkit.planning import Effort, make_plan
from tests.folds_bench import build_with, fold, job_with, plate
from tests.output.sample_plan import build_of, disc, lantern, named

CASE = lantern()


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
    options.set_capability("goog:loggingPrefs", {"browser": "ALL", "performance": "ALL"})
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
    # A window that the system has not brought to the front yet would tell the page of no focus.
    chrome.execute_cdp_cmd("Emulation.setFocusEmulationEnabled", {"enabled": True})
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
  const uses = [...svg.querySelectorAll('.parts use')];
  const inside = [...svg.querySelectorAll('.names > g')].map((g, k) => {
    const part = uses[k].getBoundingClientRect(), text = g.getBoundingClientRect();
    return [part.left - text.left, text.right - part.right, part.top - text.top, text.bottom - part.bottom];
  });
  const bar = svg.closest('figure').querySelector('.under i').getBoundingClientRect().width;
  return {bar, box: [box.left, box.right, box.width, box.height], foam: [foam.width, foam.height],
          parts: uses.length, inside};
});
"""


@pytest.mark.parametrize(("width", "height"), [(1400, 900), (1400, 480), (390, 844)])
def test_a_browser_shows_every_sheet_to_scale(browser: Any, written: Path, width: int, height: int) -> None:
    metrics = {"width": width, "height": height, "deviceScaleFactor": 1, "mobile": width < 800}
    browser.execute_cdp_cmd("Emulation.setDeviceMetricsOverride", metrics)
    browser.get_log("performance")
    browser.get(written.as_uri())
    assert browser.get_log("browser") == []
    assert [url for url in requests(browser) if not url.startswith(("file:", "data:"))] == []
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
        assert len(shown["inside"]) == len(job.sheet.placed)
        # A text's box has the height of its font, which is more than that of its letters.
        assert all(over <= 3.0 for sides in shown["inside"] for over in sides)


def requests(browser: Any) -> list[str]:
    """Addresses that the page has asked for since the log was read last, the browser's own pages aside."""
    messages = [json.loads(entry["message"])["message"] for entry in browser.get_log("performance")]
    return [
        message["params"]["request"]["url"]
        for message in messages
        if message["method"] == "Network.requestWillBeSent"
        and not message["params"]["documentURL"].startswith("chrome")
    ]


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


def test_links_lead_there_once_all_is_laid_out(browser: Any, written: Path) -> None:
    """What is not in view is laid out late, and the page scrolls softly: neither may mislead a link."""
    from selenium.webdriver.support.wait import WebDriverWait

    open_wide(browser, written)
    waiting = (
        "return [...document.querySelectorAll('.sheet, .assembly')].filter(e => !e.style.contentVisibility)"
    )
    WebDriverWait(browser, 20).until(lambda _: browser.execute_script(waiting) == [])
    browser.execute_script("document.documentElement.style.scrollBehavior = 'auto'")
    for part in ("sheet-3", "guide", "assembly-2", "sheet-1", "jobs"):
        browser.execute_script(f"document.querySelector('a[href=\"#{part}\"]').click()")
        top = browser.execute_script(f"return document.getElementById('{part}').getBoundingClientRect().top")
        assert top == pytest.approx(62.0, abs=1.0)


def open_wide(browser: Any, page: Path) -> None:
    metrics = {"width": 1400, "height": 900, "deviceScaleFactor": 1, "mobile": False}
    browser.execute_cdp_cmd("Emulation.setDeviceMetricsOverride", metrics)
    browser.execute_cdp_cmd("Emulation.setEmulatedMedia", {"features": []})
    browser.get_log("browser")
    browser.get(page.as_uri())


def lit(browser: Any) -> list[tuple[str, int]]:
    """What is lit up: a row's or a shape's place in its sheet."""
    return browser.execute_script(
        "const s = document.querySelector('#sheet-2');"
        "return [['row', '.copies button'], ['part', '.parts use']].flatMap(([kind, which]) =>"
        "[...s.querySelectorAll(which)].flatMap((e, k) => e.classList.contains('lit') ? [[kind, k]] : []));"
    )


def test_parts_and_rows_light_each_other_up(browser: Any, written: Path) -> None:
    from selenium.webdriver import ActionChains, Keys

    open_wide(browser, written)
    rows = browser.find_elements("css selector", "#sheet-2 .copies button")
    shapes = browser.find_elements("css selector", "#sheet-2 .parts use")
    browser.execute_script("document.querySelector('#sheet-2').scrollIntoView({behavior: 'instant'})")
    ActionChains(browser).move_to_element(rows[4]).perform()
    assert lit(browser) == [["row", 4], ["part", 4]]
    # A bracket is small and has its middle in a hole's neighbourhood: its lower left corner is foam.
    number = next(k for k, row in enumerate(rows) if "floor" in row.text)
    ActionChains(browser).move_to_element_with_offset(shapes[number], 40, 0).perform()
    assert lit(browser) == [["row", number], ["part", number]]
    readout = browser.find_element("css selector", "#sheet-2 .readout")
    assert "floor 1" in readout.text
    away = browser.find_element("css selector", "#sheet-2 h3")
    ActionChains(browser).click().move_to_element(away).perform()
    assert lit(browser) == [["row", number], ["part", number]]  # a tap holds it
    assert rows[number].get_attribute("aria-pressed") == "true"
    ActionChains(browser).click(rows[number]).move_to_element(away).perform()
    rows[0].send_keys(Keys.TAB)
    assert lit(browser) == [["row", 1], ["part", 1]]
    assert browser.get_log("browser") == []


def test_the_slider_runs_in_the_order_of_the_cutter_file(browser: Any, written: Path) -> None:
    open_wide(browser, written)
    for job in CASE.jobs:
        entities = ezdxf.readfile(written.parent / f"jobs/{job.name}.dxf").modelspace()
        strokes = [
            (entity.dxf.layer, *(tag.value for tag in entity.get_xdata(APP_ID)))
            for entity in entities
            if entity.has_xdata(APP_ID)
        ]
        wanted = [f"{layer}, {part} {copy}" for (layer, part, copy), _ in groupby(strokes)]
        told = browser.execute_script(
            "const s = document.querySelector(arguments[0]), range = s.querySelector('input[type=range]');"
            "const found = [];"
            "for (let k = 0; k <= Number(range.max); k++) {"
            " range.value = k; range.dispatchEvent(new Event('input'));"
            " found.push([s.querySelector('.step').textContent, s.querySelectorAll('.wait').length]);"
            "} return found;",
            f"#sheet-{job.sheet.index}",
        )
        words = [text.split(" \u00b7 ") for text, _ in told]
        assert [each[2] for each in words] == ["nothing is cut yet", *wanted]
        assert [each[0] for each in words] == [f"Step {k} of {len(wanted)}" for k in range(len(wanted) + 1)]
        # Parts come free one after another, and none waits at the end.
        waiting = [count for _, count in told]
        assert waiting[0] == len(job.sheet.placed)
        assert waiting == sorted(waiting, reverse=True)
        assert waiting[-1] == 0
        if job.sheet.how != "hand":
            minutes, seconds = divmod(round(job.seconds), 60)
            assert words[-1][1] == "{0} of {0}".format(f"{minutes}:{seconds:02d}")
    assert browser.get_log("browser") == []


def test_play_comes_to_the_end(browser: Any, written: Path) -> None:
    from selenium.webdriver.support.wait import WebDriverWait

    open_wide(browser, written)
    calm = {"features": [{"name": "prefers-reduced-motion", "value": "reduce"}]}
    browser.execute_cdp_cmd("Emulation.setEmulatedMedia", calm)
    button = browser.find_element("css selector", "#sheet-3 .play")
    browser.execute_script("arguments[0].scrollIntoView({block: 'center'}); arguments[0].click()", button)
    WebDriverWait(browser, 20).until(
        lambda _: browser.execute_script("return document.querySelectorAll('#sheet-3 .wait').length > 0")
    )
    assert button.text == "Pause"
    WebDriverWait(browser, 60).until(lambda _: button.text == "Play")
    step = browser.find_element("css selector", "#sheet-3 .step").text
    assert step.startswith("Step 5 of 5 ")
    assert browser.get_log("browser") == []


def test_search_keeps_what_fits(browser: Any, written: Path) -> None:
    open_wide(browser, written)
    browser.find_element("id", "find").send_keys("BRACKET 3")
    shown = [
        row.text for row in browser.find_elements("css selector", ".copies button") if row.is_displayed()
    ]
    assert len(shown) == 1
    assert "corner bracket 3" in shown[0]
    assert browser.find_element("id", "found").text == "1 on sheet 2"
    assert len(browser.find_elements("css selector", ".parts use.dim")) == 26


def test_layers_and_names_can_be_hidden(browser: Any, written: Path) -> None:
    open_wide(browser, written)
    boxes = browser.find_elements("css selector", "#sheet-2 [data-toggle]")
    layers = [
        layer.get_attribute("data-layer")
        for layer in browser.find_elements("css selector", "#sheet-2 [data-layer]")
    ]
    assert [box.get_attribute("data-toggle") for box in boxes] == ["names", *layers]
    for box in boxes:
        browser.execute_script("arguments[0].click()", box)
    visible = (
        "return [...document.querySelectorAll('#sheet-2 .names, #sheet-2 [data-layer]')]"
        ".filter(e => getComputedStyle(e).display !== 'none').length"
    )
    assert browser.execute_script(visible) == 0
    browser.execute_script("arguments[0].click()", boxes[0])
    assert browser.execute_script(visible) == 1


def test_the_passes_of_grooves_are_one_group(browser: Any, tmp_path: Path) -> None:
    build = build_with(plate(200.0, 60.0, fold(90, (100, 0), (100, 60))), 6.0)
    job = job_with(build)
    group = Group("eva", 6.0, 1, 1, 1, True, 1.0 - job.sheet.fill, 0.0, (("eva", 1),))
    write_plan(build, Plan("b", 1.0, 1, (group,), (job.sheet,), ()), (job,), tmp_path / "out")
    open_wide(browser, tmp_path / "out" / "report.html")
    state = """
        const every = document.querySelector('[data-toggle-all]');
        const boxes = [...every.closest('.passes').querySelectorAll('[data-toggle]')];
        if (arguments[0] === 'all') every.click();
        if (arguments[0] === 'one') boxes[0].click();
        const sheet = every.closest('.sheet');
        const layer = box => sheet.querySelector(`path[data-layer="${box.dataset.toggle}"]`);
        const passes = boxes.every(box => box.dataset.toggle.startsWith('POCKET_'));
        return [every.checked, every.indeterminate, passes,
                boxes.length, boxes.filter(box => getComputedStyle(layer(box)).display !== 'none').length,
                boxes.filter(box => box.checkVisibility()).length];
    """
    on, mixed, passes, count, shown, seen = browser.execute_script(state, "")
    assert (on, mixed, passes, shown, seen) == (True, False, True, count, 0)
    assert count > 1
    assert browser.execute_script(state, "all")[:5] == [False, False, True, count, 0]
    assert browser.execute_script(state, "one")[:5] == [True, True, True, count, 1]


def test_on_a_phone_no_section_is_cut_off(browser: Any, written: Path) -> None:
    size = {"width": 390, "height": 844, "deviceScaleFactor": 1, "mobile": True}
    browser.execute_cdp_cmd("Emulation.setDeviceMetricsOverride", size)
    try:
        browser.get(written.as_uri())
        ends = browser.execute_script(
            "return [...document.querySelectorAll('.bar li a')].map(a => a.getBoundingClientRect().right)"
        )
    finally:
        browser.execute_cdp_cmd("Emulation.clearDeviceMetricsOverride", {})
    assert len(ends) >= 6
    assert max(ends) <= 390


def test_zoom_keeps_the_scale_bar_true(browser: Any, written: Path) -> None:
    open_wide(browser, written)
    from selenium.webdriver import Keys

    stage = browser.find_element("css selector", "#sheet-1 .stage")
    for keys in ("+", "+", "+", Keys.ARROW_RIGHT, Keys.ARROW_UP):
        stage.send_keys(keys)
    box = browser.find_element("css selector", "#sheet-1 svg.sheet-picture").get_dom_attribute("viewBox")
    x, _, width, _ = map(float, box.split())
    assert width == pytest.approx(900 / 1.6**3, rel=1e-6)
    assert x > (900 - width) / 2
    share = browser.execute_script(
        "const b = document.querySelector('#sheet-1 .under i').getBoundingClientRect();"
        "return b.width / document.querySelector('#sheet-1 .sheet-picture').getBoundingClientRect().width"
    )
    length = float(browser.find_element("css selector", "#sheet-1 .under .scale").text.removesuffix(" mm"))
    assert share == pytest.approx(length / width, rel=0.03)
    stage.send_keys("0")
    assert (
        browser.find_element("css selector", "#sheet-1 svg.sheet-picture").get_dom_attribute("viewBox")
        == "0 0 900 600"
    )


def printed(browser: Any) -> bytes:
    """The page as a PDF; asked for once more where the browser gives up, which a busy machine causes."""
    from selenium.common.exceptions import WebDriverException

    paper = {"paperWidth": 8.27, "paperHeight": 11.69}
    try:
        sent = browser.execute_cdp_cmd("Page.printToPDF", paper)
    except WebDriverException as error:
        if "Printing failed" not in str(error):
            raise
        sent = browser.execute_cdp_cmd("Page.printToPDF", paper)
    return base64.b64decode(sent["data"])


def test_print_gives_every_sheet_a_page_of_its_own(browser: Any, written: Path) -> None:
    open_wide(browser, written)
    document = pypdfium2.PdfDocument(printed(browser))
    pages = [page.get_textpage().get_text_range() for page in document]
    found = [
        [number for number, text in enumerate(pages) if text.startswith(f"Sheet {job.sheet.index}: ")]
        for job in CASE.jobs
    ]
    assert all(len(numbers) == 1 for numbers in found)
    (first,) = found[0]
    assert [numbers[0] for numbers in found] == list(range(first, first + len(CASE.jobs)))
    for page, job in zip(pages[first:], CASE.jobs, strict=False):
        assert "Play" not in page
        text = "".join(page.split())
        assert all(f"{p.part.name}{p.copy}".replace(" ", "") in text for p in job.sheet.placed)


def test_print_keeps_a_material_and_its_thickness_on_one_line(browser: Any, written: Path) -> None:
    open_wide(browser, written)
    pages = [page.get_textpage().get_text_range() for page in pypdfium2.PdfDocument(printed(browser))]
    text = "".join(pages)
    lines = text[text.index("Number and part") :].splitlines()
    for part in CASE.build.parts:
        assert any(f" {part.material} {part.thickness:g} mm " in line for line in lines)
    assert not [line for line in lines if line.endswith(" eva") or line.startswith("mm")]


def test_print_keeps_the_sum_with_what_it_sums_up(browser: Any, written: Path) -> None:
    """The table stands there so often that pages end at every row of it."""
    open_wide(browser, written)
    browser.execute_script(
        "const table = document.querySelector('#get table');"
        "for (let k = 0; k < 80; k += 1) table.after(table.cloneNode(true));"
    )
    pages = [page.get_textpage().get_text_range() for page in pypdfium2.PdfDocument(printed(browser))]
    cut = [page for page in pages if "To pay 33.50" in page]
    assert len(cut) > 6
    for page in cut:
        lines = [line for line in page.splitlines() if not line.startswith("Sheet How")]
        assert not lines[0].startswith("To pay")


def test_a_sheet_of_many_copies_prints_on_one_page(browser: Any, tmp_path: Path) -> None:
    build = build_of([Part("limpet", disc(20), "eva", 4.0, copies=70)])
    planned = make_plan(build, Effort(rounds=1))
    assert len(planned.plan.sheets) == 1
    write_plan(build, planned.plan, planned.jobs, tmp_path / "out")
    open_wide(browser, tmp_path / "out" / "report.html")
    pages = [page.get_textpage().get_text_range() for page in pypdfium2.PdfDocument(printed(browser))]
    (page,) = [text for text in pages if text.startswith("Sheet 1: ")]
    listed = page.split()
    assert [listed.count(str(copy)) > 0 for copy in range(1, 71)] == [True] * 70
    assert listed.count("limpet") >= 70


@pytest.mark.parametrize(
    "name",
    [
        "<img src=x onerror=window.ran=1>",
        "</script><script>window.ran=1</script>",
        "</title></style><svg onload=window.ran=1>",
        "\"'><b onclick=window.ran=1>",
    ],
)
def test_a_name_with_html_in_it_is_text(browser: Any, tmp_path: Path, name: str) -> None:
    case = named(name, material=name)
    write_plan(case.build, case.plan, case.jobs, tmp_path / "out")
    browser.get_log("browser")
    open_wide(browser, tmp_path / "out" / "report.html")
    assert browser.execute_script("return window.ran") is None
    assert browser.find_element("tag name", "h1").text == name
    browser.execute_script(
        # Not focus(): a window that another one covers has none to give.
        "document.querySelector('.copies button').dispatchEvent(new FocusEvent('focus'));"
        "const range = document.querySelector('input[type=range]');"
        "range.value = 1; range.dispatchEvent(new Event('input'));"
    )
    assert name in browser.find_element("css selector", ".readout").text
    assert name in browser.find_element("css selector", ".step").text
    assert browser.execute_script("return window.ran") is None
    assert len(browser.find_elements("css selector", "main img, main b[onclick]")) == 0
    assert browser.get_log("browser") == []


def test_everything_that_can_be_used_has_a_name(browser: Any, written: Path) -> None:
    open_wide(browser, written)
    nameless = browser.execute_script(
        "const labels = e => [...(e.labels || [])].map(l => l.textContent).join('');"
        "const named = e => e.getAttribute('aria-label') || e.textContent.trim() || labels(e).trim();"
        "return [...document.querySelectorAll("
        "'button, input, a, summary, svg[role=img], [role=group]')]"
        ".filter(e => !named(e)).map(e => e.outerHTML.slice(0, 120))"
    )
    assert nameless == []
