"""The chart of a comparison: money and waste over size, cliffs marked, one line for each thickness."""

from __future__ import annotations

import io
from typing import Any

from nestkit.output.palette import (
    BLUE,
    BLUISH_GREEN,
    ORANGE,
    REDDISH_PURPLE,
    SKY_BLUE,
    VERMILLION,
    css,
)
from nestkit.scales.model import Comparison, GroupKey, GroupResult
from nestkit.scales.words import foam_name, unit_of
from nestkit.units import mm_per

#: Lines are told apart by colour and by marker; both repeat only after all were used.
_COLOURS = (BLUE, VERMILLION, BLUISH_GREEN, ORANGE, REDDISH_PURPLE, SKY_BLUE)
_MARKERS = ("o", "s", "^", "D", "v", "P")
_INK, _SOFT, _RULE = "#17212b", "#4a5763", "#d5dbe0"

#: Inches, and dots in one of the PNG.
_SIZE = (10.0, 6.4)
_DPI = 160
#: Width and height of the words at a cliff, as shares of the upper picture, and its height, in points.
_WORDS, _HEIGHT = (0.075, 0.07), 220.0


def chart_files(comparison: Comparison) -> dict[str, bytes]:
    """``png`` and ``svg``: the same picture twice; the same comparison gives the same bytes."""
    # Imported when it is needed: it takes half a second. The figure is drawn without a window system.
    import matplotlib
    from matplotlib.backends.backend_agg import FigureCanvasAgg
    from matplotlib.figure import Figure

    style = {
        "svg.hashsalt": "nestkit",
        "svg.fonttype": "none",
        "font.size": 10,
        "axes.edgecolor": _SOFT,
        "text.color": _INK,
        "axes.labelcolor": _INK,
        "xtick.color": _SOFT,
        "ytick.color": _SOFT,
    }
    with matplotlib.rc_context(style):
        figure = Figure(figsize=_SIZE, layout="constrained")
        FigureCanvasAgg(figure)
        _draw(figure, comparison)
        files = {}
        for kind, more in (
            ("png", {"dpi": _DPI, "metadata": {"Software": None}}),
            ("svg", {"metadata": {"Date": None}}),
        ):
            data = io.BytesIO()
            figure.savefig(data, format=kind, **more)
            files[kind] = data.getvalue()
    return files


def _draw(figure: Any, comparison: Comparison) -> None:
    money, waste = figure.subplots(2, 1, sharex=True, height_ratios=(3, 2))
    factor = _factor(comparison)
    scales = [size.scale for size in comparison.sizes]
    for place, key in enumerate(comparison.groups):
        known = _known(comparison, key)
        at = [scale * factor for scale in known]
        colour, marker = css(_COLOURS[place % len(_COLOURS)]), _MARKERS[place % len(_MARKERS)]
        sampled = [k for k, scale in enumerate(known) if scale in scales]
        look = {"color": colour, "marker": marker, "markersize": 5, "markevery": sampled, "linewidth": 1.8}
        name = foam_name(comparison, key)
        money.plot(at, [group.cost for group in known.values()], label=name, **look)
        waste.plot(at, [100.0 * group.waste for group in known.values()], **look)
    if len(comparison.groups) > 1:
        sums = _sums(comparison)
        at = [scale * factor for scale in sums]
        money.plot(at, list(sums.values()), color=_INK, linewidth=1.2, linestyle=":", label="in all")
    money.set_ylabel("money for sheets")
    waste.set_ylabel("waste (%)")
    waste.set_ylim(0.0, 100.0)
    money.set_ylim(bottom=0.0)
    money.margins(y=0.14)
    if _shade_short(money, comparison, factor):
        _shade_short(waste, comparison, factor)
        money.fill_between([], [], color="#f6e3d3", label="something is left out")
    figure.legend(loc="outside upper left", frameon=False, ncols=min(6, len(comparison.groups) + 2))
    for axes in (money, waste):
        axes.grid(axis="y", color=_RULE, linewidth=0.8)
        axes.set_axisbelow(True)
        axes.spines[["top", "right"]].set_visible(False)
        for place, key in enumerate(comparison.groups):
            for cliff in (each for each in comparison.cliffs if each.below[1].key == key):
                axes.axvline(
                    cliff.below[0] * factor,
                    color=css(_COLOURS[place % len(_COLOURS)]),
                    linewidth=0.9,
                    linestyle=(0, (4, 3)),
                    alpha=0.75,
                )
    _mark_cliffs(money, comparison, factor)
    waste.set_xlabel(_axis(comparison))
    if comparison.reference:
        above = money.secondary_xaxis("top", functions=(lambda x: x / factor, lambda x: x * factor))
        above.set_xlabel("scale")
        above.spines["top"].set_color(_RULE)


def _mark_cliffs(axes: Any, comparison: Comparison, factor: float) -> None:
    """Says at each cliff how many sheets it is before and after; no two lie on each other."""
    jumps = [cliff for cliff in comparison.cliffs if cliff.below[1].sheets != cliff.above[1].sheets]
    colours = {key: css(_COLOURS[n % len(_COLOURS)]) for n, key in enumerate(comparison.groups)}
    (left, right), (low, high) = axes.get_xlim(), axes.get_ylim()
    taken: list[tuple[float, float]] = []
    for cliff in sorted(jumps, key=lambda cliff: cliff.below[0]):
        at = (cliff.below[0] + cliff.above[0]) / 2.0 * factor
        cost = max(cliff.below[1].cost, cliff.above[1].cost)
        # Shares of the picture, about as wide and as high as the words are.
        x, y = (at - left) / (right - left), (cost - low) / (high - low)
        while any(abs(x - other) < _WORDS[0] and abs(y - beside) < _WORDS[1] for other, beside in taken):
            y += _WORDS[1]
        taken.append((x, y))
        axes.annotate(
            f"{cliff.below[1].sheets} \N{RIGHTWARDS ARROW} {cliff.above[1].sheets}",
            (at, cost),
            xytext=(4, 5 + (y - (cost - low) / (high - low)) * _HEIGHT),
            textcoords="offset points",
            fontsize=9,
            color=colours[cliff.below[1].key],
            fontweight="bold",
        )


def _known(comparison: Comparison, key: GroupKey) -> dict[float, GroupResult]:
    """All that is known of a group: at the sizes, and on both sides of its cliffs."""
    found = {size.scale: group for size in comparison.sizes for group in size.groups if group.key == key}
    for cliff in comparison.cliffs:
        for scale, group in (cliff.below, cliff.above):
            if group.key == key:
                found.setdefault(scale, group)
    return dict(sorted(found.items()))


def _sums(comparison: Comparison) -> dict[float, float]:
    """Money for all groups at every scale of which anything is known; between them nothing changes."""
    known = [_known(comparison, key) for key in comparison.groups]
    found = {}
    for scale in sorted({scale for group in known for scale in group}):
        costs = [[each.cost for at, each in group.items() if at <= scale] for group in known]
        found[scale] = sum(cost[-1] for cost in costs if cost)
    return found


def _shade_short(axes: Any, comparison: Comparison, factor: float) -> bool:
    """Shades the sizes at which something is left out, from the first of them on; whether there are any."""
    short = [size.scale for size in comparison.sizes if size.left_out]
    short += [c.above[0] for c in comparison.cliffs if c.above[1].left_out and not c.below[1].left_out]
    if not short:
        return False
    last = max(size.scale for size in comparison.sizes)
    axes.axvspan(min(short) * factor, last * factor, color="#f6e3d3", linewidth=0, zorder=0, label="_short")
    return True


def _factor(comparison: Comparison) -> float:
    """From a scale to what the axis shows."""
    if not comparison.reference:
        return 1.0
    return comparison.drawn_length / mm_per(unit_of(comparison))


def _axis(comparison: Comparison) -> str:
    if not comparison.reference:
        return "scale"
    return f"length of {comparison.reference} ({comparison.unit})"
