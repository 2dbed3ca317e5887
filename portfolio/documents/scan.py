"""Asking a virus scanner about a file, where the site runs one: clamd, over its own protocol.

`settings.CLAMD` is empty (none), the path of its socket, or host:port. A scanner that is named but cannot be
asked lets nothing through.
"""

import logging
import socket

from django.conf import settings

from portfolio.documents.refused import UploadRefused

log = logging.getLogger(__name__)
PIECE = 64 * 1024
REPLY_AT_MOST = 4096


class NotAsked(Exception):
    """The scanner gave no verdict."""


def refuse_infected(content: bytes) -> None:
    """Raises UploadRefused if the scanner finds something, or if it cannot say."""
    if not settings.CLAMD:
        return
    try:
        found = _found(content)
    except (OSError, ValueError, NotAsked) as silent:  # ValueError: the setting names no address
        log.error("clamd at %s gave no verdict: %s", settings.CLAMD, silent)
        raise UploadRefused(
            "The file could not be checked for viruses just now, so it is not kept. Try again in some minutes."
        ) from silent
    if found:
        raise UploadRefused(f"The virus scanner found “{found}” in the file, so it is not kept.")


def _found(content: bytes) -> str:
    """The name of what is in the file, or "". Raises OSError and NotAsked."""
    with _connected() as clamd:
        clamd.sendall(b"zINSTREAM\0")
        for start in range(0, len(content), PIECE):
            piece = content[start : start + PIECE]
            clamd.sendall(len(piece).to_bytes(4) + piece)
        clamd.sendall(bytes(4))
        reply = _reply(clamd)
    if reply == "stream: OK":
        return ""
    if reply.startswith("stream: ") and reply.endswith(" FOUND"):
        return reply.removeprefix("stream: ").removesuffix(" FOUND")
    raise NotAsked(reply or "it hung up")


def _connected() -> socket.socket:
    where, seconds = settings.CLAMD, settings.CLAMD_SECONDS
    if "/" not in where:
        host, _, port = where.rpartition(":")
        return socket.create_connection((host.strip("[]"), int(port)), timeout=seconds)
    clamd = socket.socket(socket.AF_UNIX, socket.SOCK_STREAM)
    clamd.settimeout(seconds)
    try:
        clamd.connect(where)
    except OSError:
        clamd.close()
        raise
    return clamd


def _reply(clamd: socket.socket) -> str:
    reply = b""
    while b"\0" not in reply and len(reply) < REPLY_AT_MOST:
        more = clamd.recv(REPLY_AT_MOST)
        if not more:
            break
        reply += more
    return reply.partition(b"\0")[0].decode(errors="replace").strip()
