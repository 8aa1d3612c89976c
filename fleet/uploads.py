"""Uploads are bounded before they are read: a request larger than any set of files is not taken in at all."""

from __future__ import annotations

from typing import Any

from django.core.exceptions import RequestDataTooBig
from django.core.files.uploadhandler import FileUploadHandler

MAX_REQUEST = 80 * 1024 * 1024


class BoundedUpload(FileUploadHandler):
    """First of the upload handlers: counts what comes in, whatever the request said of its length."""

    def __init__(self, request: Any = None) -> None:
        super().__init__(request)
        self.taken = 0

    def handle_raw_input(
        self, input_data: Any, META: Any, content_length: int, boundary: Any, encoding: Any = None
    ) -> None:
        if content_length > MAX_REQUEST:
            raise RequestDataTooBig("The files are larger than what can be taken at once.")

    def receive_data_chunk(self, raw_data: bytes, start: int) -> bytes:
        self.taken += len(raw_data)
        if self.taken > MAX_REQUEST:
            raise RequestDataTooBig("The files are larger than what can be taken at once.")
        return raw_data

    def file_complete(self, file_size: int) -> None:
        return None
