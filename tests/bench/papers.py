"""The rows of paper: a ticket and a sheet of labels, from the record on, against the printing library alone on the same HTML."""

from collections.abc import Callable
from dataclasses import replace
from decimal import Decimal

from django.utils import timezone
from weasyprint import CSS, HTML

from batches.calc.label_layout import LabelLayout, Sheet
from batches.papers.labels import labels_html, print_labels
from batches.papers.printing import FILES, Copy, OwnFiles
from batches.papers.ticket import print_ticket, ticket_html
from batches.queries.labels import labels_of
from batches.queries.tickets import Ticket, ticket_of
from inventory.models import Lot
from tests.bench.scene import Scene
from tests.bench.table import Row, compared

LINES, LABELS = 25, 200
SHEET = LabelLayout(
    width_mm=Decimal("63.5"),
    height_mm=Decimal("38.1"),
    sheet=Sheet(columns=3, rows=7, left_mm=Decimal("7.2"), top_mm=Decimal("15.1"), gap_x_mm=Decimal("2.5")),
)


def papers(scene: Scene) -> list[Row]:
    """P10. Ours gathers the record, writes the HTML and prints it; the floor prints the HTML that came out."""
    studio, copy = scene.by.studio, Copy(1, str(scene.by), timezone.now())
    numbers = list(
        Lot.objects.of(studio)
        .filter(emptied_at__isnull=True)
        .order_by("-id")
        .values_list("number", flat=True)[:LABELS]
    )

    def ticket() -> bytes:
        return print_ticket(_of_lines(ticket_of(studio=studio, number=scene.closed)), copy)

    def labels() -> bytes:
        return print_labels(labels_of(studio=studio, numbers=numbers), SHEET, copy)

    ticket_alone = _alone(
        ticket_html(_of_lines(ticket_of(studio=studio, number=scene.closed)), copy), "paper.css"
    )
    labels_alone = _alone(labels_html(labels_of(studio=studio, numbers=numbers), SHEET, copy), "labels.css")
    floor_is = "WeasyPrint on the same HTML"
    return [
        compared("P10", f"ticket of {LINES} lines, warm", floor_is, ticket_alone, ticket, 1.2, runs=5),
        compared("P10", f"sheets of {len(numbers)} labels", floor_is, labels_alone, labels, 1.2, runs=3),
    ]


def _of_lines(ticket: Ticket) -> Ticket:
    """The ticket with so many lines, whatever the batch has."""
    lines = (ticket.lines * LINES)[:LINES]
    return replace(ticket, lines=tuple(replace(line, position=place) for place, line in enumerate(lines, 1)))


def _alone(html: str, style: str) -> Callable[[], bytes]:
    own = OwnFiles(allowed_protocols=())
    sheet = CSS(string=(FILES / style).read_text("utf-8"))
    return lambda: HTML(string=html, url_fetcher=own).write_pdf(stylesheets=[sheet])


ROWS = {"P10": papers}
