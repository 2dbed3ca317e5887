"""A person's calendar: who gets it, what stands in it, and that its address is kept secret and can be ended."""

import hashlib
import logging
import re
from copy import deepcopy
from datetime import UTC, date, datetime, time, timedelta

import pytest
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext
from django.urls import reverse
from icalendar import Calendar

from inspections.models import JobItem
from inspections.services.jobs import job_propose_day, job_take_back
from notifications.feed import entries, services
from notifications.models import Feed
from notifications.views import feed as views
from portfolio.law import model as law
from portfolio.models import Due, Event, StoredStanding
from portfolio.selectors import reach
from portfolio.views import limits
from tests.factories import DAY, at, make_agency, make_home, make_homes, make_user, signed_in
from tests.inspections.job_cases import make_defects, make_firm, send

pytestmark = [pytest.mark.django_db, pytest.mark.usefixtures("noon")]
GAS_UNTIL = date(2027, 5, 20)


@pytest.fixture(scope="module")
def common(in_common):
    """An agent with two homes of two landlords, and one of these landlords."""
    agent = make_user(make_agency("Latchford Lettings"))
    homes = make_homes(
        agent.agency, {"label": "Flat 1", "landlord_ref": "L1"}, {"label": "Flat 2", "landlord_ref": "L2"}
    )
    return agent, homes, make_user(agent.agency, "landlord", landlord=homes[1].landlord)


@pytest.fixture
def agent(common):
    return deepcopy(common[0])


@pytest.fixture
def homes(common):
    return deepcopy(common[1])


@pytest.fixture
def landlord(common):
    return deepcopy(common[2])


@pytest.fixture(autouse=True)
def _no_sheet(monkeypatch):
    monkeypatch.setattr("inspections.services.job_mail.job_sheet", lambda *_, **__: b"%PDF-")


def make(user, **more) -> str:
    """The address of a new feed of this person."""
    return reverse("feed_file", args=[services.feed_make(actor=user, **{"moment": at(), **more})])


def fetched(address: str, **headers) -> Calendar:
    answer = Client().get(address, headers=headers)
    assert answer.status_code == 200
    return Calendar.from_ical(answer.content)


def summaries(calendar: Calendar) -> list[str]:
    return [str(event["summary"]) for event in calendar.walk("VEVENT")]


def event(calendar: Calendar, starts: str):
    (found,) = [one for one in calendar.walk("VEVENT") if str(one["summary"]).startswith(starts)]
    return found


# Who gets it


def test_only_the_fingerprint_of_a_secret_of_32_bytes_is_kept(agent):
    token = services.feed_make(actor=agent, moment=at())
    assert re.fullmatch(r"[A-Za-z0-9_-]{43}", token)
    assert Feed.objects.get().token_sha256 == hashlib.sha256(token.encode()).hexdigest()
    assert not any(token in f"{event.says}{event.data}" for event in Event.objects.all())


def test_each_person_gets_what_they_may_see(agent, landlord, homes):
    others = make_user(make_agency())
    make_home(others.agency, label="Elsewhere")
    inspector = make_user(agent.agency, "inspector")
    found = {user: " ".join(summaries(fetched(make(user)))) for user in (agent, inspector, landlord, others)}
    assert all(name in found[user] for user in (agent, inspector) for name in ("Flat 1", "Flat 2"))
    assert "Flat 2" in found[landlord]
    assert "Flat 1" not in found[landlord]
    assert "Elsewhere" in found[others]
    assert "Flat" not in found[others]


def test_a_landlord_whose_role_or_homes_change_gets_what_is_theirs_now(landlord, homes):
    address = make(landlord)
    type(homes[1]).objects.filter(pk=homes[1].pk).update(landlord=homes[0].landlord)
    assert summaries(fetched(address)) == []


def test_wrong_ended_replaced_and_no_longer_logging_in_look_the_same(agent, landlord):
    gone = [make(agent), make(agent)]
    services.feed_end(actor=agent, moment=at())
    gone.append(make(landlord))
    type(landlord).objects.filter(pk=landlord.pk).update(is_active=False)
    gone += [reverse("feed_file", args=["A" * 43]), reverse("feed_file", args=["x"])]
    answers = [Client().get(address) for address in gone]
    assert {answer.status_code for answer in answers} == {404}
    assert len({answer.content for answer in answers}) == 1


@pytest.mark.parametrize("method", ["post", "put", "delete", "patch"])
def test_it_is_only_read(agent, method):
    assert getattr(Client(), method)(make(agent)).status_code == 405


def test_a_head_is_answered_as_a_get_without_its_body(agent):
    address = make(agent)
    whole, head = Client().get(address), Client().head(address)
    assert (head.status_code, head.content) == (200, b"")
    assert head["ETag"] == whole["ETag"]
    assert head["Content-Type"] == whole["Content-Type"] == "text/calendar; charset=utf-8"


@pytest.mark.database
def test_a_new_address_ends_the_one_before_and_each_is_a_line_of_record(agent):
    first = make(agent)
    make(agent)
    assert Feed.objects.filter(user=agent, ended_at=None).count() == 1
    assert Client().get(first).status_code == 404
    assert services.feed_end(actor=agent, moment=at())
    assert not services.feed_end(actor=agent, moment=at())
    verbs = Event.objects.filter(subject__startswith="feed:").order_by("seq").values_list("verb", flat=True)
    assert list(verbs) == ["feed.made", "feed.made", "feed.ended"]


# Limits


def test_a_program_that_looks_every_quarter_of_an_hour_passes_for_a_day(agent, time_machine):
    address, noon = make(agent), at().at
    for n in range(96):
        time_machine.move_to(noon + timedelta(minutes=15 * n), tick=False)
        assert Client().get(address).status_code == 200


def test_one_address_is_fetched_so_often_and_no_more_wherever_from(agent, landlord, monkeypatch):
    monkeypatch.setattr(views, "MOST_FETCHED", 3)
    address = make(agent)
    answers = [Client(REMOTE_ADDR=f"192.0.2.{n}").get(address) for n in range(5)]
    assert [answer.status_code for answer in answers] == [200, 200, 200, 429, 429]
    assert int(answers[-1]["Retry-After"]) > 0
    assert Client().get(make(landlord)).status_code == 200


def test_guessing_ends_soon_but_not_for_who_knows_an_address(agent, landlord):
    known, new = make(agent), make(landlord)
    assert Client().get(known).status_code == 200
    wrong = [
        Client().get(reverse("feed_file", args=[f"guess-{n}"])).status_code
        for n in range(limits.MOST_WRONG + 2)
    ]
    assert wrong == [404] * limits.MOST_WRONG + [429] * 2
    assert Client().get(known).status_code == 200
    assert Client().get(new).status_code == 429
    assert Client(REMOTE_ADDR="192.0.2.7").get(new).status_code == 200


def test_that_it_was_fetched_is_written_once_a_day(agent, time_machine):
    address = make(agent)

    def written() -> int:
        with CaptureQueriesContext(
            connection,
        ) as seen:
            Client().get(address)
        return sum(query["sql"].startswith("UPDATE") for query in seen)

    assert [written(), written()] == [1, 0]
    assert Feed.objects.get().used_on == DAY
    time_machine.move_to(at(DAY + timedelta(days=1)).at, tick=False)
    assert [written(), written()] == [1, 0]


def test_no_secret_is_written_into_the_log(agent, caplog):
    caplog.set_level(logging.DEBUG)
    address = make(agent)
    token, gone = address.rpartition("/")[2].removesuffix(".ics"), "B" * 43
    Client().post(address)
    Client().get(reverse("feed_file", args=[gone]))
    Client().get(f"/calendar/feed/{gone}.ics?x=1")
    assert len(caplog.records) == 3
    assert token not in caplog.text
    assert gone not in caplog.text
    assert "/calendar/feed/(secret)" in caplog.text


# What a program is told


def test_an_unchanged_calendar_is_the_same_to_the_byte_and_is_not_sent_again(agent, time_machine):
    address = make(agent)
    first = Client().get(address)
    time_machine.move_to(at(hour=21).at, tick=False)
    again = Client().get(address)
    assert (again.content, again["ETag"]) == (first.content, first["ETag"])
    assert again["Cache-Control"] == "private, no-cache"
    same = Client().get(address, headers={"if-none-match": first["ETag"]})
    assert (same.status_code, same.content, same["ETag"]) == (304, b"", first["ETag"])


def test_what_is_recorded_changes_it(agent, homes):
    address = make(agent)
    first = Client().get(address)
    make_home(agent.agency, label="Flat 3")
    assert Client().get(address, headers={"if-none-match": first["ETag"]}).status_code == 200


def test_a_paper_stands_on_its_last_good_day_with_its_reminders(agent, homes):
    found = event(fetched(make(agent)), "Landlord's gas safety check runs out: Flat 1")
    assert (found["dtstart"].dt, found["dtend"].dt) == (GAS_UNTIL, GAS_UNTIL + timedelta(days=1))
    assert found["categories"].cats == ["Papers that run out"]
    assert found["url"] == f"http://localhost:8000/homes/{homes[0].pk}/"
    assert [alarm["trigger"].dt for alarm in found.walk("VALARM")] == [
        -timedelta(days=14),
        -timedelta(days=1),
    ]
    assert "Gas safety record, 2 Apr 2026" in found["description"]
    last = Event.objects.filter(unit=homes[0]).order_by("-seq")[0]
    assert found["dtstamp"].dt == found["last-modified"].dt == last.at.replace(microsecond=0)


def test_a_duty_stands_on_its_last_day_also_when_it_is_late_for_a_month(agent, homes):
    Due.objects.filter(unit=homes[0]).delete()
    day = {
        "code": "eng_eicr.copy_to_tenant",
        "is_duty": True,
        "party": "tenant",
        "of": "e1",
        "unit": homes[0],
    }
    for due in (DAY - timedelta(days=32), DAY - timedelta(days=31), DAY + timedelta(days=3), None):
        Due.objects.create(due=due, **day)
    found = [one for one in fetched(make(agent)).walk("VEVENT") if "Duties" in one["categories"].cats]
    assert [one["dtstart"].dt for one in found] == [DAY - timedelta(days=31), DAY + timedelta(days=3)]
    assert len({one["uid"] for one in found}) == 2
    assert [alarm["trigger"].dt for alarm in found[1].walk("VALARM")] == [-timedelta(days=3)]
    assert "For: " in found[0]["description"]


def test_two_years_ahead_and_no_further(agent, homes):
    Due.objects.all().delete()
    last = date(2028, 11, 25)
    for due in (last, last + timedelta(days=1)):
        Due.objects.create(due=due, code="gb_gas_check", is_duty=False, unit=homes[0])
    assert [one["dtstart"].dt for one in fetched(make(agent)).walk("VEVENT")] == [last]


# Jobs


@pytest.fixture
def job(agent):
    """A job over one home, with a day and hours proposed."""
    job, _ = send(make_firm(agent.agency), make_defects(agent.agency, "C2", "C2", label="Flat 7"), agent)
    return job_propose_day(job.pk, day=date(2027, 6, 1), start=time(9), end=time(11, 30), moment=at())


@pytest.mark.parametrize(
    ("day", "utc"),
    [(date(2027, 3, 27), 9), (date(2027, 3, 29), 8), (date(2027, 10, 30), 8), (date(2027, 11, 1), 9)],
)
def test_a_day_of_a_job_has_its_hours_in_london_in_summer_and_winter(agent, job, day, utc):
    job_propose_day(job.pk, day=day, start=time(9), end=time(11, 30), moment=at())
    calendar = fetched(make(agent))
    found = event(calendar, "Job 1: Wire & Co comes, 2 defects, Flat 7, 9 Tannery Row")
    assert found["dtstart"].params["TZID"] == "Europe/London"
    assert found["dtstart"].dt.astimezone(UTC) == datetime(day.year, day.month, day.day, utc, tzinfo=UTC)
    assert found["dtend"].dt - found["dtstart"].dt == timedelta(hours=2, minutes=30)
    assert [zone["tzid"] for zone in calendar.walk("VTIMEZONE")] == ["Europe/London"]
    assert [alarm["trigger"].dt for alarm in found.walk("VALARM")] == [-timedelta(hours=2)]
    assert found["url"] == f"http://localhost:8000/jobs/{job.pk}/"


def test_a_job_keeps_its_name_when_it_moves_and_goes_when_it_is_taken_back(agent, job):
    address = make(agent)
    first = event(fetched(address), "Job 1")
    job_propose_day(job.pk, day=date(2027, 6, 2), moment=at())
    moved = event(fetched(address), "Job 1")
    assert (moved["uid"], moved["sequence"]) == (first["uid"], first["sequence"] + 1)
    assert moved["dtstart"].dt == date(2027, 6, 2)
    job_take_back(job.pk, why="Sold.", actor=agent, moment=at())
    assert not any("Job" in says for says in summaries(fetched(address)))


@pytest.mark.database
def test_a_landlord_sees_the_days_of_jobs_for_their_own_homes_alone(agent, job):
    """A job over two landlords' homes names to each their own; one of others' homes is not there."""
    home = JobItem.objects.filter(job=job)[0].defect.unit
    owner = make_user(agent.agency, "landlord", landlord=home.landlord)
    other = make_home(agent.agency, label="Flat 8", landlord_ref="L-other", defects=(
        law.Defect("x", "bs7671", "C2", "Fault", DAY),
    ))  # fmt: skip
    JobItem.objects.create(job=job, defect=other.defects.get())
    address = make(owner)
    found = event(fetched(address), "Job 1: Wire & Co comes, 2 defects, Flat 7")
    assert "Flat 8" not in str(found)
    assert "/jobs/" not in found["url"]
    assert event(fetched(make(agent)), "Job 1: Wire & Co comes, 3 defects, 2 homes")
    JobItem.objects.filter(job=job, defect__unit=home).update(ended_at=at().at)
    assert not any("Job" in says for says in summaries(fetched(address)))


# Many


def test_the_number_of_queries_does_not_grow(agent, homes):
    def asked() -> int:
        address = make(agent)
        with CaptureQueriesContext(
            connection,
        ) as seen:
            Client().get(address)
        return len(seen)

    few = asked()
    make_homes(agent.agency, *[{"label": f"More {n}"} for n in range(6)])
    assert asked() == few <= 30


@pytest.mark.database
def test_what_is_stale_is_asked_again_and_stands_where_it_belongs(agent, homes):
    whole = Client().get(make(agent)).content
    StoredStanding.objects.filter(unit=homes[0]).update(changes_on=DAY)
    Due.objects.filter(unit=homes[0]).delete()
    assert Client().get(make(agent)).content == whole


def test_with_too_much_out_of_date_a_program_keeps_what_it_has(agent, homes, monkeypatch):
    monkeypatch.setattr(reach, "MOST_WORKED_OUT", 1)
    StoredStanding.objects.update(changes_on=DAY)
    answer = Client().get(make(agent))
    assert answer.status_code == 503
    assert int(answer["Retry-After"]) == 900


@pytest.mark.database
def test_many_are_put_together_by_day_and_kind_and_none_is_left_out(agent, homes, job, monkeypatch):
    calendar = fetched(make(agent))
    one_by_one = [one for one in calendar.walk("VEVENT") if "Days of jobs" not in one["categories"].cats]
    monkeypatch.setattr(entries, "MOST", len(one_by_one))
    calendar = fetched(make(agent))
    together = event(calendar, "3 papers run out: Landlord's gas safety check 3")
    assert together["dtstart"].dt == GAS_UNTIL
    assert together["url"] == "http://localhost:8000/calendar/2027-05/?what=lapses&only=2027-05-20"
    assert [alarm["trigger"].dt for alarm in together.walk("VALARM")] == [
        -timedelta(days=14),
        -timedelta(days=1),
    ]
    counted = [int(re.match(r"\d+", says)[0]) for says in summaries(calendar) if not says.startswith("Job")]
    assert sum(counted) == len(one_by_one)
    assert event(calendar, "Job 1: Wire & Co comes")
    monkeypatch.setattr(entries, "MOST", 0)
    assert event(fetched(make(agent)), "1 job on this day")["dtstart"].dt == date(2027, 6, 1)


def test_put_together_it_is_the_same_to_the_byte_and_rises_with_what_is_recorded(agent, homes, monkeypatch):
    monkeypatch.setattr(entries, "MOST", 0)
    address = make(agent)
    first = Client().get(address).content
    assert Client().get(address).content == first
    make_home(agent.agency, label="Flat 3")
    was = event(Calendar.from_ical(first), "2 papers run out: Landlord's gas")
    now = event(fetched(address), "3 papers run out: Landlord's gas")
    assert now["uid"] == was["uid"]
    assert now["sequence"] > was["sequence"]


def test_late_duties_put_together_lead_to_the_list_of_late_ones(agent, homes, monkeypatch):
    monkeypatch.setattr(entries, "MOST", 0)
    Due.objects.create(
        due=DAY - timedelta(days=1), code="eng_eicr.copy_to_tenant", is_duty=True, unit=homes[0]
    )
    found = event(fetched(make(agent)), "1 duty falls due: ")
    assert found["url"] == "http://localhost:8000/duties/?when=late"


# The page


def page_of(user, **posted) -> str:
    client = signed_in(user)
    answer = client.post(reverse("feed"), posted, follow=True) if posted else client.get(reverse("feed"))
    assert answer.status_code == 200
    return " ".join(answer.content.decode().split())


def test_an_address_is_shown_once_and_can_be_ended(agent):
    assert "There is none." in page_of(agent)
    answer = signed_in(agent).post(reverse("feed"), {"do": "make"})
    assert answer["Cache-Control"] == "no-store"
    page = answer.content.decode()
    (address,) = re.findall(r'value="http://localhost:8000(/calendar/feed/[\w-]{43}\.ics)"', page)
    assert f'href="webcal://localhost:8000{address}"' in page
    assert Client().get(address).status_code == 200
    later = page_of(agent)
    assert address not in later
    assert "25 Nov 2026" in later
    assert "The address is ended." in page_of(agent, do="end")
    assert Client().get(address).status_code == 404
    assert "There was no address to end." in page_of(agent, do="end")


def test_a_page_asked_for_nothing_known_changes_nothing(agent):
    make(agent)
    page_of(agent, do="nonsense")
    assert Feed.objects.get().ended_at is None


def test_the_calendar_leads_to_it(agent):
    assert reverse("feed") in signed_in(agent).get(reverse("calendar")).content.decode()
