"""Files as evidence: type proven by parsing, kept byte for byte under their SHA-256, never overwritten."""

from portfolio.documents.proof import Accepted, accept
from portfolio.documents.refused import UploadRefused
from portfolio.documents.store import open_bytes, store

__all__ = ["Accepted", "UploadRefused", "accept", "open_bytes", "store"]
