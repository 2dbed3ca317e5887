"""The facts of a home and its building as typed in. Left empty, a fact goes back to "not recorded"."""

from typing import Any

from django import forms

from portfolio import words
from portfolio.filters import date_input
from portfolio.forms.fields import Day, Lines, Text, Word, YesNo
from portfolio.law import model as law
from portfolio.models import Unit

MOST = 32_767
"""The largest whole number the database keeps for these facts."""


def whole(label: str, most: int = MOST, least: int = 0, **more: Any) -> forms.IntegerField:
    return forms.IntegerField(label=label, required=False, min_value=least, max_value=most, **more)


class BuildingForm(forms.Form):
    name = Text(label="Name of the building", max_length=200)
    nation = Word(words.NATION, label="Nation", help_text="Which law applies.")
    address = Lines(label="Address", help_text="One line to a line.")
    postcode = Text(label="Postcode", max_length=12)
    year_built = whole("Year built", most=2200, least=1000)
    storeys = whole("Storeys", most=200)
    top_storey_height_m = forms.FloatField(
        label="Height of the top storey’s floor, metres", required=False, min_value=0, max_value=1000
    )
    self_contained_units = whole("Self-contained homes in it")
    purpose_built = YesNo(label="Built as flats, not converted into them?")
    common_parts = YesNo(label="Are there common parts?")
    passenger_lift = YesNo(label="Is there a passenger lift?")
    lift_used_at_work = YesNo(label="Do staff use the lift at work?")
    simultaneous_evacuation = YesNo(
        label="Does everybody leave at once on a fire alarm?",
        help_text="No, if people are told to stay in their own flat unless the fire is there.",
    )

    def facts(self, ref: str) -> law.Building:
        return law.Building(ref=ref, **self.cleaned_data)


class UnitForm(forms.Form):
    label = Text(label="Name of the home", max_length=200, help_text="For instance: Flat 3.")
    dwelling = Word(words.DWELLING, label="Kind of home")
    landlord = Word({}, label="Landlord")
    new_landlord = Text(label="Or a landlord not on the list", max_length=100)
    landlord_kind = Word(words.LANDLORD, label="Kind of landlord")
    letting_kind = Word(words.LETTING, label="Let as")
    letting_term_years = forms.FloatField(
        label="Fixed term, years",
        required=False,
        min_value=0,
        max_value=999,
        help_text="Only if there is one.",
    )
    persons = whole(
        "People living there", help_text="In a shared house let room by room: everybody in the house."
    )
    households = whole("Households")
    shares_amenities = YesNo(label="Do households share a kitchen, bathroom or WC?")
    additional_licensing_area = YesNo(label="In an additional licensing area?")
    selective_licensing_area = YesNo(label="In a selective licensing area?")
    landlord_electrical_appliances = YesNo(label="Does the landlord supply plug-in electrical appliances?")
    main_board_rcd_30ma = YesNo(label="Is there a 30 mA RCD in the main consumer unit?")
    acquired_with_tenant = Day(
        label="Bought with a sitting tenant on",
        required=False,
        widget=date_input(),
        help_text="Only if it was.",
    )

    def __init__(self, *args: Any, landlords: list[tuple[str, str]], **more: Any) -> None:
        """`landlords`: ref and name of each one of the agency."""
        super().__init__(*args, **more)
        self.fields["landlord"].choices = [("", "Not recorded"), *landlords]  # type: ignore[attr-defined]

    def facts(self, unit: Unit, lists: dict[str, Any]) -> law.Unit:
        """The home's facts; `lists` holds its rooms, appliances and alarms."""
        said = self.cleaned_data
        return law.Unit(
            ref=unit.ref,
            building=unit.building.ref,
            label=said["label"],
            dwelling=said["dwelling"],
            landlord=said["landlord_kind"],
            landlord_ref=said["new_landlord"] or said["landlord"],
            letting=law.Letting(said["letting_kind"], said["letting_term_years"]),
            occupancy=law.Occupancy(said["persons"], said["households"], said["shares_amenities"]),
            hmo=law.Hmo(said["additional_licensing_area"], said["selective_licensing_area"]),
            acquired_with_tenant=said["acquired_with_tenant"],
            landlord_electrical_appliances=said["landlord_electrical_appliances"],
            main_board_rcd_30ma=said["main_board_rcd_30ma"],
            **lists,
        )


def unit_initial(facts: law.Unit) -> dict[str, Any]:
    """What the form shows at first."""
    return {
        "label": facts.label,
        "dwelling": facts.dwelling,
        "landlord": facts.landlord_ref,
        "landlord_kind": facts.landlord,
        "letting_kind": facts.letting.kind,
        "letting_term_years": facts.letting.term_years,
        "persons": facts.occupancy.persons,
        "households": facts.occupancy.households,
        "shares_amenities": facts.occupancy.shares_amenities,
        "additional_licensing_area": facts.hmo.additional_licensing_area,
        "selective_licensing_area": facts.hmo.selective_licensing_area,
        "landlord_electrical_appliances": facts.landlord_electrical_appliances,
        "main_board_rcd_30ma": facts.main_board_rcd_30ma,
        "acquired_with_tenant": facts.acquired_with_tenant,
    }
