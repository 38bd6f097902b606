"""The trace put into sentences: why the belief is what it is, and why this step now."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from stillflow.engine.dialogue.answers import given, learnt
from stillflow.engine.dialogue.present import fault_shares, mode_shares
from stillflow.engine.dialogue.progress import Progress
from stillflow.engine.dialogue.voice import leading_modes
from stillflow.engine.inference import Baseline, Firing, LikelihoodModel
from stillflow.engine.ruleset import Advice, Check, Knowledge

MOST_REASONS = 4
FAINT = 0.02
"""A rule that speaks this much less loudly than the loudest says nothing worth reading."""


def reasons(knowledge: Knowledge, progress: Progress, firings: Sequence[Firing]) -> tuple[str, ...]:
    """The sentences of the rules that speak loudest for what now leads, then any advice.

    A rule's voice is its evidence for faults averaged over the belief. Heard are those that raise
    the modes the verdict names above all others, so that no reason contradicts it.
    """
    if not firings:
        return ()
    share = dict(zip(knowledge.faults, progress.probabilities, strict=True))
    leading = leading_modes(mode_shares(fault_shares(knowledge, progress.probabilities)))
    named = {name: knowledge.faults[name].mode in leading for name in share}
    whole = sum(share[name] for name in share if named[name])
    voices: list[tuple[float, str, str]] = []
    advice: list[str] = []
    for firing in firings:
        rule = knowledge.rules[firing.rule_id]
        inside, outside = (
            sum(
                item.strength.loudness * share[fault]
                for item, faults in knowledge.evidence[rule.id]
                if item.sign > 0
                for fault in faults
                if named[fault] is within
            )
            for within in (True, False)
        )
        if inside * (1.0 - whole) > outside * whole:
            voices.append((-inside - outside, rule.id, rule.because))
        advice += [item.advise for item in rule.then if isinstance(item, Advice)]
    voices.sort()
    loudest = voices[0][0] * FAINT if voices else 0.0
    spoken = [because for voice, _, because in voices[:MOST_REASONS] if voice <= loudest]
    return tuple(dict.fromkeys([*spoken, *advice]))


@dataclass(frozen=True)
class Meaning:
    """What one answer to a check would mean.

    Attributes:
        answer: its label.
        chance: how likely it is now.
        fault: title of the fault that would then lead.
        probability: of that fault, then.
        stops: why the answer ends the visit there and then; empty where the visit goes on.
    """

    answer: str
    chance: float
    fault: str
    probability: float
    stops: str = ""


def meanings(
    knowledge: Knowledge,
    progress: Progress,
    model: LikelihoodModel,
    baseline: Baseline,
    check: Check,
) -> tuple[Meaning, ...]:
    """What each answer to a check would make of the visit, the likeliest answer first."""
    spot = progress.ahead.get(check.id)
    [outlook] = model.outlooks(progress.situation, [check.id], progress.ahead)
    titles = [fault.title for fault in knowledge.faults.values()]
    labels = {answer.id: answer.label for answer in check.answers}
    labels |= {level.id: level.title for level in knowledge.levels}
    joint = outlook.likelihood * progress.probabilities
    found = []
    for answer, row in zip(outlook.answers, joint, strict=True):
        chance = float(row.sum())
        if chance > 0:
            said = given(knowledge, baseline, check, answer)
            if check.kind == "reading":
                # What is believed then hangs on the reading, not only on its level.
                row = progress.probabilities * model.likelihood(
                    progress.situation, check, said, spot
                )
            lead = int(row.argmax())
            known = learnt(progress.situation, check, said, spot)
            fired = (knowledge.rules[rule_id].stop for rule_id in model.fired(known))
            stops = next((stop.stop for stop in fired if stop is not None), "")
            share = float(row[lead] / row.sum())
            found.append(Meaning(labels[answer], chance, titles[lead], share, stops))
    return tuple(sorted(found, key=lambda one: -one.chance))
