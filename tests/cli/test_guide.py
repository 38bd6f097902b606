"""`stillflow guide`: the visit as one file that needs nothing else."""

from __future__ import annotations

import base64
import hashlib
import json
import re

import pytest
from command import stillflow

from stillflow.cli.guide import MOST_BYTES
from stillflow.cli.web.onefile import one_file
from stillflow.engine import Session, Unit, Visit, load_rules


@pytest.fixture(scope="module")
def page(tmp_path_factory: pytest.TempPathFactory) -> str:
    file = tmp_path_factory.mktemp("guide") / "guide.html"
    args = ("--class", "present-day-unit", "--given", "danger-signs=none", "--out", str(file))
    outcome = stillflow("guide", *args)
    assert (outcome.code, outcome.err) == (0, "")
    assert "Written:" in outcome.out
    return file.read_text("utf-8")


def test_it_is_one_file_of_less_than_a_megabyte_that_fetches_nothing(page: str) -> None:
    assert len(page.encode()) < MOST_BYTES
    assert not re.findall(r'(?:src|href)="(?!#)', page)
    assert "import " not in page.partition('<script type="module">')[2]


def test_its_policy_lets_in_its_own_script_and_style_and_nothing_else(page: str) -> None:
    policy = re.search(r'Content-Security-Policy" content="([^"]*)"', page)
    assert policy is not None
    said = policy[1].replace("&#39;", "'")
    assert said.startswith("default-src 'none'")
    assert "unsafe" not in said
    for tag in ('script type="module"', "style"):
        inner = page.partition(f"<{tag}>")[2].partition(f"</{tag.split()[0]}>")[0]
        digest = base64.b64encode(hashlib.sha256(inner.encode()).digest()).decode()
        assert f"'sha256-{digest}'" in said


def test_what_is_carried_begins_with_the_starting_facts(page: str) -> None:
    data = page.partition('id="pack">')[2].partition("</script>")[0]
    carried = json.loads(data)
    assert carried["start"]["events"] == [{"check": "danger-signs", "answer": "none"}]
    assert carried["number"] == 1
    assert carried["nodes"]
    assert len(carried["card"]) > 10


@pytest.mark.slow
def test_what_does_not_fit_is_cut_from_the_tree_and_the_share_is_told() -> None:
    session = Session(load_rules(), Visit(unit=Unit(rated_sealed=130, rated_airflow=114)))
    session.record("danger-signs", "none")
    page, reach = one_file(session, 1)
    assert reach >= 0.5
    assert len(page) > 1


@pytest.mark.parametrize(
    "args", [("--complaint", "no-such"), ("--given", "wibble"), ("--out", "/no/such/folder/g.html")]
)
def test_what_cannot_be_is_one_line(args: tuple[str, ...]) -> None:
    outcome = stillflow("guide", "--given", "danger-signs=burning-smell", *args)
    assert outcome.code == 2
    assert outcome.err.count("\n") == 1
