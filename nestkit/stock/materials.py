"""What is known of sheet materials, and what to be careful about.

Cautions come with their source. They never say that anything is safe: where nothing is known, the
shop that owns the cutter and the maker's safety data sheet are to be asked.
"""

from __future__ import annotations

import re
import unicodedata
from collections.abc import Iterator
from dataclasses import dataclass

from nestkit.build.model import Build, Part
from nestkit.errors import Problem
from nestkit.geometry import LineKind


@dataclass(frozen=True, slots=True)
class Caution:
    """Something to be careful about, and where that is written."""

    text: str
    source: str


@dataclass(frozen=True, slots=True)
class Material:
    """A material as makers name it.

    Parameters
    ----------
    name : str
    aliases : tuple of str
        Lower-case words by which it is recognised, one or several in a row.
    chlorinated : bool
        True when a laser sets chlorine compounds free from it: it is refused for a laser.
    cautions : tuple of Caution
        For cutting it with heat, or, when chlorinated, for keeping it away from heat.
    density : float or None, kg/m^3
        A usual one (common practice, no source); None where it differs too much to name one.
    """

    name: str
    aliases: tuple[str, ...]
    chlorinated: bool = False
    cautions: tuple[Caution, ...] = ()
    density: float | None = None


_HALOGENATED = Caution(
    "Anything halogenated is off limits for a laser, and so is most foam made flame retardant with bromine.",
    "UT Austin, prohibited materials; Purdue BIDC",
)
_VINYL = Caution(
    "Never put PVC, vinyl or imitation leather in a laser: it gives off hydrogen chloride and other "
    "chlorinated compounds, and it corrodes the machine. Keep its offcuts away from the laser too.",
    "UIC fabrication lab, approved materials; K-State Libraries laser guide",
)
_NEOPRENE = Caution(
    "Neoprene (polychloroprene) is a chlorinated rubber: keep it, and its offcuts, out of the laser.",
    "Carnegie Mellon IDeATe; a laser maker's support article on neoprene's combustion products",
)

#: Known materials. A name may match several, as "vinyl-faced EVA" does.
MATERIALS: tuple[Material, ...] = (
    Material(
        "EVA foam",
        ("eva", "ethylene vinyl acetate", "ethylene vinylacetate", "vinyl acetate", "ethylenvinylacetat"),
        cautions=(
            Caution(
                "Heated or burning EVA can release carbon monoxide, vinyl acetate and acetic acid: "
                "ventilate, and keep people and pets away.",
                "Pratt Institute, Give/Take, EVA page, citing a safety data sheet",
            ),
        ),
        density=100.0,
    ),
    Material(
        "polyethylene foam",
        ("pe", "ldpe", "hdpe", "xpe", "ixpe", "epe", "polyethylene", "polythene"),
        cautions=(
            Caution(
                "Polyethylene melts, burns and drips; its foam is a fire risk in a laser.",
                "UT Austin and UIC for polyethylene; a machine vendor's page for the foam",
            ),
        ),
    ),
    Material(
        "polystyrene or polypropylene foam",
        ("xps", "eps", "ps", "hips", "polystyrene", "pp", "epp", "polypropylene"),
        cautions=(
            Caution(
                "Polystyrene and polypropylene foam melt and catch fire; one lab calls polystyrene foam its "
                "number-one cause of laser fires.",
                "UIC fabrication lab; K-State Libraries laser guide",
            ),
        ),
    ),
    Material(
        "polyurethane foam",
        ("pu", "pur", "tpu", "polyurethane", "urethane"),
        cautions=(
            Caution(
                "Burning or charring polyurethane foam yields carbon monoxide, hydrogen cyanide and "
                "isocyanates.",
                "McKenna and Hull, Fire Science Reviews 5:3 (2016); UT Austin, prohibited materials",
            ),
        ),
    ),
    Material("neoprene", ("neoprene", "neopren", "polychloroprene", "cr"), True, (_NEOPRENE,)),
    Material(
        "PVC or vinyl",
        (
            "pvc",
            "cpvc",
            "upvc",
            "pvdc",
            "vinyl",
            "vinyle",
            "polyvinyl chloride",
            "imitation leather",
            "artificial leather",
            "faux leather",
            "leatherette",
        ),
        True,
        (_VINYL,),
    ),
    Material("chlorinated plastic", ("chlorinated", "halogenated", "cpe", "csm"), True, (_HALOGENATED,)),
    Material(
        "flame retardant foam",
        ("brominated", "flame retardant", "flame retarded", "fire retardant", "fr"),
        cautions=(_HALOGENATED,),
    ),
    Material(
        "cardboard or paper",
        ("cardboard", "card", "paper", "paperboard", "greyboard", "grayboard", "chipboard", "kraft"),
    ),
)

# Parts of a word that give a chlorinated material away: "pvcfoam", "polychloropren", "vinyls".
_TELLING = (
    (re.compile("pvc"), "PVC or vinyl"),
    (re.compile("^vinyl(?!acet)"), "PVC or vinyl"),
    (re.compile("neopren|chloropren"), "neoprene"),
    (re.compile("chlor"), "chlorinated plastic"),
)
_DENIALS_BEFORE = {"non", "no", "not", "without"}
_DENIALS_AFTER = {"free"}

_ALIASES = sorted(
    ((tuple(alias.split()), material) for material in MATERIALS for alias in material.aliases),
    key=lambda pair: -len(pair[0]),
)
_BY_NAME = {material.name: material for material in MATERIALS}

_UNKNOWN_SOURCE = "Purdue BIDC"
_LASER = (
    Caution(
        "Some shops ban all foam from their laser, EVA too: ask your shop before you bring it.",
        "Carnegie Mellon IDeATe, prohibited materials",
    ),
    Caution(
        "Never leave a running laser: a person watches every cut, with a CO2 extinguisher in reach and the "
        "bed kept clean.",
        "UAL CCI wiki; Iowa State College of Design; UW-Madison EHS",
    ),
    Caution(
        "Exhaust the fumes outdoors through proper ducting: cutting fumes can contain benzene, toluene, "
        "hydrochloric acid and isocyanates.",
        "UW-Madison EHS, laser cutter safety",
    ),
    Caution(
        "An enclosed cutter is Class 1 only with its interlocks intact; the beam inside harms eyes and skin.",
        "UW-Madison EHS, citing ANSI Z136.1",
    ),
    Caution(
        "Keep solvents and anything flammable away from the laser.",
        "University of California laser manual, quoting NFPA 115",
    ),
    Caution("Let glue dry fully before any heat or laser.", "Carnegie Mellon IDeATe"),
)
_BLADE_DEPTH = Caution(
    "Grooves made with a blade: set its depth stop on a scrap of the same foam first, and lock it. A blade "
    "that goes deeper than the list of folds says cuts through the skin and into whatever lies below.",
    "common practice, no source",
)
_WORKSHOP = (
    Caution("Blades are sharp: cut away from yourself.", "parkwayfoam.com"),
    Caution(
        "Wear eye protection when sanding, grinding or using rotary tools.",
        "29 CFR 1910.133 (OSHA)",
    ),
    Caution(
        "Extract sanding dust and clean it up; wear a respirator when that is not enough.",
        "OSHA, nuisance dust; 29 CFR 1910.134",
    ),
    Caution(
        "Solvent contact cement gives off highly flammable vapour: no flame, heater or spark, and work in "
        "moving air.",
        "safety data sheets of contact cements with naphtha, acetone, toluene or hexane",
    ),
    Caution(
        "Organic solvents can harm the nervous system: keep their vapour out of your breath.",
        "NIOSH Current Intelligence Bulletin 48 (1987)",
    ),
)
_FIRST = Caution(
    "Local rules and the makers' safety data sheets come first: where this list says something else, "
    "follow them.",
    "nestkit",
)


def materials_in(name: str) -> tuple[Material, ...]:
    """The known materials that a material's name speaks of; empty when it is unknown.

    Words count, not case, accents or joining marks: "PVC_foam", "foamed PVC 3mm" and "pvcfoam" are all
    PVC. "Ethylene vinyl acetate" is EVA and not vinyl, and "PVC-free foam" is not PVC.
    """
    words = _words(name)
    denied = {i + 1 for i, word in enumerate(words) if word in _DENIALS_BEFORE}
    denied |= {i - 1 for i, word in enumerate(words) if word in _DENIALS_AFTER}
    found: dict[str, Material] = {}
    taken: set[int] = set()
    for alias, material in _ALIASES:
        for start in range(len(words) - len(alias) + 1):
            place = set(range(start, start + len(alias)))
            if tuple(words[start : start + len(alias)]) == alias and not place & taken:
                taken |= place
                if not place & denied:
                    found[material.name] = material
    for i, word in enumerate(words):
        if i in taken or i in denied:
            continue
        for pattern, material_name in _TELLING:
            if pattern.search(word):
                found[material_name] = _BY_NAME[material_name]
                break
    return tuple(material for material in MATERIALS if material.name in found)


def usual_density(name: str) -> float | None:
    """A usual density of the material that a name speaks of, kg/m^3; None when there is none to name."""
    known = [material.density for material in materials_in(name)]
    return known[0] if len(known) == 1 else None


def is_chlorinated(name: str) -> bool:
    """Whether a material's name speaks of a chlorinated one."""
    return any(material.chlorinated for material in materials_in(name))


def _words(name: str) -> list[str]:
    bare = unicodedata.normalize("NFKD", name.casefold())
    words = re.findall(r"[^\W\d_]+", "".join(c for c in bare if not unicodedata.combining(c)))
    joined: list[str] = []
    spelt = False
    for word in words:
        # "P.V.C." comes as three words of one letter each.
        if len(word) == 1 and spelt:
            joined[-1] += word
        else:
            joined.append(word)
        spelt = len(word) == 1
    return joined


def cautions_for(build: Build) -> tuple[Caution, ...]:
    """What to be careful about in this build, materials first, each once."""
    return tuple(dict.fromkeys((*cutting_cautions(build), *_WORKSHOP, _FIRST)))


def cutting_cautions(build: Build) -> tuple[Caution, ...]:
    """What to be careful about with the materials and the cutter in use, materials first, each once.

    Cautions about heat on a material are given for a laser; those about chlorinated materials always,
    since their offcuts may find their way into one.
    """
    laser = build.cutter.kind == "laser"
    cautions: list[Caution] = []
    for name in _material_names(build):
        known = materials_in(name)
        if not known:
            cautions.append(
                Caution(
                    f"'{name}' is not a material that nestkit knows. If you cannot name the plastic, do not "
                    "cut it: read its safety data sheet first, and ask your shop.",
                    _UNKNOWN_SOURCE,
                )
            )
        for material in known:
            if laser or material.chlorinated:
                cautions.extend(material.cautions)
    if laser:
        cautions.extend(_LASER)
    if _grooved_by_blade(build):
        cautions.append(_BLADE_DEPTH)
    return tuple(dict.fromkeys(cautions))


def refuse_unsafe(build: Build) -> tuple[Problem, ...]:
    """A problem for every sheet and part that a laser must not cut; none for other cutters.

    A chlorinated material passes in a build with a laser only when there are parts of it and all of
    them are cut by hand.
    """
    if build.cutter.kind != "laser":
        return ()
    return tuple(_refused(build))


def _grooved_by_blade(build: Build) -> bool:
    return any(
        line.kind in (LineKind.FOLD, LineKind.BEVEL) and line.angle > 0.0
        for part in build.parts
        if build.cutter.kind != "laser" or part.by_hand
        for line in part.shape.lines
    )


def _refused(build: Build) -> Iterator[Problem]:
    why = "is a chlorinated material, which a laser must not cut: it gives off hydrogen chloride"
    todo = "Take another material, or have every part of it cut by hand and keep it away from the laser"
    listed = {sheet.material for sheet in build.sheets}
    for number, sheet in enumerate(build.sheets, start=1):
        if is_chlorinated(sheet.material) and not _all_by_hand(build, sheet.material):
            where = f"{build.file.name}: sheet[{number}] '{sheet.name}': material"
            yield Problem(where, f"'{sheet.material}' {why}", todo)
    for part in build.parts:
        if part.material not in listed and is_chlorinated(part.material) and not part.by_hand:
            where = f"{build.file.name}: part[{build.number_of(part)}] '{part.name}': material"
            yield Problem(where, f"'{part.material}' {why}", todo)


def _all_by_hand(build: Build, material: str) -> bool:
    parts: list[Part] = [part for part in build.parts if part.material == material]
    return bool(parts) and all(part.by_hand for part in parts)


def _material_names(build: Build) -> tuple[str, ...]:
    names = [sheet.material for sheet in build.sheets] + [part.material for part in build.parts]
    return tuple(dict.fromkeys(names))
