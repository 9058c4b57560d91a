"""Prints one of the README's two commands, so that CI runs what is written there.

usage: readme_commands.py 1|2
"""

from __future__ import annotations

import re
import sys
from pathlib import Path

README = Path(__file__).parent.parent / "README.md"


def commands() -> list[str]:
    """The README's shell commands, in order."""
    return _blocks("sh")


def programs() -> list[str]:
    """The README's Python programs, in order."""
    return _blocks("python")


def _blocks(language: str) -> list[str]:
    found = re.findall(rf"^```{language}\n(.*?)^```", README.read_text(), re.S | re.M)
    return [block.strip() for block in found]


if __name__ == "__main__":
    print(commands()[int(sys.argv[1]) - 1])
