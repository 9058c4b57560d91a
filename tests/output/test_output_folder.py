"""All of an output or nothing of it, and nothing of the maker's is lost."""

from __future__ import annotations

import errno
import os
import shutil
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest

from nestkit.errors import OutputError
from nestkit.output import check_out, plan_files, write_plan
from nestkit.output.folder import replace_folder
from tests.output.sample_plan import Case, lantern, named

CASE = lantern()
OTHER = named("ball")


def write(case: Case, out: Path) -> tuple[Path, ...]:
    return write_plan(case.build, case.plan, case.jobs, out).files


def content(folder: Path) -> dict[str, bytes]:
    return {p.relative_to(folder).as_posix(): p.read_bytes() for p in folder.rglob("*") if p.is_file()}


def test_writes_everything_and_names_it(tmp_path: Path) -> None:
    out = tmp_path / "deep" / "out"
    written = write(CASE, out)
    files = plan_files(CASE.build, CASE.plan, CASE.jobs)
    assert content(out) == files
    assert written == tuple(out / name for name in files)
    assert os.listdir(out.parent) == ["out"]
    names = ["plan.json", "shopping.csv", "cutting.csv", "jobs.csv", "layers.csv", "gluing.csv"]
    names += ["templates.pdf", "blanks.csv", "blanks.svg", "folds.csv"]
    jobs = [f"jobs/{job.name}.{ending}" for job in CASE.jobs for ending in ("dxf", "svg")]
    assert list(files) == [*names, *jobs, "report.html"]


def test_an_earlier_output_is_replaced_whole(tmp_path: Path) -> None:
    out = tmp_path / "out"
    out.mkdir()
    write(CASE, out)
    write(OTHER, out)
    assert content(out) == plan_files(OTHER.build, OTHER.plan, OTHER.jobs)
    assert os.listdir(tmp_path) == ["out"]


def test_what_the_maker_added_stays(tmp_path: Path) -> None:
    out = tmp_path / "out"
    write(CASE, out)
    (out / "notes.txt").write_text("ask the shop about EVA")
    (out / "photos" / "empty").mkdir(parents=True)
    (out / "photos" / "mast.jpg").write_bytes(b"\xff\xd8")
    (out / "jobs" / "mine.dxf").write_text("0\nEOF\n")
    (out / "link").symlink_to("nowhere")
    write(OTHER, out)
    assert (out / "notes.txt").read_text() == "ask the shop about EVA"
    assert (out / "photos" / "mast.jpg").read_bytes() == b"\xff\xd8"
    assert (out / "photos" / "empty").is_dir()
    assert (out / "jobs" / "mine.dxf").exists()
    assert os.readlink(out / "link") == "nowhere"
    assert not (out / "jobs" / f"{CASE.jobs[0].name}.dxf").exists()
    assert os.listdir(tmp_path) == ["out"]


def test_the_makers_file_is_never_overwritten(tmp_path: Path) -> None:
    out = tmp_path / "out"
    write(CASE, out)
    (out / "jobs" / "job-01.dxf").write_text("drawn by hand")
    before = content(out)
    with pytest.raises(OutputError, match=r"job-01\.dxf: was not written by nestkit"):
        write(OTHER, out)
    assert content(out) == before


@pytest.mark.parametrize("name", ["notes.txt", "plan.json", ".hidden"])
def test_a_strangers_folder_is_refused(tmp_path: Path, name: str) -> None:
    out = tmp_path / "out"
    out.mkdir()
    (out / name).write_text('{"format": "something else"}')
    for act in (lambda: write(CASE, out), lambda: check_out(out)):
        with pytest.raises(OutputError, match="Choose another folder with --out"):
            act()
    assert content(out) == {name: b'{"format": "something else"}'}
    assert os.listdir(tmp_path) == ["out"]


def test_a_file_in_the_way_is_refused(tmp_path: Path) -> None:
    (tmp_path / "out").write_text("a file")
    for out in (tmp_path / "out", tmp_path / "out" / "deeper"):
        with pytest.raises(OutputError, match="file"):
            write(CASE, out)
        with pytest.raises(OutputError, match="file"):
            check_out(out)
    assert (tmp_path / "out").read_text() == "a file"


def test_the_working_folder_is_refused(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.chdir(tmp_path)
    with pytest.raises(OutputError, match="the folder that you are working in"):
        write(CASE, Path())
    assert os.listdir(tmp_path) == []


def test_a_link_to_a_folder_stays_a_link(tmp_path: Path) -> None:
    (tmp_path / "real").mkdir()
    (tmp_path / "out").symlink_to("real")
    write(CASE, tmp_path / "out")
    assert (tmp_path / "out").is_symlink()
    assert (tmp_path / "real" / "plan.json").exists()


def test_a_loop_of_links_is_told(tmp_path: Path) -> None:
    (tmp_path / "out").symlink_to("out")
    with pytest.raises(OutputError):
        write(CASE, tmp_path / "out")
    assert os.listdir(tmp_path) == ["out"]


class _Injected:
    """Counts calls to the system and fails at one of them."""

    def __init__(self, monkeypatch: pytest.MonkeyPatch, fail_at: int, error: BaseException) -> None:
        self.calls, self.fail_at, self.error = 0, fail_at, error
        for owner, name in (
            (os, "link"),
            (os, "chmod"),
            *((Path, n) for n in ("mkdir", "rename", "write_bytes")),
        ):
            self._wrap(monkeypatch, owner, name)

    def _wrap(self, monkeypatch: pytest.MonkeyPatch, owner: Any, name: str) -> None:
        real = getattr(owner, name)

        def call(*args: Any, **kwargs: Any) -> Any:
            self.calls += 1
            if self.calls == self.fail_at:
                raise self.error
            return real(*args, **kwargs)

        monkeypatch.setattr(owner, name, call)


def attempt(out: Path, files: dict[str, bytes]) -> BaseException | None:
    """What writing ended with."""
    try:
        replace_folder(out, files)
    except (OutputError, KeyboardInterrupt) as error:
        return error
    return None


ERRORS = [
    OSError(errno.ENOSPC, os.strerror(errno.ENOSPC)),
    PermissionError(errno.EACCES, os.strerror(errno.EACCES)),
    KeyboardInterrupt(),
]


@pytest.mark.parametrize("error", ERRORS, ids=["disk full", "no permission", "Ctrl-C"])
@pytest.mark.parametrize("earlier", [True, False], ids=["earlier output", "nothing there"])
def test_a_failure_at_any_step_leaves_what_was_there(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, error: BaseException, earlier: bool
) -> None:
    files = plan_files(OTHER.build, OTHER.plan, OTHER.jobs)
    old_files = plan_files(CASE.build, CASE.plan, CASE.jobs)
    steps, unbroken = 0, False
    while not unbroken:
        steps += 1
        home = tmp_path / str(steps)
        out = home / "sub" / "out"
        if earlier:
            replace_folder(out, old_files)
            (out / "notes.txt").write_text("mine")
        else:
            home.mkdir()
        before = content(home)
        with monkeypatch.context() as patch:
            injected = _Injected(patch, steps, error)
            caught = attempt(out, files)
        unbroken = injected.calls < steps
        if caught is None:
            # No step was left to fail, or it was one that can be done without: a link becomes a copy.
            assert content(out) == {**files, **({"notes.txt": b"mine"} if earlier else {})}
            continue
        if isinstance(error, OSError):
            wanted = "disk is full" if error.errno == errno.ENOSPC else "no permission"
            assert str(out) in str(caught)
            assert wanted in str(caught)
        assert isinstance(caught, OutputError) == isinstance(error, OSError)
        assert content(home) == before
        assert os.listdir(home) == (["sub"] if earlier else [])
    assert steps > len(files) + 3


def test_a_second_rename_that_fails_puts_the_old_one_back(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    out = tmp_path / "out"
    write(CASE, out)
    before = content(out)
    real = Path.rename

    def rename(self: Path, target: Path) -> Path:
        if ".new-" in self.name:
            raise OSError(errno.EIO, os.strerror(errno.EIO))
        return real(self, target)

    monkeypatch.setattr(Path, "rename", rename)
    with pytest.raises(OutputError, match="Nothing there was changed"):
        write(OTHER, out)
    assert content(out) == before
    assert os.listdir(tmp_path) == ["out"]


def test_a_file_that_arrives_at_the_last_moment_is_not_deleted(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    out = tmp_path / "out"
    write(CASE, out)
    real = Path.rename

    def rename(self: Path, target: Path) -> Path:
        if self == out:
            (out / "late.txt").write_text("just saved")
        return real(self, target)

    monkeypatch.setattr(Path, "rename", rename)
    write(OTHER, out)
    assert [path.read_text() for path in tmp_path.rglob("late.txt")] == ["just saved"]


def test_after_a_crash_between_the_renames_the_old_output_is_found_again(tmp_path: Path) -> None:
    out = tmp_path / "out"
    write(CASE, out)
    (out / "notes.txt").write_text("mine")
    out.rename(tmp_path / ".out.old-0badcafe")
    write(OTHER, out)
    assert (out / "notes.txt").read_text() == "mine"
    assert os.listdir(tmp_path) == ["out"]


def test_what_a_killed_run_left_goes_when_it_is_old_enough(tmp_path: Path) -> None:
    out = tmp_path / "out"
    write(CASE, out)
    (out / "notes.txt").write_text("mine")
    aside, staged, young = (
        tmp_path / f".out.{end}" for end in ("old-0badcafe", "new-12345678", "new-abcdef01")
    )
    shutil.copytree(out, aside)
    (aside / "late.txt").write_text("saved a moment ago")
    shutil.copytree(out, staged)
    (staged / "plan.json").write_bytes(b"{ half")
    shutil.copytree(out, young)
    strangers = [tmp_path / ".other.new-12345678", tmp_path / ".out.new-mine", tmp_path / "out.old-0badcafe"]
    for each in strangers:
        each.mkdir()
    for each in (aside, staged, *strangers):
        os.utime(each, (1e9, 1e9))
    write(OTHER, out)
    assert (out / "notes.txt").read_text() == "mine"
    # What somebody else may have made, and the one file of which there is no second, stay.
    assert content(aside) == {"late.txt": b"saved a moment ago"}
    kept = {"out", aside.name, young.name, *(each.name for each in strangers)}
    assert set(os.listdir(tmp_path)) == kept


def test_a_pipe_in_the_folder_is_refused(tmp_path: Path) -> None:
    out = tmp_path / "out"
    write(CASE, out)
    os.mkfifo(out / "pipe")
    with pytest.raises(OutputError, match="neither a file nor a folder"):
        write(CASE, out)


def test_folder_is_as_open_as_the_umask_says(tmp_path: Path) -> None:
    write(CASE, tmp_path / "new")
    (tmp_path / "plain").mkdir()
    assert (tmp_path / "new").stat().st_mode == (tmp_path / "plain").stat().st_mode


@pytest.mark.parametrize("name", ["../job", "a/b", "", "job 1", ".hidden", "job\n"])
def test_jobs_with_unfit_names_are_a_mistake_of_ours(name: str) -> None:
    with pytest.raises(ValueError, match="not fit for a file"):
        plan_files(OTHER.build, OTHER.plan, (replace(OTHER.jobs[0], name=name),))


def test_jobs_must_be_those_of_the_plan() -> None:
    with pytest.raises(ValueError, match="in order"):
        plan_files(CASE.build, CASE.plan, CASE.jobs[::-1])
    with pytest.raises(ValueError, match="in order"):
        plan_files(CASE.build, CASE.plan, CASE.jobs[1:])
