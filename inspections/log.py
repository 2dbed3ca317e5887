"""What must not stand in a log: the secret address of a job, by which whoever reads it could answer."""

import logging
import re

LINK = re.compile(r"/j/[^/\s?]+")


class WithoutLinks(logging.Filter):
    """Blanks such addresses in the words of a line. Named in settings.LOGGING."""

    def filter(self, record: logging.LogRecord) -> bool:
        said = record.getMessage()
        if "/j/" in said:
            record.msg, record.args = LINK.sub("/j/(secret)", said), ()
        return True
