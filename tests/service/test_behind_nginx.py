"""docs/deploy/nginx.conf in front of the service itself: TLS, the path in every link, and who is believed."""

from __future__ import annotations

import os
import re
import shutil
import socket
import ssl
import subprocess
import sys
import time
from collections.abc import Iterator
from pathlib import Path
from urllib.parse import urljoin

import httpx
import pytest

from tests.made import ROOT
from tests.service.serving import demo_folder

pytestmark = pytest.mark.skipif(
    shutil.which("nginx") is None or shutil.which("openssl") is None, reason="no nginx or no openssl here"
)


def free_port() -> int:
    with socket.socket() as one:
        one.bind(("127.0.0.1", 0))
        return int(one.getsockname()[1])


def wait_for(port: int, process: subprocess.Popen[str]) -> None:
    until = time.monotonic() + 120
    while time.monotonic() < until:
        with socket.socket() as one:
            if one.connect_ex(("127.0.0.1", port)) == 0:
                return
        assert process.poll() is None, process.stderr.read() if process.stderr else ""
        time.sleep(0.1)
    raise AssertionError(f"nothing listens on {port}")


def ours(folder: Path, *, service: int, plain: int, tls: int) -> str:
    """The shipped file with the ports, paths and addresses of this run."""
    text = (ROOT / "docs" / "deploy" / "nginx.conf").read_text(encoding="utf-8")
    for shipped, here in (
        ("listen 80;", f"listen 127.0.0.1:{plain};"),
        ("listen 443 ssl;", f"listen 127.0.0.1:{tls} ssl;"),
        ("/etc/ssl/certs/turf.example.org.pem", str(folder / "cert.pem")),
        ("/etc/ssl/private/turf.example.org.key", str(folder / "key.pem")),
        ("127.0.0.1:8480", f"127.0.0.1:{service}"),
    ):
        assert shipped in text, shipped
        text = text.replace(shipped, here)
    return text


@pytest.fixture(scope="module")
def ports(tmp_path_factory: pytest.TempPathFactory) -> Iterator[tuple[int, int]]:
    """Port of the service itself, and of TLS in front of it."""
    folder = tmp_path_factory.mktemp("nginx")
    service, plain, tls = free_port(), free_port(), free_port()
    subprocess.run(
        [
            *("openssl", "req", "-x509", "-newkey", "rsa:2048", "-nodes", "-days", "2"),
            *("-subj", "/CN=turf.example.org", "-keyout", str(folder / "key.pem")),
            *("-out", str(folder / "cert.pem")),
        ],
        check=True,
        capture_output=True,
    )
    conf = folder / "nginx.conf"
    temporary = "".join(
        f"{name}_temp_path {folder / name};\n"
        for name in ("client_body", "proxy", "fastcgi", "uwsgi", "scgi")
    )
    conf.write_text(
        f"pid {folder / 'pid'};\nerror_log stderr;\nevents {{}}\nhttp {{\naccess_log off;\n{temporary}"
        f"{ours(folder, service=service, plain=plain, tls=tls)}}}\n"
    )
    subprocess.run(["nginx", "-t", "-c", str(conf), "-p", str(folder)], check=True, capture_output=True)
    quiet = {"stdout": subprocess.DEVNULL, "stderr": subprocess.DEVNULL}
    with (
        subprocess.Popen(
            [sys.executable, "-m", "planner", "serve", "--demo", "--port", str(service)],
            cwd=demo_folder(folder / "demo", 'hosts = ["turf.example.org"]'),
            env={**os.environ, "PYTHONPATH": str(ROOT)},
            text=True,
            **quiet,  # type: ignore[call-overload]
        ) as haysel,
        subprocess.Popen(
            ["nginx", "-c", str(conf), "-p", str(folder), "-g", "daemon off;"],
            text=True,
            **quiet,  # type: ignore[call-overload]
        ) as nginx,
    ):
        try:
            wait_for(service, haysel)
            wait_for(tls, nginx)
            yield service, tls
        finally:
            nginx.terminate()
            haysel.terminate()


@pytest.fixture
def client(ports: tuple[int, int]) -> Iterator[httpx.Client]:
    trusting = ssl.create_default_context()
    trusting.check_hostname = False
    trusting.verify_mode = ssl.CERT_NONE
    with httpx.Client(base_url=f"https://127.0.0.1:{ports[1]}", verify=trusting) as client:
        yield client


def test_every_link_of_the_page_holds_under_the_path(client: httpx.Client) -> None:
    page = client.get("/turf/")
    assert page.status_code == 200
    links = {
        urljoin("/turf/", found)
        for found in re.findall(r'(?:href|src|action)="([^"#]+)"', page.text)
        if not re.match(r"[a-z]+:", found)
    }
    assert len(links) > 10
    assert {link for link in links if not link.startswith("/turf/")} == set()
    for link in sorted(links)[:12]:
        assert client.get(link).status_code in (200, 401, 405), link


def test_the_service_learns_scheme_and_path_from_the_proxy_alone(
    client: httpx.Client, ports: tuple[int, int]
) -> None:
    forged = {"X-Forwarded-Prefix": "/elsewhere", "X-Forwarded-For": "192.0.2.1"}
    shown = client.get("/turf/help", headers=forged).text
    assert "https://127.0.0.1/turf" in shown
    assert "/elsewhere" not in shown
    # Outside the path there is nothing.
    assert client.get("/api/v1/now").status_code in (403, 404)
    assert "/turf" not in httpx.get(f"http://127.0.0.1:{ports[0]}/help").text


def test_the_name_of_the_proxy_is_answered_and_no_other(client: httpx.Client) -> None:
    shown = client.get("/turf/help", headers={"Host": "turf.example.org"})
    assert "https://turf.example.org/turf" in shown.text
    assert client.get("/turf/help", headers={"Host": "evil.example.com"}).status_code == 421
    forged = {"Host": "evil.example.com", "X-Forwarded-Host": "localhost"}
    assert client.get("/turf/help", headers=forged).status_code == 421
