"""The report names every file beside it, and says what each is for."""

import re
from dataclasses import replace

import pytest

from nestkit.output.report_files import written_files
from nestkit.output.write import plan_files
from tests.output.sample_plan import lantern

CASE = lantern()


def _page(templates: str) -> tuple[str, set[str]]:
    build = replace(CASE.build, templates=replace(CASE.build.templates, which=templates))
    files = plan_files(build, CASE.plan, CASE.jobs)
    return files["report.html"].decode("utf-8"), set(files)


@pytest.mark.parametrize("templates", ["all", "none"])
def test_every_file_beside_the_report_is_linked(templates: str) -> None:
    page, names = _page(templates)
    section = page.partition('<section id="files">')[2].partition("</section>")[0]
    linked = set(re.findall(r'href="([^"]+)"', section))
    jobs = {name for name in names if name.startswith("jobs/")}
    assert linked == names - jobs - {"report.html"}
    assert ("templates.pdf" in linked) == (templates == "all")


def test_templates_are_told_with_pages_and_how_to_print() -> None:
    page, _ = _page("all")
    found = re.search(r"true-size templates for all parts, (\d+) pages? of A4; print at 100 %", page)
    assert found
    assert int(found[1]) >= 1


def test_a_file_that_nothing_is_known_of_is_an_error() -> None:
    with pytest.raises(ValueError, match=r"can't say what strange\.csv is for"):
        written_files(CASE.build, ["strange.csv"], None)
