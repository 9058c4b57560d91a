"""From drawn paths to shapes: cut lines become outlines, marks, folds and bevels go with them."""

from __future__ import annotations

from collections import Counter, defaultdict
from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
import shapely

from nestkit.drawings.join import JOIN, join_paths
from nestkit.drawings.join_doubled import drop_doubled
from nestkit.drawings.kinds import NO_RULES, LineRule, LineRules, fault_of, kind_of, meant_rule
from nestkit.drawings.loops import nest_loops
from nestkit.drawings.model import DrawnPath
from nestkit.errors import Finding
from nestkit.geometry import Line, LineKind, Path, Shape
from nestkit.units import Unit

#: So many findings of one sort are told one by one.
MOST_OF_A_SORT = 20


@dataclass(frozen=True, eq=False)
class Assembled:
    """Shapes found in drawn paths.

    Parameters
    ----------
    shapes : tuple of Shape
        In the drawing's order and coordinates.
    findings : tuple of Finding
        Without a file; of each sort `MOST_OF_A_SORT` at most, the last of which counts the rest.
    """

    shapes: tuple[Shape, ...]
    findings: tuple[Finding, ...]


def assemble(
    paths: Sequence[DrawnPath],
    rules: LineRules = NO_RULES,
    join: float = JOIN,
    file: str = "",
    unit: Unit = "mm",
) -> Assembled:
    """Joins, nests and sorts drawn paths into shapes.

    Parameters
    ----------
    paths : sequence of DrawnPath
    rules : LineRules
        The build file's table; see `kinds`.
    join : float, mm
        Gaps up to this are closed.
    file : str
        Put into every finding.
    unit : "mm" or "in"
        In which findings speak.

    Returns
    -------
    Assembled
        Guides are ignored; a mark, fold or bevel outside every shape is left out (`stray-line`).

    Raises
    ------
    DrawingError
        When there are too many closed lines within each other; see `nest_loops`.
    """
    by_kind: dict[LineRule, list[DrawnPath]] = defaultdict(list)
    faults: dict[str, list[DrawnPath]] = defaultdict(list)
    for drawn in paths:
        by_kind[kind_of(drawn, rules)].append(drawn)
        if fault := fault_of(drawn, rules):
            faults[fault].append(drawn)
    findings = [_faulty(fault, lines) for fault, lines in faults.items()]
    joined = join_paths(by_kind.pop((LineKind.CUT, 0.0), []), join, unit)
    nested = nest_loops(joined.closed, file, unit)
    findings += [*_misnamed(joined.findings), *nested.findings]
    lines: list[tuple[Line, DrawnPath]] = []
    for (kind, angle), drawn_lines in by_kind.items():
        if kind is not LineKind.GUIDE:
            once, doubled = drop_doubled([drawn for drawn in drawn_lines if not drawn.path.closed], unit)
            findings += doubled
            closed = [drawn for drawn in drawn_lines if drawn.path.closed]
            lines += [(Line(kind, drawn.path, angle), drawn) for drawn in (*once, *closed)]
    shapes = [Shape(outline) for _, outline in nested.outlines]
    shapes = _with_lines(shapes, lines, join, findings)
    told = tuple(replace(finding, file=file, unit=unit) for finding in _few(findings))
    return Assembled(tuple(shapes), told)


def _faulty(fault: str, lines: Sequence[DrawnPath]) -> Finding:
    code = "fold-angle-missing" if fault.endswith("names no angle") else "fold-angle-wrong"
    return Finding(
        code,
        f"{fault}; its {len(lines)} lines are marks",
        "Name the layer or group with its angle in degrees, for example 'fold 90' or 'bevel 45'.",
        layer=lines[0].layer,
        id=lines[0].id if len(lines) == 1 else "",
        at=lines[0].path.start,
    )


def _misnamed(findings: Sequence[Finding]) -> list[Finding]:
    """Findings about outlines, where open lines of one layer whose name is all but a fold's become one."""
    kept: list[Finding] = []
    told: Counter[str] = Counter()
    for finding in findings:
        meant = meant_rule(finding.layer) if finding.code in ("open-outline", "branching-outline") else ""
        if not meant:
            kept.append(finding)
            continue
        told[finding.layer] += 1
        if told[finding.layer] == 1:
            what = "bevel" if "bevel" in meant else "fold"
            angle = "" if any(map(str.isdigit, finding.layer)) else ", with its own angle,"
            kept.append(
                replace(
                    finding,
                    text=f"layer '{finding.layer}' looks like a {what}, but its lines are read as cuts",
                    todo=f"Name it '{meant}'{angle} in the drawing, or say what it is under [lines].",
                )
            )
    return kept


def _with_lines(
    shapes: Sequence[Shape],
    lines: Sequence[tuple[Line, DrawnPath]],
    near: float,
    findings: list[Finding],
) -> list[Shape]:
    """The shapes, each with the lines that lie on it."""
    if not lines:
        return list(shapes)
    strings = np.array([_line_string(line.path) for line, _ in lines])
    owners = _owners(shapes, strings, near)
    held: dict[int, list[Line]] = defaultdict(list)
    for (line, drawn), owner in zip(lines, owners, strict=True):
        if owner >= 0:
            held[owner].append(line)
        else:
            findings.append(
                Finding(
                    "stray-line",
                    f"a {line.kind} line lies on no part and was left out",
                    "Move it onto its part, or put it on a guide layer.",
                    layer=drawn.layer,
                    id=drawn.id,
                    at=line.path.start,
                )
            )
    return [Shape(shape.outline, tuple(held[k])) for k, shape in enumerate(shapes)]


def _owners(shapes: Sequence[Shape], strings: object, near: float) -> list[int]:
    """For each line the shape that holds most of it, or -1."""
    lines = np.asarray(strings)
    owners = np.full(len(lines), -1, dtype=np.int64)
    if not shapes:
        return [int(owner) for owner in owners]
    areas = np.array([shape.outline.polygon() for shape in shapes])
    shapely.prepare(areas)
    tree = shapely.STRtree(areas)
    which, inside = tree.query(lines)
    whole = shapely.covers(areas[inside], lines[which])
    # Of several that cover it (touching along it) the first is taken.
    owners[which[whole][::-1]] = inside[whole][::-1]
    for k in np.flatnonzero(owners < 0).tolist():
        candidates = tree.query(lines[k], predicate="dwithin", distance=near).tolist()
        if not candidates:
            continue
        # A line along an edge may lie a hair outside; one that leaves its part belongs where most of it lies.
        shares = [float(lines[k].intersection(areas[j]).length) for j in candidates]
        best = int(np.argmax(shares))
        if shares[best] > near or lines[k].within(areas[candidates[best]].buffer(near)):
            owners[k] = candidates[best]
    return [int(owner) for owner in owners]


def _line_string(path: Path) -> shapely.LineString:
    points = path.flatten()
    return shapely.LineString(np.concatenate((points, points[:1])) if path.closed else points)


def _few(findings: Sequence[Finding]) -> list[Finding]:
    """Findings, of each sort only the first ones, the last of which says how many more there are."""
    total = Counter((finding.code, finding.layer) for finding in findings)
    seen: Counter[tuple[str, str]] = Counter()
    kept = []
    for finding in findings:
        sort = (finding.code, finding.layer)
        seen[sort] += 1
        more = total[sort] - MOST_OF_A_SORT
        if seen[sort] < MOST_OF_A_SORT or (seen[sort] == MOST_OF_A_SORT and more == 0):
            kept.append(finding)
        elif seen[sort] == MOST_OF_A_SORT:
            kept.append(replace(finding, text=f"{finding.text}; and {more} more like this"))
    return kept
