"""A rule set of a few entries, invented for tests: small enough to check by hand."""

from __future__ import annotations

from stillflow.engine.ruleset.knowledge import Knowledge
from stillflow.engine.ruleset.loading import load_texts, shipped_folder

SMALL = """
sources:
  - {id: common-practice, kind: practice, title: What the trade does}
cautions:
  - {id: unplug, about: mains, text: Unplug the unit first., source: common-practice}
accesses:
  - {id: lid-off, title: Lid off the unit, minutes: 4, cautions: [unplug],
     put_back: {minutes: 1, step: Put the lid on again.}, source: common-practice}
levels:
  - {id: low, title: low, below: 0.85, below_class: 0.75, typical: 0.6, typical_class: 0.6,
     source: common-practice}
  - {id: fine, title: as it should be, below: 1.15, below_class: 1.25, typical: 1, typical_class: 1,
     good: true, source: common-practice}
  - {id: absurd, title: too high, typical: 1.3, typical_class: 1.4, source: common-practice}
classes:
  - {id: plain, title: A plain unit, sealed: 120, working: 80, tolerance: 0.1,
     source: common-practice}
faults:
  - id: seal-torn
    title: Torn seal
    place: unit
    mode: leak
    how_common: common
    effect: {kind: hole, at: bin, diameter_in: [0.3, 0.8]}
    confirm: A tear is seen.
    fix: {minutes: 10, access: lid-off, steps: [Fit a new seal.], parts: [seal], cautions: [unplug]}
    after: Sealed is back.
    source: common-practice
  - id: hose-clogged
    title: Clogged hose
    place: hose
    mode: obstruction
    how_common: common
    effect: {kind: throat, at: hose, diameter_in: [0.4, 0.8]}
    confirm: A ball does not roll through.
    fix: {minutes: 5, steps: [Push the clog out.]}
    after: Working at the hose is back.
    source: common-practice
  - id: motor-worn
    title: Worn motor
    place: unit
    mode: weak-power
    how_common: occasional
    effect: {kind: speed, factor: [0.6, 0.9]}
    confirm: It runs slowly.
    fix: {minutes: 60, steps: [Change it.], refer: the workshop}
    after: Both readings are back.
    confirm_first: [sealed-inlet]
    source: common-practice
  - id: nothing-wrong
    title: Nothing is wrong
    place: system
    mode: normal
    how_common: rare
    effect: {kind: none}
    confirm: All readings are right.
    fix: {minutes: 3, steps: [Tell the customer.]}
    after: Nothing changes.
    confirm_first: [sealed-inlet, working-hose]
    source: common-practice
checks:
  - id: sealed-inlet
    kind: reading
    station: inlet
    condition: sealed
    ask: What does the gauge show, sealed?
    how: [Press it on.]
    minutes: 2
    tools: [gauge]
    verifies: true
    source: common-practice
  - id: working-inlet
    kind: reading
    station: inlet
    condition: working
    ask: What does the gauge show, working?
    how: [Press it on.]
    minutes: 2
    tools: [gauge]
    source: common-practice
  - id: working-hose
    kind: reading
    station: hose
    condition: working
    ask: What does the gauge show at the hose end?
    how: [Press it on.]
    minutes: 2
    tools: [gauge]
    verifies: true
    source: common-practice
  - id: seal-look
    kind: choice
    ask: How does the seal look?
    how: [Look at it.]
    minutes: 1
    access: lid-off
    answers:
      - {id: whole, label: whole, usual: 0.9}
      - {id: torn, label: torn, usual: 0.1}
    source: common-practice
  - id: hiss
    kind: choice
    ask: Does anything hiss?
    how: [Listen.]
    minutes: 1
    again_after_fix: true
    answers:
      - {id: hissing, label: it hisses, usual: 0.2}
      - {id: quiet, label: it is quiet, usual: 0.8}
    source: common-practice
  - id: works-now
    kind: choice
    ask: Does it clean as it should now?
    how: [Try it.]
    minutes: 1
    verifies: true
    answers:
      - {id: restored, label: it does, usual: 0.6, good: true}
      - {id: weak-still, label: it does not, usual: 0.4}
    source: common-practice
rules:
  - id: low-sealed
    when: {fact: level.sealed.inlet, is: low}
    then: [{for: [leak, weak-power]}, {derive: finding.short}]
    because: Suction is lost even with no air flowing.
    source: common-practice
  - id: fine-sealed
    when: {fact: level.sealed.inlet, is: fine}
    then: [{against: [leak, weak-power]}]
    because: With no air flowing nothing is lost.
    source: common-practice
  - id: low-hose
    when: {fact: level.working.hose, is: low}
    then: [{against: normal}]
    because: The hose end is short of what it should read.
    source: common-practice
  - id: low-hose-sound-sealed
    when: {all: [{fact: level.working.hose, is: low}, {not: {fact: level.sealed.inlet, is: low}}]}
    then: [{for: hose-clogged}]
    because: Air that flows is held up, air that stands is not.
    source: common-practice
  - id: hiss-when-short
    when: {all: [{fact: finding.short, is: true}, {fact: answer.hiss, is: hissing}]}
    then: [{for: leak in unit or inlets, strength: substantial}, {caution: unplug}]
    because: A leak that is heard is a leak.
    source: common-practice
  - id: torn
    when: {fact: answer.seal-look, is: torn}
    then: [{for: seal-torn, strength: decisive}]
    because: The tear is seen.
    source: common-practice
  - id: whole
    when: {fact: answer.seal-look, is: whole}
    then: [{against: seal-torn, strength: very-strong}]
    because: The seal is whole.
    source: common-practice
  - id: sealed-below-working
    when: {fact: margin.inlet, below: -2}
    then: [{doubt: [sealed-inlet, working-inlet]}]
    because: Sealed can never be below working at the same place.
    source: common-practice
"""


DANGER = """
  - id: danger
    kind: choice
    ask: Is there any danger?
    how: [Look.]
    minutes: 1
    first: true
    answers:
      - {id: smoke, label: smoke, usual: 0.1}
      - {id: none, label: none, usual: 0.9}
    source: common-practice
"""
"""A question that goes before all others, to be put in after `checks:`."""


def small(text: str = SMALL) -> Knowledge:
    """The small rule set, or a changed text of it, with the shipped course of a visit."""
    course = (shipped_folder() / "course.yaml").read_text(encoding="utf-8")
    return load_texts([(0, "course.yaml", course), (0, "small.yaml", text)])
