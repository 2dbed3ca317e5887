"""A message to one person: what is to be said, to whom and why. Knows none of the apps that write it."""

from django.conf import settings
from django.db import models
from django.db.models import Q

from notifications.words import FAILED, HELD, SENDING, SENT, STATE, WAITING, WITHDRAWN


class Message(models.Model):
    """Written in the transaction of its cause. `key` names the cause and the person, so that it is said once."""

    key = models.CharField("cause and person", max_length=200, unique=True)
    agency = models.ForeignKey("portfolio.Agency", on_delete=models.PROTECT, related_name="messages")
    unit = models.ForeignKey(
        "portfolio.Unit", on_delete=models.PROTECT, related_name="messages", null=True, blank=True
    )
    kind = models.CharField(max_length=40)
    because = models.CharField("why it is sent", max_length=300)
    urgent = models.BooleanField("at once, not with the next digest", default=False)
    to_user = models.ForeignKey(
        settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="messages", null=True, blank=True
    )
    to_name = models.CharField(max_length=200)
    to_email = models.EmailField()
    reply_to = models.EmailField("where an answer goes", blank=True)
    subject = models.CharField(max_length=200)
    text = models.TextField()
    html = models.TextField(blank=True)
    secrets = models.TextField("links that are blanked once it is sent, one a line", blank=True)
    blanked_at = models.DateTimeField("when its links were blanked", null=True, blank=True)
    message_id = models.CharField(
        "Message-ID, the same however often it is tried", max_length=200, unique=True
    )
    made_at = models.DateTimeField()

    state = models.CharField(max_length=10, choices=list(STATE.items()), default=WAITING)
    next_try_at = models.DateTimeField("not to be tried before", null=True, blank=True)
    tries = models.PositiveIntegerField("how often it was claimed to be sent", default=0)
    put_off = models.PositiveIntegerField("how often the mail server put it off", default=0)
    lost = models.PositiveIntegerField("how often the answer to it was lost", default=0)
    claimed_at = models.DateTimeField("when it was last claimed", null=True, blank=True)
    claimed_by = models.CharField("by which process", max_length=80, blank=True)
    sent_at = models.DateTimeField("when the mail server took it", null=True, blank=True)
    server_said = models.CharField("the mail server's last answer", max_length=300, blank=True)
    withdrawn_why = models.CharField(max_length=300, blank=True)

    class Meta:
        constraints = [
            models.CheckConstraint(condition=Q(state__in=list(STATE)), name="message_state_known"),
            models.CheckConstraint(
                condition=~Q(state=WAITING) | Q(next_try_at__isnull=False),
                name="message_waiting_says_until_when",
            ),
            models.CheckConstraint(
                condition=~Q(state__in=[SENDING, HELD, SENT, FAILED, WITHDRAWN])
                | Q(next_try_at__isnull=True),
                name="message_due_may_be_tried",
            ),
            models.CheckConstraint(
                condition=~Q(state=SENDING) | (Q(claimed_at__isnull=False) & ~Q(claimed_by="")),
                name="message_sending_says_by_whom",
            ),
            models.CheckConstraint(
                condition=Q(state=SENT, sent_at__isnull=False) | (~Q(state=SENT) & Q(sent_at__isnull=True)),
                name="message_sent_says_when",
            ),
            models.CheckConstraint(
                condition=~Q(state=WITHDRAWN) | ~Q(withdrawn_why=""), name="message_withdrawn_says_why"
            ),
            models.CheckConstraint(
                condition=~Q(state__in=[SENT, WITHDRAWN]) | Q(secrets=""), name="message_sent_keeps_no_secret"
            ),
        ]
        indexes = [
            models.Index(fields=["agency", "-made_at"], name="message_of_agency"),
            # What is in flight or settled has no next try. SQLite would not use an index with a condition on the
            # state: it does not look at the value of a parameter.
            models.Index(
                fields=["-urgent", "next_try_at", "id"],
                condition=Q(next_try_at__isnull=False),
                name="message_due",
            ),
            models.Index(fields=["state", "claimed_at"], name="message_in_flight"),
        ]

    def __str__(self) -> str:
        return self.subject


class Attachment(models.Model):
    """A file that goes with a message, as it was when the message was written."""

    message = models.ForeignKey(Message, on_delete=models.PROTECT, related_name="attachments")
    name = models.CharField(max_length=120)
    media_type = models.CharField(max_length=100)
    content = models.BinaryField()

    def __str__(self) -> str:
        return self.name
