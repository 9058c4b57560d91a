"""Plans random builds one after the other in one process, and lets the check judge what was written, twice.

    python benchmarks/soak.py --builds 200 --seed 1

Each build is a file and a drawing as a maker would write them. The verdict on what was written must be that
all is right; then one cutter file is spoilt in one place, and the verdict must be that it is not. Memory must
stay flat: all builds go through the same process.
"""

from __future__ import annotations

import argparse
import ctypes
import gc
import math
import os
import resource
import shutil
import sys
import tempfile
import time
from dataclasses import dataclass, field
from pathlib import Path
from random import Random

import ezdxf

sys.path.insert(0, str(Path(__file__).parents[1]))

from nestkit.build import load_build
from nestkit.checking import check_folder
from nestkit.errors import InputError
from nestkit.output import write_plan
from nestkit.planning import Effort, make_plan

#: Thicknesses of foam, mm.
THICKNESSES = (2, 4, 6, 10)
TURNS = ('"any"', '"half"', '"quarter"', '"none"', "[0, 30, 77]")


def _drawn(chance: Random, number: int) -> str:
    """A part's group in the drawing: an outline, perhaps with a hole, a mark or a fold; 130 mm at most."""
    x, y = 150.0 * (number % 10), 150.0 * (number // 10)
    inside = ""
    if chance.random() < 0.4:
        width, height = chance.uniform(20, 130), chance.uniform(20, 130)
        radius = chance.choice((0.0, chance.uniform(0.5, 9.0)))
        outline = f'<rect x="{x}" y="{y}" width="{width:.3f}" height="{height:.3f}" rx="{radius:.3f}"/>'
        if chance.random() < 0.5:
            centre, size = f'cx="{x + width / 2:.3f}" cy="{y + height / 2:.3f}"', min(width, height) / 5
            inside += f'<circle {centre} r="{size:.3f}"/>'
        elif chance.random() < 0.5:
            inside += (
                f'<path id="p{number}-mark" d="M{x + 5} {y + 5}L{x + width - 5:.3f} {y + height - 5:.3f}"/>'
            )
        elif chance.random() < 0.6:
            angle = chance.choice((30, 60, 90))
            middle = x + width / 2
            inside += f'<path id="p{number} fold {angle}" d="M{middle:.3f} {y}V{y + height:.3f}"/>'
    elif chance.random() < 0.3:
        outline = f'<circle cx="{x + 65}" cy="{y + 65}" r="{chance.uniform(1.0, 60.0):.3f}"/>'
    else:
        count = chance.randint(3, 11)
        spots = [
            (chance.uniform(15, 60), math.tau * (k + chance.uniform(-0.2, 0.2)) / count) for k in range(count)
        ]
        points = [f"{x + 65 + r * math.cos(a):.3f} {y + 65 + r * math.sin(a):.3f}" for r, a in spots]
        curves = chance.random() < 0.3
        way = "".join(f"A90 90 0 0 1 {point}" if curves else f"L{point}" for point in points[1:])
        outline = f'<path d="M{points[0]}{way}Z"/>'
    return f'<g id="p{number}">{outline}{inside}</g>'


def _pattern(chance: Random) -> str:
    """The keys of a part that is developed from sizes."""
    a, b, c = (chance.randint(low, low + 50) for low in (60, 15, 30))
    kinds = {
        "cone": f"lower_diameter = {a}\nupper_diameter = {b}\nheight = {c}\n",
        "ring": f"outer_diameter = {a}\ninner_diameter = {min(b, a - 20)}\nlength = 20\n",
        "wrap": f"around = {c}\nheight = {a}\n",
        "box": f"width = {a}\ndepth = {c + 20}\nheight = 40\n",
        "dome": f"diameter = {a + 20}\ngores = 6\nbands = 2\n",
    }
    kind = chance.choice(sorted(kinds))
    return f'pattern = "{kind}"\n{kinds[kind]}'


def write_build(folder: Path, chance: Random) -> Path:
    """A random build file with its drawing."""
    parts, groups = [], []
    used = sorted(chance.sample(THICKNESSES, chance.randint(1, 2)))
    for number in range(chance.randint(1, 7)):
        thickness = chance.choice(used)
        lines = [f'[[part]]\nname = "part {number}"\nthickness = {thickness}\n']
        drawn = chance.random() < 0.8
        if not drawn:
            lines.append(_pattern(chance))
        else:
            groups.append(_drawn(chance, number))
            lines.append(f'from = "parts.svg#p{number}"\n')
        # A developed part is many pieces, each with hundreds of etched lines: two of it are plenty.
        quantity = chance.randint(1, 5 if drawn else 2)
        lines.append(f"quantity = {quantity}\nspares = {chance.choice((0, 0, 1))}\n")
        if drawn and quantity % 2 == 0 and chance.random() < 0.4:
            lines.append("mirrored_pairs = true\n")
        lines.append(f"turns = {chance.choice(TURNS)}\n")
        if chance.random() < 0.15:
            lines.append("by_hand = true\n")
        parts.append("".join(lines))
    kerf = chance.choice((0.0, 0.15, 0.4))
    kind = chance.choice(("laser", "laser", "knife", "hand"))
    bed = chance.choice(("[900, 600]", "[300, 200]", "[180, 260]"))
    sheets = "".join(
        f'[[sheet]]\nmaterial = "eva"\nthickness = {t}\nsize = [{w}, {h}]\nprice = 5\nin_shop = {n}\n'
        for t in used
        for w, h, n in ((500, 300, chance.randint(0, 2)), (300, 200, 1))
    )
    text = (
        f'[build]\nname = "Soak"\n[layout]\ngap = {chance.choice((0.0, 1.0, 3.0))}\n'
        f"margin = {chance.choice((0.0, 5.0))}\n"
        f'[cutter]\nkind = "{kind}"\nbed = {bed}\nkerf = {kerf}\n'
        f"area_mode = {chance.choice(('true', 'false'))}\npitch = {chance.choice((0.3, 0.5))}\n"
    )
    page = 'width="1500mm" height="300mm" viewBox="0 0 1500 300"'
    shown = f'<g fill="none" stroke="#000">{"".join(groups)}</g>'
    (folder / "parts.svg").write_text(f'<svg xmlns="http://www.w3.org/2000/svg" {page}>{shown}</svg>')
    file = folder / "build.toml"
    file.write_text(text + sheets + "".join(parts))
    return file


def spoil(folder: Path, chance: Random) -> str:
    """Spoil one cut of one cutter file; says how."""
    file = chance.choice(sorted((folder / "jobs").glob("*.dxf")))
    document = ezdxf.readfile(file)
    space = document.modelspace()
    cuts = [entity for entity in space if entity.dxf.layer == "CUT_OUTSIDE"]
    cut = chance.choice(cuts)
    how = chance.choice(("deleted", "moved", "doubled", "opened", "larger"))
    points = cut.get_points("xyb")
    if how == "deleted":
        space.delete_entity(cut)
    elif how == "moved":
        cut.set_points([(x + 1.0, y, b) for x, y, b in points], format="xyb")
    elif how == "doubled":
        space.add_entity(cut.copy())
    elif how == "opened":
        cut.closed = False
    else:
        x0, y0, _ = points[0]
        cut.set_points([(x0 + 1.1 * (x - x0), y0 + 1.1 * (y - y0), b) for x, y, b in points], format="xyb")
    document.saveas(file)
    return f"{how} in {file.name}"


@dataclass
class Soaked:
    """What a number of builds came to."""

    builds: int = 0
    refused: int = 0
    copies: int = 0
    left_out: int = 0
    sheets: int = 0
    right: int = 0
    spoilt: int = 0
    found: int = 0
    wrong: list[str] = field(default_factory=list)
    memory: list[float] = field(default_factory=list)

    @property
    def flat(self) -> bool:
        """Whether the second half of the run held no more than a tenth above the most of the first half."""
        half = len(self.memory) // 2
        return half == 0 or max(self.memory[half:]) <= 1.1 * max(self.memory[:half])


def resident() -> float:
    """Memory that this process holds at the moment, MB.

    What is free but not yet given back goes first: how much that is hangs on the largest build so far.
    """
    gc.collect()
    if sys.platform == "linux" and hasattr(library := ctypes.CDLL(None), "malloc_trim"):
        library.malloc_trim(0)
    pages = int(Path("/proc/self/statm").read_text().split()[1])
    return pages * os.sysconf("SC_PAGE_SIZE") / 1e6


def soak(builds: int, seed: int, rounds: int = 2) -> Soaked:
    """Plan and judge so many builds."""
    result = Soaked()
    with tempfile.TemporaryDirectory() as top:
        for number in range(builds):
            chance = Random(f"{seed}-{number}")
            folder = Path(top) / str(number)
            folder.mkdir()
            _one(result, folder, chance, f"build {number} of seed {seed}", rounds)
            shutil.rmtree(folder)
            if number % 10 == 9:
                result.memory.append(resident())
                told = f"{number + 1} builds, {len(result.wrong)} wrong, {result.memory[-1]:.0f} MB"
                print(told, *result.wrong, sep="\n  ", file=sys.stderr, flush=True)
    return result


def _one(result: Soaked, folder: Path, chance: Random, name: str, rounds: int) -> None:
    result.builds += 1
    try:
        build = load_build(write_build(folder, chance))
    except InputError:
        result.refused += 1
        return
    planned = make_plan(build, Effort(rounds=rounds))
    out = folder / "out"
    left_out = {(copy.part.name, copy.copy) for copy in planned.plan.unplaced}
    result.left_out += len(left_out)
    placed = sum(len(sheet.placed) for sheet in planned.plan.sheets)
    if placed + len(left_out) != sum(part.copies for part in build.parts):
        result.wrong.append(f"{name}: copies are lost")
    if not planned.plan.sheets:
        return
    write_plan(build, planned.plan, planned.jobs, out)
    result.copies += placed
    result.sheets += len(planned.plan.sheets)
    verdict = check_folder(out)
    told = {finding.code for part in build.parts for finding in part.findings}
    faults = [
        fault
        for fault in verdict.faults
        if not (fault.code == "left-out" and (fault.part, fault.copy) in left_out) and fault.code not in told
    ]
    if faults:
        result.wrong.append(f"{name}: {faults[0]}")
    else:
        result.right += 1
    how = spoil(out, chance)
    result.spoilt += 1
    after = check_folder(out)
    if after.codes > verdict.codes or len(after.faults) > len(verdict.faults):
        result.found += 1
    else:
        result.wrong.append(f"{name}: not found: {how}")


def main() -> None:
    """The command line."""
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter
    )
    parser.add_argument("--builds", type=int, default=200)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--rounds", type=int, default=2)
    asked = parser.parse_args()
    start = time.process_time()
    found = soak(asked.builds, asked.seed, asked.rounds)
    heads = ["builds", "refused", "copies placed", "left out", "sheets", "right", "spoilt", "found"]
    cells = [found.builds, found.refused, found.copies, found.left_out, found.sheets, found.right]
    print(f"| {' | '.join(heads)} |\n" + "|---" * len(heads) + "|")
    print(f"| {' | '.join(f'{cell:,}' for cell in [*cells, found.spoilt, found.found])} |")
    print(f"memory, MB, each ten builds: {' '.join(f'{each:.0f}' for each in found.memory)}")
    print(f"memory is {'flat' if found.flat else 'NOT flat'}")
    most = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1e3
    print(f"{most:.0f} MB at most, {time.process_time() - start:.0f} s of processor time")
    print(*found.wrong, sep="\n")
    sys.exit(1 if found.wrong or not found.flat else 0)


if __name__ == "__main__":
    main()
