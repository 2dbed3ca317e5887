"""What we hold."""

from portfolio.models.homes import Alarm, Appliance, Building, Marketing, Room, Tenancy, Unit
from portfolio.models.imports import SheetImport, SheetRow
from portfolio.models.papers import Act, ApplianceCheck, Certificate, Document
from portfolio.models.people import Agency, Landlord, User
from portfolio.models.record import Clearance, Event, StoredStanding

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
    "Event",
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
