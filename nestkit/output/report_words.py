"""How the report says times, money and lengths, and what is certain about a group's sheets."""

from __future__ import annotations

from nestkit.build.model import Cutter
from nestkit.cutting.model import Times
from nestkit.nesting.model import Group
from nestkit.nesting.proofs import ProvenBy
from nestkit.output.text import show_number
from nestkit.units import KG_PER_POUND, Unit, mm_per, show_length


def show_time(seconds: float) -> str:
    """A time as a person says it: ``50 s``, ``3 min 20 s``, ``12 min``, ``1 h 05 min``."""
    if seconds < 59.5:
        return f"{round(seconds)} s"
    if seconds < 599.5:
        whole = round(seconds)
        return f"{whole // 60} min {whole % 60:02d} s"
    minutes = round(seconds / 60.0)
    return f"{minutes} min" if minutes < 60 else f"{minutes // 60} h {minutes % 60:02d} min"


def time_parts(times: Times) -> str:
    """What a time is made of, longest first: ``cutting 12 min, travel 50 s``."""
    named = {
        "cutting": times.cutting,
        "marks": times.marking,
        "travel": times.travel,
        "etching": times.etching,
        "starts": times.starts,
    }
    longest = sorted(named.items(), key=lambda each: -each[1])
    return ", ".join(f"{name} {show_time(seconds)}" for name, seconds in longest if seconds >= 0.5)


def estimate_words(cutter: Cutter, unit: Unit, etched: bool) -> str:
    """What times on the cutter are reckoned from, and how a measured time betters them."""

    def speed(mm: float) -> str:
        return f"{show_length(mm, unit)}/s"

    made = [
        f"cuts at {speed(cutter.cut_speed)}",
        f"marks and labels at {speed(cutter.mark_speed)}",
        f"ways between at {speed(cutter.travel_speed)}",
    ]
    if etched:
        pitch = show_kerf(cutter.pitch, unit)
        made.append(f"etched lines at {speed(cutter.etch_speed)}, {pitch} apart")
    if cutter.start_time:
        made.append(f"{show_number(cutter.start_time, 2)} s to begin a path")
    if cutter.acceleration is None:
        made.append("always at full speed, for the build file gives no acceleration")
    else:
        made.append(f"gaining and losing speed at {show_length(cutter.acceleration, unit)}/s²")
    better = "Time one job: measured over estimated"
    if cutter.time_factor != 1.0:
        factor = show_number(cutter.time_factor, 4)
        made.append(f"all of it times {factor}")
        better += f", times {factor},"
    return f"Times are estimates: {'; '.join(made)}. {better} is the time_factor for your machine."


def show_money(value: float) -> str:
    """``12.50``."""
    return f"{value:.2f}"


def show_kerf(mm: float, unit: Unit) -> str:
    """Finer than other lengths, which leave out the second digit after the point."""
    return f"{show_number(mm / mm_per(unit), 2 if unit == 'mm' else 4)} {unit}"


def show_long(mm: float, unit: Unit) -> str:
    """A length of many sheets: metres or feet."""
    return f"{mm / 1000.0:.1f} m" if unit == "mm" else f"{mm / (12.0 * mm_per(unit)):.0f} ft"


def show_weight(kg: float, unit: Unit) -> str:
    """``850 g``, ``1.9 kg``; ``1 lb 14 oz`` where the build speaks inches."""
    if unit == "in":
        ounces = round(kg / KG_PER_POUND * 16.0)
        return f"{ounces} oz" if ounces < 16 else f"{ounces // 16} lb {ounces % 16} oz"
    return f"{round(kg * 1000.0, -1):.0f} g" if kg < 0.995 else f"{kg:.1f} kg"


def show_proof(group: Group) -> str:
    """What is certain about the number of sheets, and what proves it."""
    why = _WHY[group.proven_by]
    if group.proven and group.at_any_price:
        return f"no plan can do with fewer: {why}"
    if group.proven:
        return f"no plan is cheaper, and none as cheap can do with fewer: {why}"
    least = group.sheets_at_least
    told = f"at least {least} {'is' if least == 1 else 'are'} certainly needed"
    return told if least <= 1 else f"{told}: {why}"


_WHY: dict[ProvenBy, str] = {
    "area": "by the parts' area",
    "widths": "by the parts' widths and heights",
    "sharing": "some parts can't share a sheet",
    "together": "by areas, widths and what can't share a sheet, taken together",
    "rectangles": "the parts are rectangles, and fewer sheets were ruled out one by one",
}
