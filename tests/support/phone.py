"""A phone at the web application in this process, as a technician's thumb would use it."""

from __future__ import annotations

import re
from html import unescape
from html.parser import HTMLParser
from pathlib import Path
from typing import Any

from starlette.testclient import TestClient

from stillflow.casebook.store import Casebook
from stillflow.cli.web.app import application
from stillflow.cli.web.desk import Desk
from stillflow.engine import load_rules

HOST = "http://127.0.0.1"


class Text(HTMLParser):
    """The words of a page, piece by piece, without what is only for the eye or for scripts."""

    def __init__(self, page: str) -> None:
        super().__init__()
        self.pieces: list[str] = []
        self._silent = 0
        self.feed(page)

    def handle_starttag(self, tag: str, attrs: Any) -> None:
        self._silent += tag in ("svg", "script", "style", "title")

    def handle_endtag(self, tag: str) -> None:
        self._silent -= tag in ("svg", "script", "style", "title")

    def handle_data(self, data: str) -> None:
        words = " ".join(data.split())
        if words and not self._silent:
            self.pieces.append(words)


class Phone:
    """One browser, and the page it shows."""

    def __init__(self, app: Any, host: str = HOST) -> None:
        self.client = TestClient(app, base_url=host)
        self.page = ""
        self.status = 0

    def open(self, path: str) -> str:
        self._keep(self.client.get(path))
        return self.page

    def send(self, path: str, **fields: str) -> str:
        self._keep(self.client.post(path, data={"token": self.token, **fields}))
        return self.page

    def _keep(self, response: Any) -> None:
        self.page, self.status, self.headers = response.text, response.status_code, response.headers

    @property
    def token(self) -> str:
        return self._found(r'data-token="([^"]*)"')

    @property
    def visit(self) -> str:
        return self._found(r'data-visit="([^"]*)"')

    @property
    def mark(self) -> str:
        return self._found(r'data-mark="([^"]*)"')

    @property
    def question(self) -> str:
        return unescape(self._found(r'<h1 id="question">(.*?)</h1>'))

    @property
    def about(self) -> tuple[str, str]:
        found = re.search(r'name="(check|fix)" value="([^"]*)"', self.page)
        assert found is not None
        return found[1], found[2]

    @property
    def words(self) -> str:
        return " ".join(Text(self.page).pieces)

    def begin(self, **given: str) -> None:
        self.open("/new")
        self.send("/new", **given)

    def answer(self, answer: str, **more: str) -> str:
        kind, name = self.about
        fields = {"mark": self.mark, kind: name, "answer": answer, **more}
        return self.send(f"/visit/{self.visit}/answer", **fields)

    def _found(self, pattern: str) -> str:
        found = re.search(pattern, self.page, re.DOTALL)
        assert found is not None, pattern
        return found[1]


def desk(folder: Path) -> Desk:
    return Desk(load_rules(), Casebook(url(folder)))


def url(folder: Path) -> str:
    return f"sqlite:///{folder / 'casebook.db'}"


def phone(folder: Path) -> Phone:
    return Phone(application(desk(folder)))
