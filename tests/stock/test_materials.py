"""Which materials are refused for a laser, and what cautions a build gets."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path as FilePath

import pytest

from nestkit.build.model import Build, Cutter, CutterKind, Part, Sheet
from nestkit.geometry import Outline, Path, Shape
from nestkit.stock.materials import (
    MATERIALS,
    cautions_for,
    is_chlorinated,
    materials_in,
    refuse_unsafe,
)


def build_of(kind: CutterKind, *materials: str, by_hand: bool = False, sheets: bool = True) -> Build:
    shape = Shape(Outline(Path.circle(10, 10, 10)))
    return Build(
        name="Buoy",
        file=FilePath("build.toml"),
        unit="mm",
        scale=1.0,
        gap=2.0,
        margin=5.0,
        cutter=Cutter(kind),
        sheets=tuple(Sheet(f"{m} 6 mm", m, 6.0, (600.0, 600.0)) for m in materials) if sheets else (),
        assemblies=(),
        parts=tuple(Part(f"disc {k}", shape, m, 6.0, by_hand=by_hand) for k, m in enumerate(materials)),
    )


CHLORINATED = [
    "PVC",
    "pvc foam board",
    "foamed PVC",
    "PVC_foam",
    "pvcfoam",
    "PVC3mm",
    "P.V.C.",
    "uPVC",
    "CPVC sheet",
    "vinyl",
    "Vinyls",
    "self-adhesive vinyl",
    "vinyl-faced EVA",
    "EVA with vinyl, non PVC",
    "polyvinyl chloride",
    "Polyvinylchlorid",
    "neoprene",
    "NEOPRENE sponge",
    "néoprène",
    "Neopren",
    "polychloroprene",
    "chloroprene rubber",
    "CR foam",
    "EPDM/CR blend",
    "chlorinated polyethylene",
    "chlorinated rubber, vinyl-free",
    "imitation leather",
    "halogenated foam",
    "chlorine-free PVC",
]
NOT_CHLORINATED = [
    "eva",
    "EVA foam",
    "ethylene vinyl acetate",
    "Ethylene-vinyl-acetate 45",
    "Ethylenvinylacetat",
    "vinylacetate",
    "PVC-free foam",
    "non-chlorinated foam",
    "EVA (no PVC, no vinyl)",
    "vinyl free",
    "polyethylene",
    "XPS",
    "cardboard",
    "chamois",
    "crepe paper",
    "acrylic",
    "felt",
    "",
]


@pytest.mark.parametrize("name", CHLORINATED)
def test_chlorinated_sheets_are_refused_for_a_laser(name: str) -> None:
    (problem,) = refuse_unsafe(build_of("laser", name))
    assert problem.where == f"build.toml: sheet[1] '{name} 6 mm': material"
    assert f"'{name}' is a chlorinated material" in problem.what
    assert problem.todo


@pytest.mark.parametrize("name", NOT_CHLORINATED)
def test_others_are_not(name: str) -> None:
    assert not is_chlorinated(name)
    assert refuse_unsafe(build_of("laser", name)) == ()


@pytest.mark.parametrize("kind", ["knife", "hand"])
def test_other_cutters_take_them_with_a_caution(kind: CutterKind) -> None:
    build = build_of(kind, "PVC")
    assert refuse_unsafe(build) == ()
    assert any("offcuts away from the laser" in caution.text for caution in cautions_for(build))


def test_parts_cut_by_hand_pass_beside_a_laser_but_unused_sheets_do_not() -> None:
    assert refuse_unsafe(build_of("laser", "neoprene", by_hand=True)) == ()
    mixed = build_of("laser", "neoprene", "neoprene", by_hand=True)
    first, second = mixed.parts
    assert len(refuse_unsafe(replace(mixed, parts=(first, replace(second, by_hand=False))))) == 2
    assert len(refuse_unsafe(replace(mixed, parts=()))) == 2


def test_parts_without_a_sheet_are_named_and_all_are_told() -> None:
    build = build_of("laser", "eva", "PVC", "CR foam", sheets=False)
    assert [problem.where for problem in refuse_unsafe(build)] == [
        "build.toml: part[2] 'disc 1': material",
        "build.toml: part[3] 'disc 2': material",
    ]


def test_a_name_may_speak_of_several_materials() -> None:
    assert [m.name for m in materials_in("PE/EVA blend")] == ["EVA foam", "polyethylene foam"]
    assert [m.name for m in materials_in("flame retardant PE")] == [
        "polyethylene foam",
        "flame retardant foam",
    ]


def test_every_alias_finds_its_material() -> None:
    for material in MATERIALS:
        for alias in material.aliases:
            assert material in materials_in(alias.upper()), alias


def test_a_laser_build_is_told_of_fumes_fire_and_watching() -> None:
    text = " ".join(caution.text for caution in cautions_for(build_of("laser", "eva")))
    for word in ("vinyl acetate", "Exhaust", "extinguisher", "watches", "ask your shop", "interlocks"):
        assert word in text


@pytest.mark.parametrize("kind", ["laser", "knife", "hand"])
def test_everybody_is_told_of_blades_dust_glue_eyes_and_local_rules(kind: CutterKind) -> None:
    text = " ".join(caution.text for caution in cautions_for(build_of(kind, "eva")))
    for word in ("Blades", "dust", "contact cement", "eye protection", "Local rules"):
        assert word in text
    assert ("extinguisher" in text) == (kind == "laser")


def test_an_unknown_material_is_called_unknown_and_nothing_is_called_safe() -> None:
    cautions = cautions_for(build_of("laser", "mystery board", "eva", "xps", "pu", "pe", "fr foam"))
    assert any("'mystery board' is not a material that nestkit knows" in each.text for each in cautions)
    for caution in cautions:
        assert caution.source
        assert " safe" not in caution.text.replace("safety", "")


def test_each_caution_is_given_once() -> None:
    cautions = cautions_for(build_of("laser", "eva", "EVA foam", "eva"))
    assert len(cautions) == len(set(cautions))
