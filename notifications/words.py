"""The words of this app: codes as they are stored, and how pages say them."""

WAITING, SENDING, SENT = "waiting", "sending", "sent"
FAILED, UNCLEAR, WITHDRAWN, HELD = "failed", "unclear", "withdrawn", "held"
STATE = {
    WAITING: "Waiting to be sent",
    SENDING: "Being sent",
    SENT: "Sent",
    FAILED: "Refused",
    UNCLEAR: "Unclear whether it arrived",
    WITHDRAWN: "Withdrawn",
    HELD: "Held back",
}
"""In the order in which a message goes through them."""
DUE_STATES = (WAITING, UNCLEAR)
"""From which a message may be claimed once its time has come."""
HIDDEN = "(link)"
"""What stands where a secret link stood."""
KIND = {
    "danger": "Danger",
    "home_clear": "Home clear again",
    "job": "Job",
    "sent_back": "Proof sent back",
}
"""Kinds of message with a name of their own; others are shown by their code."""
