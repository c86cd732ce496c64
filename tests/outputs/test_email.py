"""E-mail, against a small mail server on a socket that can be told to misbehave."""

from __future__ import annotations

import email
import email.policy
import socket
import ssl
import subprocess
import threading
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path

import pytest

from planner.errors import InputError
from planner.outputs import OutputFailed, OutputUnsure
from planner.outputs.email import EmailOutput
from tests.outputs.frost import FROST


class PostOffice:
    """Speaks just enough SMTP for one letter; `refuse` answers a command otherwise, or hangs up on None."""

    def __init__(self, certificate: Path | None = None, *, implicit: bool = False) -> None:
        self.refuse: dict[str, bytes | None] = {}
        self.commands: list[str] = []
        self.letters: list[bytes] = []
        self._tls: ssl.SSLContext | None = None
        if certificate is not None:
            self._tls = ssl.SSLContext(ssl.PROTOCOL_TLS_SERVER)
            self._tls.load_cert_chain(certificate)
        self._implicit = implicit
        self._door = socket.create_server(("127.0.0.1", 0))
        self.port: int = self._door.getsockname()[1]
        self._thread = threading.Thread(target=self._work)
        self._thread.start()

    def close(self) -> None:
        self._door.shutdown(socket.SHUT_RDWR)
        self._door.close()
        self._thread.join(60)

    def _work(self) -> None:
        while True:
            try:
                caller, _ = self._door.accept()
            except OSError:
                return
            try:
                with caller:
                    self._talk(self._wrapped(caller) if self._implicit else caller)
            except OSError:
                continue

    def _wrapped(self, caller: socket.socket) -> socket.socket:
        assert self._tls is not None
        return self._tls.wrap_socket(caller, server_side=True)

    def _talk(self, caller: socket.socket) -> None:
        caller.sendall(b"220 post office\r\n")
        lines = caller.makefile("rb")
        while line := lines.readline():
            command = line.decode().split(":")[0].strip().upper()
            verb = command.split()[0]
            self.commands.append(verb)
            if verb in self.refuse:
                answer = self.refuse[verb]
                if answer is None:
                    break
                caller.sendall(answer)
            elif verb == "EHLO":
                offers = b"250-post office\r\n250-AUTH PLAIN\r\n"
                caller.sendall(offers + (b"250 STARTTLS\r\n" if self._tls else b"250 8BITMIME\r\n"))
            elif verb == "STARTTLS":
                caller.sendall(b"220 go on\r\n")
                lines.close()
                caller = self._wrapped(caller)
                lines = caller.makefile("rb")
            elif verb == "AUTH":
                caller.sendall(b"235 welcome\r\n")
            elif verb == "DATA":
                caller.sendall(b"354 go on\r\n")
                letter = b""
                while not letter.endswith(b"\r\n.\r\n"):
                    letter += lines.readline()
                if "LETTER" in self.refuse:
                    answer = self.refuse["LETTER"]
                    if answer is None:
                        break
                    caller.sendall(answer)
                else:
                    self.letters.append(letter[:-3])
                    caller.sendall(b"250 taken\r\n")
            elif verb == "QUIT":
                caller.sendall(b"221 farewell\r\n")
                break
            else:
                caller.sendall(b"250 fine\r\n")
        lines.close()
        caller.close()


@pytest.fixture
def office() -> Iterator[PostOffice]:
    opened = PostOffice()
    yield opened
    opened.close()


@pytest.fixture(scope="module")
def certificate(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A certificate of our own for 127.0.0.1, with its key."""
    file = tmp_path_factory.mktemp("tls") / "server.pem"
    subprocess.run(
        ["openssl", "req", "-x509", "-newkey", "rsa:2048", "-nodes", "-days", "2", "-subj", "/CN=127.0.0.1"]
        + ["-addext", "subjectAltName=IP:127.0.0.1", "-keyout", str(file), "-out", f"{file}.crt"],
        check=True,
        capture_output=True,
    )
    file.write_text(file.read_text() + Path(f"{file}.crt").read_text())
    return file


def mail(port: int, **settings: object) -> EmailOutput:
    given: dict[str, object] = {"security": "none", "timeout_s": 60.0, **settings}
    return EmailOutput(
        host="127.0.0.1",
        port=port,
        sender="haysel@example.org",
        to=["ida@example.org", "tom@example.org"],
        **given,  # type: ignore[arg-type]
    )


def test_the_letter_arrives_as_it_was_meant(office: PostOffice) -> None:
    mail(office.port).send(replace(FROST, title="Frost\r\nBcc: all@example.org"))
    (letter,) = office.letters
    read = email.message_from_bytes(letter, policy=email.policy.default)
    assert read["Subject"] == "Frost Bcc: all@example.org"
    assert read["Bcc"] is None
    assert read["To"] == "ida@example.org, tom@example.org"
    assert read["Date"].datetime == FROST.made_at
    assert read.get_content().replace("\r\n", "\n") == f"{FROST.body}\n\n{FROST.url}\n"
    assert office.commands.count("RCPT") == 2


def test_the_same_message_has_the_same_id_and_another_change_another(office: PostOffice) -> None:
    output = mail(office.port)
    for message in (FROST, FROST, replace(FROST, change=2)):
        output.send(message)
    ids = [email.message_from_bytes(letter)["Message-ID"] for letter in office.letters]
    assert ids[0] == ids[1] != ids[2]


@pytest.mark.parametrize(
    ("refuse", "means", "says"),
    [
        ({"EHLO": None}, OutputFailed, "cannot be used"),
        ({"MAIL": b"451 later\r\n"}, OutputFailed, "refused the sender"),
        ({"MAIL": None}, OutputFailed, "before the message"),
        ({"RCPT": b"550 nobody\r\n"}, OutputFailed, "refused every address"),
        ({"RCPT": None}, OutputFailed, "before the message"),
        ({"DATA": b"451 later\r\n"}, OutputFailed, "refused the message"),
        ({"LETTER": b"554 no\r\n"}, OutputFailed, "refused the message"),
        ({"LETTER": None}, OutputUnsure, "broke off"),
    ],
)
def test_only_what_surely_did_not_arrive_is_a_failure(
    office: PostOffice, refuse: dict[str, bytes | None], means: type[Exception], says: str
) -> None:
    if "EHLO" in refuse:
        refuse = {**refuse, "HELO": None}
    office.refuse = refuse
    with pytest.raises(means, match=says):
        mail(office.port).send(FROST)
    assert office.letters == []


def test_a_farewell_that_fails_changes_nothing(office: PostOffice) -> None:
    office.refuse = {"QUIT": None}
    mail(office.port).send(FROST)
    assert len(office.letters) == 1


def test_one_address_refused_of_two_is_not_sent_again(office: PostOffice) -> None:
    talk = iter([b"250 fine\r\n", b"550 nobody\r\n"])

    class Once(dict[str, bytes | None]):
        def __contains__(self, verb: object) -> bool:
            return verb == "RCPT"

        def __getitem__(self, verb: str) -> bytes | None:
            return next(talk)

    office.refuse = Once()
    with pytest.raises(OutputUnsure, match=r"refused tom@example\.org; the others have the message"):
        mail(office.port).send(FROST)
    assert len(office.letters) == 1


def test_nobody_at_the_door_is_a_failure() -> None:
    with socket.create_server(("127.0.0.1", 0)) as door:
        port = door.getsockname()[1]
    with pytest.raises(OutputFailed, match="Check host, port"):
        mail(port).send(FROST)


@pytest.mark.parametrize("security", ["starttls", "tls"])
def test_a_password_goes_through_tls_only(certificate: Path, security: str) -> None:
    office = PostOffice(certificate, implicit=security == "tls")
    try:
        output = mail(
            office.port, security=security, user="ida", password="word", ca_file=f"{certificate}.crt"
        )
        output.send(FROST)
        assert len(office.letters) == 1
        assert "AUTH" in office.commands
        assert ("STARTTLS" in office.commands) == (security == "starttls")
    finally:
        office.close()


@pytest.mark.parametrize("security", ["starttls", "tls"])
def test_a_server_we_do_not_trust_gets_no_letter(certificate: Path, security: str) -> None:
    office = PostOffice(certificate, implicit=security == "tls")
    try:
        with pytest.raises(OutputFailed, match="certificate"):
            mail(office.port, security=security).send(FROST)
        assert "MAIL" not in office.commands
    finally:
        office.close()


def test_a_server_without_starttls_gets_no_letter(office: PostOffice) -> None:
    with pytest.raises(OutputFailed, match="STARTTLS"):
        mail(office.port, security="starttls").send(FROST)


@pytest.mark.parametrize(
    ("settings", "says"),
    [
        ({"security": "ssl"}, "allowed: starttls, tls, none"),
        ({"security": "none", "password": "word"}, "in the clear"),
        ({"to": "ida@example.org"}, "a list of addresses"),
        ({"to": []}, "a list of addresses"),
    ],
)
def test_settings_that_cannot_be_are_refused(settings: dict[str, object], says: str) -> None:
    with pytest.raises(InputError, match=says):
        EmailOutput(**{"host": "h", "sender": "s@example.org", "to": ["a@example.org"], **settings})  # type: ignore[arg-type]
