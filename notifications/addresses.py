"""E-mail addresses as mail servers write them: the domain in ASCII (IDNA), what stands before the @ as it is."""

import re
from encodings.idna import nameprep

_DOTS = re.compile("[.。．｡]")
"""All of these part a domain (RFC 3490, section 3.1)."""
_KEPT = re.compile("([ßς])")
"""Letters of their own in names given out today. The older rule of the standard library would make another name of
them (ss, σ), which may be somebody else's."""
_JOINERS = re.compile("[\u200c\u200d]")
LONGEST_LABEL = 63


class Unwritable(ValueError):
    """The address cannot be written for a mail server; the message says why and what to do."""


def for_wire(email: str) -> str:
    """The address with its domain in ASCII. Raises Unwritable."""
    local, at, domain = email.rpartition("@")
    if email.isascii():
        return email
    try:
        return f"{local}{at}{'.'.join(_label(part) for part in _DOTS.split(domain))}"
    except UnicodeError as error:
        raise Unwritable(
            f"The part after the @ of {email} is not a name that mail can go to. Correct the address."
        ) from error


def needs_utf8(email: str) -> bool:
    """Must a mail server know letters beyond ASCII to take mail for it? Its domain never needs that."""
    return not email.rpartition("@")[0].isascii()


def _label(label: str) -> str:
    """One part of a domain, as RFC 5891 has it. Raises UnicodeError."""
    if _JOINERS.search(label):
        raise UnicodeError("characters that nobody sees")
    plain = "".join(
        piece if _KEPT.fullmatch(piece) else nameprep(piece)
        for piece in _KEPT.split(label.replace("ẞ", "ß"))
        if piece
    )
    written = plain if plain.isascii() else f"xn--{plain.encode('punycode').decode()}"
    if not 0 < len(written) <= LONGEST_LABEL:
        raise UnicodeError("empty or too long")
    return written
