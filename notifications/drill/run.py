"""One drill from end to end: messages are written, workers killed, Redis emptied, the mail server plays tricks."""

import time
from collections.abc import Callable
from pathlib import Path
from random import Random

from django.conf import settings
from django.db import transaction
from django.db.models import Q, QuerySet

from notifications import outbox
from notifications.drill import after
from notifications.drill.crew import Crew
from notifications.drill.office import Office
from notifications.drill.tally import Row, Tally, tally
from notifications.models import Message
from notifications.words import DUE_STATES, SENDING, SENT, UNCLEAR
from portfolio import clock
from portfolio.models import Agency

LINK = "https://homes.example.org/j/secret-of-"
AHEAD = 500
"""How many messages may be written but not delivered: they are to be written all through the run."""
SECONDS_EACH, SECONDS_MORE = 0.6, 240
"""How long a run may take."""


class Drill:
    def __init__(
        self, *, messages: int, kills: int, workers: int, seed: int, say: Callable[[str], object]
    ) -> None:
        self.messages, self.kills, self.workers, self.seed, self.say = messages, kills, workers, seed, say
        self.chance = Random(seed)  # noqa: S311 - chance, not secrecy
        moments = range(messages // 20, messages * 8 // 10)
        self.kill_at = set(self.chance.sample(moments, kills))
        self.empty_redis_at = messages * 2 // 5
        self.redis_emptied = False
        self.written = 0

    def run(self) -> Tally:
        """Raises RuntimeError when it is not done in time."""
        with Office(settings.EMAIL_PORT, self.seed, LINK.encode()) as office:
            self.office = office
            with Crew(Path(settings.VAR), workers=self.workers, chance=self.chance) as crew:
                self.crew = crew
                office.on_delivery = self._delivered
                self._until_done(Agency.objects.create(name="Drill Lettings"))
            rows = [
                Row(
                    one.to_email,
                    one.message_id,
                    one.state,
                    one.lost,
                    LINK in f"{one.text}{one.secrets}",
                    one.follows,
                    one.data["counted"],
                )
                for one in Message.objects.order_by("pk")
            ]
        refused = {row.reader for row in rows if office.refuses(row.reader)}
        return tally(rows, office.deliveries, refused)

    def _delivered(self, count: int) -> None:
        """At the moment at which a message is taken and its sender has no answer yet."""
        if count in self.kill_at:
            self.crew.kill_a_worker()

    def _until_done(self, agency: Agency) -> None:
        end = time.monotonic() + self.messages * SECONDS_EACH + SECONDS_MORE
        told = 0
        while self._write_some(agency) or self._open().exists():
            self.crew.tend()
            if not self.redis_emptied and self.office.count >= self.empty_redis_at:
                self._empty_redis(agency)
            if self.office.count >= told + self.messages // 10:
                told = self.office.count
                self.say(f"{told} delivered, {self.crew.kills} workers killed")
            if time.monotonic() > end:
                raise RuntimeError(
                    f"not done in time: {list(self._open().values_list('to_email', 'state')[:20])}"
                )
            time.sleep(0.05)

    def _empty_redis(self, agency: Agency) -> None:
        """All tasks in it are lost, and what is written while it is away asks nobody to be sent."""
        self.crew.kill_redis()
        self._write_some(agency)
        self.crew.start_redis()
        self.redis_emptied = True
        self.say("Redis restarted empty")

    def _write_some(self, agency: Agency) -> bool:
        """Write a few in one transaction, if it is time for it; False when all are written."""
        if self.written >= self.messages:
            return False
        if self.written - self.office.count < AHEAD:
            with transaction.atomic():
                for _ in range(min(self.chance.randint(1, 25), self.messages - self.written)):
                    self.written += 1
                    outbox.put(draft(self.written, agency.pk), at=clock.moment().at)
        return True

    @staticmethod
    def _open() -> "QuerySet[Message]":
        unsettled = Q(state__in=[*DUE_STATES, SENDING]) & ~Q(state=UNCLEAR, next_try_at=None)
        return Message.objects.filter(unsettled | Q(state=SENT, follows=True, followed_at=None))


def draft(number: int, agency_id: int) -> outbox.Draft:
    """An invented message with a link; every tenth has a file, from every third something follows."""
    link = f"{LINK}{number}/"
    files = (
        [outbox.File("sheet.pdf", "application/pdf", b"%PDF-1.7\n" + bytes(20_000))]
        if number % 10 == 0
        else []
    )
    return outbox.Draft(
        key=f"drill:{number}",
        kind=after.KIND if number % after.EVERY == 0 else "drill",
        because="A drill.",
        agency_id=agency_id,
        to_name=f"Reader {number}",
        to_email=f"reader{number}@example.org",
        subject=f"Drill {number}: see what is wrong and answer",
        text=f"See what is wrong and answer here:\n{link}\n\n{'Nothing here is real. ' * 20}\n",
        html=f'<p>See what is wrong and <a href="{link}">answer here</a>.</p><p>{"Nothing here is real. " * 20}</p>',
        urgent=number % 7 == 0,
        secrets=[link],
        files=files,
        follows=number % after.EVERY == 0,
        data={"number": number, "counted": 0},
    )
