"""coupon and calibrate as a maker runs them, on the sample and its readings."""

from __future__ import annotations

import shutil
import tomllib
from pathlib import Path

import pytest

from nestkit.build import load_build
from tests.folds_bench import HALBERD_FOAMS, LANTERN_FOAMS, filled_table
from tests.same_process import nestkit

SAMPLES = Path(__file__).parents[2] / "samples"
HALBERD, LANTERN = SAMPLES / "halberd", SAMPLES / "lantern"


@pytest.fixture
def sample(tmp_path: Path) -> Path:
    return Path(shutil.copytree(HALBERD, tmp_path / "halberd"))


def test_coupon_writes_checked_files_once(sample: Path, tmp_path: Path) -> None:
    out = tmp_path / "coupon"
    done = nestkit("coupon", sample / "build.toml", "--out", out)
    assert done.returncode == 0, done.stderr
    assert "check: all is right: 3 coupons" in done.stdout
    assert "measure what the page beside each (PDF) shows" in done.stdout
    assert f"nestkit calibrate {sample / 'build.toml'} {out / 'readings.csv'}" in done.stdout
    names = {f"coupon-eva-{t}mm.{ending}" for t in (4, 6, 10) for ending in ("dxf", "svg", "pdf")}
    assert {file.name for file in out.iterdir()} == names | {"readings.csv"}
    again = nestkit("coupon", sample / "build.toml", "--out", out)
    assert again.returncode == 2
    assert "there is something in this folder" in again.stderr


def test_calibrate_writes_settings_and_says_how_surely(sample: Path) -> None:
    before = (sample / "build.toml").read_text()
    done = nestkit("calibrate", sample / "build.toml", sample / "readings.csv")
    assert done.returncode == 0, done.stderr
    assert "eva 6 mm:" in done.stdout
    assert "kerf: 0.200 -> 0.2" in done.stdout
    assert "give or take" in done.stdout
    assert done.stdout.endswith(f"Next: nestkit plan {sample / 'build.toml'}\n")
    after = (sample / "build.toml").read_text()
    assert after.startswith(before)
    assert (sample / "build-before-1.toml").read_text() == before
    foams = {foam["thickness"]: foam for foam in tomllib.loads(after)["foam"]}
    # What the sample's readings were made from.
    for thickness, true in HALBERD_FOAMS.items():
        foam = foams[thickness]
        assert foam["kerf"] == pytest.approx(true.kerf, abs=0.01)
        assert foam["pass_depth"] == pytest.approx(true.pass_depth, abs=0.05)
        assert foam["width_factor"] == pytest.approx(true.factor(0.6), abs=0.05)
    build = load_build(sample / "build.toml")
    assert build.cutter_for("eva", 10.0).kerf == foams[10]["kerf"]


@pytest.mark.parametrize(("folder", "foams"), [(LANTERN, LANTERN_FOAMS), (HALBERD, HALBERD_FOAMS)])
def test_samples_readings_are_those_of_their_coupons(folder: Path, foams: dict) -> None:
    build = load_build(folder / "build.toml")
    assert (folder / "readings.csv").read_bytes() == filled_table(build, foams, 1)


def test_the_lanterns_folds_still_close_with_its_new_settings(tmp_path: Path) -> None:
    sample = Path(shutil.copytree(LANTERN, tmp_path / "lantern"))
    done = nestkit("calibrate", sample / "build.toml", sample / "readings.csv")
    assert done.returncode == 0, done.stderr
    done = nestkit("plan", sample / "build.toml", "--rounds", 1, "--out", tmp_path / "out")
    assert done.returncode == 0, done.stderr
    assert "check: all is right: 52 copies" in done.stdout


def as_lines(sample: Path, only: str = "") -> Path:
    """The sample for a cutter that can't fill areas, or that one part of it."""
    head, *parts = (sample / "build.toml").read_text().split("[[part]]")
    kept = [part for part in parts if not only or f'name = "{only}"' in part]
    text = "[[part]]".join(
        [head.replace("[[sheet]]", "area_mode = false\npitch = 0.2\n\n[[sheet]]", 1), *kept]
    )
    (sample / "lines.toml").write_text(text)
    return sample / "lines.toml"


@pytest.mark.parametrize(
    ("only", "copies"), [("cap", 7), pytest.param("", 52, marks=pytest.mark.slow)], ids=["cap", "whole"]
)
def test_the_lantern_as_lines(tmp_path: Path, only: str, copies: int) -> None:
    file = as_lines(Path(shutil.copytree(LANTERN, tmp_path / "lantern")), only)
    done = nestkit("plan", file, "--rounds", 1, "--out", tmp_path / "out", seconds=600)
    assert done.returncode == 0, done.stdout + done.stderr
    assert f"check: all is right: {copies} copies" in done.stdout
    done = nestkit("check", tmp_path / "out", seconds=600)
    assert (done.returncode, done.stderr) == (0, "")


def test_readings_without_values_and_of_other_builds_are_refused(sample: Path, tmp_path: Path) -> None:
    lines = (sample / "readings.csv").read_text("utf-8-sig").splitlines()
    empty, other = tmp_path / "empty.csv", tmp_path / "other.csv"
    empty.write_text(lines[0] + "\n")
    other.write_text("\n".join([lines[0], lines[1].replace("eva,4,", "eva,5,")]))
    for table, what in ((empty, "it holds no readings"), (other, "no sheet of the build is eva 5 mm")):
        done = nestkit("calibrate", sample / "build.toml", table)
        assert done.returncode == 2
        assert what in done.stderr
        assert "Traceback" not in done.stderr


def test_too_few_readings_change_nothing(sample: Path, tmp_path: Path) -> None:
    lines = (sample / "readings.csv").read_text("utf-8-sig").splitlines()
    one = tmp_path / "one.csv"
    one.write_text("\n".join([lines[0], lines[1].rsplit(",", 2)[0] + ",,"]))
    before = (sample / "build.toml").read_bytes()
    done = nestkit("calibrate", sample / "build.toml", one)
    assert done.returncode == 1
    assert "kerf: too few readings" in done.stdout
    assert (sample / "build.toml").read_bytes() == before


def of_six(sample: Path, change=lambda kind, cells: cells) -> Path:
    """The sample's readings of 6 mm foam alone, each row's readings changed or left out."""
    head, *lines = (sample / "readings.csv").read_text("utf-8-sig").splitlines()
    rows = []
    for line in lines:
        cells = line.split(",")
        if cells[1] == "6":
            cells[-3:] = change(cells[4], cells[-3:])
            rows.append(",".join(cells))
    file = sample / "six.csv"
    file.write_text("\n".join([head, *rows]))
    return file


def test_what_is_too_unsure_is_not_set_and_said(sample: Path) -> None:
    chance = iter([1, -1, -1, 1, 1, -1, 1, -1] * 20)

    def uneven(kind: str, cells: list[str]) -> list[str]:
        off = {"kerf": 0.0, "depth": 0.1, "skin": 0.0, "width": 16.0}[kind]
        return [f"{float(cell) + off * next(chance):.2f}" if cell else "" for cell in cells]

    done = nestkit("calibrate", sample / "build.toml", of_six(sample, uneven))
    assert done.returncode == 0, done.stderr
    (line,) = [line for line in done.stdout.splitlines() if line.startswith("  width factor")]
    assert "->" not in line
    assert "; not set: too unsure, no more than 0.2" in line
    assert line.endswith("would do; measure each field twice or more")
    (foam,) = tomllib.loads((sample / "build.toml").read_text())["foam"]
    assert foam["kerf"] == pytest.approx(0.23, abs=0.01)
    assert foam["skin"] == pytest.approx(HALBERD_FOAMS[6.0].good_skin, abs=0.2)
    assert foam["width_factor"] == 1


def test_a_kerf_that_no_cutter_has_is_doubted(sample: Path) -> None:
    def ten_times(kind: str, cells: list[str]) -> list[str]:
        return [f"{10.0 * float(cell):.2f}" if cell and kind == "kerf" else cell for cell in cells]

    done = nestkit("calibrate", sample / "build.toml", of_six(sample, ten_times))
    assert done.returncode == 0, done.stderr
    (line,) = [line for line in done.stdout.splitlines() if line.startswith("  kerf")]
    assert "; not set: no laser or knife takes that much away; look at the decimal point" in line
    (foam,) = tomllib.loads((sample / "build.toml").read_text())["foam"]
    assert "kerf" not in foam


def test_settings_that_no_fold_could_be_made_with_are_not_set(sample: Path) -> None:
    def shallow(kind: str, cells: list[str]) -> list[str]:
        """Squares that stop getting deeper at half the foam: no number of passes gets to the skin."""
        if kind != "depth":
            return cells if kind == "kerf" else ["", "", ""]
        depth = float(cells[0])
        return [f"{depth - 0.09 * depth**2:.2f}"] * 2 + [""]

    done = nestkit("calibrate", sample / "build.toml", of_six(sample, shallow))
    assert done.returncode == 0, done.stderr
    (line,) = [line for line in done.stdout.splitlines() if line.startswith("  depth per pass")]
    assert "not set: with it, " in line
    assert "passes of" in line
    (foam,) = tomllib.loads((sample / "build.toml").read_text())["foam"]
    assert set(foam) == {"material", "thickness", "kerf"}


def test_all_foams_that_the_build_has_not_are_told(sample: Path) -> None:
    text = (sample / "readings.csv").read_text("utf-8-sig")
    (sample / "other.csv").write_text(text.replace("eva,4,", "eva,5,").replace("eva,6,", "cork,6,"))
    done = nestkit("calibrate", sample / "build.toml", sample / "other.csv")
    assert done.returncode == 2
    assert "no sheet of the build is eva 5 mm" in done.stderr
    assert "no sheet of the build is cork 6 mm" in done.stderr


def test_swapped_arguments_are_told_with_the_right_command(sample: Path) -> None:
    build, table = sample / "build.toml", sample / "readings.csv"
    before = build.read_bytes()
    done = nestkit("calibrate", table, build)
    assert (done.returncode, build.read_bytes()) == (2, before)
    assert done.stderr.endswith(f"Write: nestkit calibrate {build} {table}.\n")
    assert "the build file comes first" in done.stderr
    assert "nestkit calibrate BUILD READINGS.csv" in nestkit("calibrate", table, table).stderr
