"""What is taken of a sending while it still comes in: nothing too large is ever kept whole.

A file that is too large, and what comes after too many files or bytes, is read past and dropped;
the sending goes on to its end, so that the answer reaches the sender in words.
"""

from typing import Any

from django.core.files.uploadhandler import SkipFile, TemporaryFileUploadHandler
from django.http import HttpRequest

from chain_of_custody import uploads
from chain_of_custody.uploads import UploadRefused

Dropped = tuple[str, UploadRefused]
ATTRIBUTE = "files_dropped"


def dropped(request: HttpRequest) -> list[Dropped]:
    """Return the names of the files that were dropped while they came in, and why."""
    found: list[Dropped] = getattr(request, ATTRIBUTE, [])
    return found


class LimitedUploadHandler(TemporaryFileUploadHandler):
    """Keeps files on disk until the answer, within the limits of one sending.

    Of somebody who is not signed in no file is kept at all.
    """

    def __init__(self, request: HttpRequest | None = None) -> None:
        super().__init__(request)
        self._files = self._bytes = self._of_this_file = 0

    def new_file(self, *args: Any, **kwargs: Any) -> None:
        """Begin a file, unless there are too many already."""
        super().new_file(*args, **kwargs)
        self._files += 1
        self._of_this_file = 0
        if not getattr(getattr(self.request, "user", None), "is_authenticated", False):
            raise SkipFile
        if self._files > uploads.MAX_FILES:
            self._drop(
                UploadRefused(
                    "file_many",
                    f"At most {uploads.MAX_FILES} files are taken at once. Send this one apart.",
                )
            )

    def receive_data_chunk(self, raw_data: bytes, start: int) -> None:
        """Write a piece to disk, unless the file or the sending has become too large."""
        self._of_this_file += len(raw_data)
        self._bytes += len(raw_data)
        if self._of_this_file > uploads.MAX_BYTES:
            self._bytes -= self._of_this_file
            self._drop(uploads.too_large())
        if self._bytes > uploads.MAX_TOTAL:
            self._bytes -= self._of_this_file
            most = uploads.MAX_TOTAL // 1024 // 1024
            self._drop(
                UploadRefused(
                    "file_total",
                    f"All files together are larger than {most} MB. Send this one apart.",
                )
            )
        super().receive_data_chunk(raw_data, start)

    def _drop(self, reason: UploadRefused) -> None:
        assert self.request is not None  # new_file has asked who sends
        names = [*dropped(self.request), (self.file_name or "", reason)]
        setattr(self.request, ATTRIBUTE, names)
        raise SkipFile
