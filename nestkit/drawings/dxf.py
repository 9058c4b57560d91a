"""DXF drawings, read into paths in millimetres."""

from __future__ import annotations

import gc
import logging
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path as FilePath
from typing import Any

from nestkit.drawings.dxf_walk import Walk
from nestkit.drawings.model import Drawing
from nestkit.errors import DrawingError, Finding
from nestkit.geometry import FLATNESS
from nestkit.units import MM_PER_INSUNITS

#: Larger files are refused: reading takes about forty times their size in memory.
LARGEST_FILE = 50_000_000

_BINARY = b"AutoCAD Binary DXF"

# Without a handler of its own ezdxf's warnings about damaged files would land on the terminal.
logging.getLogger("ezdxf").addHandler(logging.NullHandler())


def read_dxf(file: FilePath, name: str | None = None, tolerance: float = FLATNESS) -> Drawing:
    """Reads a DXF file's modelspace.

    Parameters
    ----------
    file : pathlib.Path
        ASCII or binary DXF, whole or damaged.
    name : str, optional
        How messages call the file; its own name when not given.
    tolerance : float, mm
        Ellipses, splines and arcs in unevenly scaled blocks are flattened within this; other arcs stay arcs.

    Returns
    -------
    Drawing
        Names are, innermost first: handle, layer, then for each insert around it the block's name and the
        insert's layer. What lies on layer 0 of a block takes the insert's layer.

    Raises
    ------
    DrawingError
        When nothing in the file can be used: no DXF, too large, damaged beyond reading.
    """
    shown = name or file.name
    findings: list[Finding] = []
    with _no_collecting():
        document = _load(file, shown, findings)
        try:
            mm, known = _unit(file, document, shown, findings)
            walk = Walk(document, shown, mm, tolerance)
            walk.run()
        except DrawingError:
            raise
        except Exception as error:  # tables and blocks of a damaged file fail anywhere in ezdxf
            raise _damaged(shown) from error
    return Drawing(shown, tuple(walk.paths), (*findings, *walk.findings()), unit_known=known)


def _load(file: FilePath, shown: str, findings: list[Finding]) -> Any:
    """The ezdxf document, mended if need be."""
    import ezdxf
    from ezdxf import recover

    try:
        size = file.stat().st_size
        if size > LARGEST_FILE:
            raise DrawingError.one(
                shown,
                f"the file has {size / 1e6:.0f} MB, and the most that is read is {LARGEST_FILE / 1e6:.0f} MB",
                "Keep only what is to be cut, or split it into several files",
            )
        data = file.read_bytes()
    except OSError as error:
        what = f"can't be read: {error.strerror or error}"
        raise DrawingError.one(shown, what, "See that you may read it") from error
    if data[:4] == b"AC10" and data[4:6].isdigit():
        raise DrawingError.one(shown, "is a DWG file", "Save it as DXF")
    if not data.startswith(_BINARY) and b"SECTION" not in data:
        raise DrawingError.one(shown, "is no DXF file", "Save the drawing as DXF again")
    try:
        return ezdxf.readfile(str(file))
    except Exception:  # damaged: what ezdxf raises then is not one class
        try:
            document, _ = recover.readfile(str(file))
        except Exception as error:
            raise _damaged(shown) from error
    findings.append(
        Finding("file-damaged", "the file is damaged; what could be saved was read", mended=True, file=shown)
    )
    return document


@contextmanager
def _no_collecting() -> Iterator[None]:
    """Python's collector off for a while: it would look again and again through objects that all stay."""
    was_on = gc.isenabled()
    gc.disable()
    try:
        yield
    finally:
        if was_on:
            gc.enable()


def _damaged(shown: str) -> DrawingError:
    return DrawingError.one(
        shown, "the file is too damaged to be read", "Open it in the program that drew it and save it again"
    )


def _unit(file: FilePath, document: Any, shown: str, findings: list[Finding]) -> tuple[float, bool]:
    """Millimetres in a drawing unit, and whether the file says so."""
    # ezdxf gives a file without a header one of its own, which says metres: only the file's word counts.
    code = document.header.get("$INSUNITS", 0) if b"$INSUNITS" in file.read_bytes() else 0
    mm = MM_PER_INSUNITS.get(code) if isinstance(code, int) else None
    if mm is not None:
        return mm, True
    findings.append(
        Finding(
            "unit-missing",
            "the drawing does not say how long its unit is; millimetres are assumed",
            "Set the drawing's unit (insertion units, $INSUNITS) and save it again, or name the unit in the"
            " build file under [drawing_units].",
            file=shown,
        )
    )
    return 1.0, False
