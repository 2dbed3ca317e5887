"""Taking a file off the wire, no further than its limit. Named in settings.FILE_UPLOAD_HANDLERS, first."""

import io
from typing import Any

from django.conf import settings
from django.core.exceptions import RequestDataTooBig
from django.core.files.uploadedfile import UploadedFile
from django.core.files.uploadhandler import FileUploadHandler


class StopsAtLimit(FileUploadHandler):
    """Counts what comes; nothing beyond the limit of a file reaches memory or disk.

    A file over the limit arrives in the view with its name and true size and without its content, so that
    `documents.accept` can say what is wrong with it, and the rest of the form is read as usual.
    """

    chunk_size = 64 * 1024
    seen = 0

    def handle_raw_input(
        self, input_data: Any, META: dict[str, Any], content_length: int, boundary: Any, encoding: Any = None
    ) -> None:
        """Refuses a request too large as a whole before any of it is read. Raises RequestDataTooBig."""
        if content_length > settings.UPLOAD_REQUEST_MAX_BYTES:
            raise RequestDataTooBig(f"a request of {content_length} bytes")

    def new_file(self, *args: Any, **more: Any) -> None:
        super().new_file(*args, **more)
        self.seen = 0

    def receive_data_chunk(self, raw_data: bytes, start: int) -> bytes | None:
        self.seen += len(raw_data)
        return raw_data if self.seen <= settings.UPLOAD_MAX_BYTES else None

    def file_complete(self, file_size: int) -> UploadedFile | None:
        if self.seen <= settings.UPLOAD_MAX_BYTES:
            return None
        self._drop()
        return UploadedFile(
            file=io.BytesIO(), name=self.file_name, content_type=self.content_type, size=self.seen
        )

    def _drop(self) -> None:
        """Let go at once of the part that was written before the limit was reached."""
        for handler in getattr(self.request, "upload_handlers", ()):
            part = getattr(handler, "file", None)
            if handler is not self and part is not None:
                part.close()
