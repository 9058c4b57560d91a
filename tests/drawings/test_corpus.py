"""The run over strangers' drawings counts rightly and tells what crashed."""

from __future__ import annotations

import json
import sys
import time

import pytest

from benchmarks import corpus
from tests.drawings.dxf_made import box, saved

SVG = '<svg xmlns="http://www.w3.org/2000/svg" width="9mm" height="9mm" viewBox="0 0 9 9">{}</svg>'


@pytest.fixture
def folder(tmp_path):
    (tmp_path / "in").mkdir()
    (tmp_path / "good.svg").write_text(SVG.format('<rect width="5" height="5" stroke="#000"/>'))
    (tmp_path / "in" / "open.SVG").write_text(
        SVG.format('<path d="M0,0 5,0 5,5" fill="none" stroke="#000"/>')
    )
    (tmp_path / "bad.svg").write_text("<svg")
    (tmp_path / "link.svg").symlink_to(tmp_path / "good.svg")
    saved(tmp_path, lambda _, s: s.add_lwpolyline(box(0, 0, 5), close=True))
    return tmp_path


def run(monkeypatch, *arguments: str) -> int:
    monkeypatch.setattr(sys, "argv", ["corpus.py", *arguments])
    return corpus.main()


def test_counts(folder, monkeypatch, capsys):
    assert run(monkeypatch, str(folder), "--json", str(folder / "counts.json")) == 0
    told = json.loads((folder / "counts.json").read_text())
    svg, dxf = told["by_suffix"][".svg"], told["by_suffix"][".dxf"]
    assert (svg["files"], svg["read"], svg["read_with_findings"], svg["refused"], svg["crashed"]) == (
        3,
        1,
        1,
        1,
        0,
    )
    assert (dxf["files"], dxf["read"], dxf["shapes"]) == (1, 1, 1)
    assert told["findings"] == {"open-outline": 1}
    assert "good.svg" in capsys.readouterr().out


@pytest.mark.parametrize("slow", [False, True])
def test_a_crash_is_shown_and_fails(folder, monkeypatch, capsys, slow):
    def broken(_file):
        until = time.process_time() + (5 if slow else 0)
        while time.process_time() < until:
            pass
        raise KeyError("planted")

    monkeypatch.setattr(corpus, "read_drawing", broken)
    assert run(monkeypatch, str(folder / "in"), "--limit", "0.2") == 1
    out = capsys.readouterr().out
    assert ("OutOfTime" if slow else "planted") in out
    assert "| .svg | 1 | 0 | 0 | 0 | 1 |" in out
