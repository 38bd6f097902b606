"""A rule file that cannot be used says what is wrong, where, and what would be right."""

from __future__ import annotations

import os
from pathlib import Path

import pytest
from small_rules import SMALL, small

from stillflow.engine.base.errors import InputError, KnowledgeError
from stillflow.engine.base.scales import Strength
from stillflow.engine.ruleset.loading import load_folders, load_rules, load_texts


def line_of(text: str, nth: int = 1) -> int:
    """The line on which `text` stands in the small rule set for the nth time."""
    at = -1
    for _ in range(nth):
        at = SMALL.index(text, at + 1)
    return SMALL.count("\n", 0, at) + 1


BROKEN = [
    # (text to break, broken text, words the message must have)
    ("strength: decisive", "strength: decisiv", ["torn", "decisiv", "decisive"]),
    ("is: low}, {not", "iss: low}, {not", ["'iss' is not a known key", "'is'"]),
    ("fact: answer.hiss", "fact: answer.his", ["no fact 'answer.his'", "'answer.hiss'"]),
    ("answer.seal-look, is: torn", "answer.seal-look, is: tron", ["never 'tron'", "'torn'"]),
    ("answer.seal-look, is: torn", "answer.seal-look, below: 2", ["not a number", "is or one_of"]),
    ("{for: seal-torn,", "{for: seal-tron,", ["'seal-tron' is not a fault", "'seal-torn'"]),
    ("{for: leak in unit or", "{for: leak in units or", ["'units' is not a place", "'unit'"]),
    ("{for: leak in unit or", "{for: leek in unit or", ["'leek' is not a mode", "'leak'"]),
    ("mode: leak", "mode: leek", ["seal-torn mode", "'leek'", "'leak'"]),
    ("mode: leak", "moode: leak", ["'moode' is not a known key", "'mode'"]),
    ("minutes: 10,", "minutes: -10,", ["seal-torn fix.minutes", "-10"]),
    ("minutes: 10,", "minutes: lots,", ["seal-torn fix.minutes", "number"]),
    ("usual: 0.9}", "usual: 0.5}", ["seal-look", "add up to 0.60"]),
    ("at: bin,", "at: bim,", ["seal-torn effect.at", "'bin'"]),
    ("access: lid-off, steps", "access: lid-of, steps", ["no access 'lid-of'", "'lid-off'"]),
    ("cautions: [unplug]}", "cautions: [unplugg]}", ["no caution 'unplugg'", "'unplug'"]),
    ("confirm_first: [sealed-inlet]", "confirm_first: [sealed]", ["no check 'sealed'"]),
    ("[{doubt: [sealed-inlet,", "[{doubt: [sealed-outlet,", ["no check 'sealed-outlet'"]),
    ("\nrules:", "\nruls:", ["'ruls' is not a section", "'rules'"]),
    ("when: {fact: answer.seal-look, is: torn}", "when: [1]", ["torn when", "not a condition"]),
    ("[{for: seal-torn, s", "[{fur: seal-torn, s", ["torn then 1", "'fur'", "'for'"]),
    ("[{for: seal-torn, strength: decisive}]", "[{hope: it works}]", ["not a consequence"]),
    ("{for: seal-torn, s", "{for: seal-torn, against: motor-worn, s", ["exactly one"]),
    ("kind: reading", "kind: reeding", ["sealed-inlet kind", "'reading'"]),
    ("condition: sealed", "condition: seeled", ["sealed-inlet condition", "'sealed'"]),
    ("because: The tear is seen.", "because: x", ["torn because"]),
    ("- id: torn", "- id: Torn Seal", ["id", "Torn Seal"]),
    (
        "[{for: seal-torn, strength: decisive}]",
        "[{for: seal-torn}]",
        ["torn then 1", "needs 'strength:'; only evidence on readings alone is computed"],
    ),
    (
        "[{against: normal}]",
        "[{against: normal, strength: slight}]",
        ["low-hose then 1", "needs 'weighed:'; say there why the airflow model does not know"],
    ),
]


@pytest.mark.parametrize(("old", "new", "words"), BROKEN, ids=[one[1][:30] for one in BROKEN])
def test_a_broken_entry_is_named_with_its_line_and_what_would_be_right(
    old: str, new: str, words: list[str]
) -> None:
    with pytest.raises(KnowledgeError) as caught:
        small(SMALL.replace(old, new, 1))
    message = str(caught.value)
    assert "\n" not in message
    assert message.startswith("small.yaml:")
    for word in words:
        assert word in message


def test_the_line_is_that_of_the_slip() -> None:
    with pytest.raises(KnowledgeError) as caught:
        small(SMALL.replace("fact: answer.seal-look, is: torn", "fact: answer.seal-look, is: x", 1))
    assert caught.value.place.line == line_of("fact: answer.seal-look, is: torn")


def test_an_id_used_twice_names_both_places() -> None:
    with pytest.raises(KnowledgeError) as caught:
        small(SMALL.replace("- id: torn", "- id: low-hose", 1))
    assert f"small.yaml:{line_of('- id: torn')}" in str(caught.value)
    assert f"small.yaml:{line_of('- id: low-hose')}" in str(caught.value)


def test_a_strength_on_readings_stands_where_a_reason_is_given() -> None:
    text = SMALL.replace(
        "[{against: normal}]", "[{against: normal, strength: slight}]\n    weighed: Gauges stick."
    )
    [(item, _)] = small(text).evidence["low-hose"]
    assert item.strength is Strength.SLIGHT


def test_rules_that_wait_for_each_other_are_refused() -> None:
    circle = """
  - id: first
    when: {fact: finding.b, is: true}
    then: [{derive: finding.a}]
    because: It follows.
    source: common-practice
  - id: second
    when: {fact: finding.a, is: true}
    then: [{derive: finding.b}]
    because: It follows.
    source: common-practice
"""
    with pytest.raises(KnowledgeError, match="wait for each other"):
        small(SMALL + circle)


def test_every_error_of_a_load_is_gathered() -> None:
    broken = SMALL.replace("mode: leak", "mode: leek", 1).replace("usual: 0.9}", "usual: 0.5}", 1)
    with pytest.raises(KnowledgeError) as caught:
        small(broken)
    assert len(caught.value.others) == 1


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("", "empty"),
        ("- just\n- a list\n", "begin with 'faults:'"),
        ("faults: nothing\n", "must be a list"),
        ("faults: [1]\n", "an entry is a mapping"),
        ("faults: [\n", "not valid YAML"),
        ("faults: []\nfaults: []\n", "stands twice"),
        ("faults: &a []\nrules: *a\n", "alias"),
        ("faults: [!!python/object:os.system x]\n", "a value cannot begin with"),
        ("a: 1\n---\nb: 2\n", "a line '---' begins a second set"),
        ("x: " + "[" * 20_000 + "]" * 20_000 + "\n", "nested too deeply"),
        ("x: \x00\n", "not valid YAML"),
        ("x: '" + "y" * 1_100_000 + "'\n", "too long"),
    ],
    ids=lambda value: str(value)[:20],
)
def test_a_file_that_is_no_rule_file_is_refused_in_one_line(text: str, words: str) -> None:
    with pytest.raises(KnowledgeError) as caught:
        load_texts([(0, "bad.yaml", text)])
    assert words in str(caught.value)
    assert "\n" not in str(caught.value)


def test_a_later_folder_replaces_an_entry_by_its_id_and_changes_the_digest() -> None:
    over = """
rules:
  - id: torn
    when: {fact: answer.seal-look, is: torn}
    then: [{for: seal-torn, strength: slight}]
    because: The shop has been fooled by scratches before.
    source: common-practice
"""
    both = load_texts([(0, "small.yaml", SMALL), (1, "shop.yaml", over)])
    assert "fooled" in both.rules["torn"].because
    assert both.places["rules", "torn"].file == "shop.yaml"
    assert both.digest != small().digest
    assert len(both.rules) == len(small().rules)


def test_what_breaks_a_rule_below_it_is_named_in_the_error() -> None:
    over = """
checks:
  - id: seal-look
    kind: choice
    ask: Is the seal sound?
    how: [Look.]
    minutes: 1
    answers:
      - {id: sound, label: it is, usual: 0.5}
      - {id: ragged, label: it is not, usual: 0.5}
    source: common-practice
"""
    others = over.replace("seal-look", "lid-look")
    texts = [(0, "small.yaml", SMALL), (1, "shop.yaml", over), (1, "new.yaml", others)]
    with pytest.raises(KnowledgeError) as caught:
        load_texts(texts)
    first = caught.value
    assert first.place.file == "small.yaml"
    assert str(first).endswith("laid over it: shop.yaml:3, seal-look")


def test_a_slip_of_an_entrys_own_file_is_laid_at_no_other_door() -> None:
    over = "rules:\n  - {id: torn, because: So., source: hearsay, then: [], when: {}}\n"
    with pytest.raises(KnowledgeError) as caught:
        load_texts([(0, "small.yaml", SMALL), (1, "shop.yaml", over)])
    assert "laid over" not in str(caught.value)


def test_a_folder_that_is_not_there_is_named() -> None:
    with pytest.raises(InputError, match="no such folder"):
        load_folders(["/nowhere/at/all"])


def test_the_shipped_rules_load() -> None:
    knowledge = load_rules()
    assert len(knowledge.faults) >= 40
    assert len(knowledge.checks) >= 55
    assert len(knowledge.rules) >= 160


def test_the_same_words_give_the_same_digest() -> None:
    assert small().digest == small(SMALL + "\n# a remark\n").digest


def test_what_cannot_be_read_in_a_folder_of_rules_is_one_line(tmp_path: Path) -> None:
    for name in ("folder", "dangling", "looping", "pipe"):
        place = tmp_path / name
        place.mkdir()
        if name == "folder":
            (place / "x.yaml").mkdir()
        elif name == "pipe":
            os.mkfifo(place / "x.yaml")  # one that nobody writes to would be waited for
        else:
            (place / "x.yaml").symlink_to("x.yaml" if name == "looping" else "nowhere")
        with pytest.raises(KnowledgeError, match="it cannot be read"):
            load_rules([place])


def test_a_folder_without_rule_files_is_refused(tmp_path: Path) -> None:
    (tmp_path / "rules.yml").write_text("rules: []\n")
    with pytest.raises(InputError, match=r"no rule file is in this folder; .* not \.yml"):
        load_rules([tmp_path])


def test_of_an_entry_with_thousands_of_slips_the_first_twenty_are_told() -> None:
    entry = "faults:\n  - id: odd\n" + "".join(f"    k{number}: 1\n" for number in range(5000))
    with pytest.raises(KnowledgeError) as caught:
        load_texts([(0, "x.yaml", entry)])
    assert len(caught.value.others) == 19


def test_an_unknown_key_is_held_against_those_that_may_stand_there() -> None:
    for old, new, near in (
        ("{fact: level.sealed.inlet, is: low}", "{fact: level.sealed.inlet, iz: low}", "'is'?"),
        ("{kind: hole, at: bin,", "{kind: hole, att: bin,", "'at'?"),
    ):
        with pytest.raises(KnowledgeError, match="is not a known key; did you mean") as caught:
            small(SMALL.replace(old, new, 1))
        assert near in str(caught.value)
