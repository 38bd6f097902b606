"""What holds for every test: rules that a developer keeps for himself play no part."""

from __future__ import annotations

import os
import tempfile

os.environ["STILLFLOW_RULES"] = ""
# Rules that were loaded once are kept for the commands that a test starts, away from the user's.
_CACHE = tempfile.TemporaryDirectory(prefix="stillflow-cache-")
os.environ["STILLFLOW_CACHE"] = _CACHE.name
