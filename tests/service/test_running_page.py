"""docs/running.md and docs/deploy: files parse, commands and names exist, backups hold what was written."""

from __future__ import annotations

import json
import os
import re
import shutil
import subprocess
import sys
import tomllib
from collections.abc import Iterator
from http.server import BaseHTTPRequestHandler, HTTPServer
from pathlib import Path
from threading import Thread
from typing import Any

import click
import pytest
import yaml
from fastapi.testclient import TestClient

from planner.cli.commands import haysel
from planner.config.load import load
from planner.config.schema import ServicePart
from planner.service.problems import Health
from planner.service.run import demo_app
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


@pytest.mark.parametrize("program", ["sqlite3 /var", "python3 -c"])
def test_a_backup_taken_while_it_is_written_is_whole_and_comes_back(program, tmp_path):
    if program.startswith("sqlite3") and shutil.which("sqlite3") is None:
        pytest.skip("no sqlite3 program")
    live, copy = tmp_path / "live", tmp_path / "copies"
    live.mkdir()
    copy.mkdir()
    lines = [line for block in shell_blocks() for line in block.splitlines() if "haysel.db" in line]
    backup = next(line for line in lines if line.startswith(program) and "backup" in line)

    def run(line: str) -> None:
        here = line.replace("/var/lib/haysel", str(live)).replace("/var/backups", str(copy))
        here = here.replace("-o haysel -g haysel ", "").replace("python3 ", f"{sys.executable} ")
        subprocess.run(here, shell=True, check=True)

    store = Store.open(f"sqlite:///{live / 'haysel.db'}")
    stored = store.add_entry(FOLIAR, WRITTEN)
    # The entry is still in the write-ahead log, which a plain copy of the file would miss.
    assert (live / "haysel.db-wal").stat().st_size > 0
    with store._writing():
        run(backup)
    assert [path.name for path in copy.iterdir()] == ["haysel.db"]
    late = store.add_entry(FOLIAR, WRITTEN)
    store.close()
    (live / "haysel.db").write_bytes(b"spoilt")
    restore = block_with("systemctl stop haysel\nrm").splitlines()
    assert [line.split()[0] for line in restore] == ["systemctl", "rm", "install", "systemctl"]
    for line in restore[1:3]:
        run(line)
    back = Store.open(f"sqlite:///{live / 'haysel.db'}")
    assert back.entries() == (stored,)
    assert late.uuid != stored.uuid
    back.close()


def test_a_backup_of_postgresql_comes_back(postgres_url, tmp_path):  # noqa: F811
    if shutil.which("pg_dump") is None:
        pytest.skip("no pg_dump")
    store = Store.open(postgres_url)
    stored = store.add_entry(FOLIAR, WRITTEN)
    store.close()
    server, _, schema = postgres_url.partition("?options=-csearch_path%3D")
    lines = [line for block in shell_blocks() for line in block.splitlines()]
    dump = next(line for line in lines if line.startswith("pg_dump"))
    restore = next(line for line in lines if line.startswith("pg_restore"))

    def run(line: str, *more: str) -> None:
        here = line.replace("/var/backups", str(tmp_path)).replace(
            "postgresql://haysel@127.0.0.1/haysel", server
        )
        # The server of the tests holds other schemas too.
        subprocess.run(f"{here} --schema={schema}", shell=True, check=True)

    run(dump)
    store = Store.open(postgres_url)
    store.add_entry(FOLIAR, WRITTEN)
    store.close()
    run(restore)
    store = Store.open(postgres_url)
    assert store.entries() == (stored,)
    store.close()


def test_the_backup_unit_makes_the_copy_of_the_page(tmp_path):
    if shutil.which("sqlite3") is None:
        pytest.skip("no sqlite3 program")
    line = re.search(r"^ExecStart=/bin/sh -c '(.*)'$", text("haysel-backup.service"), re.MULTILINE)
    assert line is not None
    Store.open(f"sqlite:///{tmp_path / 'haysel' / 'haysel.db'}").close()
    (tmp_path / "haysel-backup").mkdir()
    command = line[1].replace("/var/lib", str(tmp_path)).replace("%%", "%")
    subprocess.run(["/bin/sh", "-c", command], check=True)
    (copy,) = (tmp_path / "haysel-backup").iterdir()
    assert re.fullmatch(r"haysel-\w+\.db", copy.name)
    assert Store.open(f"sqlite:///{copy}").entries() == ()
