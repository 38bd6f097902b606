"""An estimate in trade words: what the readings are like, in one sentence each.

Only the saying; what there is to say is worked out in `estimate`.
"""

from __future__ import annotations

from collections.abc import Sequence

from stillflow.engine.base import in_percent

NO_FASTER = 1.05
"""No more than this share of full speed is a motor as expected: voltage and rating vary by 5 %."""

_NAMES = {
    "leak-unit": "a leak in the unit",
    "leak-trunk": "a leak in the trunk line",
    "leak-branch": "a leak on the inlet's branch",
    "leak-tubing": "a leak between unit and inlet",
    "leak-hose": "a leak in the hose",
    "throat-unit": "an obstruction in the unit",
    "throat-trunk": "an obstruction in the trunk line",
    "throat-branch": "an obstruction on the inlet's branch",
    "throat-tubing": "an obstruction between unit and inlet",
    "throat-hose": "an obstruction in the hose",
    "speed": "a weak motor",
}


def named(causes: Sequence[str], in_tubing: bool = False) -> str:
    """A cause, or several at once, in words: "a weak motor with a leak in the hose".

    Args:
        causes: names of causes.
        in_tubing: trunk and branch are not told apart, so the tubing is named.
    """
    said = []
    for cause in causes:
        kind, _, stretch = cause.partition("-")
        whole = in_tubing and stretch in ("trunk", "branch")
        said.append(_NAMES[f"{kind}-tubing" if whole else cause])
    return " with ".join(said)


def inlet_words(name: str | None) -> str:
    """An inlet as it is spoken of: "hall inlet", or "inlet" when it has no name of its own."""
    if name is None:
        return "inlet"
    return name if name.lower().endswith("inlet") else f"{name} inlet"


def size_words(
    kind: str, stretch: str, size: float, low: float, high: float, inlet: str | None
) -> str:
    """A cause and its size: "like a 0.45 in hole open between unit and hall inlet (0.42 to 0.48)".

    Args:
        kind: `leak`, `throat` or `speed`.
        stretch: `unit`, `tubing`, `trunk`, `branch` or `hose`.
        size: in, or share of full speed.
        low: lower end of its 90 % interval.
        high: upper end.
        inlet: the inlet's name, if it has one.
    """
    if kind == "speed":
        if 1.0 <= size <= NO_FASTER:
            return f"the motor as expected, at {in_percent(size)} of its full speed"
        return (
            f"like the motor running {'faster than it should, ' if low > 1.0 else ''}"
            f"at {in_percent(size)} of its full speed "
            f"({100 * low:.0f} to {100 * high:.0f} %)"
        )
    where = {
        "unit": "in the unit",
        "tubing": f"between unit and {inlet_words(inlet)}",
        "trunk": "in the trunk line",
        "branch": f"on the branch to the {inlet_words(inlet)}",
        "hose": "in the hose",
    }[stretch]
    interval = f"({low:.2f} to {high:.2f} in)"
    if kind == "leak":
        return f"like a {size:.2f} in hole open {where} {interval}"
    if stretch == "hose":
        return f"like the hose squeezed to {size:.2f} in {interval}"
    if stretch == "unit":
        return f"like the way through the unit squeezed to {size:.2f} in {interval}"
    if stretch == "trunk":
        return f"like the trunk line squeezed to {size:.2f} in {interval}"
    return f"like the line squeezed to {size:.2f} in {where} {interval}"


def cannot_tell(alternatives: Sequence[str]) -> str:
    """That these alternatives, each in words, fit the readings equally well."""
    if len(alternatives) == 2:
        return f"These readings alone cannot tell {alternatives[0]} from {alternatives[1]}."
    listed = ", ".join(alternatives[:-1])
    return f"These readings alone cannot tell apart {listed} and {alternatives[-1]}."


def sentence(text: str) -> str:
    """With a capital and a full stop."""
    return f"{text[0].upper()}{text[1:]}."
