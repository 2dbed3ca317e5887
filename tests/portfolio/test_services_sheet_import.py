"""A list's way in: kept, read, shown, taken in once and exactly as shown, or not at all."""

from dataclasses import replace
from typing import Any

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile

from portfolio import documents, gate
from portfolio.exchange.sheets.plan import plan
from portfolio.exchange.sheets.write import csv_bytes
from portfolio.facts import facts_of
from portfolio.models import Building, Certificate, Clearance, Event, Landlord, SheetImport, Unit, User
from portfolio.services import events, homes, sheet_import
from tests.factories import at, make_agency, make_home, make_user

pytestmark = [pytest.mark.django_db, pytest.mark.database]
HEADINGS = ["Home ref", "Building", "Flat", "Nation", "Persons", "EICR date", "Landlord", "Landlord e-mail"]
GOOD = ["H1", "Row", "Flat 1", "England", "2", "3/4/2024", "Ash", "ash@example.org"]
ALSO_GOOD = ["H2", "Row", "Flat 2", "England", "1", "", "Ash", ""]
BAD = ["H3", "Row", "Flat 3", "England", "2", "31/2/2024", "=1+1", ""]


@pytest.fixture
def agent() -> User:
    return make_user(make_agency())


def upload(
    agent: User, *rows: list[Any], headings: list[str] = HEADINGS, name: str = "list.csv"
) -> SheetImport:
    file = SimpleUploadedFile(name, csv_bytes(headings, rows))
    return sheet_import.upload(file, actor=agent, moment=at())


def read(agent: User, *rows: list[Any], **more: Any) -> SheetImport:
    found = upload(agent, *rows, **more)
    sheet_import.read_in(found.pk, moment=at())
    found.refresh_from_db()
    return found


def take(found: SheetImport, agent: User) -> None:
    assert sheet_import.ask(found.pk, actor=agent, moment=at())
    sheet_import.take(found.pk, moment=at(hour=13))
    found.refresh_from_db()


def test_nothing_is_on_record_before_it_is_asked_for(agent: User) -> None:
    found = read(agent, GOOD, BAD)
    assert (found.state, found.total) == ("ready", 2)
    assert list(found.rows.values_list("state", flat=True)) == ["new", "refused"]
    assert not Unit.objects.exists()
    assert not Building.objects.exists()
    assert not Event.objects.exists()


def test_the_good_rows_are_taken_in_and_the_others_are_not(agent: User) -> None:
    found = read(agent, GOOD, ALSO_GOOD, BAD)
    take(found, agent)
    assert (found.state, found.says) == ("taken", "Taken in: 2 new, 0 changed.")
    assert list(Unit.objects.order_by("ref").values_list("ref", flat=True)) == ["H1", "H2"]
    assert Unit.objects.get(ref="H1").standing.let_clear is False
    landlord = Landlord.objects.get()
    assert (landlord.name, landlord.email) == ("Ash", "ash@example.org")
    assert events.verify(agent.agency) is None
    assert "2 new" in Event.objects.get(verb="portfolio.taken_in").says


def test_it_cannot_be_taken_in_twice(agent: User) -> None:
    found = read(agent, GOOD)
    take(found, agent)
    assert not sheet_import.ask(found.pk, actor=agent, moment=at())
    before = Event.objects.count()
    sheet_import.take(found.pk, moment=at(hour=14))
    sheet_import.read_in(found.pk, moment=at(hour=14))
    assert Event.objects.count() == before
    assert Certificate.objects.count() == 1


def test_only_the_first_of_two_who_press_the_button_is_heard(agent: User) -> None:
    found = read(agent, GOOD)
    assert sheet_import.ask(found.pk, actor=agent, moment=at())
    assert not sheet_import.ask(found.pk, actor=make_user(agent.agency), moment=at())
    assert not sheet_import.leave(found.pk)


def test_a_list_with_nothing_good_cannot_be_asked_for(agent: User) -> None:
    assert not sheet_import.ask(read(agent, BAD).pk, actor=agent, moment=at())


def test_the_same_list_again_has_nothing_left_to_take(agent: User) -> None:
    take(read(agent, GOOD, ALSO_GOOD), agent)
    assert list(read(agent, GOOD, ALSO_GOOD).rows.values_list("state", flat=True)) == ["same", "same"]


def test_a_record_that_changed_since_it_was_shown_is_shown_again_first(agent: User) -> None:
    unit = make_home(agent.agency, ref="H1", label="Flat 1")
    found = read(agent, ["H1", "9 Tannery Row", "Flat 1", "", "4", "", "", ""])
    assert found.rows.get().changes == [{"what": "persons", "old": "2", "new": "4"}]
    _set_persons(unit, 3, agent)
    take(found, agent)
    assert (found.state, found.says) == ("ready", sheet_import.CHANGED_MEANWHILE)
    assert found.rows.get().changes == [{"what": "persons", "old": "3", "new": "4"}]
    assert Unit.objects.get(pk=unit.pk).persons == 3
    take(found, agent)
    assert (found.state, Unit.objects.get(pk=unit.pk).persons) == ("taken", 4)


def _set_persons(unit: Unit, persons: int, agent: User) -> None:
    building, facts = facts_of([unit.pk])[unit.pk]
    changed = replace(facts, occupancy=replace(facts.occupancy, persons=persons))
    homes.home_edit(unit.pk, building=building, unit=changed, actor=agent, moment=at(hour=12))


def test_a_change_between_the_comparison_and_the_writing_undoes_it(agent: User, monkeypatch: Any) -> None:
    unit = make_home(agent.agency, ref="H1", label="Flat 1")
    found = read(agent, ["H1", "9 Tannery Row", "Flat 1", "", "4", "", "", ""])
    assert sheet_import.ask(found.pk, actor=agent, moment=at())

    def planned_then_changed(*args: Any, **more: Any) -> Any:
        made = plan(*args, **more)
        if Unit.objects.get(pk=unit.pk).persons == 2:
            _set_persons(unit, 3, agent)
        return made

    monkeypatch.setattr(sheet_import, "plan", planned_then_changed)
    sheet_import.take(found.pk, moment=at(hour=13))
    found.refresh_from_db()
    assert (found.state, found.says) == ("ready", sheet_import.CHANGED_MEANWHILE)
    assert Unit.objects.get(pk=unit.pk).persons == 3
    assert not Event.objects.filter(verb="portfolio.taken_in").exists()


def test_a_landlord_stored_by_somebody_else_meanwhile_is_no_breakdown(agent: User, monkeypatch: Any) -> None:
    found = read(agent, GOOD)
    assert sheet_import.ask(found.pk, actor=agent, moment=at())

    def collides(*args: Any, **more: Any) -> Any:
        Landlord.objects.create(agency=agent.agency, ref="same", name="Same")
        Landlord.objects.create(agency=agent.agency, ref="same", name="Same")

    monkeypatch.setattr(sheet_import, "take_in", collides)
    sheet_import.take(found.pk, moment=at())
    found.refresh_from_db()
    assert (found.state, found.says) == ("ready", sheet_import.CHANGED_MEANWHILE)
    assert not Landlord.objects.filter(ref="same").exists()


def test_a_failure_midway_leaves_nothing_and_can_be_started_again(agent: User, monkeypatch: Any) -> None:
    found = read(agent, GOOD, ALSO_GOOD)
    assert sheet_import.ask(found.pk, actor=agent, moment=at())
    monkeypatch.setattr(sheet_import, "_landlords", lambda *args: 1 / 0)
    with pytest.raises(ZeroDivisionError):
        sheet_import.take(found.pk, moment=at())
    assert not Unit.objects.exists()
    monkeypatch.undo()
    assert sheet_import.again(found.pk, at(hour=14))
    sheet_import.take(found.pk, moment=at(hour=14))
    assert Unit.objects.count() == 2


def test_what_is_taken_in_can_withdraw_a_mark(agent: User) -> None:
    unit = make_home(agent.agency, agent, ref="H1")
    gate.mark(unit.pk, "let", actor=agent, moment=at())
    row = ["H1", "9 Tannery Row", "", "", "1/11/2026", "unsatisfactory"]
    headings = ["Home ref", "Building", "Flat", "Nation", "EICR date", "EICR result"]
    take(read(agent, row, headings=headings), agent)
    assert Clearance.objects.get().withdrawn_at is not None


def test_a_file_that_is_no_list_says_why(agent: User) -> None:
    found = sheet_import.upload(SimpleUploadedFile("a.xls", b"%PDF-1.7"), actor=agent, moment=at())
    sheet_import.read_in(found.pk, moment=at())
    found.refresh_from_db()
    assert found.state == "unreadable"
    assert "PDF" in found.says
    assert sheet_import.leave(found.pk)


@pytest.mark.parametrize(("size", "refused"), [(99, False), (100, False), (101, True)])
def test_a_file_over_the_limit_is_refused(agent: User, settings: Any, size: int, refused: bool) -> None:
    settings.UPLOAD_MAX_BYTES = 100
    file = SimpleUploadedFile("a.csv", b"x" * size)
    if refused:
        with pytest.raises(documents.UploadRefused, match="limit"):
            sheet_import.upload(file, actor=agent, moment=at())
        return
    assert sheet_import.upload(file, actor=agent, moment=at()).state == "reading"


def test_an_empty_file_is_refused(agent: User) -> None:
    with pytest.raises(documents.UploadRefused, match="empty"):
        sheet_import.upload(SimpleUploadedFile("a.csv", b""), actor=agent, moment=at())


def test_the_file_is_kept_byte_for_byte(agent: User) -> None:
    found = upload(agent, GOOD, name="../../etc/old\x00 list.csv")
    assert found.name == "old list.csv"
    assert documents.open_bytes(found.document) == csv_bytes(HEADINGS, [GOOD])


def test_rows_with_faults_come_back_as_they_stood_and_once_put_right_can_be_uploaded(agent: User) -> None:
    headings, rows = sheet_import.faulty(read(agent, GOOD, BAD))
    assert headings == [*HEADINGS, "What is wrong"]
    assert rows[0][:8] == BAD
    assert rows[0][8].startswith("F3: “31/2/2024” is a day that does not exist")
    rows[0][5] = "28/2/2024"
    again = read(agent, *rows, headings=headings)
    assert again.sheet["unused"] == ["What is wrong"]
    assert again.rows.get().state == "new"


def test_progress_is_told_while_reading_and_while_taking(agent: User, monkeypatch: Any) -> None:
    told: list[int] = []
    found = read(agent, GOOD, ALSO_GOOD)
    assert sheet_import.progress_of(found) == (2, 2)
    assert sheet_import.ask(found.pk, actor=agent, moment=at())
    found.refresh_from_db()
    assert sheet_import.progress_of(found) == (0, 2)
    sheet_import.take(found.pk, moment=at(), progress=told.append)
    assert told[-1] == 2
    sheet_import.tell_progress(found.pk, 1)
    assert sheet_import.progress_of(found) == (1, 2)


def test_a_cache_that_is_away_costs_no_more_than_the_number(agent: User, settings: Any) -> None:
    settings.CACHES = {
        "default": {
            "BACKEND": "django.core.cache.backends.redis.RedisCache",
            "LOCATION": "unix:///tmp/no-such-redis.sock",
        }
    }
    found = read(agent, GOOD)
    assert sheet_import.ask(found.pk, actor=agent, moment=at())
    found.refresh_from_db()
    assert sheet_import.progress_of(found) == (0, 1)
    sheet_import.take(found.pk, moment=at(), progress=lambda done: sheet_import.tell_progress(found.pk, done))
    found.refresh_from_db()
    assert found.state == "taken"
