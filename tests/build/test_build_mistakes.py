"""Mistakes in a build file: all at once, with their places, in a maker's words."""

from __future__ import annotations

import string
from pathlib import Path
from typing import Any

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from pydantic import BaseModel

from nestkit.build import Build, load_build
from nestkit.build.mistakes import TABLES
from nestkit.build.tables import BuildFile
from nestkit.errors import InputError, Problem
from tests.build_bench import BUILD, Bench


def test_five_mistakes_are_five_problems_with_their_places(bench: Bench) -> None:
    problems = bench.problems(
        ("quantity = 2", "quantitiy = 2"),
        ('"laser"', '"lazer"'),
        ("bed = [600, 400]", "bed = [600]"),
        ('assembly = "head"', 'assembly = "haed"'),
        ("flag.svg#sail", "flag.svg#sale"),
    )
    assert [(p.where, p.what, p.todo) for p in problems] == [
        (
            "build.toml: cutter: kind (line 5)",
            "'lazer' is not one of 'laser', 'knife' or 'hand'",
            "Did you mean 'laser'?",
        ),
        (
            "build.toml: cutter: bed (line 6)",
            "must be two numbers, width and height",
            "For example bed = [900, 600]",
        ),
        (
            "build.toml: part[1] 'plate': quantitiy (line 23)",
            "unknown key 'quantitiy'",
            "Did you mean 'quantity'?",
        ),
        (
            "build.toml: part[1] 'plate': assembly (line 24)",
            "there is no assembly 'haed'",
            "Did you mean 'head'?",
        ),
        (
            "build.toml: part[2] 'sail': from (line 28)",
            "flag.svg: nothing in the drawing is called 'sale'",
            "Did you mean 'sail'?",
        ),
    ]


PLATE, SAIL = "build.toml: part[1] 'plate'", "build.toml: part[2] 'sail'"
END = "thickness = 6\n"  # of the sheet and of both parts
SHEET = "size = [600, 400]\nbuy = true"


@pytest.mark.parametrize(
    ("old", "new", "told"),
    [
        # keys and tables
        (
            "[[sheet]]",
            "[[foam]]\nthickness = 6\nkerff = 0.2\n[[sheet]]",
            "build.toml: foam[1]: kerff (line 13): unknown key 'kerff'. Did you mean 'kerf'?",
        ),
        (
            "[[sheet]]",
            "[[sheets]]",
            "build.toml: sheets (line 11): unknown table or key 'sheets'. Did you mean",
        ),
        ("[[sheet]]", "[sheet]", "build.toml: sheet (line 11): needs two brackets. Write [[sheet]]"),
        (
            "[cutter]",
            "[[cutter]]",
            "build.toml: cutter (line 4): there can be only one, with single brackets",
        ),
        (
            "[build]",
            "[build]\ngap = 3",
            "build.toml: build: gap (line 2): unknown key 'gap'. It belongs in [layout]",
        ),
        ("[build]", "gap = 1\n[build]", "unknown table or key 'gap'. It belongs under [layout]"),
        ("[cutter]", "[layout]\nx7 = 1\n[cutter]", "unknown key 'x7'. The keys here are gap, margin."),
        ('name = "sail"\n', "", "build.toml: part[2]: name (line 26): is missing. Add it: name of the part"),
        (
            'kind = "laser"\nbed = [600, 400]',
            "",
            "build.toml: cutter: kind (line 4): is missing. Add it: what cuts",
        ),
        (
            "[cutter]",
            "[hardware]\nrod = 8\n[cutter]",
            "hardware 'rod' (line 5): 8 is not a table. Write [hardware.rod]",
        ),
        (
            'from = "flag.svg#sail"',
            'pattern = "cune"\nheight = 3',
            f"{SAIL}: pattern (line 28): there is no pattern 'cune'. Did you mean 'cone'?",
        ),
        # values
        (
            "quantity = 2",
            'quantity = "2"',
            f"{PLATE}: quantity (line 23): '2' is not a whole number. Write it wit",
        ),
        ("quantity = 2", "quantity = 2.0", f"{PLATE}: quantity (line 23): 2.0 is not a whole number"),
        ("quantity = 2", "quantity = true", f"{PLATE}: quantity (line 23): true is not a whole number"),
        ("quantity = 2", "quantity = 0", f"{PLATE}: quantity (line 23): 0 is too small; the least is 1."),
        ("quantity = 2", "quantity = 10001", "10001 is too large; the most is 10000."),
        ("quantity = 2", f"quantity = 0x{'f' * 5000}", "a number of very many digits is too large"),
        (
            "[600, 400]\nbuy",
            "[600, -4]\nbuy",
            "build.toml: sheet[1]: size[2] (line 13): -4 is too small; it must be m",
        ),
        (
            "[600, 400]\nbuy",
            "[600, nan]\nbuy",
            "build.toml: sheet[1]: size[2] (line 13): nan is not a finite number",
        ),
        (
            "[600, 400]\nbuy",
            "1979-05-27\nbuy",
            "a date or time is not a list. For example size = [1200, 600]",
        ),
        ("buy = true", "buy = 1", "build.toml: sheet[1]: buy (line 14): 1 is not true or false"),
        (
            "buy = true",
            f"price = 1{'0' * 400}",
            "price (line 14): a number of very many digits is far too large",
        ),
        ('name = "sail"', 'name = "a/b"', "part[2]: name (line 27): 'a/b' can't be used. Leave out slashes"),
        ('name = "sail"', 'name = "a\\u0007"', "name (line 27): 'a?' can't be used"),
        ('name = "sail"', 'name = ""', "part[2]: name (line 27): is empty"),
        ('name = "sail"', f'name = "{"x" * 61}"', "is too long. Keep it within 60 characters"),
        ('name = "sail"', 'name = "sail"\nturns = "all"', f"{SAIL}: turns (line 28): must be 'any', 'half'"),
        (
            'name = "sail"',
            'name = "sail"\nturns = [0, 361]',
            f"{SAIL}: turns (line 28): must be 'any', 'half'",
        ),
        (
            '"mark"',
            '"fold 200"',
            "build.toml: lines: '#00aa00' (line 9): a fold angle is from 0 to below 180 degrees",
        ),
        (
            '"mark"',
            '"etch"',
            "build.toml: lines: '#00aa00' (line 9): 'etch' is not a kind of line. Write for example cut",
        ),
        ('"#00aa00"', '"#00aa"', "build.toml: lines: '#00aa' (line 9): a colour is written #rrggbb"),
        ("[build]", "[drawing_units]\n'flag.svg' = 'parsec'\n[build]", "'parsec' is not one of 'mm', 'cm'"),
        ("[build]", "[build]\nunits = 'feet'", "units (line 2): 'feet' is not one of 'mm' or 'in'"),
        # what must fit together
        ('"sail"', '"plate"', "build.toml: part[2]: name (line 27): 'plate' is the name of part[1] already"),
        (
            "quantity = 2",
            "quantity = 3\nmirrored_pairs = true",
            "mirrored pairs need an even quantity, and 3 is odd",
        ),
        (
            '"head"\n\n[[part]]',
            '"arm"\n\n[[part]]',
            f"{PLATE}: assembly (line 24): there is no assembly 'head'",
        ),
        (
            '[[assembly]]\nname = "head"',
            "",
            "there is no assembly 'head'. Add an [[assembly]] table with that name",
        ),
        (END + SHEET, "thickness = 5\n" + SHEET + "\n[[sheet]]\nmaterial = 'pu'\n" + END + SHEET, ""),
        (
            END + "quantity",
            "thickness = 5.96\nquantity",
            f"{PLATE}: thickness (line 22): no sheet is 5.96 mm thick",
        ),
        (END + "quantity", END + "material = 'eav'\nquantity", "no sheet is of 'eav'. Did you mean 'eva'?"),
        (
            SHEET,
            SHEET + "\n[[sheet]]\n" + END + SHEET,
            "sheet[2] (line 15): is called 'eva 6 mm 600 x 400' as sheet",
        ),
        (
            "[cutter]",
            "[layout]\nmargin = 200\n[cutter]",
            "a margin of 200 mm on all sides leaves nothing of this sh",
        ),
        ("bed = [600, 400]", "", "build.toml: cutter: bed (line 4): is missing; a laser needs one"),
        (
            "[cutter]",
            "[hardware.tube]\ndiameter = 3\ninner_diameter = 3\n[cutter]",
            "is not less than the diameter, 3",
        ),
        (
            "[build]",
            "[build]\nfinished = {part = 'sial', length = 3}",
            "there is no part 'sial'. Did you mean 'sail'?",
        ),
        (
            "[build]",
            "[build]\nscale = 1\nfinished = {part = 'sail', length = 3}",
            "scale and finished are both given",
        ),
        ("[build]", "[build]\nfinished = {part = 'sail', length = 0.01}", "as drawn and would be scaled by"),
        # drawings
        (
            "flag.svg#sail",
            "flga.svg#sail",
            f"{SAIL}: from (line 28): flga.svg: there is no such file. Did you mean",
        ),
        ("flag.svg#sail", "#sail", "'#sail' names no drawing before the '#'"),
        (
            "flag.svg#sail",
            "flag.svg#\u202esail",
            f"{SAIL}: from (line 28): flag.svg: nothing in the drawing is called '?",
        ),
        ("flag.svg#sail", "flag.svg#", "'flag.svg#' names no id or layer behind the '#'"),
        ("flag.svg#sail", "../", f"{SAIL}: from (line 28): ../: is no file"),
        ("flag.svg#sail", "x" * 999, "there is no such file"),
        ("flag.svg#sail", "build.toml", "build.toml: is neither SVG nor DXF"),
        (
            "[build]",
            "[build]\ndrawings = 'no'",
            "build.toml: build: drawings (line 2): there is no folder 'no'",
        ),
    ],
)
def test_each_mistake_is_told_once_at_its_place(bench: Bench, old: str, new: str, told: str) -> None:
    changes = [(old, new)] if BUILD.count(old) == 1 else [(BUILD, BUILD.replace(old, new, 1))]
    if told:
        assert told in bench.problem(*changes)
    else:
        bench.load(*changes)


def test_wrong_tables_do_not_hide_what_is_wrong_elsewhere(bench: Bench) -> None:
    places = [
        problem.where.removeprefix("build.toml: ").split(" (")[0]
        for problem in bench.problems(
            ('name = "Harbour flag"', ""),
            ("size = [600, 400]\nbuy", "size = 3\nbuy"),
            ('name = "plate"', "name = 3\nturns = 7"),
            ('name = "sail"', 'name = "sail"\nspares = -1'),
            ("flag.svg#sail", "flag.svg#sale"),
        )
    ]
    assert places == [
        "build: name",
        "sheet[1]: size",
        "part[1]: name",
        "part[1]: turns",
        "part[2] 'sail': spares",
        "part[2] 'sail': from",
    ]


def test_an_empty_file_lacks_its_four_tables(bench: Bench) -> None:
    with pytest.raises(InputError) as caught:
        bench.load_text("")
    assert [problem.where for problem in caught.value.problems] == [
        f"build.toml: {name}" for name in ("build", "cutter", "sheet", "part")
    ]


@pytest.mark.parametrize(
    ("content", "told"),
    [
        (b"[build]\nname = \n", "build.toml (line 2, column 8): this is not TOML: Invalid value"),
        (b"[build", "build.toml (at its end): this is not TOML"),
        (b"[build]\nname = 'caf\xe9'", "build.toml (line 2): is not UTF-8 text"),
        (b"x = " + b"[" * 5000, "nested too deep"),
        (b"x = " + b"1" * 5000, "build.toml: this is not TOML"),
        (b"[cutter]\nkerf = 0,2\n", "Write decimals with a point"),
        (b"[cutter]\nkerf = 0.2mm\n", 'Write the number alone, 0.2; units = "mm" under [build] says'),
        (b"[cutter]\nbed = [24in, 16in]\n", 'Write the number alone, 24; units = "in" under [build]'),
        (b"[cutter]\nbed = [60cm, 40cm]\n", 'Write the number alone: 600 when units under [build] is "mm"'),
        (b"[[sheet]]\nthickness = 1/4\n", "Write the fraction as a decimal, as in 0.25"),
        (b"[[part]]\nturns = [0, 90deg]\n", "Write the number alone, 90."),
        (b'[build]\ndrawings = "C:\\drawings"\n', "Write / in place of \\ in paths"),
        (b"[part]\na = 1\n[part]\n", "Each part begins with [[part]]"),
        (b"[cutter]\nkind = laser\n", "Put words in quotes"),
        (b'<svg xmlns="http://www.w3.org/2000/svg"/>', "This is a drawing"),
        (b"0\nSECTION\n", "This is a drawing"),
        (b"#" * 2_000_001, "is larger than 2,000,000 bytes"),
    ],
)
def test_what_is_no_toml(tmp_path: Path, content: bytes, told: str) -> None:
    file = tmp_path / "build.toml"
    file.write_bytes(content)
    with pytest.raises(InputError, match=r"(?s).*") as caught:
        load_build(file)
    assert told in str(caught.value)
    assert len(caught.value.problems) == 1


def test_a_bed_in_metres(bench: Bench) -> None:
    with pytest.raises(InputError) as caught:
        bench.load(("bed = [600, 400]", "bed = [0.6, 0.4]"))
    (problem,) = caught.value.problems
    assert "0.4 mm on one side, less than any cutter's" in str(problem)


def test_cuts_for_blanks_are_counted(bench: Bench) -> None:
    bed = "bed = [600, 400]"
    assert bench.load((bed, f"{bed}\nmost_cuts = 2")).cutter.most_cuts == 2
    assert bench.load().cutter.most_cuts is None
    with pytest.raises(InputError, match="most_cuts"):
        bench.load((bed, f"{bed}\nmost_cuts = -1"))


def test_what_is_no_file(tmp_path: Path) -> None:
    for file, told in [(tmp_path, "is a folder"), (tmp_path / "no.toml", "there is no such file")]:
        with pytest.raises(InputError, match=told):
            load_build(file)
    for name in ("a\0b", "x" * 1000, "/dev/null"):
        with pytest.raises(InputError):
            load_build(tmp_path / name)


@pytest.mark.parametrize("scale", [0.0, -1.0, float("nan"), float("inf"), 1e9])
def test_an_unusable_scale_is_refused(bench: Bench, scale: float) -> None:
    with pytest.raises(InputError, match="scale"):
        bench.load(scale=scale)


def test_a_byte_order_mark_is_no_mistake(bench: Bench) -> None:
    assert bench.load_text("\ufeff" + BUILD).name == "Harbour flag"


# Whatever stands in the file, nothing but InputError comes out of it.

_TABLES: tuple[type[BaseModel], ...] = (BuildFile, *TABLES.values())
_KEYS = sorted({field.alias or name for model in _TABLES for name, field in model.model_fields.items()})
_texts = st.one_of(
    st.text(max_size=8),
    st.sampled_from(
        ["plate", "sail", "flag.svg#plate", "flag.svg", "eva", "mark", "fold 30", "mm", "laser", "[key]"]
    ),
)
_values = st.recursive(
    st.one_of(st.booleans(), st.integers(), st.floats(), _texts, st.integers(1, 9)),
    lambda inner: (
        st.lists(inner, max_size=3) | st.dictionaries(st.sampled_from(_KEYS) | _texts, inner, max_size=4)
    ),
    max_leaves=6,
)
_table = st.dictionaries(st.sampled_from(_KEYS) | _texts, _values, max_size=6)
_good: dict[str, dict[str, Any]] = {
    "build": {"name": "b"},
    "cutter": {"kind": "hand"},
    "sheet": {"thickness": 6, "size": [900, 900]},
    "part": {"name": "plate", "from": "flag.svg#plate", "thickness": 6},
    "assembly": {"name": "head"},
    "hardware": {"rod": {"diameter": 3}},
    "lines": {},
    "drawing_units": {},
    "layout": {},
}


@st.composite
def _files(choose: st.DrawFn) -> dict[str, Any]:
    data: dict[str, Any] = choose(st.dictionaries(_texts, _values, max_size=1))
    for section, good in _good.items():
        if choose(st.integers(0, 9)) == 0:
            data[section] = choose(_values)
        elif section in ("sheet", "part", "assembly"):
            data[section] = [good | choose(_table) for _ in range(choose(st.integers(0, 3)))]
        else:
            data[section] = good | choose(_table)
    return data


def _toml(value: Any) -> str:
    if isinstance(value, dict):
        return "{" + ", ".join(f"{_toml(key)} = {_toml(item)}" for key, item in value.items()) + "}"
    if isinstance(value, list):
        return f"[{', '.join(map(_toml, value))}]"
    if isinstance(value, str):
        plain = string.ascii_letters + string.digits + " .#_-"
        escaped = "".join(char if char in plain else f"\\U{ord(char):08x}" for char in value)
        return f'"{escaped}"'
    return str(value).lower()


def _load_or_refuse(bench: Bench, text: str) -> None:
    problems: tuple[Problem, ...] = ()
    build: Build | None = None
    try:
        build = bench.load_text(text)
    except InputError as error:
        problems = error.problems
    assert bool(problems) != bool(build and build.parts)
    assert all(str(problem).isprintable() for problem in problems)


_patient = settings(max_examples=100, deadline=None, suppress_health_check=list(HealthCheck))


@_patient
@given(_files())
def test_junk_in_the_tables_is_loaded_or_refused(shared_bench: Bench, data: dict[str, Any]) -> None:
    text = "\n".join(f"{_toml(key)} = {_toml(value)}" for key, value in data.items())
    _load_or_refuse(shared_bench, text)


@_patient
@given(st.data())
def test_damaged_text_is_loaded_or_refused(shared_bench: Bench, data: st.DataObject) -> None:
    text = BUILD
    for _ in range(data.draw(st.integers(1, 4))):
        start = data.draw(st.integers(0, len(text)))
        end = data.draw(st.integers(start, min(start + 12, len(text))))
        extra = data.draw(
            st.sampled_from(['"', "[", "]", "=", "\n", "{", "}", "'", "#", "7", ".", ""])
            | st.text(max_size=3)
        )
        text = text[:start] + extra + text[end:]
    _load_or_refuse(shared_bench, text.encode("utf-8", "replace").decode())


@pytest.mark.parametrize(
    ("unit", "advice"),
    [
        ("cm", 'Write units = "mm" and all lengths in it: 1 cm is 10 mm.'),
        ("m", "1 m is 1000 mm."),
        ("inches", 'Write units = "in".'),
        ("feet", "1 foot is 12 in."),
        ("ells", 'Write units = "mm" or units = "in", and all lengths in it.'),
    ],
)
def test_a_unit_that_there_is_not_is_never_taken_for_another(bench: Bench, unit: str, advice: str) -> None:
    (problem,) = bench.problems(("[build]", f'[build]\nunits = "{unit}"'))
    assert str(problem).startswith(f"build.toml: build: units (line 2): '{unit}' is not one of 'mm' or 'in'.")
    assert str(problem).endswith(advice)


@pytest.mark.parametrize(("thickness", "doubted"), [("100", False), ("101", True), ("6000", True)])
def test_a_sheet_thicker_than_foam_is_sold_is_doubted(bench: Bench, thickness: str, doubted: bool) -> None:
    build = bench.load((END, f"thickness = {thickness}\n"))
    told = [str(finding) for finding in build.findings if finding.code == "sheet-thick"]
    assert bool(told) == doubted
    assert all(f"sheets {thickness} mm thick" in line and "thickness is in mm" in line for line in told)
