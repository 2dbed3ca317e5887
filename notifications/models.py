"""A message to one person: what is to be said, to whom and why. Knows none of the apps that write it."""

from django.conf import settings
from django.db import models
from django.db.models import Q

from notifications.words import DIGEST_HOUR, FAILED, HELD, SENDING, SENT, STATE, WAITING, WITHDRAWN


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
    data = models.JSONField("what follows from it needs to know", default=dict, blank=True)
    follows = models.BooleanField("something is to be recorded once it is taken", default=False)
    followed_at = models.DateTimeField("when that was recorded", null=True, blank=True)

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
            models.Index(fields=["followed_at"], condition=Q(follows=True), name="message_follows"),
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


class Telling(models.Model):
    """How one person asks to be told. Without a row everything holds as it stands here."""

    user = models.OneToOneField(settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="telling")
    hour = models.PositiveSmallIntegerField("hour in London from which it is written", default=DIGEST_HOUR)
    quiet_days = models.JSONField("days of the week without a digest, 0 is Monday", default=list)
    off = models.JSONField("kinds not wanted, codes of words.MAY_BE_OFF", default=list)
    digest = models.BooleanField("a digest is wanted", default=True)
    worked_out_on = models.DateField("day for which its digest was worked out last", null=True, blank=True)

    class Meta:
        constraints = [models.CheckConstraint(condition=Q(hour__lte=23), name="telling_hour_of_a_day")]

    def __str__(self) -> str:
        return f"How {self.user} is told"


class LeadTime(models.Model):
    """How many days before its last good day an agency wants to be told of a kind of paper, or of a duty."""

    agency = models.ForeignKey("portfolio.Agency", on_delete=models.PROTECT, related_name="lead_times")
    kind = models.CharField("kind of paper, or words.DUTY", max_length=40)
    days = models.JSONField("days before, the most first", default=list)

    class Meta:
        constraints = [models.UniqueConstraint(fields=["agency", "kind"], name="lead_time_once")]

    def __str__(self) -> str:
        return f"{self.kind}: {self.days}"


class Said(models.Model):
    """That one reader was told of one milestone of one cause: so that it is not said again.

    `reader` is the part of a message's key that names the person: a user's id, or `landlord:7` for an address alone.
    """

    agency = models.ForeignKey("portfolio.Agency", on_delete=models.PROTECT, related_name="+")
    reader = models.CharField(max_length=60)
    cause = models.CharField("what it is about, with its day", max_length=200)
    milestone = models.CharField(max_length=20)
    on = models.DateField()
    message = models.ForeignKey(Message, on_delete=models.PROTECT, related_name="said")

    class Meta:
        verbose_name_plural = "said"
        constraints = [models.UniqueConstraint(fields=["reader", "cause", "milestone"], name="said_once")]
        # Rows stay for good; what is counted down is only looked for among the last of them.
        indexes = [models.Index(fields=["reader", "on"], name="said_to_lately")]

    def __str__(self) -> str:
        return f"{self.cause} {self.milestone} to {self.reader}"


class RefusedAddress(models.Model):
    """An address that a mail server refused for good. Nothing but dangers is written to it until that ends."""

    agency = models.ForeignKey("portfolio.Agency", on_delete=models.PROTECT, related_name="refused_addresses")
    email = models.CharField("in lower case", max_length=254)
    since = models.DateTimeField()
    said = models.CharField("what the mail server said", max_length=300)
    message = models.ForeignKey(Message, on_delete=models.PROTECT, related_name="+")
    ended_at = models.DateTimeField("when somebody had it tried again", null=True, blank=True)
    ended_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="+", null=True, blank=True
    )

    class Meta:
        verbose_name_plural = "refused addresses"
        constraints = [
            models.UniqueConstraint(
                fields=["agency", "email"], condition=Q(ended_at__isnull=True), name="address_refused_once"
            )
        ]

    def __str__(self) -> str:
        return self.email


class Feed(models.Model):
    """A secret address of one person's calendar. Only its SHA-256 is kept; one is live at a time."""

    user = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="feeds")
    token_sha256 = models.CharField(max_length=64, unique=True)
    made_at = models.DateTimeField()
    used_on = models.DateField("day on which it was last fetched", null=True, blank=True)
    ended_at = models.DateTimeField(null=True, blank=True)

    class Meta:
        constraints = [
            models.UniqueConstraint(fields=["user"], condition=Q(ended_at__isnull=True), name="one_live_feed")
        ]

    def __str__(self) -> str:
        return f"calendar of {self.user}"


class LifeSign(models.Model):
    """When a part of the works was last seen alive: `beat`, `mail_taken`, `mail_trouble`."""

    part = models.CharField(max_length=20, primary_key=True)
    at = models.DateTimeField()
    says = models.CharField(max_length=300, blank=True)

    def __str__(self) -> str:
        return f"{self.part} {self.at}"
