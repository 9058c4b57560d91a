"""What holds for all tests."""

import os

from hypothesis import settings

from nestkit.memory import look_rarely

# In continuous integration the drawn examples are the same each time, so that a change is judged by itself;
# elsewhere they differ from run to run and find what nobody thought of.
settings.register_profile("ci", derandomize=True, deadline=None)
settings.register_profile("default", deadline=None)
settings.load_profile("ci" if os.environ.get("NESTKIT_CI") else "default")

look_rarely()
