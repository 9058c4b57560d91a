"""coupon and calibrate as a maker runs them, on the sample and its readings."""

from __future__ import annotations

import shutil
import subprocess
import sys
import tomllib
from pathlib import Path

import pytest

from nestkit.build import load_build

SAMPLES = Path(__file__).parents[2] / "samples"
HALBERD, LANTERN = SAMPLES / "halberd", SAMPLES / "lantern"


def nestkit(*arguments: object) -> subprocess.CompletedProcess[str]:
    command = [sys.executable, "-m", "nestkit", *map(str, arguments)]
    return subprocess.run(command, capture_output=True, text=True, timeout=120, check=False)


@pytest.fixture
def sample(tmp_path: Path) -> Path:
    return Path(shutil.copytree(HALBERD, tmp_path / "halberd"))


def test_coupon_writes_checked_files_once(sample: Path, tmp_path: Path) -> None:
    out = tmp_path / "coupon"
    done = nestkit("coupon", sample / "build.toml", "--out", out)
    assert done.returncode == 0, done.stderr
    assert "check: all is right: 3 coupons" in done.stdout
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
    after = (sample / "build.toml").read_text()
    assert after.startswith(before)
    assert (sample / "build-before-1.toml").read_text() == before
    foams = {foam["thickness"]: foam for foam in tomllib.loads(after)["foam"]}
    # What the sample's readings were made from.
    for thickness, kerf, depth in ((4, 0.21, 0.86), (6, 0.23, 0.83), (10, 0.27, 0.79)):
        assert foams[thickness]["kerf"] == pytest.approx(kerf, abs=0.01)
        assert foams[thickness]["pass_depth"] == pytest.approx(depth, abs=0.05)
        assert foams[thickness]["width_factor"] == pytest.approx(1.07, abs=0.04)
    build = load_build(sample / "build.toml")
    assert build.cutter_for("eva", 10.0).kerf == foams[10]["kerf"]


def test_the_lanterns_readings_fit_its_coupons_and_its_folds_still_close(tmp_path: Path) -> None:
    sample = Path(shutil.copytree(LANTERN, tmp_path / "lantern"))
    done = nestkit("coupon", sample / "build.toml", "--out", tmp_path / "coupon")
    assert done.returncode == 0, done.stderr
    asked, read = (
        [line.split(",")[:6] for line in table.read_text("utf-8-sig").splitlines()]
        for table in (tmp_path / "coupon" / "readings.csv", sample / "readings.csv")
    )
    assert read == asked
    done = nestkit("calibrate", sample / "build.toml", sample / "readings.csv")
    assert done.returncode == 0, done.stderr
    done = nestkit("plan", sample / "build.toml", "--rounds", 1, "--out", tmp_path / "out")
    assert done.returncode == 0, done.stderr
    assert "check: all is right: 52 copies" in done.stdout


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
