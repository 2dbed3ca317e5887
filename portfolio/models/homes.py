"""Buildings, units and what is in them. Null means "not recorded", never "no"."""

from datetime import date

from django.core.validators import MinValueValidator
from django.db import models

from portfolio import words
from portfolio.models.base import Owned, history, in_order, one_of
from portfolio.models.people import Agency, Landlord


def coded(table: dict[str, str]) -> "models.CharField[str | None, str | None]":
    """A field that holds one of our codes, or nothing: not recorded."""
    return models.CharField(max_length=40, choices=words.choices(table), null=True, blank=True)


def _removed() -> "models.DateField[date | None, date | None]":
    """Things taken out of a home stay on record; the law is no longer asked about them."""
    return models.DateField("no longer there since", null=True, blank=True)


class Building(Owned):
    landlord_path = "units__landlord"

    agency = models.ForeignKey(Agency, on_delete=models.PROTECT, related_name="buildings")
    ref = models.CharField(max_length=100)
    name = models.CharField(max_length=200, null=True, blank=True)
    nation = coded(words.NATION)
    address = models.JSONField(help_text="Lines of the address.", null=True, blank=True)
    postcode = models.CharField(max_length=12, null=True, blank=True)
    year_built = models.PositiveSmallIntegerField(null=True, blank=True)
    storeys = models.PositiveSmallIntegerField(null=True, blank=True)
    top_storey_height_m = models.FloatField(
        "height of the top storey's floor, metres", validators=[MinValueValidator(0)], null=True, blank=True
    )
    self_contained_units = models.PositiveSmallIntegerField(
        "self-contained homes in it", null=True, blank=True
    )
    purpose_built = models.BooleanField("built as flats, not converted", null=True, blank=True)
    common_parts = models.BooleanField("has common parts", null=True, blank=True)
    passenger_lift = models.BooleanField("has a passenger lift", null=True, blank=True)
    lift_used_at_work = models.BooleanField("staff use the lift at work", null=True, blank=True)
    simultaneous_evacuation = models.BooleanField(
        "on an alarm everybody leaves at once", null=True, blank=True
    )
    history = history()

    class Meta(Owned.Meta):
        constraints = [
            models.UniqueConstraint(fields=["agency", "ref"], name="building_ref_once"),
            one_of("nation", words.NATION, model="building"),
        ]

    def __str__(self) -> str:
        return self.name or self.ref


class Unit(Owned):
    """One home. The `…_listed` fields say that a list is on record, so that an empty one means "none"."""

    LISTS = ("rooms", "appliances", "alarms", "certificates", "defects", "tenancies", "marketing", "events")

    agency = models.ForeignKey(Agency, on_delete=models.PROTECT, related_name="units")
    building = models.ForeignKey(Building, on_delete=models.PROTECT, related_name="units")
    landlord = models.ForeignKey(
        Landlord, on_delete=models.PROTECT, related_name="units", null=True, blank=True
    )
    ref = models.CharField(max_length=100)
    label = models.CharField(max_length=200, null=True, blank=True)
    dwelling = coded(words.DWELLING)
    landlord_kind = coded(words.LANDLORD)
    letting_kind = coded(words.LETTING)
    letting_term_years = models.FloatField("fixed term, years", null=True, blank=True)
    persons = models.PositiveSmallIntegerField("people living there", null=True, blank=True)
    households = models.PositiveSmallIntegerField(null=True, blank=True)
    shares_amenities = models.BooleanField(
        "households share a kitchen, bathroom or WC", null=True, blank=True
    )
    additional_licensing_area = models.BooleanField("in an additional licensing area", null=True, blank=True)
    selective_licensing_area = models.BooleanField("in a selective licensing area", null=True, blank=True)
    acquired_with_tenant = models.DateField("bought with a sitting tenant on", null=True, blank=True)
    landlord_electrical_appliances = models.BooleanField(
        "landlord supplies plug-in electrical appliances", null=True, blank=True
    )
    main_board_rcd_30ma = models.BooleanField("30 mA RCD in the main consumer unit", null=True, blank=True)
    rooms_listed = models.BooleanField(default=False)
    appliances_listed = models.BooleanField(default=False)
    alarms_listed = models.BooleanField(default=False)
    certificates_listed = models.BooleanField(default=False)
    defects_listed = models.BooleanField(default=False)
    tenancies_listed = models.BooleanField(default=False)
    marketing_listed = models.BooleanField(default=False)
    events_listed = models.BooleanField(default=False)
    history = history()

    class Meta(Owned.Meta):
        constraints = [
            models.UniqueConstraint(fields=["agency", "ref"], name="unit_ref_once"),
            one_of("dwelling", words.DWELLING, model="unit"),
            one_of("landlord_kind", words.LANDLORD, model="unit"),
            one_of("letting_kind", words.LETTING, model="unit"),
        ]

    def __str__(self) -> str:
        return f"{self.label}, {self.building}" if self.label else str(self.building)


class PartOfUnit(Owned):
    """A record inside one home, with a ref of its own there."""

    agency_path = "unit__agency"
    landlord_path = "unit__landlord"

    ref = models.CharField(max_length=100)

    class Meta(Owned.Meta):
        abstract = True

    def __str__(self) -> str:
        return self.ref


class Room(PartOfUnit):
    unit = models.ForeignKey(Unit, on_delete=models.PROTECT, related_name="rooms")
    level = models.SmallIntegerField("storey (0 = ground)", null=True, blank=True)
    use = coded(words.ROOM_USE)
    removed = _removed()
    history = history()

    class Meta(PartOfUnit.Meta):
        constraints = [
            models.UniqueConstraint(fields=["unit", "ref"], name="room_ref_once"),
            one_of("use", words.ROOM_USE, model="room"),
        ]


class Appliance(PartOfUnit):
    unit = models.ForeignKey(Unit, on_delete=models.PROTECT, related_name="appliances")
    kind = coded(words.APPLIANCE)
    room = models.ForeignKey(Room, on_delete=models.PROTECT, related_name="appliances", null=True, blank=True)
    owner = coded(words.OWNER)
    installed = models.DateField(null=True, blank=True)
    removed = _removed()
    history = history()

    class Meta(PartOfUnit.Meta):
        constraints = [
            models.UniqueConstraint(fields=["unit", "ref"], name="appliance_ref_once"),
            one_of("kind", words.APPLIANCE, model="appliance"),
            one_of("owner", words.OWNER, model="appliance"),
        ]


class Alarm(PartOfUnit):
    unit = models.ForeignKey(Unit, on_delete=models.PROTECT, related_name="alarms")
    kind = coded(words.ALARM)
    room = models.ForeignKey(Room, on_delete=models.PROTECT, related_name="alarms", null=True, blank=True)
    power = coded(words.POWER)
    interlinked = models.BooleanField(null=True, blank=True)
    working = models.BooleanField(null=True, blank=True)
    replace_by = models.DateField(null=True, blank=True)
    tested = models.JSONField("days tested (ISO dates)", null=True, blank=True)
    removed = _removed()
    history = history()

    class Meta(PartOfUnit.Meta):
        constraints = [
            models.UniqueConstraint(fields=["unit", "ref"], name="alarm_ref_once"),
            one_of("kind", words.ALARM, model="alarm"),
            one_of("power", words.POWER, model="alarm"),
        ]


class Tenancy(PartOfUnit):
    unit = models.ForeignKey(Unit, on_delete=models.PROTECT, related_name="tenancies")
    granted = models.DateField(null=True, blank=True)
    starts = models.DateField(null=True, blank=True)
    ends = models.DateField("last day", null=True, blank=True)
    history = history()

    class Meta(PartOfUnit.Meta):
        verbose_name_plural = "tenancies"
        constraints = [
            models.UniqueConstraint(fields=["unit", "ref"], name="tenancy_ref_once"),
            in_order("starts", "ends", model="tenancy"),
        ]


class Marketing(PartOfUnit):
    """A period on the market; known by its purpose and first day, so it has no ref."""

    ref = None  # type: ignore[assignment]
    unit = models.ForeignKey(Unit, on_delete=models.PROTECT, related_name="marketing")
    purpose = models.CharField(max_length=10, choices=words.choices(words.PURPOSE))
    starts = models.DateField("first day on the market", null=True, blank=True)
    history = history()

    class Meta(PartOfUnit.Meta):
        constraints = [one_of("purpose", words.PURPOSE, model="marketing")]

    def __str__(self) -> str:
        return f"{self.get_purpose_display()} from {self.starts}"
