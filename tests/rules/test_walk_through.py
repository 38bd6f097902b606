"""The walk-through of the guide to writing rules does what it says, word for word."""

from __future__ import annotations

import re
import shlex
from pathlib import Path

import pytest
from command import stillflow

from stillflow.engine.ruleset.loading import _load_cached, shipped_folder

GUIDE = (shipped_folder() / "README.md").read_text(encoding="utf-8")
WALK = GUIDE.partition("a walk-through\n")[2].partition("\n## ")[0]
BLOCKS = re.findall(r"```(\w+)\n(.*?)```", WALK, re.DOTALL)


def test_the_walk_through_runs_as_it_is_written(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.chdir(tmp_path)
    shop = tmp_path / "shop" / "handle.yaml"
    shop.parent.mkdir()
    written, last = "", ""
    ran: list[str] = []
    for kind, text in BLOCKS:
        if kind == "yaml":
            written += text
            shop.write_text(written)
        elif kind == "text":
            assert text in last
        else:
            for line in text.splitlines():
                _load_cached.cache_clear()  # each command is a process of its own
                outcome = stillflow(*shlex.split(line)[1:])
                slips = "answers:" not in written
                assert outcome.code == (1 if slips else 0), outcome.out + outcome.err
                ran.append(line.split()[2])
                last = outcome.out
    assert ran == ["check", "check", "explain", "try", "play"]
    assert last.count(": found.") == 2, "at the smallest and at the largest size"
    assert "handle-seam-split, size 0.25" in last
    assert "handle-seam-split, size 0.6" in last
    assert "fix: handle-seam-split" in last
