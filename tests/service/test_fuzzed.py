"""Everything the description allows is answered as described, and what it does not allow is refused: fuzzed.

The fuzzer is a program of its own, named by HAYSEL_SCHEMATHESIS; `.ci/run` sets it up.
"""

from __future__ import annotations

import os
import re
import shutil
import socket
import subprocess
import sys
import time
from collections.abc import Iterator
from pathlib import Path

import httpx
import pytest

from tests.made import ROOT
from tests.service.serving import UNCOUNTED, demo_folder

pytestmark = pytest.mark.replay

TOKEN = "long enough to be a secret"
#: Cases with the token and without.
CASES = 5000
#: Its answer never ends, so that only what is refused can be fuzzed.
ENDLESS = "/api/v1/events"


@pytest.fixture(scope="module")
def fuzzer() -> str:
    found = shutil.which(os.environ.get("HAYSEL_SCHEMATHESIS", "schemathesis"))
    if found is None:
        assert "CI" not in os.environ, "the fuzzer is not there"
        pytest.skip("HAYSEL_SCHEMATHESIS names no fuzzer")
    return found


@pytest.fixture(scope="module")
def service(tmp_path_factory: pytest.TempPathFactory) -> Iterator[str]:
    """A service of the demo; its diary is kept in memory."""
    folder = demo_folder(tmp_path_factory.mktemp("demo"), UNCOUNTED)
    with socket.socket() as held:
        held.bind(("127.0.0.1", 0))
        port = held.getsockname()[1]
    command = [sys.executable, "-m", "planner", "serve", "--demo", "--port", str(port)]
    env = {**os.environ, "HAYSEL_TOKEN": TOKEN, "PYTHONPATH": str(ROOT)}
    process = subprocess.Popen(command, cwd=folder, env=env)
    base = f"http://127.0.0.1:{port}"

    try:
        while not _answers(base):
            assert process.poll() is None, "the service did not start"
            time.sleep(0.1)
        yield base
    finally:
        process.terminate()
        process.wait(20)


def _answers(base: str) -> bool:
    try:
        return httpx.get(f"{base}/health").is_success
    except httpx.TransportError:
        return False


def _fuzzed(fuzzer: str, service: str, folder: Path, *options: str) -> int:
    """Fuzzes with every check; the number of cases made."""
    # Its own list, and the refusals of an address, a head or a body that is too long, and of an older ETag.
    refusals = '[400, 401, 403, 404, 405, 406, 409, 412, 413, 414, 415, 422, 428, 429, 431, "5xx"]'
    (folder / "schemathesis.toml").write_text(
        f"[checks.negative_data_rejection]\nexpected-statuses = {refusals}\n", encoding="utf-8"
    )
    command = [fuzzer, "run", f"{service}/openapi.json", "--checks", "all", "--suppress-health-check", "all"]
    # A withdrawn entry is still read by who asks for it (`withdrawn=true`); that it is gone else has its own test.
    command += ["--exclude-checks", "use_after_free"]
    ran = subprocess.run(
        [*command, "--continue-on-failure", "--no-color", *options],
        cwd=folder,
        capture_output=True,
        text=True,
        check=False,
    )
    assert ran.returncode == 0, ran.stdout[-6000:] + ran.stderr[-2000:]
    made = re.search(r"(\d+) generated, \1 passed", ran.stdout)
    assert made is not None, ran.stdout[-2000:]
    return int(made[1])


@pytest.mark.parametrize("head", [f"Authorization: Bearer {TOKEN}", "Accept: */*"], ids=["token", "no token"])
def test_no_question_is_answered_otherwise_than_described(
    fuzzer: str, service: str, tmp_path: Path, head: str
) -> None:
    made = 0
    while made < CASES:
        made += _fuzzed(
            fuzzer, service, tmp_path, "-H", head, "--exclude-path", ENDLESS, "-n", "200", "--no-shrink"
        )


def test_what_the_events_refuse_is_described(fuzzer: str, service: str, tmp_path: Path) -> None:
    options = ("--include-path", ENDLESS, "-m", "negative", "--request-timeout", "5")
    assert _fuzzed(fuzzer, service, tmp_path, *options) > 0
