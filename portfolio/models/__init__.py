"""What we hold."""

from portfolio.models.homes import Alarm, Appliance, Building, Marketing, Room, Tenancy, Unit
from portfolio.models.imports import SheetImport, SheetRow
from portfolio.models.papers import Act, ApplianceCheck, Certificate, Document
from portfolio.models.people import Agency, Landlord, User
from portfolio.models.record import Clearance, Due, Event, HousePolicy, StoredStanding

__all__ = [
    "Act",
    "Agency",
    "Alarm",
    "Appliance",
    "ApplianceCheck",
    "Building",
    "Certificate",
    "Clearance",
    "Document",
    "Due",
    "Event",
    "HousePolicy",
    "Landlord",
    "Marketing",
    "Room",
    "SheetImport",
    "SheetRow",
    "StoredStanding",
    "Tenancy",
    "Unit",
    "User",
]
