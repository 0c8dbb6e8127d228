"""What the alert of a proof says: that something recorded does not hold, and where it is seen."""

from collections.abc import Sequence

from studio.kernel.causes import Cause, Urgency

PROOF = "proof"
TOLD_AT_MOST = 20
"""Places named in one alert; `manage.py verify` names them all."""


def does_not_hold(*, studio: str, faults: Sequence[tuple[str, str]]) -> Cause:
    """What a proof of everything found in a studio: where, and what; at least one of them."""
    where, what = faults[0]
    count = "One thing does" if len(faults) == 1 else f"{len(faults)} things do"
    return Cause(
        kind=PROOF,
        key=PROOF,
        subject="studio",
        name=studio,
        sentence=(
            f"{count} not hold in what is recorded, the first at {where}: {what}. Change nothing there, and have whoever "
            f"runs the service look at manage.py verify."
        ),
        urgency=Urgency.NOW,
        details={
            "count": len(faults),
            "found": [{"where": where, "what": what} for where, what in faults[:TOLD_AT_MOST]],
        },
    )
