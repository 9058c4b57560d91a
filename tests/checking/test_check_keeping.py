"""Leftovers and pieces of the shop in plan.json: right ones pass, each planted fault is told."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

from nestkit.checking import check_folder
from nestkit.errors import InputError
from tests.checking.made import BLANKS, ONE, Made, made


def ring(x: float, y: float, width: float, height: float) -> list[list[float]]:
    return [[x, y], [x + width, y], [x + width, y + height], [x, y + height]]


def leftover(m: Made, outline: list[list[float]], sheet: int | None = 1, **changes: Any) -> None:
    """Add a leftover to the plan, and its area to the group's share."""
    entry = m.plan["sheets"][0]
    kept = {key: entry[key] for key in ("stock", "stock_number", "material", "thickness_mm")}
    m.plan.setdefault("leftovers", []).append(
        {"sheet": sheet, **kept, "outline_mm": outline, "holes_mm": [], **changes}
    )
    width, height = BLANKS[ONE]
    xs, ys = [x for x, _ in outline], [y for _, y in outline]
    area = (max(xs) - min(xs)) * (max(ys) - min(ys))
    group = m.plan["groups"][0]
    group["leftover"] = round(group.get("leftover", 0.0) + area / (width * height), 4)


def told(m: Made, folder: Path) -> list[str]:
    return [fault.text for fault in check_folder(m.write(folder)).faults]


FREE = ring(300, 10, 90, 120)


def test_a_right_leftover_passes(tmp_path: Path) -> None:
    m = made()
    leftover(m, FREE)
    assert told(m, tmp_path) == []


def crossing(m: Made) -> None:
    leftover(m, [[300, 10], [390, 130], [390, 10], [300, 130]])
    m.plan["groups"][0]["leftover"] = 0.0


def other_sheet(m: Made) -> None:
    leftover(m, FREE, stock="eva 2 mm")


def off_the_sheet(m: Made) -> None:
    leftover(m, ring(330, 10, 90, 120))


def in_a_part(m: Made) -> None:
    leftover(m, ring(240, 10, 90, 120))  # a puck lies at (220, 20), 30 mm wide


def in_the_kerf(m: Made) -> None:
    leftover(m, ring(250.1, 30, 60, 10))  # the puck ends at 250, the kerf is 0.2


def twice(m: Made) -> None:
    leftover(m, FREE)
    leftover(m, ring(320, 20, 30, 30))


def too_much(m: Made) -> None:
    leftover(m, FREE)
    m.plan["groups"][0]["leftover"] += 0.05


def too_little(m: Made) -> None:
    leftover(m, FREE)
    m.plan["groups"][0]["leftover"] -= 0.05


def beside_no_blank(m: Made) -> None:
    leftover(m, FREE, sheet=None)


def in_a_blank(m: Made) -> None:
    m.plan["sheets"][0]["blank_origin_mm"] = [100.0, 0.0]
    leftover(m, ring(0, 0, 150, 100), sheet=None)


def bought_piece(m: Made) -> None:
    m.plan["shop"] = "id"
    m.plan["sheets"][0]["piece"] = 3


def unknown_shop(m: Made) -> None:
    m.plan["sheets"][0] |= {"piece": 3, "bought": False}
    _from_shop(m, 0)


def two_of_one(m: Made) -> None:
    m.plan["shop"] = "id"
    for number in (0, 1):
        m.plan["sheets"][number] |= {"piece": 3, "bought": False}
        _from_shop(m, number)


def _from_shop(m: Made, number: int) -> None:
    group = m.plan["groups"][number]
    group["from_shop"], group["to_buy"] = group["to_buy"], []


@pytest.mark.parametrize(
    ("action", "text"),
    [
        (crossing, "a leftover's outline crosses itself"),
        (other_sheet, "a leftover is said to be of another sheet"),
        (off_the_sheet, "a leftover leaves the sheet"),
        (in_a_part, "a leftover is part of what is cut"),
        (in_the_kerf, "a leftover is part of what is cut"),
        (twice, "two leftovers overlap"),
        (too_much, "% is worth keeping, and plan.json says"),
        (too_little, "% is worth keeping, and plan.json says"),
        (beside_no_blank, "and no blank is cut from it"),
        (in_a_blank, "a leftover beside the blanks is part of jobs/job-01-eva-6mm.dxf"),
        (bought_piece, "a piece of the shop can't be bought"),
        (unknown_shop, "plan.json does not say of which"),
        (two_of_one, "piece 3 of the shop is used as eva 10 mm, eva 6 mm"),
    ],
)
def test_a_planted_fault_is_told_alone(action: Callable[[Made], None], text: str, tmp_path: Path) -> None:
    m = made()
    action(m)
    found = told(m, tmp_path)
    assert len(found) == 1, found
    assert text in found[0]


def test_more_can_not_be_kept_than_is_waste(tmp_path: Path) -> None:
    m = made()
    leftover(m, FREE)
    m.plan["groups"][0]["leftover"] = 0.9
    assert any("more is worth keeping (90.0%) than is waste" in text for text in told(m, tmp_path))


def test_a_leftover_of_a_sheet_that_is_not_there_is_refused(tmp_path: Path) -> None:
    m = made()
    leftover(m, FREE, sheet=9)
    with pytest.raises(InputError, match=r"leftovers\[0\].sheet: the plan has no sheet 9"):
        told(m, tmp_path)
