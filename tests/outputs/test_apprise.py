"""The apprise output, with a stand-in for the package: the real one loads 177 plugins."""

from __future__ import annotations

import sys
from types import SimpleNamespace

import pytest

from planner.outputs import OutputFailed
from planner.outputs.webhook import AppriseOutput
from tests.outputs.frost import FROST


class Sender:
    """Takes what the package's own class takes."""

    sent: list[tuple[str, str, str]] = []
    works = True

    def __init__(self) -> None:
        self.url = ""

    def add(self, url: str) -> bool:
        self.url = url
        return url.startswith("json://")

    def notify(self, *, title: str, body: str) -> bool:
        self.sent.append((self.url, title, body))
        return self.works


@pytest.fixture(autouse=True)
def _package(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setitem(sys.modules, "apprise", SimpleNamespace(Apprise=Sender))
    monkeypatch.setattr(Sender, "sent", [])
    monkeypatch.setattr(Sender, "works", True)


def test_the_message_reaches_the_package() -> None:
    AppriseOutput(url="json://127.0.0.1").send(FROST)
    assert Sender.sent == [("json://127.0.0.1", FROST.title, f"{FROST.body}\n{FROST.url}")]


def test_what_the_package_cannot_do_is_a_failure(monkeypatch: pytest.MonkeyPatch) -> None:
    with pytest.raises(OutputFailed, match="cannot read"):
        AppriseOutput(url="secret://token").send(FROST)
    monkeypatch.setattr(Sender, "works", False)
    with pytest.raises(OutputFailed, match="could not send"):
        AppriseOutput(url="json://127.0.0.1").send(FROST)
    assert "secret" not in repr(AppriseOutput(url="secret://token"))


def test_without_the_package_it_says_how_to_get_it(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setitem(sys.modules, "apprise", None)
    with pytest.raises(OutputFailed, match=r"-r \.requirements-extras\.lock"):
        AppriseOutput(url="json://127.0.0.1").send(FROST)
