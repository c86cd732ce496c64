"""The demo as pages: it says that it is invented, and what is written down changes the board."""

from __future__ import annotations

import re
from datetime import datetime
from urllib.parse import urlencode

from fastapi.testclient import TestClient

from planner.cli.running import DEMO_NOW
from planner.config.load import load
from planner.service.run import demo_app
from tests.made import ROOT


def test_what_is_written_down_in_the_demo_changes_its_board() -> None:
    app = demo_app(
        load(ROOT / "config" / "demo.toml"),
        ROOT / "fixtures" / "demo" / "week.csv",
        datetime.fromisoformat(DEMO_NOW),
        "a secret for the demo",
    )
    with TestClient(
        app, client=("127.0.0.1", 50000), base_url="http://127.0.0.1:8480", follow_redirects=False
    ) as client:
        before = client.get("/").text
        assert "an invented place and week" in before
        assert "none on record yet" in before
        key = re.search(r'name="key" value="([^"]+)"', client.get("/diary").text)
        assert key is not None
        sent = {
            "key": key[1],
            "token": "a secret for the demo",
            "job": "growth_regulator",
            "surface": "green",
        }
        assert client.post("/diary", content=urlencode(sent)).status_code == 303
        assert "none on record yet" not in client.get("/").text
