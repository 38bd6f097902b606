"""Loaded rule sets are kept between runs, and not trusted further than they may be."""

from __future__ import annotations

import os
from pathlib import Path

import pytest

from stillflow.engine.ruleset import Knowledge, load_rules
from stillflow.engine.ruleset.storing import stored

TEXTS = [(0, "rules/one.yaml", "faults: []")]


@pytest.fixture
def cache(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    monkeypatch.setenv("STILLFLOW_CACHE", str(tmp_path / "deep" / "cache"))
    return tmp_path / "deep" / "cache"


class Reading:
    """Counts how often the rule files are read."""

    def __init__(self) -> None:
        self.times = 0

    def __call__(self) -> Knowledge:
        self.times += 1
        return load_rules()


def test_what_was_loaded_once_is_not_read_again_and_is_the_same(cache: Path) -> None:
    reading = Reading()
    stored(TEXTS, reading)
    kept = stored(TEXTS, reading)
    assert reading.times == 1
    assert kept is not load_rules()
    for name in Knowledge.__dataclass_fields__:
        assert getattr(kept, name) == getattr(load_rules(), name), name
    assert kept.ordered_rules == load_rules().ordered_rules


@pytest.mark.parametrize("other", [(0, "rules/one.yaml", "faults: [ ]"), (1, *TEXTS[0][1:])])
def test_another_text_or_layer_is_read(cache: Path, other: tuple[int, str, str]) -> None:
    reading = Reading()
    stored(TEXTS, reading)
    stored([other], reading)
    assert reading.times == 2


@pytest.mark.parametrize("damage", [b"", b"x" * 40, None])
def test_a_damaged_file_is_as_if_it_were_not_there_and_is_mended(
    cache: Path, damage: bytes | None
) -> None:
    reading = Reading()
    stored(TEXTS, reading)
    [file] = cache.iterdir()
    whole = file.read_bytes()
    file.write_bytes(whole[:-1] if damage is None else damage)
    stored(TEXTS, reading)
    assert reading.times == 2
    stored(TEXTS, reading)
    assert reading.times == 2


@pytest.mark.skipif(os.name != "posix", reason="owners and modes are those of POSIX")
def test_a_file_that_others_may_write_is_not_believed(cache: Path) -> None:
    reading = Reading()
    stored(TEXTS, reading)
    [file] = cache.iterdir()
    file.chmod(0o666)
    stored(TEXTS, reading)
    assert reading.times == 2
    assert file.stat().st_mode & 0o077 == 0


def test_where_nothing_can_be_kept_the_rules_are_read(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    (tmp_path / "file").touch()
    for folder in ("", str(tmp_path / "file" / "below")):
        monkeypatch.setenv("STILLFLOW_CACHE", folder)
        reading = Reading()
        stored(TEXTS, reading)
        stored(TEXTS, reading)
        assert reading.times == 2


def test_of_many_rule_sets_the_oldest_go(cache: Path) -> None:
    for number in range(12):
        stored([(0, f"rules/{number}.yaml", "")], load_rules)
    assert len(list(cache.iterdir())) == 8
