"""A job as a DXF file: millimetres, one layer for each kind of work, in cut order.

R2010, or R12 for old controllers: that one has POLYLINE in place of LWPOLYLINE, no true colours, and no
variable that names the unit. There the unit stands in a comment at the file's head, for people, and
with the layer SHEET, for `nestkit check`.

References
----------
DXF reference (Autodesk), R12 and 2010: group codes 999 (comment), 70 and 42 of POLYLINE and its VERTEX,
1000 to 1071 (extended data); $INSUNITS came after R12.
"""

from __future__ import annotations

import io
from collections.abc import Iterator
from contextlib import contextmanager

import ezdxf
from ezdxf.document import Drawing
from ezdxf.entities import LWPolyline, Polyline

from nestkit.build.model import DxfVersion
from nestkit.cutting.model import SHEET_LAYER, Job, pocket_layer
from nestkit.geometry import Path
from nestkit.output.palette import layer_colour, layer_task, running_order
from nestkit.output.text import number, plain

#: Application id under which each entity carries its part (group 1000) and copy (group 1071).
APP_ID = "NESTKIT"

#: $INSUNITS of millimetres.
MILLIMETRES = 4
R12_COMMENT = "999\nAll lengths are millimetres\n"
#: What R12 programs read (ezdxf names it in $DWGCODEPAGE); other characters are written as codes.
R12_CODE_PAGE = "cp1252"

# Coordinates finer than this say nothing about foam, and make the files twice as long.
_DIGITS = 6


@contextmanager
def _fixed_dates_and_ids() -> Iterator[None]:
    """Lets ezdxf write the same dates and ids each time, so that the same job gives the same bytes."""
    before = ezdxf.options.write_fixed_meta_data_for_testing
    ezdxf.options.write_fixed_meta_data_for_testing = True
    try:
        yield
    finally:
        ezdxf.options.write_fixed_meta_data_for_testing = before


def dxf_bytes(job: Job, version: DxfVersion = "R2010") -> bytes:
    """The job's DXF file.

    The sheet's edge comes first, then the strokes in cut order. Arcs are bulges.

    Raises
    ------
    ValueError
        When a stroke lies on a layer that no job has.
    """
    with _fixed_dates_and_ids():
        # R12 knows neither variable, and ezdxf warns of a unit that it leaves out.
        document = ezdxf.new(version, setup=False, units=0 if version == "R12" else ezdxf.units.MM)
        if version != "R12":
            document.header["$INSUNITS"] = MILLIMETRES
            document.header["$MEASUREMENT"] = 1
        document.appids.new(APP_ID)
        _add_layers(document, job)
        _add_strokes(document, job)
        _set_extents(document, job)
        # ezdxf would add the same classes from a set, in another order each time.
        for kind in sorted(document.entitydb.dxf_types_in_use()):
            document.classes.add_class(kind)
        text = io.StringIO(newline="\n")
        document.write(text)
    if version == "R12":
        return (R12_COMMENT + text.getvalue()).encode(R12_CODE_PAGE, errors="dxfreplace")
    return text.getvalue().encode("utf-8", errors="dxfreplace")


def _add_layers(document: Drawing, job: Job) -> None:
    document.layers.remove("Defpoints")
    for name in running_order(job):
        colour = layer_colour(name)
        layer = document.layers.add(name, color=colour.indexed, plot=name != SHEET_LAYER)
        layer.rgb = colour.rgb
        layer.description = layer_task(name)
    told = {"insunits": float(MILLIMETRES)} if document.dxfversion == ezdxf.DXF12 else {}
    # How deep each pass leaves the foam stands in the file itself, so that it can be judged alone.
    if job.etching is not None:
        steps = job.etching.steps
        for place, depth in enumerate(steps.depths, start=1):
            layer = document.layers.get(pocket_layer(place))
            layer.description = f"{layer_task(pocket_layer(place))}, {depth:.2f} mm deep after it"
            layer.set_xdata(APP_ID, [(1000, "depth"), (1040, number(depth, _DIGITS))])
        told |= {"thickness": steps.thickness, "skin": steps.skin}
        if job.etching.hatched:
            told["pitch"] = job.etching.pitch
    if told:
        rows = [row for name, mm in told.items() for row in ((1000, name), (1040, number(mm, _DIGITS)))]
        document.layers.get(SHEET_LAYER).set_xdata(APP_ID, rows)


def _add_strokes(document: Drawing, job: Job) -> None:
    space = document.modelspace()

    def add(path: Path, layer: str) -> LWPolyline | Polyline:
        rows = [(number(x, _DIGITS), number(y, _DIGITS), float(b)) for x, y, b in path.vertices]
        if document.dxfversion == ezdxf.DXF12:
            return space.add_polyline2d(rows, format="xyb", close=path.closed, dxfattribs={"layer": layer})
        return space.add_lwpolyline(rows, format="xyb", close=path.closed, dxfattribs={"layer": layer})

    for ring in job.sheet.outline.rings():
        add(ring, SHEET_LAYER)
    for stroke in job.strokes:
        entity = add(stroke.path, stroke.layer)
        entity.set_xdata(APP_ID, [(1000, plain(stroke.part)), (1071, stroke.copy)])


def _set_extents(document: Drawing, job: Job) -> None:
    boxes = [job.sheet.outline.bounds, *(stroke.path.bounds for stroke in job.strokes)]
    x0, y0 = min(box[0] for box in boxes), min(box[1] for box in boxes)
    x1, y1 = max(box[2] for box in boxes), max(box[3] for box in boxes)
    space = document.modelspace()
    space.reset_extents((x0, y0, 0.0), (x1, y1, 0.0))
    # ezdxf takes a corner at the origin for a missing one and would not hand it on to the header.
    document.header["$EXTMIN"], document.header["$EXTMAX"] = (x0, y0, 0.0), (x1, y1, 0.0)
    space.reset_limits((x0, y0), (x1, y1))
    document.set_modelspace_vport(height=(y1 - y0) * 1.05, center=((x0 + x1) / 2.0, (y0 + y1) / 2.0))
