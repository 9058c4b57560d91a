"""The table of findings' codes against the source that makes findings, and the guide's page against both."""

from __future__ import annotations

import ast
import re
from pathlib import Path

from nestkit.checking import CODES
from nestkit.codes import FINDINGS, guide_page
from nestkit.guide import page

PACKAGE = Path(__file__).parent.parent / "nestkit"
#: What takes a finding's code as its first argument.
MAKERS = frozenset({"Finding", "_Note", "_note", "add"})
CODE = re.compile(r"[a-z0-9]+(-[a-z0-9]+)*")
#: Modules whose codes stand apart from the call; their codes are read from all their texts.
APART = ("drawings/assemble.py", "keeping.py", "preparing.py")


def listed() -> list[str]:
    return [code for codes in FINDINGS.values() for code in codes]


def made() -> dict[str, str]:
    """Codes that stand in calls that make findings, and where."""
    found = {}
    for file in sorted(PACKAGE.rglob("*.py")):
        if "checking" in file.parts:
            continue
        for call in ast.walk(ast.parse(file.read_text())):
            if not isinstance(call, ast.Call) or not call.args or not isinstance(call.args[0], ast.Constant):
                continue
            name, code = ast.unparse(call.func), call.args[0].value
            notes = name.rsplit(".", 1)[-1] != "add" or "notes" in name
            if name.rsplit(".", 1)[-1] in MAKERS and notes and isinstance(code, str) and CODE.fullmatch(code):
                found[code] = f"{file.name}:{call.lineno}"
    return found


def test_every_code_that_is_made_is_listed() -> None:
    found = made()
    assert not {code: where for code, where in found.items() if code not in listed()}
    assert len(found) > 40


def test_every_listed_code_is_made_somewhere() -> None:
    apart = "".join((PACKAGE / name).read_text() for name in APART).replace("{name}", "gap")
    apart += apart.replace("gap-below-kerf", "margin-below-kerf")
    found = made()
    assert [code for code in listed() if code not in found and f'"{code}"' not in apart] == []


def test_a_code_means_one_thing() -> None:
    codes = listed()
    assert len(codes) == len(set(codes))
    assert all(CODE.fullmatch(code) for code in (*codes, *CODES))


def test_the_guide_s_page_is_what_the_code_says() -> None:
    assert page("codes") == guide_page(), "run: python -m nestkit.codes"
