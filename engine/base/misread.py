"""What a YAML parser stumbled over, said to somebody who writes YAML and no program."""

from __future__ import annotations

import re
from typing import Any

CURLY = "“”„‘’«»"
CURLY_QUOTES = (
    "curly quotation marks do not hold a sentence together",
    'write straight ones: "..."',
)


def yaml_words(problem: Any, text: str) -> tuple[str, int | None, str]:
    """What a YAML parser stumbled over: what, line from 1, what would be right.

    The parser says what it expected of the grammar; what the writer did is mostly seen in the
    line itself.

    Args:
        problem: the parser's error; its marks count lines from 0.
        text: the document.
    """
    position = getattr(problem, "position", None)
    if position is not None:
        line = text.count("\n", 0, position) + 1
        return "a character that no key types stands here", line, "type the line anew"
    mark = problem.problem_mark or problem.context_mark
    if mark is None:
        return "it cannot be read", None, ""
    lines = text.splitlines()
    said = f"{problem.context or ''} {problem.problem or ''}"
    begun = problem.context_mark.line if problem.context_mark is not None else mark.line
    if "quoted scalar" in said:
        return (
            "the quotation mark opened here is never closed",
            begun + 1,
            "close it, or write the sentence without",
        )
    for number in (mark.line, mark.line - 1):
        if 0 <= number < len(lines) and (slip := _slip(lines[number])):
            return slip[0], number + 1, slip[1]
    if "expected ',' or" in said or "flow" in said:
        what = "a bracket opened here is not closed, or a comma is missing"
        right = "close it, and put a comma between its parts"
        some = (n for n in range(begun, -1, -1) if n < len(lines) and _opens(lines[n]))
        return what, next(some, begun) + 1, right
    return _misplaced(lines, mark.line, said)


def _opens(line: str) -> bool:
    return sum(map(line.count, "[{")) > sum(map(line.count, "]}"))


def _slip(line: str) -> tuple[str, str] | None:
    """What is wrong with a line by its looks alone, and what would be right."""
    key = re.match(r"\s*(?:- +)?([\w.-]+):", line)
    value = re.sub(r"^\s*(- +)?([\w.-]+:(\s+|$))?", "", line)
    if re.match(r"\s*\t", line):
        return "a tab stands before the first letter", "set the line in with spaces"
    if "\t" in line:
        return "a tab stands in this line", "write a space for it"
    if re.search(r"[\u00a0\u2000-\u200b\u202f\u3000\ufeff]", line):
        return "a space that is no plain one stands in this line", "delete it and type a space"
    if re.match(f"[{CURLY}]", value):
        return CURLY_QUOTES
    if re.match(r"'[^']*'[^'\s,\]}#]", value):
        return "the sentence ends at its apostrophe", 'put it between double ones: "..."'
    if re.match(r"\s*-[A-Za-z]+:", line):
        return "a space is missing after the dash", "write '- id:'"
    if re.match(r"\s*(- +)?[A-Za-z_]+:[^\s]", line) and key:
        return "a space is missing after the colon", f"write '{key[1]}: ...'"
    if re.match(r"[@`%&*!|>]", value) and not re.match(r"[|>][+-]?\d*\s*$", value):
        return f"a value cannot begin with '{value[0]}'", "put it between quotation marks"
    if key and re.match(r"[^\"'\[{#].*:(\s|$)", value):
        what = "a colon and a space stand inside the sentence"
        return what, "put the sentence between quotation marks"
    return None


def _misplaced(lines: list[str], number: int, said: str) -> tuple[str, int, str]:
    """Nothing is wrong with the line by itself; so it stands wrongly to the one above."""
    number = min(number, len(lines) - 1)
    filled = [n for n in range(number) if lines[n].split("#")[0].strip()]
    if not filled:
        return "this cannot be read", number + 1, "compare it with the first lines of a rule file"
    above = filled[-1]
    for one, other in ((number, above), (above, (filled[-2:-1] or [above])[0])):
        if one != other and re.search(r": [|>][+-]?$", lines[other].rstrip()):
            what = f"the sentence begun in line {other + 1} is not set in under it"
            return what, one + 1, "set its lines in deeper than their key"
    if lines[filled[0]].startswith("- ") and re.match(r"\w", lines[number]):
        return "a section has no dash before it", filled[0] + 1, "write 'faults:', without '- '"
    before = lines[above].split(" #")[0].rstrip()
    if not before.endswith(":") and ":" not in before and not before.lstrip().startswith("- "):
        return "this line lacks its colon", above + 1, f"write '{before.strip()}:'"
    if "could not find expected ':'" in said:
        what = "this line has no colon"
        return what, number + 1, "write 'key: value', or set it in deeper than the line it goes on"
    depth = len(lines[number]) - len(lines[number].lstrip(" "))
    inside = re.match(r"\s*(- +)?", before)
    wanted = inside.end() if inside else 0
    what = f"this line is set in by {depth} spaces, the one above by {wanted}"
    return what, number + 1, "keys of one entry are set in alike, what belongs to a key deeper"
