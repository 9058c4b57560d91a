"""``python -m nestkit`` is the same as ``nestkit``."""

from nestkit.cli import main

if __name__ == "__main__":
    main()
