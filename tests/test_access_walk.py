"""Every address of the site, walked as people who must not see what is there: absent and forbidden look the same.

An address that is added to the site fails here until it has an entry.
"""

import re
from collections.abc import Callable, Iterator
from copy import deepcopy
from dataclasses import dataclass
from typing import Any
from uuid import UUID, uuid4

import pytest
from django.conf import settings
from django.core.files.uploadedfile import SimpleUploadedFile
from django.test import Client, override_settings
from django.urls import URLPattern, get_resolver, reverse

from inspections.models import Competence, Contractor, Defect, Job, JobItem, Registration
from inspections.services.evidence import evidence_add
from inspections.services.visits import visit_begin
from notifications.models import RefusedAddress
from portfolio import access
from portfolio.clock import Moment
from portfolio.documents import store
from portfolio.documents.proof import Accepted
from portfolio.law import model as law
from portfolio.models import Agency, Unit, User
from portfolio.services import policies, sheet_import
from portfolio.services.certificates import document_attach
from tests.factories import at, make_agency, make_home, make_landlord, make_user, signed_in
from tests.notifications.drafts import put

pytestmark = [pytest.mark.django_db, pytest.mark.slow]

ABSENT = 987654321
KEY = r"[0-9a-f]{8}(?:-[0-9a-f]{4}){3}-[0-9a-f]{12}"
ANYBODY = {
    "healthz", "account_login", "account_logout", "account_signup", "account_inactive", "account_confirm_email",
    "account_confirm_login_code", "account_email_verification_sent", "account_reset_password",
    "account_reset_password_done", "account_reset_password_from_key", "account_reset_password_from_key_done",
    "mfa_authenticate", "law", "law_nation",
}  # fmt: skip
"""Shown without a log-in; none of them names anything that is held."""
OWN_LOG_IN = {
    "account_reauthenticate", "account_email", "own_email", "account_change_password", "account_set_password",
    "mfa_index", "mfa_reauthenticate", "mfa_activate_totp", "mfa_deactivate_totp", "mfa_view_recovery_codes",
    "mfa_generate_recovery_codes", "mfa_download_recovery_codes",
}  # fmt: skip
"""About nothing but the log-in of whoever asks."""
BY_LINK = {"job_link", "job_link_evidence", "unsubscribe", "feed_file"}
"""Opened by a secret in the address; `test_views_job_link`, `test_unsubscribe` and `test_feed` walk them."""
LISTS: dict[str, tuple[dict[str, Any], str]] = {
    "homes": ({}, "see"),
    "homes_download": ({"form": "csv"}, "export"),
    "sheet_import_list": ({}, "import"),
    "sheet_template": ({"form": "csv"}, "import"),
    "policy": ({}, "see"),
    "duties": ({}, "see"),
    "calendar": ({}, "see"),
    "what_if": ({}, "see"),
    "calendar_month": ({"month": "2027-05"}, "see"),
    "duties_download": ({"form": "csv"}, "export"),
    "policy_change": ({}, "set_policy"),
    "jobs": ({}, "see_jobs"),
    "job_new": ({}, "send_job"),
    "contractors": ({}, "manage_people"),
    "contractor_add": ({}, "manage_people"),
    "people": ({}, "manage_people"),
    "open_defects": ({}, "see"),
    "defects_download": ({"form": "csv"}, "export"),
    "proof": ({}, "see"),
    "visit_worker": ({}, "record_defect"),
    "messages": ({}, "see_messages"),
    "not_told": ({}, "see_messages"),
    "works": ({}, "see_messages"),
    "telling": ({}, "see"),
    "feed": ({}, "see"),
    "lead_times": ({}, "set_lead_times"),
}
"""Addresses of no one thing, with what a role must be allowed."""
LISTED = {
    "homes": b"Secret flat", "homes_download": b"Secret flat", "sheet_import_list": b"secret-list.csv",
    "policy": b"D or better",
    "calendar_month": b"Secret flat",
    "jobs": b"Secret Wiring", "contractors": b"Secret Wiring", "people": b"Secret qualification",
    "messages": b"Secret news", "not_told": b"secret-reader@example.org",
    "open_defects": b"Secret flat", "defects_download": b"Secret flat",
}  # fmt: skip
"""What a list shows to those whose it is."""
OBJECTS: dict[str, tuple[str, str]] = {
    "home": ("home", "see"),
    "home_events": ("home", "see"),
    "home_facts": ("home", "edit_home"),
    "tenancy_add": ("home", "edit_home"),
    "marketing_add": ("home", "edit_home"),
    "act_add": ("home", "edit_home"),
    "acts_none": ("home", "edit_home"),
    "certificate_add": ("home", "add_certificate"),
    "mark": ("home", "mark"),
    "unmark": ("home", "mark"),
    "tenancy_end": ("tenancy", "edit_home"),
    "certificate_correct": ("certificate", "correct_certificate"),
    "document_add": ("certificate", "add_certificate"),
    "document": ("document", "see"),
    "defects": ("home", "see"),
    "defect_add": ("home", "record_defect"),
    "nothing_found": ("home", "record_defect"),
    "defect": ("defect", "see"),
    "defect_made_safe": ("defect", "make_safe"),
    "defect_send_back": ("defect", "confirm"),
    "defect_recode": ("defect", "recode"),
    "defect_describe": ("defect", "record_defect"),
    "observations": ("certificate", "record_defect"),
    "defect_claim_done": ("defect", "claim_done"),
    "defect_confirm": ("defect", "confirm"),
    "evidence_add": ("defect", "add_evidence"),
    "evidence_preview": ("evidence", "see"),
    "evidence_original": ("evidence", "see"),
    "evidence_withdraw": ("evidence", "add_evidence"),
    "visits": ("home", "see"),
    "visit_begin": ("home", "record_defect"),
    "visit": ("visit", "see"),
    "visit_record": ("visit", "record_defect"),
    "visit_state": ("visit", "record_defect"),
    "landlord_change": ("landlord", "manage_people"),
    "job": ("job", "see_jobs"),
    "job_take_back": ("job", "send_job"),
    "job_link_new": ("job", "send_job"),
    "job_sheet": ("job", "see_jobs"),
    "job_visit": ("job", "see_jobs"),
    "contractor": ("contractor", "manage_people"),
    "contractor_change": ("contractor", "manage_people"),
    "registration_add": ("contractor", "manage_people"),
    "registration_change": ("registration", "manage_people"),
    "registration_withdraw": ("registration", "manage_people"),
    "competence_add": ("person", "manage_people"),
    "competence_withdraw": ("competence", "manage_people"),
    "papers_send": ("home", "send_papers"),
    "renewal_ask": ("home", "send_job"),
    "message": ("message", "see_messages"),
    "message_send_again": ("message", "see_messages"),
    "message_hold": ("message", "see_messages"),
    "message_release": ("message", "see_messages"),
    "address_try_again": ("refused", "see_messages"),
    "sheet_import": ("sheet", "import"),
    "sheet_take": ("sheet", "import"),
    "sheet_leave": ("sheet", "import"),
    "sheet_again": ("sheet", "import"),
    "sheet_faults": ("sheet", "import"),
}
"""Addresses of one thing: which thing, and what a role must be allowed."""
MORE = {"sheet_faults": {"form": "csv"}}
"""What an address needs besides the number of its thing."""
ROLES = ("agent", "landlord", "inspector")


def patterns(resolver: Any) -> Iterator[URLPattern]:
    for entry in resolver.url_patterns:
        if isinstance(entry, URLPattern):
            yield entry
        else:
            yield from patterns(entry)


@dataclass(frozen=True)
class Held:
    """One agency with one home in which there is one of everything."""

    agency: Agency
    home: Unit
    pks: dict[str, Any]
    """By the kind of thing: its number, or the key by which it is known."""
    strangers: dict[str, User]
    own: dict[str, User]
    """By role, those whose the home is."""


@pytest.fixture(autouse=True)
def _noon(time_machine: Any) -> None:
    time_machine.move_to(at().at, tick=False)


@pytest.fixture(scope="module")
def common(in_common: None, tmp_path_factory: pytest.TempPathFactory) -> Iterator[Held]:
    with override_settings(MEDIA_ROOT=tmp_path_factory.mktemp("walk")):
        yield hold()


@pytest.fixture
def held(common: Held) -> Held:
    return deepcopy(common)


def hold() -> Held:
    agency = make_agency("Held")
    defect = law.Defect("d1", "bs7671", "C2", "Cracked socket", at().day)
    running = law.Tenancy("t1", at().day, at().day)
    home = make_home(agency, ref="secret-home", label="Secret flat", defects=(defect,), tenancies=(running,))
    moment: Moment = at()
    keeper = make_user(agency)
    document = store(
        Accepted(b"secret", "application/pdf", "secret.pdf", "0" * 64),
        agency=agency,
        actor=keeper,
        moment=moment,
    )
    certificate = home.certificates.order_by("pk")[0]
    document_attach(certificate.pk, document, actor=keeper, moment=moment)
    sheet = sheet_import.upload(
        SimpleUploadedFile("secret-list.csv", b"Property ref,EICR date\nsecret-home,99/99/2026\n"),
        actor=keeper,
        moment=moment,
    )
    sheet_import.read_in(sheet.pk, moment=moment)
    policies.policy_ask(agency, {"worst_band": "D"}, why="The secret reason.", actor=keeper, moment=moment)
    held_defect = Defect.objects.get(unit=home)
    evidence = evidence_add(
        held_defect.pk,
        key=uuid4(),
        stage="before",
        accepted=Accepted(b"secret proof", "application/pdf", "secret-proof.pdf", "1" * 64),
        actor=keeper,
        moment=moment,
    )
    pks = {
        "home": home.pk,
        "landlord": home.landlord_id,
        "evidence": evidence.pk,
        "certificate": certificate.pk,
        "document": document.pk,
        "defect": held_defect.pk,
        "tenancy": home.tenancies.get().pk,
        "sheet": sheet.pk,
        "message": put(agency, unit_id=home.pk, subject="Secret news").pk,
        "visit": visit_begin(home.pk, key=uuid4(), actor=keeper, moment=moment).key,
    }
    refused = RefusedAddress.objects.create(
        agency=agency,
        email="secret-reader@example.org",
        since=moment.at,
        said="550",
        message_id=pks["message"],
    )
    pks |= {"refused": refused.pk} | job_held(agency, held_defect, keeper, moment)
    strangers = {says: make(agency) for says, make in STRANGERS.items()}
    own = {
        role: make_user(agency, role, landlord=home.landlord if role == "landlord" else None)
        for role in ROLES
    }
    return Held(agency, home, pks, strangers, own)


def job_held(agency: Agency, defect: Defect, keeper: User, moment: Moment) -> dict[str, int]:
    """A job for a contractor with a registration, and an inspector with a competence."""
    firm = Contractor.objects.create(
        agency=agency, name="Secret Wiring", email="w@example.org", trades=["electrical"]
    )
    registration = Registration.objects.create(contractor=firm, kind="electrical", number="secret")
    job = Job.objects.create(agency=agency, number=1, contractor=firm, sent_at=moment.at, sent_by=keeper)
    JobItem.objects.create(job=job, defect=defect)
    inspector = make_user(agency, "inspector", competent=())
    competence = Competence.objects.create(user=inspector, scheme="fire", by="Secret qualification")
    return {
        "job": job.pk,
        "contractor": firm.pk,
        "registration": registration.pk,
        "person": inspector.pk,
        "competence": competence.pk,
    }


def other_agencys(role: str) -> Callable[[Agency], User]:
    def make(held: Agency) -> User:
        agency = make_agency(f"Other, {role}")
        return make_user(agency, role, landlord=make_home(agency).landlord if role == "landlord" else None)

    return make


def landlord_of_other_homes(held: Agency) -> User:
    return make_user(held, "landlord", landlord=make_home(held, landlord_ref="L-other").landlord)


def landlord_without_homes(held: Agency) -> User:
    return make_user(held, "landlord", landlord=make_landlord(held, "L-without"))


def of_an_empty_agency(held: Agency) -> User:
    return make_user(make_agency("Empty"))


STRANGERS: dict[str, Callable[[Agency], User]] = {
    **{f"another agency's {role}": other_agencys(role) for role in ROLES},
    "a landlord of other homes": landlord_of_other_homes,
    "a landlord without homes": landlord_without_homes,
    "an agent of an empty agency": of_an_empty_agency,
}


def absent_of(pk: Any) -> Any:
    """A number or key of the same kind that nothing has."""
    return UUID(int=ABSENT) if isinstance(pk, UUID) else ABSENT


def answers(client: Client, name: str, pk: Any) -> dict[str, Any]:
    url = reverse(name, kwargs={"pk": pk, **MORE.get(name, {})})
    return {"GET": client.get(url), "POST": client.post(url, {})}


def faceless(response: Any) -> tuple[int, str, str]:
    """All that is sent, without what differs in every answer: the page's token and the number asked for."""
    text = re.sub(r'name="csrfmiddlewaretoken" value="[^"]+"', "", response.content.decode())
    return response.status_code, text, re.sub(rf"{KEY}|\d+", "#", response.get("Location", ""))


def test_every_address_has_an_entry():
    names = [pattern.name for pattern in patterns(get_resolver())]
    known = [*ANYBODY, *OWN_LOG_IN, *BY_LINK, *LISTS, *OBJECTS]
    assert len(known) == len(set(known))
    assert sorted(str(name) for name in names) == sorted(known)


def test_every_address_of_one_thing_is_walked_with_its_number():
    found = list(patterns(get_resolver()))
    objects = {p.name for p in found if "pk" in p.pattern.converters or "pk" in p.pattern.regex.groupindex}
    assert objects == set(OBJECTS)


@pytest.mark.parametrize("name", OBJECTS)
def test_a_stranger_cannot_tell_what_is_held_from_what_is_absent(held, name):
    thing, _ = OBJECTS[name]
    for stranger, user in held.strangers.items():
        client = signed_in(user)
        present, absent = (
            answers(client, name, held.pks[thing]),
            answers(client, name, absent_of(held.pks[thing])),
        )
        for method, response in present.items():
            assert response.status_code in (404, 405), (stranger, method)
            assert faceless(response) == faceless(absent[method]), (stranger, method)
            assert b"secret" not in response.content.lower(), (stranger, method)
        assert 404 in {response.status_code for response in present.values()}, stranger


@pytest.mark.parametrize("name", [*OBJECTS, *LISTS])
def test_nobody_in_particular_is_sent_to_the_log_in(held, name):
    if name in LISTS:
        response = Client().get(reverse(name, kwargs=LISTS[name][0]))
        assert response["Location"].startswith(reverse(settings.LOGIN_URL))
        return
    thing, _ = OBJECTS[name]
    present, absent = (
        answers(Client(), name, held.pks[thing]),
        answers(Client(), name, absent_of(held.pks[thing])),
    )
    for method, response in present.items():
        assert response.status_code == 302
        assert response["Location"].startswith(reverse(settings.LOGIN_URL))
        assert faceless(response) == faceless(absent[method])


@pytest.mark.parametrize("name", OBJECTS)
def test_a_log_in_that_is_switched_off_opens_nothing(held, name):
    thing, _ = OBJECTS[name]
    off = held.own["agent"]
    off.is_active = False
    off.save()
    for response in answers(signed_in(off), name, held.pks[thing]).values():
        assert response.status_code == 302
        assert response["Location"].startswith(reverse(settings.LOGIN_URL))


@pytest.mark.parametrize("name", OBJECTS)
def test_a_role_reaches_what_it_may_do_in_its_own_homes_and_nothing_else(held, name):
    thing, needed = OBJECTS[name]
    for role, user in held.own.items():
        client = signed_in(user)
        found = {
            method: response.status_code
            for method, response in answers(client, name, held.pks[thing]).items()
        }
        if needed in access.MAY[role]:
            assert 404 not in found.values(), role
            assert set(found.values()) - {405}, role
        else:
            assert set(found.values()) <= {404, 405}, role
            assert 404 in found.values(), role


@pytest.mark.parametrize("stranger", STRANGERS)
@pytest.mark.parametrize("name", LISTS)
def test_a_list_shows_a_stranger_nothing_that_is_not_theirs(held, name, stranger):
    kwargs, needed = LISTS[name]
    user = held.strangers[stranger]
    response = signed_in(user).get(reverse(name, kwargs=kwargs))
    assert response.status_code == (200 if needed in access.MAY[user.role] else 404)
    assert b"secret" not in response.content.lower()


@pytest.mark.parametrize("role", ROLES)
@pytest.mark.parametrize("name", LISTS)
def test_a_list_shows_people_their_own(held, name, role):
    kwargs, needed = LISTS[name]
    response = signed_in(held.own[role]).get(reverse(name, kwargs=kwargs))
    assert response.status_code == (200 if needed in access.MAY[role] else 404)
    if response.status_code == 200:
        assert LISTED.get(name, b"") in response.content


@pytest.mark.parametrize("name", sorted(ANYBODY))
def test_pages_for_anybody_show_nothing_that_is_held(held, name):
    kwargs = {
        "account_confirm_email": {"key": "x"},
        "account_reset_password_from_key": {"uidb36": "1", "key": "x-y"},
        "law_nation": {"slug": "england"},
    }
    response = Client().get(reverse(name, kwargs=kwargs.get(name, {})))
    assert response.status_code in (200, 302)
    assert b"secret" not in response.content.lower()


@pytest.mark.parametrize("name", sorted(OWN_LOG_IN))
def test_pages_about_ones_own_log_in_need_one(name):
    response = Client().get(reverse(name))
    assert response.status_code == 302
    assert response["Location"].startswith(reverse(settings.LOGIN_URL))
