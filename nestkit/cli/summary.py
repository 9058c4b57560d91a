"""What ``plan`` says last: cautions, and the same as data for scripts."""

from __future__ import annotations

import json
from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from nestkit.build.model import Build
    from nestkit.checking import Verdict
    from nestkit.nesting.model import Unplaced
    from nestkit.stock.materials import Caution


def show_cautions(build: Build, folder: Path) -> None:
    """What to mind with the material and the cutter in use; the rest stands in the report."""
    from rich.text import Text

    from nestkit.cli.tables import doubtful, say
    from nestkit.stock.materials import cutting_cautions

    cautions = cutting_cautions(build)
    for caution in cautions:
        say(doubtful("caution: "), f"{caution.text} ", Text(f"({caution.source})", "dim"))
    more = "More cautions stand" if cautions else "Cautions stand"
    say(f"{more} in {folder / 'report.html'}. Local rules and the makers' safety data sheets come first.")


def plan_summary(
    build: Build, folder: Path | None, unplaced: Sequence[Unplaced], verdict: Verdict | None
) -> dict[str, Any]:
    """The plan in numbers, as plan.json has them, with what was noticed and what the check said."""
    from nestkit.stock.materials import cautions_for

    plan = {} if folder is None else json.loads((folder / "plan.json").read_bytes())
    return {
        "folder": None if folder is None else str(folder),
        "build": build.name,
        "scale": build.scale,
        "groups": plan.get("groups", []),
        "sheets": [
            {key: sheet[key] for key in ("index", "material", "thickness_mm", "how", "job", "seconds")}
            | {"parts": len(sheet["parts"])}
            for sheet in plan.get("sheets", [])
        ],
        "cost": sum(group["cost"] for group in plan.get("groups", [])),
        "unplaced": [{"part": each.part.name, "copy": each.copy, "why": each.why} for each in unplaced],
        "findings": build_findings(build),
        "cautions": [_caution(caution) for caution in cautions_for(build)],
        "check": None if verdict is None else verdict_data(verdict),
    }


def verdict_data(verdict: Verdict) -> dict[str, Any]:
    """What the check said; each fault has a code that scripts may rely on."""
    return {
        "ok": verdict.ok,
        "copies": verdict.copies,
        "files": verdict.files,
        "faults": [
            {
                "code": fault.code,
                "file": fault.file,
                "part": fault.part,
                "copy": fault.copy,
                "at_mm": fault.at,
                "text": str(fault),
            }
            for fault in verdict.faults
        ],
    }


def build_findings(build: Build) -> list[dict[str, str]]:
    """What was noticed about the build and its parts."""
    found = [{"part": "", "code": each.code, "text": str(each)} for each in build.findings]
    return found + [
        {"part": part.name, "code": each.code, "text": str(each)}
        for part in build.parts
        for each in part.findings
    ]


def _caution(caution: Caution) -> dict[str, str]:
    return {"text": caution.text, "source": caution.source}
