"""What holds for every test: rules that a developer keeps for himself play no part."""

from __future__ import annotations

import gc
import os
import tempfile
from contextlib import suppress

# Tables are small, and several workers share the cores: one thread each, before numpy is imported.
os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")

# The programs that tests start are compiled once, as they are when they are installed.
os.environ.pop("PYTHONDONTWRITEBYTECODE", None)

# Charts, cases and rules stay for the tests that share them, and looking for garbage among them
# again and again takes a twelfth of the run. The command line does likewise.
gc.set_threshold(100_000, 20, 20)


def pytest_collection_finish() -> None:
    gc.collect()
    gc.freeze()


# The newest Python has no hypothesis yet; what is run there draws nothing.
with suppress(ModuleNotFoundError):
    from hypothesis import Phase, settings

    # How long one example takes is the machine's affair, and of what else runs on it.
    settings.register_profile("stillflow", deadline=None)
    # Where faults are planted, that a test fails is all that counts.
    settings.register_profile(
        "mutants",
        deadline=None,
        database=None,
        report_multiple_bugs=False,
        phases=(Phase.explicit, Phase.generate),
    )
    settings.load_profile("stillflow")

os.environ["STILLFLOW_RULES"] = ""
# Rules that were loaded once are kept for the commands that a test starts, away from the user's.
_CACHE = tempfile.TemporaryDirectory(prefix="stillflow-cache-")
os.environ["STILLFLOW_CACHE"] = _CACHE.name
