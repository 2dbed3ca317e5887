"""`manage.py drill_mail`: does every message arrive, and none twice without need, whatever breaks?"""

import shutil
from argparse import ArgumentParser

from django.core.management import BaseCommand, CommandError

from notifications.drill import after, place
from notifications.drill.run import Drill


class Command(BaseCommand):
    help = (
        "Sends invented messages on this machine while workers are killed, Redis is restarted empty and the mail "
        "server refuses, hangs and breaks off; then checks that every promise was kept, and that what follows from "
        "some of them was recorded once. Its files are its own. With "
        "DATABASE_URL it uses that database, which has to be empty."
    )
    requires_system_checks = []

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument("--messages", type=int, default=2000, help="how many messages (2000)")
        parser.add_argument("--kills", type=int, default=10, help="how often a worker is killed (10)")
        parser.add_argument("--workers", type=int, default=2, help="how many workers (2)")
        parser.add_argument("--seed", type=int, default=1, help="the seed of chance (1)")

    def handle(self, *, messages: int, kills: int, workers: int, seed: int, **options: object) -> None:
        if shutil.which("redis-server") is None:
            raise CommandError("redis-server is missing: install it first.")
        if messages < 20 * max(1, workers) or not 0 <= kills <= messages // 4 or workers < 1:
            raise CommandError(
                "Ask for at least 20 messages a worker, and at most one kill to four messages."
            )
        place.enter("drill_mail", messages=messages, kills=kills, workers=workers, seed=seed)
        self._drill(Drill(messages=messages, kills=kills, workers=workers, seed=seed, say=self._tell))

    def _drill(self, drill: Drill) -> None:
        result = drill.run()
        self._tell("")
        for name, figure in [
            *result.figures.items(),
            ("workers killed", drill.crew.kills),
            ("workers killed while they recorded what follows", after.times(killed=True)),
            ("errors over what follows", after.times(killed=False)),
            ("Redis restarted empty", int(drill.redis_emptied)),
            *((f"trick of the mail server: {trick}", n) for trick, n in sorted(drill.office.tricks.items())),
        ]:
            self._tell(f"{figure:>7}  {name}")
        short = drill.crew.kills < drill.kills or not drill.redis_emptied
        faults = [*result.faults, *(["fewer were killed than asked for"] if short else [])]
        for fault in faults:
            self._tell(f"NOT KEPT  {fault}")
        if faults:
            raise CommandError(f"{len(faults)} promises were not kept.")
        self._tell("Every promise was kept.")

    def _tell(self, line: str) -> None:
        self.stdout.write(line)
        self.stdout.flush()
