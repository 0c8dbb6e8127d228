"""Papers as they are asked for: the record each is printed from, frozen as plain JSON.

`form` names how a record is printed; it changes with the layout, so that a paper that looks otherwise is another content.
"""

from collections.abc import Sequence
from datetime import date

from batches.calc.label_layout import LabelLayout, check_layout
from batches.models import BatchState
from batches.models.documents import DocumentKind, WantedPaper
from batches.queries.count_lists import count_list_of
from batches.queries.labels import labels_of
from batches.queries.making_days import day_sheet_of
from batches.queries.recalls import recall_of
from batches.queries.serving_sheets import serving_sheet_of
from batches.queries.tickets import ticket_of
from studio.kernel.plain_records import to_plain
from studio.models import Studio


def wanted_ticket(*, studio: Studio, number: str) -> WantedPaper:
    """The ticket or record of a batch; raises `NoSuchThing`."""
    ticket = ticket_of(studio=studio, number=number)
    return WantedPaper(
        kind=DocumentKind.TICKET,
        subject="batch",
        name=number,
        title=f"{'Record' if ticket.state == BatchState.CLOSED else 'Ticket'} of {number} {ticket.title}",
        content={"form": "batch ticket 2", "record": to_plain(ticket)},
    )


def wanted_labels(*, studio: Studio, numbers: Sequence[str], layout: LabelLayout) -> WantedPaper:
    """Labels of lots; raises `LabelsDoNotFit`, `NoSuchThing`."""
    check_layout(layout, len(numbers))
    labels = labels_of(studio=studio, numbers=numbers)
    first = labels.labels[0]
    more = f" and {len(numbers) - 1} more" if len(numbers) > 1 else ""
    return WantedPaper(
        kind=DocumentKind.LABELS,
        subject="lot",
        name=first.lot,
        title=f"Label of {first.lot} {first.title}{more}",
        content={"form": "lot labels 1", "record": to_plain(labels), "layout": to_plain(layout)},
    )


def wanted_recall(*, studio: Studio, number: str) -> WantedPaper:
    """The recall report of a lot; raises `NoSuchThing`."""
    recall = recall_of(studio=studio, number=number)
    return WantedPaper(
        kind=DocumentKind.RECALL,
        subject="lot",
        name=number,
        title=f"Recall of {number} {recall.title}",
        content={"form": "recall report 1", "record": to_plain(recall)},
    )


def wanted_count_list(*, studio: Studio, shelf_id: int) -> WantedPaper:
    """The list for counting a shelf; raises `NoSuchThing`."""
    listed = count_list_of(studio=studio, shelf_id=shelf_id)
    return WantedPaper(
        kind=DocumentKind.COUNT_LIST,
        subject="shelf",
        name=str(shelf_id),
        title=f"Count of {listed.shelf}",
        content={"form": "count list 1", "record": to_plain(listed)},
    )


def wanted_servings(*, studio: Studio, panel_id: int) -> WantedPaper:
    """The sheet of a panel's trays, without its key; raises `NoSuchThing`."""
    sheet = serving_sheet_of(studio=studio, panel_id=panel_id)
    return WantedPaper(
        kind=DocumentKind.SERVINGS,
        subject="panel",
        name=sheet.panel,
        title=f"Trays of {sheet.title}",
        content={"form": "servings 1", "record": to_plain(sheet)},
    )


def wanted_day_sheet(*, studio: Studio, day: date) -> WantedPaper:
    """The sheet of a making day."""
    sheet = day_sheet_of(studio=studio, day=day)
    return WantedPaper(
        kind=DocumentKind.DAY_SHEET,
        subject="day",
        name=day.isoformat(),
        title=f"To make on {day.isoformat()}",
        content={"form": "day sheet 1", "record": to_plain(sheet)},
    )
