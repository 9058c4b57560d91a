"""Whatever a maker calls things, no file breaks."""

from __future__ import annotations

import csv
import io
import json
from html.parser import HTMLParser
from xml.etree import ElementTree

import ezdxf
import pytest
from hypothesis import example, given, settings
from hypothesis import strategies as st

from nestkit.output import plan_files
from nestkit.output.dxf import APP_ID
from nestkit.output.text import plain
from tests.output.sample_plan import named

NASTY = [
    "<script>alert(1)</script>",
    '"><img src=x onerror=alert(1)>',
    "</style></title></svg>",
    "]]>&amp;&#0;<!--",
    "{{ 7 * 7 }}{% raw %}",
    "=cmd|' /C calc'!A0",
    "+1",
    "@SUM(A1)",
    'it\'s "quoted", twice; and\\more',
    "\\U+0041 %%c ^J \\P",
    "Sturmlaterne für das Hafenfest 灯台 \U0001f6a2",
    "\u202eback to front\u202c",
    "line\nbreak\r\ttab \x00\x1b\x7f\x85\u2028\ufffe",
    "x" * 200,
    "ü" * 200,
    " lead and trail ",
    "999",
    "0\nEOF",
]


class Page(HTMLParser):
    """Counts what a browser would make of the report."""

    def __init__(self) -> None:
        super().__init__()
        self.tags: list[str] = []
        self.handlers = 0
        self.heading = ""
        self._inside = ""

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.tags.append(tag)
        self.handlers += sum(name.startswith("on") for name, _ in attrs)
        self._inside = tag

    def handle_data(self, data: str) -> None:
        if self._inside == "h1":
            self.heading += data

    def handle_endtag(self, tag: str) -> None:
        self._inside = ""


def page_of(data: bytes) -> Page:
    page = Page()
    page.feed(data.decode("utf-8"))
    page.close()
    return page


USUAL_TAGS = set(page_of(plan_files(*vars(named("ball")).values())["report.html"]).tags)


def with_examples(test):
    for name in NASTY:
        test = example(name)(test)
    return test


@with_examples
@settings(max_examples=25, deadline=None)
@given(st.text(min_size=1, max_size=200))
def test_no_name_breaks_a_file(name: str) -> None:
    case = named(name, material=name)
    files = plan_files(case.build, case.plan, case.jobs)
    shown = plain(name)

    assert json.loads(files["plan.json"])["sheets"][0]["parts"][0]["part"] == name

    drawing = ezdxf.read(io.StringIO(files["jobs/job-01.dxf"].decode("utf-8")))
    assert not drawing.audit().errors
    written = [
        entity.get_xdata(APP_ID)[0].value for entity in drawing.modelspace() if entity.has_xdata(APP_ID)
    ]
    assert written == [shown] * len(case.jobs[0].strokes)

    root = ElementTree.fromstring(files["jobs/job-01.svg"])
    owners = [path.get("data-part") for path in root.iter() if path.get("data-part") is not None]
    assert owners == [shown] * len(case.jobs[0].strokes)

    for table in ("shopping.csv", "cutting.csv", "gluing.csv"):
        rows = list(csv.reader(io.StringIO(files[table].decode("utf-8-sig"), newline="")))
        assert len(rows) == (2 if table == "gluing.csv" else 3)
        assert len({len(row) for row in rows}) == 1
        assert not any(cell.lstrip().startswith(("=", "+", "-", "@")) for row in rows for cell in row)

    page = page_of(files["report.html"])
    assert set(page.tags) <= USUAL_TAGS
    assert page.tags.count("script") == 2
    assert page.tags.count("style") == 1
    assert page.handlers == 0
    assert page.heading == shown


@pytest.mark.parametrize("text", ["a\x00b", "a\nb", "a\ud800b", "a\ufffeb"])
def test_plain_leaves_spaces(text: str) -> None:
    assert plain(text) == "a b"
