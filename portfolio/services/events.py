"""The append-only line of who did what: chained by hash per agency, so a missing or altered line shows."""

import hashlib
import json
from collections.abc import Iterable
from dataclasses import dataclass, field
from enum import StrEnum
from typing import Any

from django.core.exceptions import PermissionDenied
from django.db import transaction

from portfolio.clock import Moment
from portfolio.models import Agency, Event

START = "0" * 64


class Verb(StrEnum):
    """What can happen: dotted, past tense."""

    PORTFOLIO_TAKEN_IN = "portfolio.taken_in"
    UNIT_ADDED = "unit.added"
    UNIT_CHANGED = "unit.changed"
    LANDLORD_CHANGED = "landlord.changed"
    BUILDING_CHANGED = "building.changed"
    TENANCY_ADDED = "tenancy.added"
    TENANCY_CHANGED = "tenancy.changed"
    MARKETING_ADDED = "marketing.added"
    ACT_RECORDED = "act.recorded"
    CERTIFICATE_ADDED = "certificate.added"
    CERTIFICATE_CORRECTED = "certificate.corrected"
    DOCUMENT_ADDED = "document.added"
    DEFECT_RECORDED = "defect.recorded"
    DEFECT_CLAIMED_DONE = "defect.claimed_done"
    DEFECT_CONFIRMED = "defect.confirmed"
    DEFECT_SENT_BACK = "defect.sent_back"
    DEFECT_MADE_SAFE = "defect.made_safe"
    DEFECT_CHANGED = "defect.changed"
    EVIDENCE_ADDED = "evidence.added"
    EVIDENCE_WITHDRAWN = "evidence.withdrawn"
    VISIT_BEGUN = "visit.begun"
    VISIT_ENDED = "visit.ended"
    ROOM_LOOKED_AT = "room.looked_at"
    ROOM_ADDED = "room.added"
    CONTRACTOR_CHANGED = "contractor.changed"
    COMPETENCE_CHANGED = "competence.changed"
    JOB_SENT = "job.sent"
    JOB_SEEN = "job.seen"
    JOB_ANSWERED = "job.answered"
    JOB_DAY_PROPOSED = "job.day_proposed"
    JOB_CLOSED = "job.closed"
    LINK_REPLACED = "job.link_replaced"
    MESSAGE_SENT_AGAIN = "message.sent_again"
    MESSAGE_HELD = "message.held"
    MESSAGE_RELEASED = "message.released"
    TELLING_CHANGED = "telling.changed"
    LEAD_TIMES_CHANGED = "lead_times.changed"
    ADDRESS_TRIED_AGAIN = "address.tried_again"
    FEED_MADE = "feed.made"
    FEED_ENDED = "feed.ended"
    PAPERS_SENT = "papers.sent"
    PAPERS_TAKEN = "papers.taken"
    RENEWAL_ASKED = "renewal.asked"
    CLEARANCE_MARKED = "clearance.marked"
    CLEARANCE_REFUSED = "clearance.refused"
    CLEARANCE_WITHDRAWN = "clearance.withdrawn"
    POLICY_ASKED = "policy.asked"
    POLICY_CAME_IN = "policy.came_in"


class OtherAgency(PermissionDenied):
    """Somebody of one agency acts on what is another's. No page leads here, so it is a fault of ours."""


@dataclass(frozen=True, slots=True)
class Happening:
    """One thing to record. `says` is a plain sentence; `subject` names the record ("certificate:42")."""

    verb: Verb
    subject: str
    says: str
    unit_id: int | None = None
    data: dict[str, Any] = field(default_factory=dict)


@dataclass(frozen=True, slots=True)
class Broken:
    """A place where the chain does not hold."""

    seq: int
    why: str


def record(happenings: Iterable[Happening], *, agency_id: int, actor: Any, moment: Moment) -> list[Event]:
    """Append happenings to the agency's chain, in order. Must run inside the transaction of their cause.

    Locks the agency's row, so that two writers cannot take the same place in the chain. Raises OtherAgency: whatever
    changes a record comes through here, so nobody changes another agency's.
    """
    happenings = list(happenings)
    if actor is not None and actor.agency_id != agency_id:
        raise OtherAgency(f"{actor} is of another agency than this record, which they cannot change.")
    if not happenings:
        return []
    if not transaction.get_connection().in_atomic_block:
        raise transaction.TransactionManagementError("Events are written in the transaction of their cause.")
    Agency.objects.select_for_update().get(pk=agency_id)
    last = Event.objects.filter(agency_id=agency_id).order_by("-seq").first()
    seq, previous = (last.seq, last.hash) if last else (0, START)
    events = []
    for happening in happenings:
        seq += 1
        event = Event(
            agency_id=agency_id,
            seq=seq,
            at=moment.at,
            actor=actor,
            verb=happening.verb.value,
            unit_id=happening.unit_id,
            subject=happening.subject,
            says=happening.says,
            data=happening.data,
            previous_hash=previous,
        )
        event.hash = previous = hash_of(event)
        events.append(event)
    return Event.objects.bulk_create(events, batch_size=500)


def hash_of(event: Event) -> str:
    """SHA-256 over the line and the hash of the line before it, as canonical JSON."""
    line = {
        "agency": event.agency_id,
        "seq": event.seq,
        "at": event.at.isoformat(),
        "actor": event.actor_id,
        "verb": event.verb,
        "unit": event.unit_id,
        "subject": event.subject,
        "says": event.says,
        "data": event.data,
        "previous": event.previous_hash,
    }
    text = json.dumps(line, sort_keys=True, ensure_ascii=False, separators=(",", ":"))
    return hashlib.sha256(text.encode()).hexdigest()


def verify(agency: Agency) -> Broken | None:
    """The first line that is missing or altered, or None when the whole chain holds."""
    previous, expected = START, 1
    for event in Event.objects.filter(agency=agency).order_by("seq").iterator():
        if event.seq != expected:
            return Broken(expected, f"line {expected} is missing: the next one is {event.seq}")
        if event.previous_hash != previous:
            return Broken(event.seq, f"line {event.seq} does not follow the line before it")
        if event.hash != hash_of(event):
            return Broken(event.seq, f"line {event.seq} was altered after it was written")
        previous, expected = event.hash, expected + 1
    return None
