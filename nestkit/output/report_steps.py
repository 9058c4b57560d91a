"""How a job is played in the report: its layers as path data, and the steps in which they are run.

A step is a run of strokes that belong to one copy and one layer, in the order of the cutter file.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import groupby

from nestkit.build.model import Cutter
from nestkit.cutting.model import LABEL_LAYER, MARK_LAYER, Job, Stroke, is_pocket_layer
from nestkit.cutting.times import stroke_seconds
from nestkit.output.lists import cut_order
from nestkit.output.palette import layer_task, running_order
from nestkit.output.svg_path import path_data

_DIGITS = 2
#: Lines that fill an etched area are drawn no denser than this, mm: more can't be told apart.
_DRAWN_PITCH = 1.0


@dataclass(frozen=True, slots=True)
class PlayLayer:
    """A layer of a job.

    Parameters
    ----------
    name, task : str
        ``CUT_OUTSIDE``, "cut outlines through".
    look : "cut", "mark", "label", "area" or "hatch"
        How it is drawn.
    data : str
        SVG path data of all its strokes, in cut order.
    """

    name: str
    task: str
    look: str
    data: str

    @property
    def is_pass(self) -> bool:
        """Whether it is an etched pass of grooves."""
        return self.look in ("area", "hatch")


@dataclass(frozen=True, slots=True)
class Step:
    """A run of strokes of one copy on one layer.

    Parameters
    ----------
    layer : int
        Place in the job's layers.
    end : int
        How many characters of that layer's data are drawn once it is done.
    part : int
        Place of the copy in the order in which copies are cut free.
    paths : int
        How many strokes of the cutter file it is.
    seconds : float
        Time since the job began, once it is done; 0 when the job is cut by hand.
    """

    layer: int
    end: int
    part: int
    paths: int
    seconds: float


@dataclass(frozen=True, slots=True)
class Play:
    """A job's layers in running order, and its steps in cut order."""

    layers: tuple[PlayLayer, ...]
    steps: tuple[Step, ...]


def play_of(job: Job, cutter: Cutter) -> Play:
    """How ``job`` is played; ``cutter`` is that of its foam."""
    height = job.sheet.outline.size[1]
    used = {stroke.layer for stroke in job.strokes}
    names = [name for name in running_order(job) if name in used]
    place_of = {name: place for place, name in enumerate(names)}
    part_of = {(p.part.name, p.copy): place for place, p in enumerate(cut_order(job))}
    data: list[list[str]] = [[] for _ in names]
    lengths = [0] * len(names)
    runs = [
        (key, list(run))
        for key, run in groupby(job.strokes, key=lambda stroke: (stroke.layer, stroke.part, stroke.copy))
    ]
    weights = _seconds(job, cutter)
    # The estimate of the job as a whole counts; the single strokes share it out.
    share = job.seconds / math.fsum(weights) if job.seconds and math.fsum(weights) else 0.0
    steps, done = [], 0
    elapsed = 0.0
    for (layer, name, copy), run in runs:
        place = place_of[layer]
        text = "".join(path_data(stroke.path, height, _DIGITS) for stroke in _thinned(run, job))
        data[place].append(text)
        lengths[place] += len(text)
        elapsed += share * math.fsum(weights[done : done + len(run)])
        done += len(run)
        steps.append(Step(place, lengths[place], part_of[name, copy], len(run), elapsed))
    layers = tuple(
        PlayLayer(name, layer_task(name), _look(name, job), "".join(data[place]))
        for name, place in place_of.items()
    )
    return Play(layers, tuple(steps))


def _look(layer: str, job: Job) -> str:
    if is_pocket_layer(layer):
        return "hatch" if job.etching is not None and job.etching.hatched else "area"
    return {MARK_LAYER: "mark", LABEL_LAYER: "label"}.get(layer, "cut")


def _thinned(run: Sequence[Stroke], job: Job) -> Sequence[Stroke]:
    """The strokes that are drawn: of lines that fill an area, no more than can be told apart."""
    if not is_pocket_layer(run[0].layer) or job.etching is None or not job.etching.hatched:
        return run
    return run[:: max(1, round(_DRAWN_PITCH / job.etching.pitch))]


def _seconds(job: Job, cutter: Cutter) -> list[float]:
    """How long each stroke takes with the way to it, roughly: what counts is its share of the job."""
    etched = [_amount(stroke) if is_pocket_layer(stroke.layer) else 0.0 for stroke in job.strokes]
    all_etched = math.fsum(etched)
    return [
        math.fsum(each) + (job.times.etching * amount / all_etched if all_etched else 0.0)
        for each, amount in zip(stroke_seconds(job.strokes, cutter), etched, strict=True)
    ]


def _amount(stroke: Stroke) -> float:
    """What there is to etch: an area, or a line's length."""
    return abs(stroke.path.signed_area) if stroke.path.closed else stroke.path.length
