"""Certificates (any dated paper, licences too), their files, and acts the law counts."""

from django.db import models

from portfolio import words
from portfolio.models.base import Owned, history, in_order, one_of
from portfolio.models.homes import Appliance, PartOfUnit, Unit, coded
from portfolio.models.people import Agency, User


class Document(Owned):
    """A stored file, kept byte for byte under its SHA-256; the same bytes are stored once per agency."""

    landlord_path = "certificates__unit__landlord"

    agency = models.ForeignKey(Agency, on_delete=models.PROTECT, related_name="documents")
    sha256 = models.CharField(max_length=64)
    size = models.PositiveBigIntegerField("bytes")
    media_type = models.CharField(max_length=100)
    name = models.CharField("name it came with", max_length=200)
    added_at = models.DateTimeField()
    added_by = models.ForeignKey(User, on_delete=models.PROTECT, related_name="+", null=True, blank=True)

    class Meta(Owned.Meta):
        constraints = [models.UniqueConstraint(fields=["agency", "sha256"], name="document_bytes_once")]

    def __str__(self) -> str:
        return self.name


class Certificate(PartOfUnit):
    unit = models.ForeignKey(Unit, on_delete=models.PROTECT, related_name="certificates")
    kind = models.CharField(max_length=40, choices=words.choices(words.CERTIFICATE))
    number = models.CharField(max_length=100, null=True, blank=True)
    inspected = models.DateField(null=True, blank=True)
    issued = models.DateField(null=True, blank=True)
    registered = models.DateField(null=True, blank=True)
    until = models.DateField(
        "printed last day", help_text="The last good day, as printed.", null=True, blank=True
    )
    outcome = coded(words.OUTCOME)
    rating = coded(words.RATING)
    next_within_years = models.FloatField("next inspection within, years", null=True, blank=True)
    remedy_within_days = models.PositiveSmallIntegerField("remedy within, days", null=True, blank=True)
    appliances_listed = models.BooleanField(default=False)
    exemption = coded(words.EXEMPTION)
    applied = models.DateField("application made, still undecided", null=True, blank=True)
    withdrawn = models.DateField(null=True, blank=True)
    documents = models.ManyToManyField(Document, related_name="certificates", blank=True)
    history = history()

    class Meta(PartOfUnit.Meta):
        constraints = [
            models.UniqueConstraint(fields=["unit", "ref"], name="certificate_ref_once"),
            one_of("kind", words.CERTIFICATE, model="certificate"),
            one_of("outcome", words.OUTCOME, model="certificate"),
            one_of("rating", words.RATING, model="certificate"),
            one_of("exemption", words.EXEMPTION, model="certificate"),
            in_order("issued", "until", model="certificate"),
            in_order("inspected", "until", model="certificate"),
            in_order("registered", "until", model="certificate"),
        ]


class ApplianceCheck(Owned):
    """What one certificate says of one appliance."""

    agency_path = "certificate__unit__agency"
    landlord_path = "certificate__unit__landlord"

    certificate = models.ForeignKey(Certificate, on_delete=models.PROTECT, related_name="checks")
    appliance = models.ForeignKey(Appliance, on_delete=models.PROTECT, related_name="checks")
    result = coded(words.APPLIANCE_RESULT)
    history = history()

    class Meta(Owned.Meta):
        constraints = [
            models.UniqueConstraint(
                fields=["certificate", "appliance"], name="appliance_once_per_certificate"
            ),
            one_of("result", words.APPLIANCE_RESULT, model="check"),
        ]

    def __str__(self) -> str:
        return f"{self.appliance}: {self.result}"


class Act(PartOfUnit):
    """Something done that the law counts: a copy given, a request received ("events" in the portfolio file)."""

    ref = None  # type: ignore[assignment]
    unit = models.ForeignKey(Unit, on_delete=models.PROTECT, related_name="acts")
    what = models.CharField(max_length=30, choices=words.choices(words.ACT))
    of = models.CharField("ref of the paper or defect", max_length=100, null=True, blank=True)
    party = coded(words.PARTY)
    on = models.DateField(null=True, blank=True)
    at = models.CharField("time of day, HH:MM", max_length=5, null=True, blank=True)
    history = history()

    class Meta(PartOfUnit.Meta):
        constraints = [
            one_of("what", words.ACT, model="act"),
            one_of("party", words.PARTY, model="act"),
        ]

    def __str__(self) -> str:
        return f"{self.get_what_display()} {self.on}"
