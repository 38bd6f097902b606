"""The small rule set made tidy, and ways to break it for the audit."""

from __future__ import annotations

from small_rules import SMALL, small

from stillflow.engine.audit.finding import Finding
from stillflow.engine.audit.inspections import audit

BALL = """checks:
  - id: ball
    kind: choice
    ask: Does a ball roll through the hose?
    how: [Let one roll.]
    minutes: 1
    answers:
      - {id: rolls, label: it does, usual: 0.95}
      - {id: sticks, label: it sticks, usual: 0.05}
    source: common-practice
"""

TIDY = (
    SMALL.replace("checks:\n", BALL, 1)
    + """
  - id: fine-hose
    when: {fact: level.working.hose, is: fine}
    then: [{for: nothing-wrong}, {against: hose-clogged}]
    because: The hose end gives what it should.
    source: common-practice
  - id: ball-sticks
    when: {fact: answer.ball, is: sticks}
    then: [{for: hose-clogged, strength: decisive}]
    because: Where the ball stays, something sits.
    source: common-practice
"""
)
"""The small rule set with its holes filled: something speaks for `nothing-wrong`, and a look tells
what is in the hose."""

RULE = """
  - id: extra
    when: {when}
    then: [{then}]
    because: It is said.
    source: common-practice
"""

CHECK = """checks:
  - id: extra
    kind: choice
    ask: {ask}
    how: ["{how}"]
    minutes: 1
    {more}
    answers:
      - {{id: yes-it-is, label: it is, usual: 0.5}}
      - {{id: no-it-is-not, label: it is not, usual: 0.5}}
    source: common-practice
"""

USED = RULE.replace("extra", "extra-used").format(
    when="{fact: answer.extra, is: yes-it-is}", then="{for: seal-torn, strength: slight}"
)

FAULT = """faults:
  - id: {id}
    title: A twin of it
    place: unit
    mode: leak
    how_common: {common}
    effect: {{kind: hole, at: bin, diameter_in: [0.3, 0.8]}}
    confirm: It is seen.
    fix: {{minutes: 10, access: {access}, steps: [{step}], cautions: [unplug]}}
    after: It is back.
    source: common-practice
"""

EITHER = "{fact: unit.age_years, below: 3}, {fact: site.altitude_ft, above: 3}"

TWINS = {
    "for: seal-torn": "for: [seal-torn, seal-twin]",
    "against: seal-torn": "against: [seal-torn, seal-twin]",
}


def rule(when: str, then: str) -> str:
    """The tidy rules and one more."""
    return TIDY + RULE.format(when=when, then=then)


def check(ask: str = "Is it so?", how: str = "Look at it.", more: str = "") -> str:
    """The tidy rules, one more check, and a rule that uses it."""
    block = CHECK.format(ask=ask, how=how, more=more)
    return TIDY.replace("checks:\n", block, 1) + USED


def fault(fault_id: str, step: str, access: str = "lid-off", common: str = "common") -> str:
    """The tidy rules and one more fault."""
    block = FAULT.format(id=fault_id, step=step, access=access, common=common)
    return TIDY.replace("faults:\n", block, 1)


def twins(step: str = "Fit a new seal.", access: str = "lid-off", alike: str = "") -> str:
    """The tidy rules with a fault that looks just like `seal-torn`."""
    text = fault("seal-twin", step, access)
    for old, new in TWINS.items():
        text = text.replace(old, new)
    return text.replace("checks:\n", f"{alike}checks:\n", 1)


def declared(*faults: str) -> str:
    """A declaration that these are alike."""
    return (
        f"alike:\n  - {{id: seals, faults: [{', '.join(faults)}], source: common-practice,\n"
        "     because: Either way a new seal is fitted.}\n"
    )


def found(text: str) -> dict[str, list[Finding]]:
    """Findings by the name of their inspection."""
    by_name: dict[str, list[Finding]] = {}
    for one in audit(small(text)):
        by_name.setdefault(one.inspection, []).append(one)
    return by_name
