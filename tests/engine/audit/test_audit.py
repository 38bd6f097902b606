"""The audit: every kind of slip shown by a small rule set that has it, and by one that has not."""

from __future__ import annotations

from pathlib import Path

import pytest
from broken_rules import EITHER, RULE, TIDY, USED, check, declared, fault, found, rule, twins
from small_rules import SMALL, small

from stillflow.engine.audit.finding import Severity
from stillflow.engine.audit.inspections import INSPECTIONS, audit, refused
from stillflow.engine.audit.logic import Logic
from stillflow.engine.base.errors import KnowledgeError
from stillflow.engine.ruleset import load_folders, load_rules, shipped_folder


def test_a_tidy_rule_set_has_no_findings() -> None:
    assert audit(small(TIDY)) == ()


BROKEN: list[tuple[str, str, str, list[str]]] = [
    # inspection, broken text, id, words that must be said
    (
        "never-fires",
        rule(
            "{all: [{fact: level.sealed.inlet, is: low}, {fact: level.sealed.inlet, is: fine}]}",
            "{for: seal-torn}",
        ),
        "extra",
        ["can never be", "level.sealed.inlet"],
    ),
    (
        "contradicts",
        rule("{fact: answer.seal-look, is: torn}", "{against: seal-torn, strength: slight}"),
        "extra",
        ["'torn'", "'seal-torn'"],
    ),
    (
        "counted-twice",
        rule(
            "{fact: answer.seal-look, one_of: [torn, whole]}", "{for: seal-torn, strength: slight}"
        ),
        "extra",
        ["'torn'", "says the same", "'seal-torn'"],
    ),
    (
        "said-already",
        rule(
            "{all: [{fact: answer.seal-look, is: torn}, {fact: level.sealed.inlet, is: low}]}",
            "{for: seal-torn, strength: slight}",
        ),
        "extra",
        ["'seal-torn'", "low-sealed", "torn"],
    ),
    (
        "for-the-impossible",
        rule("{fact: unit.motors, is: 1}", "{for: seal-torn, strength: slight}").replace(
            "confirm: A tear is seen.",
            "confirm: A tear is seen.\n    possible_when: {fact: unit.motors, at_least: 2}",
        ),
        "extra",
        ["'seal-torn'", "cannot be there"],
    ),
    (
        "too-long",
        rule(
            f"{{all: [{', '.join([f'{{any: [{EITHER}]}}'] * 12)}]}}",
            "{for: seal-torn, strength: slight}",
        ),
        "extra",
        ["more than 2,000 cases"],
    ),
    (
        "never-raised",
        SMALL,
        "nothing-wrong",
        ["no rule"],
    ),
    (
        "never-first",
        twins()
        .replace("id: whole\n", "id: whole-twice\n")
        .replace(
            "{for: [seal-torn, seal-twin], strength: decisive}",
            "{for: seal-torn, strength: decisive}, {for: seal-twin, strength: strong}",
        ),
        "seal-twin",
        ["'seal-torn' is still likelier"],
    ),
    (
        "not-told-apart",
        twins(),
        "seal-torn",
        ["no answer tells it from 'seal-twin'", "alike:"],
    ),
    (
        "only-left-over",
        fault("seal-twin", "Fit a new seal.").replace(
            "{for: seal-torn, strength: decisive}",
            "{for: seal-torn, strength: decisive}, {for: seal-twin, strength: strong}",
        ),
        "seal-twin",
        ["no answer that speaks for it tells it from 'seal-torn'"],
    ),
    (
        "alike-without-need",
        TIDY.replace("checks:\n", declared("seal-torn", "hose-clogged") + "checks:\n", 1).replace(
            "[Push the clog out.]}", "[Fit a new seal.], access: lid-off}"
        ),
        "seals",
        ["the rules tell 'seal-torn' from 'hose-clogged'"],
    ),
    (
        "alike-in-name-only",
        twins("Glue the old one.", alike=declared("seal-torn", "seal-twin")),
        "seals",
        ["fixed in different ways"],
    ),
    (
        "never-asked",
        check(more="asked_when: {fact: answer.extra, is: yes-it-is}"),
        "extra",
        ["asked only when", "can never be"],
    ),
    (
        "says-nothing",
        check().replace(USED, ""),
        "extra",
        ["no rule uses its answer"],
    ),
    (
        "not-a-question",
        check(ask="Look at the seal."),
        "extra",
        ['"Look at the seal."', "question mark"],
    ),
    (
        "unsaid-mains",
        check(how="Unplug the unit and look."),
        "extra",
        ["'Unplug'", "unplug"],
    ),
    (
        "unplugged-yet-run",
        check(how="Unplug the unit and look. Feel the seal while the unit runs."),
        "extra",
        ["'while the unit runs'", "plugged in again"],
    ),
    (
        "unsaid-other",
        check(how="Wipe the mouse droppings up."),
        "extra",
        ["'droppings'", "about dust"],
    ),
    *(
        ("forbidden", check(how=how), "extra", [f"'{seen}'", "never"])
        for how, seen in (
            ("Bridge the thermal protector and run it.", "Bridge the thermal protector"),
            ("Discharge the capacitor.", "Discharge the capacitor"),
            ("Put a finger on the running fan.", "finger on the running fan"),
            ("Pour gasoline down the inlet.", "Pour gasoline"),
            ("Sweep the droppings out dry.", "Sweep the droppings"),
        )
    ),
    (
        "only-against",
        TIDY.replace(
            "{fact: answer.ball, is: sticks}\n    then: [{for: hose-clogged",
            "{fact: answer.ball, is: sticks}\n    then: [{against: hose-clogged",
        )
        + RULE.format(
            when="{fact: answer.ball, is: rolls}",
            then="{against: hose-clogged, strength: slight}",
        ),
        "ball-sticks",
        ["every answer of 'ball'", "'hose-clogged'"],
    ),
    (
        "unsaid-heights",
        check(how="Climb to the hood and look."),
        "extra",
        ["'Climb'", "heights"],
    ),
    (
        "unused-source",
        TIDY.replace("sources:\n", "sources:\n  - {id: extra, kind: memory, title: A memory}\n"),
        "extra",
        ["nothing points at"],
    ),
    (
        "unused-caution",
        TIDY.replace(
            "cautions:\n",
            "cautions:\n"
            "  - {id: extra, about: dust, text: Wear a mask., source: common-practice}\n",
            1,
        ),
        "extra",
        ["never shown"],
    ),
    (
        "unused-access",
        TIDY.replace(
            "accesses:\n",
            "accesses:\n  - {id: extra, title: A hatch, minutes: 1, source: common-practice}\n",
            1,
        ),
        "extra",
        ["no check or fix opens it"],
    ),
    (
        "against-physics",
        rule("{fact: level.working.hose, is: fine}", "{for: motor-worn}"),
        "extra",
        ["speaks for 'motor-worn' (x 0.", "these readings rarer", "'weighed:'"],
    ),
    (
        "nothing-to-weigh",
        rule("{fact: answer.hiss, is: quiet}", "{against: leak, strength: slight}").replace(
            "because: It is said.", "because: It is said.\n    weighed: Gauges differ."
        ),
        "extra",
        ["the airflow model, which cannot weigh it"],
    ),
    (
        "memory-unsaid",
        rule("{fact: answer.hiss, is: quiet}", "{against: leak, strength: slight}").replace(
            "because: It is said.", "because: It is said.\n    from_memory: true"
        ),
        "extra",
        ["it says it rests on memory, and 'common-practice' does not"],
    ),
    (
        "once-alone",
        rule("{fact: answer.hiss, is: quiet}", "{against: leak, strength: slight}").replace(
            "because: It is said.", "because: It is said.\n    once: heard"
        ),
        "extra",
        ["no other rule says 'once: heard'"],
    ),
    (
        "not-compared",
        TIDY
        + "".join(
            RULE.replace("extra", f"extra-{number}").format(
                when=f"{{fact: share.sealed.inlet, below: 0.{number}}}", then="{for: seal-torn}"
            )
            for number in range(100, 301)
        ),
        "extra-300",
        ["3 rules from here on", "the first 200 are"],
    ),
    (
        "unused-finding",
        rule("{fact: answer.hiss, is: quiet}", "{derive: finding.peace}"),
        "extra",
        ["finding.peace"],
    ),
    (
        "source-not-to-be-found",
        TIDY.replace(
            "kind: practice, title: What the trade does", "kind: standard, title: Some standard"
        ),
        "common-practice",
        ["a standard without number"],
    ),
]


@pytest.mark.parametrize(("name", "text", "entry", "words"), BROKEN, ids=[one[0] for one in BROKEN])
def test_each_slip_is_found_and_said_with_its_place(
    name: str, text: str, entry: str, words: list[str]
) -> None:
    findings = [one for one in found(text).get(name, []) if one.place.key == entry]
    assert len(findings) == 1
    message = str(findings[0])
    line = text.count("\n", 0, text.index(f"id: {entry}")) + 1
    assert message.startswith(f"small.yaml:{line}, {entry}: ")
    assert "\n" not in message
    for word in words:
        assert word in message


SAME = "{fact: answer.seal-look, is: whole}", "{for: seal-torn, strength: slight}"
OVERLAPPING = "{fact: share.sealed.inlet, below: 0.N}", "{for: seal-torn}"


def alike_rules(count: int, when: str, then: str) -> str:
    return TIDY + "".join(
        RULE.replace("extra", f"extra-{number:04d}").format(
            when=when.replace("N", f"{number:04d}"), then=then
        )
        for number in range(1, count + 1)
    )


@pytest.mark.parametrize("said", [SAME, OVERLAPPING], ids=["the very same", "overlapping"])
def test_many_rules_that_say_the_same_are_one_line(said: tuple[str, str]) -> None:
    told = found(alike_rules(150, *said))["counted-twice"]
    (line,) = [str(one) for one in told if one.place.key == "extra-0001"]
    assert "'extra-0002' (small.yaml:" in line
    assert "and 14" in line
    assert len(told) <= 3


def test_the_work_grows_with_the_rules_and_not_with_their_square(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    compared: list[object] = []
    real = Logic.both
    monkeypatch.setattr(Logic, "both", lambda *a: compared.append(a) or real(*a))
    audit(small(alike_rules(600, *OVERLAPPING)))
    assert len(compared) < 20_000  # of 179,700 pairs, 200 * 199 / 2 of the extra ones
    compared.clear()
    audit(small(alike_rules(600, *SAME)))
    assert len(compared) < 20


def test_every_inspection_is_shown_by_a_broken_rule_set_and_says_what_it_finds() -> None:
    # Below, and in test_safety.
    of_folders = {"place-against-effect", "guard-lost", "caution-gone", "caution-changed"}
    assert {one.name for one in INSPECTIONS} - of_folders == {one[0] for one in BROKEN}
    for inspection in INSPECTIONS:
        assert inspection.finds.endswith(".")
        assert inspection.finds.count(".") == 1


@pytest.mark.parametrize(
    ("text", "words"),
    [
        (TIDY.replace("because: The tear is seen.\n    source: common-practice",
                      "because: The tear is seen."), "'source' is missing"),
        (TIDY.replace("source: common-practice\n  - id: torn", "source: hearsay\n  - id: torn"),
         "no source 'hearsay'"),
        (TIDY.replace("- id: torn", "- id: whole", 1), "used twice"),
        (TIDY.replace("fact: answer.hiss", "fact: answer.hiz", 1), "no fact 'answer.hiz'"),
        (TIDY.replace("when: {fact: answer.seal-look, is: torn}\n    then: [",
                      "when: {fact: finding.round, is: true}\n    then: [{derive: finding.again}, ")
         + RULE.format(when="{fact: finding.again, is: true}", then="{derive: finding.round}"),
         "wait for each other"),
        (twins(alike=declared("seal-torn", "seal-twig")), "no fault 'seal-twig'"),
    ],
    ids=["no source", "unknown source", "id twice", "dangling fact", "circle", "dangling alike"],
)  # fmt: skip
def test_what_the_loader_refuses_has_the_form_of_a_finding(text: str, words: str) -> None:
    with pytest.raises(KnowledgeError) as caught:
        small(text)
    findings = refused(caught.value)
    assert len(findings) == 1 + len(caught.value.others)
    assert words in str(findings[0])
    assert findings[0].severity is Severity.HIGH
    assert findings[0].place.line is not None


MISPLACED = """faults:
  - id: coupling-ring-gone
    title: The ring of the intake coupling is missing
    place: unit
    mode: leak
    how_common: occasional
    effect: {kind: hole, at: intake, diameter_in: [0.2, 0.6]}
    confirm: The ring is not there.
    fix:
      minutes: 8
      steps: [Fit a new ring.]
    after: Sealed comes back.
    source: common-practice
"""


def test_a_fault_whose_place_and_effect_disagree_is_told_so_and_no_shipped_rule_is_blamed(
    tmp_path: Path,
) -> None:
    (tmp_path / "own.yaml").write_text(MISPLACED)
    findings = audit(load_rules([tmp_path]))
    assert {one.place.file for one in findings} == {f"{tmp_path.name}/own.yaml"}
    [told] = [one for one in findings if one.inspection == "place-against-effect"]
    assert told.place.key == "coupling-ring-gone"
    assert "'place: unit'" in told.what
    assert told.right == "write 'place: tubing', or another 'effect:'"
    (tmp_path / "own.yaml").write_text(MISPLACED.replace("place: unit", "place: tubing"))
    names = {one.inspection for one in audit(load_folders([shipped_folder(), tmp_path]))}
    assert names <= {"only-left-over"}
