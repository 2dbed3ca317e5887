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
DIGEST_HOUR = 7
"""The hour in London from which a digest is written for who has not said otherwise."""
DUTY = "duty"
"""Stands for every duty where kinds of paper have lead times of their own."""
KIND = {
    "danger": "Danger",
    "dangers": "Dangers still open",
    "withdrawn": "Marks withdrawn",
    "digest": "Digest",
    "home_clear": "Home clear again",
    "job": "Job",
    "sent_back": "Proof sent back",
    "papers": "Papers sent",
    "renewal_request": "Renewal asked for",
    "refused": "Address refused",
}
"""Kinds of message with a name of their own; others are shown by their code."""
ABOUT = {
    "renewal": "Papers that run out",
    "duty": "Duties",
    "job_unanswered": "Jobs without an answer",
    "proof_to_confirm": "Proof to confirm",
    "proof_needed": "Proof needed",
}
"""What a digest speaks of, in its order."""
MAY_BE_OFF = {**ABOUT, "withdrawn": "Marks withdrawn", "home_clear": "Homes clear again"}
"""What a person may ask not to be told. Dangers cannot be switched off, nor answers to what somebody did."""
REACHES = {
    "agent": ("renewal", "duty", "job_unanswered", "proof_to_confirm", "withdrawn", "home_clear"),
    "inspector": ("proof_to_confirm",),
    "landlord": ("renewal", "duty", "proof_needed", "withdrawn"),
}
"""What each role is told of, of the homes it may see; dangers reach agents and landlords."""
