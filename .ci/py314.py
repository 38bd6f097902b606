"""Run inside Python 3.14 (see py314.mjs): the tests of the rules run forward, by pytest.

The product's folders become the namespace package `stillflow`, as setuptools' package-dir makes it.
No numpy wheel for this interpreter is on the package index, and running rules forward needs none:
its place is held by a module that answers to any name, only so that the packages' faces import.
"""

import sys
import types
from pathlib import Path
from unittest import mock

import pytest

assert sys.version_info >= (3, 14), sys.version
numpy = mock.MagicMock(__version__="0", __spec__=None)
sys.modules.update({"numpy": numpy, "numpy.typing": numpy.typing})
home = types.ModuleType("stillflow")
home.__path__ = ["/repository"]
sys.modules["stillflow"] = home
sys.dont_write_bytecode = True
tests = Path("/repository/tests/engine/inference")
sys.stdout.write(f"Python {sys.version.split()[0]}\n")
int(
    pytest.main(
        [
            "-p",
            "no:cacheprovider",
            f"--config-file={tests.parents[2] / 'pyproject.toml'}",
            str(tests / "test_production.py"),
            str(tests / "test_experta.py"),
        ]
    )
)
