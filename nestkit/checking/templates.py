"""The paper templates, judged from outside: there, whole, as many pages and parts as the plan says.

What is drawn on them is not looked at: that takes a PDF reader, and the tests have one.
"""

from __future__ import annotations

import re
from collections.abc import Iterator
from pathlib import Path

from nestkit.checking.limits import LARGEST_FILE
from nestkit.checking.plan_entries import PlanFile
from nestkit.checking.verdict import Fault

TEMPLATES_NAME = "templates.pdf"
_PAGE = re.compile(rb"/Type\s*/Page(?![A-Za-z])")


def judge_templates(folder: Path, plan: PlanFile) -> Iterator[Fault]:
    """Judge templates.pdf against the plan."""
    file = folder / TEMPLATES_NAME
    if plan.templates is None:
        if file.is_file():
            text = "the plan has no templates, so this file may be from an earlier plan"
            yield Fault("templates", TEMPLATES_NAME, text=text, todo="Move it out of the folder")
        return
    if not file.is_file():
        yield Fault("missing-file", TEMPLATES_NAME, text="this file is not there")
        return
    try:
        data = file.read_bytes() if file.stat().st_size <= LARGEST_FILE else b""
    except OSError as error:
        yield Fault("unreadable", TEMPLATES_NAME, text=f"this file can't be read ({error.strerror})")
        return
    if not data.startswith(b"%PDF-") or b"%%EOF" not in data[-64:]:
        yield Fault("unreadable", TEMPLATES_NAME, text="this file is no whole PDF")
        return
    pages = len(_PAGE.findall(data))
    if pages != plan.templates.pages:
        text = f"it has {pages} pages, and the plan says {plan.templates.pages}"
        yield Fault("templates", TEMPLATES_NAME, text=text)
    if plan.templates.which == "all":
        wanted = set(plan.parts)
    else:
        wanted = {one.part for sheet in plan.sheets if sheet.how == "hand" for one in sheet.placed}
    for name in sorted(wanted.difference(plan.templates.parts)):
        yield Fault("templates", TEMPLATES_NAME, name, text="this part has no template")
