"""Answers that are files made for the one who asks."""

import tempfile
from collections.abc import Callable
from typing import Any

from django.http import FileResponse

LARGEST_IN_MEMORY = 1024 * 1024


def zipped(name: str, write: Callable[[Any], None]) -> FileResponse:
    """What `write` writes into a file, as a download of that name; on disk once it is large, and never left behind."""
    file = tempfile.SpooledTemporaryFile(max_size=LARGEST_IN_MEMORY)  # noqa: SIM115
    write(file)
    file.seek(0)
    return FileResponse(file, as_attachment=True, filename=name, content_type="application/zip")
