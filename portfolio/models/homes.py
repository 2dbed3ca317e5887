"""Buildings, units and what is in them. Null means "not recorded", never "no"."""

from django.core.validators import MinValueValidator
from django.db import models

from portfolio import words
from portfolio.models.base import Owned, history, in_order, one_of
from portfolio.models.people import Agency, Landlord

NOT_RECORDED = {"null": True, "blank": True}


def _word(table: dict[str, str], **more: object) -> models.CharField:
    return models.CharField(max_length=40, choices=words.choices(table), **{**NOT_RECORDED, **more})  # type: ignore[arg-type]


def _removed() -> models.DateField:
    """Things taken out of a home stay on record; the law is no longer asked about them."""
    return models.DateField("no longer there since", **NOT_RECORDED)


class Building(Owned):
    landlord_path = "units__landlord"

    agency = models.ForeignKey(Agency, on_delete=models.PROTECT, related_name="buildings")
    ref = models.CharField(max_length=100)
    name = models.CharField(max_length=200, **NOT_RECORDED)
    nation = _word(words.NATION)
    address = models.JSONField(help_text="Lines of the address.", **NOT_RECORDED)
    postcode = models.CharField(max_length=12, **NOT_RECORDED)
    year_built = models.PositiveSmallIntegerField(**NOT_RECORDED)
    storeys = models.PositiveSmallIntegerField(**NOT_RECORDED)
    top_storey_height_m = models.FloatField(
        "height of the top storey's floor, metres", validators=[MinValueValidator(0)], **NOT_RECORDED
    )
    self_contained_units = models.PositiveSmallIntegerField("self-contained homes in it", **NOT_RECORDED)
    purpose_built = models.BooleanField("built as flats, not converted", **NOT_RECORDED)
    common_parts = models.BooleanField("has common parts", **NOT_RECORDED)
    passenger_lift = models.BooleanField("has a passenger lift", **NOT_RECORDED)
    lift_used_at_work = models.BooleanField("staff use the lift at work", **NOT_RECORDED)
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
    landlord = models.ForeignKey(Landlord, on_delete=models.PROTECT, related_name="units", **NOT_RECORDED)
    ref = models.CharField(max_length=100)
    label = models.CharField(max_length=200, **NOT_RECORDED)
    dwelling = _word(words.DWELLING)
    landlord_kind = _word(words.LANDLORD)
    letting_kind = _word(words.LETTING)
    letting_term_years = models.FloatField("fixed term, years", **NOT_RECORDED)
    persons = models.PositiveSmallIntegerField("people living there", **NOT_RECORDED)
    households = models.PositiveSmallIntegerField(**NOT_RECORDED)
    shares_amenities = models.BooleanField("households share a kitchen, bathroom or WC", **NOT_RECORDED)
    additional_licensing_area = models.BooleanField("in an additional licensing area", **NOT_RECORDED)
    selective_licensing_area = models.BooleanField("in a selective licensing area", **NOT_RECORDED)
    acquired_with_tenant = models.DateField("bought with a sitting tenant on", **NOT_RECORDED)
    landlord_electrical_appliances = models.BooleanField(
        "landlord supplies plug-in electrical appliances", **NOT_RECORDED
    )
    main_board_rcd_30ma = models.BooleanField("30 mA RCD in the main consumer unit", **NOT_RECORDED)
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
    level = models.SmallIntegerField("storey (0 = ground)", **NOT_RECORDED)
    use = _word(words.ROOM_USE)
    removed = _removed()
    history = history()

    class Meta(PartOfUnit.Meta):
        constraints = [
            models.UniqueConstraint(fields=["unit", "ref"], name="room_ref_once"),
            one_of("use", words.ROOM_USE, model="room"),
        ]


class Appliance(PartOfUnit):
    unit = models.ForeignKey(Unit, on_delete=models.PROTECT, related_name="appliances")
    kind = _word(words.APPLIANCE)
    room = models.ForeignKey(Room, on_delete=models.PROTECT, related_name="appliances", **NOT_RECORDED)
    owner = _word(words.OWNER)
    installed = models.DateField(**NOT_RECORDED)
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
    kind = _word(words.ALARM)
    room = models.ForeignKey(Room, on_delete=models.PROTECT, related_name="alarms", **NOT_RECORDED)
    power = _word(words.POWER)
    interlinked = models.BooleanField(**NOT_RECORDED)
    working = models.BooleanField(**NOT_RECORDED)
    replace_by = models.DateField(**NOT_RECORDED)
    tested = models.JSONField("days tested (ISO dates)", **NOT_RECORDED)
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
    granted = models.DateField(**NOT_RECORDED)
    starts = models.DateField(**NOT_RECORDED)
    ends = models.DateField("last day", **NOT_RECORDED)
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
    starts = models.DateField("first day on the market", **NOT_RECORDED)
    history = history()

    class Meta(PartOfUnit.Meta):
        constraints = [one_of("purpose", words.PURPOSE, model="marketing")]

    def __str__(self) -> str:
        return f"{self.get_purpose_display()} from {self.starts}"
