"""A mail server that takes everything and keeps nothing, as a process: `python -m notifications.drill.sink PORT`."""

import signal
import sys
import threading

from aiosmtpd.controller import Controller


class Sink:
    """An aiosmtpd handler."""

    async def handle_DATA(self, server: object, session: object, envelope: object) -> str:
        return "250 Taken"


def main(port: str) -> None:
    stop = threading.Event()
    signal.signal(signal.SIGTERM, lambda *_: stop.set())
    controller = Controller(Sink(), hostname="127.0.0.1", port=int(port))
    controller.start()
    stop.wait()
    controller.stop()


if __name__ == "__main__":
    main(*sys.argv[1:])
