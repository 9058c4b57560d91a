"""What the report says of the numbers on the copies: where they stand, and which copies have none."""

from __future__ import annotations

from collections.abc import Sequence

from nestkit.build.model import Build
from nestkit.cutting.labels import NO_ROOM, SHOWS, labels_on
from nestkit.cutting.model import Job
from nestkit.output.text import plain


def label_remarks(build: Build, jobs: Sequence[Job]) -> tuple[str, ...]:
    """Sentences; none when nothing is numbered and nothing was to be."""
    numbered = False
    without: dict[str, dict[str, None]] = {SHOWS: {}, NO_ROOM: {}}
    for job in jobs:
        for placed in job.sheet.placed:
            labels = labels_on(build, job.sheet, placed)
            if not isinstance(labels, str):
                numbered = True
            elif labels in without:
                without[labels][plain(placed.part.name)] = None
    found = []
    if numbered:
        found.append(
            "Each copy carries its part's number from the part list, on the face under the cutter. Glue that "
            "face where it is not seen. A number that reads as another one upside down is underlined."
        )
    if without[SHOWS]:
        found.append(
            f"Not numbered, because the face under the cutter has marks and is taken for the one that shows: "
            f"{', '.join(without[SHOWS])}. With label = true such a part is numbered all the same."
        )
    if without[NO_ROOM]:
        found.append(f"Not numbered, because there is no room: {', '.join(without[NO_ROOM])}.")
    return tuple(found)
