"""Whom a home belongs to: how that landlord is reached."""

from typing import Any

from django.db import transaction

from portfolio.clock import Moment
from portfolio.models import Landlord
from portfolio.services.events import Happening, Verb, record
from portfolio.services.write import save


@transaction.atomic
def landlord_reach(landlord_id: int, *, email: str, phone: str, actor: Any, moment: Moment) -> Landlord:
    """Record the address and telephone of a landlord, "" for none. Raises ValidationError.

    Takes no lock of a home: the law is not asked about either.
    """
    landlord = Landlord.objects.select_for_update().get(pk=landlord_id, agency=actor.agency_id)
    was = (landlord.email, landlord.phone)
    landlord.email, landlord.phone = email.strip(), phone.strip()
    if (landlord.email, landlord.phone) == was:
        return landlord
    save(landlord, actor=actor, moment=moment)
    says = (
        f"Landlord {landlord}: mail goes to {landlord.email or 'no address'} (before: {was[0] or 'none'}), "
        f"telephone {landlord.phone or 'none'} (before: {was[1] or 'none'})."
    )
    happening = Happening(Verb.LANDLORD_CHANGED, f"landlord:{landlord.pk}", says)
    record([happening], agency_id=landlord.agency_id, actor=actor, moment=moment)
    return landlord
