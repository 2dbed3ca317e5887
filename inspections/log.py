"""What must not stand in a log: the secret in the address of a job, of a calendar, or by which a digest is ended."""

import logging
import re

SECRET = re.compile(r"/(j|calendar/feed|unsubscribe)/[^/\s?]+")


class WithoutLinks(logging.Filter):
    """Blanks such secrets in the words of a line. Named in settings.LOGGING."""

    def filter(self, record: logging.LogRecord) -> bool:
        said = record.getMessage()
        if SECRET.search(said):
            record.msg, record.args = SECRET.sub(r"/\1/(secret)", said), ()
        return True
