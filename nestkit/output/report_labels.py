"""What the report says of the numbers on the copies: where they stand, and which copies have none."""

from __future__ import annotations

from collections.abc import Sequence

from nestkit.build.model import Build
from nestkit.cutting.labels import NO_ROOM, SHOWS, labels_on
from nestkit.cutting.model import Job
from nestkit.output.text import plain


def label_remarks(build: Build, jobs: Sequence[Job]) -> tuple[str, ...]:
    """Sentences; none when nothing is numbered and nothing was to be."""
    numbered = seams = False
    without: dict[str, dict[str, None]] = {SHOWS: {}, NO_ROOM: {}}
    for job in jobs:
        for placed in job.sheet.placed:
            written = labels_on(build, job.sheet, placed)
            numbered |= not written.no_number
            seams |= any(label.text.startswith("(") for label in written.labels)
            if written.no_number in without:
                without[written.no_number][plain(placed.part.name)] = None
    found = []
    if numbered:
        found.append(
            "Copies carry their part's number from the part list, on the face under the cutter. Glue that "
            "face where it is not seen. A number that reads as another one upside down is underlined."
        )
    if seams:
        found.append(
            "Numbers in brackets are those of seams, at the edges that meet: (3) is glued to (3). The list "
            "of what to glue has the same numbers."
        )
    if without[SHOWS]:
        found.append(
            f"Not numbered, because the face under the cutter has marks and is taken for the one that shows: "
            f"{', '.join(without[SHOWS])}. With label = true such a part is numbered all the same."
        )
    if without[NO_ROOM]:
        found.append(f"Not numbered, because there is no room: {', '.join(without[NO_ROOM])}.")
    return tuple(found)
