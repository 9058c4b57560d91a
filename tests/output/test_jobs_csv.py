"""jobs.csv: a line for each bed load, whose numbers are those of plan.json, and a line for all of them."""

from __future__ import annotations

import csv
import io
import json

import pytest

from nestkit.output import plan_files
from tests.output.sample_plan import lantern


def test_a_line_for_each_job_and_one_for_all():
    case = lantern()
    files = plan_files(case.build, case.plan, case.jobs)
    rows = list(csv.DictReader(io.StringIO(files["jobs.csv"].decode("utf-8-sig"))))
    sheets = json.loads(files["plan.json"])["sheets"]
    *each, total = rows
    assert [row["job"] for row in each] == [sheet["job"] for sheet in sheets]
    for row, sheet in zip(each, sheets, strict=True):
        assert int(row["sheet of the plan"]) == sheet["index"]
        assert int(row["parts"]) == len(sheet["parts"])
        assert float(row["cut length (mm)"]) == pytest.approx(sheet["cut_length_mm"], abs=0.51)
        if sheet["how"] == "hand":
            assert row["in all (s)"] == row["travel (mm)"] == ""
            continue
        assert float(row["travel (mm)"]) == pytest.approx(sheet["travel_mm"], abs=0.51)
        assert float(row["no order travels less than (mm)"]) <= float(row["travel (mm)"])
        assert float(row["travel if always to the nearest (mm)"]) >= float(row["travel (mm)"])
        parts = [float(row[f"{what} (s)"]) for what in sheet["times"]]
        assert float(row["in all (s)"]) == pytest.approx(sum(parts), abs=0.3)
        assert sum(sheet["times"].values()) == pytest.approx(sheet["seconds"], abs=1e-3)
    cut = [row for row in each if row["cut by"] != "hand"]
    assert total["sheet of the plan"] == "on the cutter in all"
    assert int(total["paths"]) == sum(int(row["paths"]) for row in cut)
    assert float(total["in all (s)"]) == pytest.approx(sum(float(r["in all (s)"]) for r in cut), abs=0.5)
    freed = [name for row in each for name in row["can be glued after it"].split("; ") if name]
    assert len(freed) == len(set(freed))
