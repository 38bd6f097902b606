"""The visit as one file: page, tree and scripts together, under a policy that lets nothing in."""

from __future__ import annotations

import base64
import hashlib
import json
import re

from stillflow.cli.web.carrying import pack
from stillflow.cli.web.templating import HERE, rendered
from stillflow.engine import Session
from stillflow.engine.dialogue import REACH

_SCRIPTS = ("reading.js", "telling.js", "carry.js", "guide.js")


def one_file(session: Session, most: int) -> tuple[bytes, float]:
    """The page.

    Args:
        session: where it begins.
        most: bytes it may have; the tree is cut until it has no more.

    Returns:
        The page, UTF-8, and the share of calls that come to all that is in its tree.
    """
    reach = REACH
    while True:
        page = _page(session, reach)
        if len(page) <= most or reach >= 0.5:
            return page, reach
        reach *= 2.0


def _page(session: Session, reach: float) -> bytes:
    visit = session.visit
    start = visit.model_dump(mode="json", by_alias=True, exclude_defaults=True, exclude_none=True)
    carried = {**pack(session, reach), "start": {"stillflow": visit.stillflow, **start}}
    data = json.dumps(carried, separators=(",", ":"), ensure_ascii=False)
    script = "\n".join(_plain((HERE / "static" / name).read_text("utf-8")) for name in _SCRIPTS)
    style = (HERE / "static" / "phone.css").read_text("utf-8")
    policy = (
        f"default-src 'none'; script-src {_hash(script)}; style-src {_hash(style)}; "
        "base-uri 'none'; form-action 'none'"
    )
    # A `<` could end the element that holds it.
    return rendered(
        "guide.html",
        policy=policy,
        script=script,
        style=style,
        data=data.replace("<", "\\u003c"),
        rules=session.knowledge.digest,
    ).encode()


def _plain(script: str) -> str:
    """A module as a part of one script."""
    script = re.sub(r"^import .*?;\n", "", script, flags=re.MULTILINE)
    return re.sub(r"^export ", "", script, flags=re.MULTILINE)


def _hash(text: str) -> str:
    digest = hashlib.sha256(text.encode()).digest()
    return f"'sha256-{base64.b64encode(digest).decode()}'"
