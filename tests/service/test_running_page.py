"""docs/running.md and docs/deploy: files parse, commands and names exist, backups hold what was written."""

from __future__ import annotations

import json
import os
import re
import shutil
import subprocess
import sys
import tomllib
from collections.abc import Callable, Iterator
from http.server import BaseHTTPRequestHandler, HTTPServer
from pathlib import Path
from threading import Thread
from typing import Any

import click
import pytest
import yaml
from fastapi.testclient import TestClient
from sqlalchemy import text as sql

from planner.cli.commands import haysel
from planner.config.load import load
from planner.config.schema import ServicePart
from planner.service.problems import Health
from planner.service.run import demo_app
from planner.store.backup import is_backup
from planner.store.store import Store
from tests.made import ROOT, config
from tests.reports.made import NOW
from tests.store.conftest import postgres_url  # noqa: F401
from tests.store.test_diary import FOLIAR
from tests.store.test_diary import NOW as WRITTEN

PAGE = (ROOT / "docs" / "running.md").read_text(encoding="utf-8")
DEPLOY = ROOT / "docs" / "deploy"
UNITS = ("haysel.service", "haysel-backup.service", "haysel-backup.timer")


def text(name: str) -> str:
    return (DEPLOY / name).read_text(encoding="utf-8")


def shell_blocks() -> list[str]:
    return re.findall(r"```sh\n(.*?)```", PAGE, re.DOTALL)


def block_with(words: str) -> str:
    return next(block for block in shell_blocks() if words in block)


def test_every_file_is_spoken_of_and_no_other():
    named = {Path(found).name for found in re.findall(r"deploy/([\w.-]+)", PAGE)}
    assert {path.name for path in DEPLOY.iterdir()} == named


def test_the_toml_of_the_page_is_a_site_that_holds(tmp_path):
    least = (ROOT / "docs" / "own-site.md").read_text(encoding="utf-8")
    least = re.findall(r"```toml\n(.*?)```", least, re.DOTALL)[0]
    found = re.findall(r"```toml\n(.*?)```", PAGE, re.DOTALL)
    assert len(found) >= 5
    for number, part in enumerate(found):
        above = "" if part.startswith("rules") else 'rules = "/opt/haysel/config/rules.toml"\n'
        # Keys without a table stand before the first table.
        keys, bracket, tables = part.partition("[")
        written = (above + keys + least + bracket + tables).replace("/opt/haysel", str(ROOT))
        (tmp_path / f"{number}.toml").write_text(written)
        loaded = load(tmp_path / f"{number}.toml")
        if "/var/lib" in part:
            assert loaded.store.url == "sqlite:////var/lib/haysel/haysel.db"


def commands(
    group: click.Group, path: tuple[str, ...] = ()
) -> Iterator[tuple[tuple[str, ...], click.Command]]:
    context = click.Context(group)
    for name in group.list_commands(context):
        command = group.get_command(context, name)
        assert command is not None
        yield (*path, name), command
        if isinstance(command, click.Group):
            yield from commands(command, (*path, name))


def test_every_command_and_option_exists():
    known = dict(commands(haysel))
    everything = "\n".join([PAGE, *(text(path.name) for path in DEPLOY.iterdir())])
    called = re.findall(r"(?:bin/haysel|`haysel|\nhaysel) ([^\n`]+)", everything)
    assert len(called) >= 6
    for line in called:
        words = line.split()
        path = tuple(words[:2]) if tuple(words[:2]) in known else (words[0],)
        options = {option for one in known[path].params for option in one.opts}
        assert {word for word in words if word.startswith("--")} <= options, line
    served = yaml.safe_load(re.search(r"^CMD (.*)$", text("Containerfile"), re.MULTILINE)[1])  # type: ignore[index]
    assert served[0] in {path[0] for path in known}
    assert set(served[1::2]) <= {option for one in known[("serve",)].params for option in one.opts}


def test_every_variable_is_one_that_is_read():
    samples = tomllib.loads((ROOT / "planner" / "config" / "samples.toml").read_text(encoding="utf-8"))
    ours = {value for part in samples.values() for key, value in part.items() if key.endswith("_env")}
    ours |= {ServicePart().token_env, "HAYSEL_CONFIG"}
    everything = "\n".join([PAGE, *(text(path.name) for path in DEPLOY.iterdir())])
    named = set(re.findall(r"\bHAYSEL_[A-Z_]+\b", everything))
    assert {"HAYSEL_TOKEN", "HAYSEL_CONFIG"} <= named <= ours


def test_the_table_of_health_is_what_health_answers():
    table = PAGE.split("| key | look when |")[1].split("\n\n")[0]
    assert set(re.findall(r"`(\w+)`", " ".join(row.split(" | ")[0] for row in table.splitlines()))) == set(
        Health.model_fields
    ) - {"unhealthy_after_minutes", "version"}


@pytest.mark.parametrize("name", UNITS)
def test_a_unit_is_one_that_systemd_takes(name, tmp_path):
    if shutil.which("systemd-analyze") is None:
        pytest.skip("no systemd-analyze")
    for unit in UNITS:
        # The command as it lies on this machine: that it is there is part of the check.
        (tmp_path / unit).write_text(text(unit).replace("/opt/haysel/.venv/bin/haysel", sys.executable))
    done = subprocess.run(
        ["systemd-analyze", "verify", str(tmp_path / name)], capture_output=True, text=True, check=False
    )
    assert (done.returncode, done.stderr.strip()) == (0, "")
    # It is no check that passes everything.
    (tmp_path / name).write_text(text(name).replace("[Install]", "[Instal]").replace("Type=", "Tpye="))
    done = subprocess.run(
        ["systemd-analyze", "verify", str(tmp_path / name)], capture_output=True, text=True, check=False
    )
    assert "Unknown" in done.stderr


def instructions() -> list[tuple[str, str]]:
    joined = re.sub(r"\\\n\s*", "", text("Containerfile"))
    lines = [line for line in joined.splitlines() if line and not line.startswith("#")]
    return [(line.split(" ", 1)[0], line.split(" ", 1)[1]) for line in lines]


def test_the_container_recipe_copies_what_is_there_and_what_it_needs(tmp_path):
    known = {
        "FROM",
        "RUN",
        "WORKDIR",
        "COPY",
        "USER",
        "ENV",
        "VOLUME",
        "EXPOSE",
        "HEALTHCHECK",
        "ENTRYPOINT",
        "CMD",
    }
    steps = instructions()
    assert {name for name, _ in steps} <= known
    assert steps[0][0] == "FROM"
    for name, rest in steps:
        if name == "COPY":
            *sources, target = rest.split()
            for source in sources:
                found = ROOT / source
                assert found.exists(), source
                to = tmp_path / ("" if target == "./" else target)
                if found.is_dir():
                    shutil.copytree(found, to, ignore=shutil.ignore_patterns("__pycache__", ".haysel"))
                else:
                    shutil.copy(found, to)
    # From the copied files alone it says what it is, and reads the shipped config.
    done = subprocess.run(
        [sys.executable, "-m", "planner", "check", "--config", "config/haysel.toml"],
        cwd=tmp_path,
        env={**os.environ, "PYTHONPATH": str(tmp_path)},
        capture_output=True,
        text=True,
        check=False,
    )
    assert done.returncode == 0, done.stderr
    # Not as root from the user's line on.
    assert [name for name, _ in steps].index("USER") < [name for name, _ in steps].index("ENTRYPOINT")


def compose() -> dict[str, Any]:
    found: dict[str, Any] = yaml.safe_load(text("compose.yaml"))
    return found


def test_the_compose_file_fits_the_recipe():
    service = compose()["services"]["haysel"]
    assert (DEPLOY / service["build"]["context"]).resolve() == ROOT
    assert (ROOT / service["build"]["dockerfile"]).is_file()
    mounts = dict(volume.split(":")[:2] for volume in service["volumes"])
    assert mounts["store"] == "/var/lib/haysel"
    assert set(compose()["volumes"]) == {"store"}
    assert mounts["./site"] == str(Path(dict(instructions())["ENV"].split("=")[1]).parent)
    assert service["ports"] == ["127.0.0.1:8480:8480"]
    check = next(rest for name, rest in instructions() if name == "HEALTHCHECK")
    asked = json.loads(check.split("CMD ", 1)[1])
    assert service["healthcheck"]["test"] == ["CMD", *asked]
    for key, value in re.findall(r"--([a-z-]+)=(\w+)", check):
        assert str(service["healthcheck"][key.replace("-", "_")]) == value


@pytest.mark.parametrize(("status", "exit_code"), [(200, 0), (503, 1)])
def test_the_health_check_of_the_container_fails_with_health(status, exit_code):
    class Answer(BaseHTTPRequestHandler):
        def do_GET(self) -> None:
            self.send_response(status if self.path == "/health" else 404)
            self.end_headers()

        def log_message(self, *_: object) -> None:
            pass

    server = HTTPServer(("127.0.0.1", 0), Answer)
    Thread(target=server.serve_forever, daemon=True).start()
    _, program, *rest = compose()["services"]["haysel"]["healthcheck"]["test"]
    assert program == "python"
    asked = [one.replace(":8480", f":{server.server_port}") for one in rest]
    done = subprocess.run([sys.executable, *asked], capture_output=True, check=False)
    server.shutdown()
    server.server_close()
    assert done.returncode == exit_code


def test_the_alerts_ask_for_gauges_that_are_there():
    shown = TestClient(demo_app(config(), ROOT / "fixtures" / "demo" / "week.csv", NOW)).get("/metrics").text
    gauges = set(re.findall(r"^(haysel_\w+)", shown, re.MULTILINE))
    rules = [rule for group in yaml.safe_load(text("alerts.yaml"))["groups"] for rule in group["rules"]]
    assert len(rules) == 3
    for rule in rules:
        assert set(rule) >= {"alert", "expr", "annotations"}
        assert set(re.findall(r"\bhaysel_\w+", rule["expr"])) <= gauges, rule["alert"]
    read = yaml.safe_load(text("prometheus.yaml"))
    assert read["rule_files"] == ["alerts.yaml"]
    (job,) = read["scrape_configs"]
    assert f'job="{job["job_name"]}"' in rules[0]["expr"]
    assert job["static_configs"] == [{"targets": [f"127.0.0.1:{ServicePart().port}"]}]


def box(folder: Path, url: str) -> Callable[[str], None]:
    """Runs a line of the page as on a box whose folders lie below this one, without the change of user."""
    site = re.findall(
        r"```toml\n(.*?)```", (ROOT / "docs" / "own-site.md").read_text(encoding="utf-8"), re.DOTALL
    )[0]
    (folder / "haysel").mkdir()
    (folder / "haysel" / "haysel.toml").write_text(f'{site}\n[store]\nurl = "{url}"\n')

    def run(line: str) -> None:
        here = line.replace("sudo -u haysel ", "env ").replace("-o haysel -g haysel ", "")
        here = here.replace("/opt/haysel/.venv/bin/haysel", f"{sys.executable} -m planner")
        here = here.replace("/etc/haysel", str(folder / "haysel")).replace("/var/lib", str(folder))
        environment = {
            **os.environ,
            "PYTHONPATH": str(ROOT),
            "HAYSEL_CONFIG": str(folder / "haysel" / "haysel.toml"),
        }
        subprocess.run(["/bin/sh", "-c", here], check=True, env=environment, cwd=folder)

    return run


@pytest.mark.parametrize("kind", ["sqlite", "postgres"])
def test_a_backup_taken_while_it_is_written_is_whole_and_comes_back(kind, tmp_path, request):
    url = f"sqlite:///{tmp_path / 'haysel' / 'haysel.db'}"
    if kind == "postgres":
        url = request.getfixturevalue("postgres_url")
    run = box(tmp_path, url)
    store = Store.open(url)
    stored = store.add_entry(FOLIAR, WRITTEN)
    folder, backup = block_with("haysel backup").splitlines()
    run(folder)
    with store._writing() as connection:
        connection.execute(sql("delete from warnings"))
        run(backup)
    assert [path.name for path in (tmp_path / "haysel-backup").iterdir()] == ["haysel.zip"]
    late = store.add_entry(FOLIAR, WRITTEN)
    store.close()
    stop, restore, start = block_with("haysel restore").splitlines()
    assert (stop, start) == ("systemctl stop haysel", "systemctl start haysel")
    run(restore)
    store = Store.open(url)
    assert store.entries() == (stored,)
    assert late.uuid != stored.uuid
    store.close()
    if kind == "sqlite":
        # A store that cannot be opened any more, as the page says.
        (tmp_path / "haysel" / "haysel.db").write_bytes(b"spoilt" * 999)
        with pytest.raises(subprocess.CalledProcessError):
            run(restore)
        for file in re.findall(r"`(haysel\.db[\w-]*)`", PAGE.split("## Restore")[1].split("## Upgrade")[0]):
            (tmp_path / "haysel" / file).unlink(missing_ok=True)
        run(restore.replace("--overwrite ", ""))
        store = Store.open(url)
        assert store.entries() == (stored,)
        store.close()


def test_the_backup_unit_makes_a_backup(tmp_path):
    unit = text("haysel-backup.service")
    line = re.search(r"^ExecStart=/bin/sh -c '(.*)'$", unit, re.MULTILINE)
    assert line is not None
    # What it is told of site file and secrets is what the service is told.
    for told in ("Environment=", "EnvironmentFile=", "User=", "WorkingDirectory="):
        (said,) = (one for one in unit.splitlines() if one.startswith(told))
        assert said in text("haysel.service").splitlines()
    url = f"sqlite:///{tmp_path / 'haysel' / 'haysel.db'}"
    run = box(tmp_path, url)
    Store.open(url).close()
    (tmp_path / "haysel-backup").mkdir()
    run(line[1].replace("%%", "%"))
    (copy,) = (tmp_path / "haysel-backup").iterdir()
    assert re.fullmatch(r"haysel-\w+\.zip", copy.name)
    assert is_backup(copy)
