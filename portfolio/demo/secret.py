"""The demonstration's own secret key, made once and kept in a file that only its owner can read."""

import os
import secrets
from pathlib import Path


def kept_key(path: Path) -> str:
    """The key in this file; a new one is written there first, whole or not at all, if there is none."""
    if not path.exists():
        path.parent.mkdir(parents=True, exist_ok=True)
        unfinished = path.with_name(f"{path.name}.{secrets.token_hex(8)}")
        handle = os.open(unfinished, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o600)
        with os.fdopen(handle, "w", encoding="ascii") as file:
            file.write(secrets.token_urlsafe(50))
        unfinished.replace(path)
    return path.read_text(encoding="ascii")
