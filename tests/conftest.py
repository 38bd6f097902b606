"""What holds for every test: rules that a developer keeps for himself play no part."""

from __future__ import annotations

import os

os.environ["STILLFLOW_RULES"] = ""
