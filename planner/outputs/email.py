"""Sends warnings by e-mail."""

from __future__ import annotations

import smtplib
import ssl
from collections.abc import Sequence
from dataclasses import dataclass
from email.message import EmailMessage
from email.policy import SMTP
from email.utils import format_datetime
from hashlib import sha256

from planner.errors import InputError
from planner.outputs.base import Message, OutputFailed, OutputUnsure

SECURITY = ("starttls", "tls", "none")


@dataclass(frozen=True, slots=True, kw_only=True)
class EmailOutput:
    """One e-mail a message, by SMTP.

    Mail servers do not drop repeats, so a message whose fate is not known is not sent again.
    """

    host: str
    sender: str
    to: Sequence[str]
    name: str = "email"
    port: int | None = None
    security: str = "starttls"
    """`starttls` (port 587), `tls` (465), or `none` (25) for a server on the same machine."""
    user: str | None = None
    password: str | None = None
    ca_file: str | None = None
    """Certificates to trust, for a server with its own."""
    timeout_s: float = 20.0
    idempotent: bool = False

    def __post_init__(self) -> None:
        if self.security not in SECURITY:
            raise InputError(
                f'The output {self.name} has the security "{self.security}"; allowed: {", ".join(SECURITY)}.'
            )
        if isinstance(self.to, str) or not self.to:
            raise InputError(f"The output {self.name} needs a list of addresses in `to`.")
        if self.security == "none" and self.password is not None:
            raise InputError(
                f"The output {self.name} would send its password in the clear. Set security to "
                "starttls or tls."
            )

    def send(self, message: Message) -> None:
        """Taken when the server has accepted it for every address."""
        letter = self._letter(message).as_bytes(policy=SMTP)
        server = self._connect()
        try:
            refused = self._address(server)
            try:
                code, answer = server.data(letter)
            except smtplib.SMTPDataError as error:
                raise OutputFailed(f"{self._where()} refused the message ({error}).") from error
            except (OSError, smtplib.SMTPException) as error:
                raise OutputUnsure(
                    f"{self._where()} broke off while taking the message ({error})."
                ) from error
            if code != 250:
                raise OutputFailed(f"{self._where()} refused the message ({code} {answer!r}).")
        finally:
            _leave(server)
        if refused:
            raise OutputUnsure(f"{self._where()} refused {', '.join(refused)}; the others have the message.")

    def _address(self, server: smtplib.SMTP) -> list[str]:
        """Addresses refused, when not all are. Up to here nothing can have been delivered."""
        try:
            code, answer = server.mail(self.sender)
            if code != 250:
                raise OutputFailed(f"{self._where()} refused the sender ({code} {answer!r}).")
            answers = {address: server.rcpt(address) for address in self.to}
        except (OSError, smtplib.SMTPException) as error:
            raise OutputFailed(f"{self._where()} broke off before the message ({error}).") from error
        refused = [address for address, (code, _) in answers.items() if code not in (250, 251)]
        if len(refused) == len(answers):
            raise OutputFailed(f"{self._where()} refused every address ({answers}). Correct them.")
        return refused

    def _connect(self) -> smtplib.SMTP:
        server: smtplib.SMTP | None = None
        try:
            if self.security == "tls":
                server = smtplib.SMTP_SSL(
                    self.host, self.port or 465, timeout=self.timeout_s, context=self._context()
                )
            else:
                port = self.port or (587 if self.security == "starttls" else 25)
                server = smtplib.SMTP(self.host, port, timeout=self.timeout_s)
            if self.security == "starttls":
                server.starttls(context=self._context())
            server.ehlo_or_helo_if_needed()
            if self.user is not None:
                server.login(self.user, self.password or "")
        except (OSError, smtplib.SMTPException) as error:
            if server is not None:
                _leave(server)
            raise OutputFailed(
                f"{self._where()} cannot be used ({error}). Check host, port, security, user and password."
            ) from error
        return server

    def _context(self) -> ssl.SSLContext:
        return ssl.create_default_context(cafile=self.ca_file)

    def _where(self) -> str:
        return f"The mail server {self.host} of the output {self.name}"

    def _letter(self, message: Message) -> EmailMessage:
        letter = EmailMessage()
        letter["From"] = self.sender
        letter["To"] = ", ".join(self.to)
        letter["Subject"] = " ".join(message.title.split())
        letter["Message-ID"] = f"<{sha256(message.key.encode()).hexdigest()[:32]}@haysel.invalid>"
        letter["Auto-Submitted"] = "auto-generated"
        if message.made_at is not None:
            letter["Date"] = format_datetime(message.made_at)
        lines = [message.body]
        if message.url is not None:
            lines.append(message.url)
        letter.set_content("\n\n".join(lines) + "\n", cte="quoted-printable")
        return letter


def _leave(server: smtplib.SMTP) -> None:
    # What the server says to a farewell changes nothing about the message.
    try:
        server.quit()
    except (OSError, smtplib.SMTPException):
        server.close()
