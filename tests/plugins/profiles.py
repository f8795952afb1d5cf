"""How hypothesis draws its examples: at random on a desk, the same ones each time in CI.

`--hypothesis-profile=NAME` chooses one by hand.
"""

from __future__ import annotations

import os

from hypothesis import settings

settings.register_profile("desk", deadline=None)
settings.register_profile("ci", deadline=None, derandomize=True, database=None, print_blob=True)
settings.load_profile("ci" if os.environ.get("CI", "").lower() == "true" else "desk")
