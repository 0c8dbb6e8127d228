"""The bundle: records, seals, signatures, checkpoints and the rows they hashed, with the script that verifies them.

Whoever has it needs neither this service nor its database to see that nothing was altered: `verify_bundle.py`, which
lies in it, uses Python's standard library alone. What it can show ends with the last checkpoint.
"""

import json
from collections.abc import Iterable, Iterator
from pathlib import Path
from typing import Any
from zipfile import ZIP_DEFLATED, ZipFile

from studio.models import Checkpoint, SealedRecord, Studio
from studio.models.settled_rows import settled_rows

SCRIPT = Path(__file__).resolve().parent.parent / "bin" / "verify_bundle.py"
READ_ME = """Sealed records of {studio}

To verify them, with Python 3.11 or later and nothing else:

    python3 verify_bundle.py .

(or give the zip file instead of the folder). Take the script from somewhere you trust if this bundle came from
somebody you do not; the same script is part of the service that made it. What the files hold, and how a seal, a
signature and a checkpoint are reckoned, stands at the head of the script.

Give --checkpoint CODE with a code from a ticket or letter of earlier: it shows that the records up to then are
those of then. Give --key with the public key if you were told it: it shows who signed. The keys in this bundle:

{keys}
"""


def write_bundle(studio: Studio, into: Any) -> None:
    """Write the bundle of a studio, as a zip file, into the binary file `into`."""
    with ZipFile(into, "w", ZIP_DEFLATED) as bundle:
        add_bundle(studio, bundle)


def add_bundle(studio: Studio, bundle: ZipFile) -> None:
    """Put the files of the bundle into a zip file that is being written."""
    checkpoints = Checkpoint.objects.of(studio).order_by("number")
    keys = dict.fromkeys(checkpoints.values_list("key", flat=True))
    bundle.writestr(
        "README.txt", READ_ME.format(studio=studio.name, keys="\n".join(keys) or "(no checkpoint yet)")
    )
    bundle.write(SCRIPT, "verify_bundle.py")
    write_lines(bundle, "records.jsonl", _records(studio))
    write_lines(
        bundle,
        "checkpoints.jsonl",
        (
            {"number": one.number, "text": one.text, "signature": one.signature, "key": one.key}
            for one in checkpoints.iterator(chunk_size=50)
        ),
    )
    for one in checkpoints.iterator(chunk_size=50):
        for table, told in sorted(one.told()["tables"].items()):
            if any(block["rows"] for block in told["blocks"]):
                rows = settled_rows(
                    table, studio=studio.pk, columns=told["columns"], after=told["after"], to=told["to"]
                )
                with bundle.open(f"rows/{one.number:06}-{table}.jsonl", "w") as file:
                    for _, text in rows:
                        file.write(f"{text}\n".encode())


def write_lines(bundle: ZipFile, name: str, rows: Iterable[dict[str, Any]]) -> None:
    """One JSON object a line."""
    with bundle.open(name, "w") as file:
        for row in rows:
            file.write(json.dumps(row, ensure_ascii=False, separators=(",", ":")).encode() + b"\n")


def _records(studio: Studio) -> Iterator[dict[str, Any]]:
    rows = SealedRecord.objects.of(studio).order_by("sequence", "id")
    for sequence, text, previous, seal in rows.values_list("sequence", "text", "previous", "seal").iterator(
        chunk_size=500
    ):
        yield {"sequence": sequence, "text": text, "previous": previous, "seal": seal}
