"""The demo's answers as the pages read them."""

from __future__ import annotations

import json
from typing import Any

import pytest

from tests.service.conftest import Answers, answers, briefing, clock, shelf

__all__ = ["answers", "briefing", "clock", "parsed", "shelf"]


@pytest.fixture
def parsed(answers: Answers) -> dict[str, Any]:
    """Answers as objects of the test's own."""
    return {name: json.loads(body) for name, (kind, body) in answers.items() if kind == "application/json"}
