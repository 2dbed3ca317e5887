"""A message to one person: what is to be said, to whom and why. Knows none of the apps that write it."""

from django.conf import settings
from django.db import models


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
    subject = models.CharField(max_length=200)
    text = models.TextField()
    html = models.TextField(blank=True)
    message_id = models.CharField(
        "Message-ID, the same however often it is tried", max_length=200, unique=True
    )
    made_at = models.DateTimeField()

    class Meta:
        indexes = [models.Index(fields=["agency", "-made_at"], name="message_of_agency")]

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
