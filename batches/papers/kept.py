"""Printing a paper from what was kept of it when it was asked for."""

from collections.abc import Mapping
from typing import Any

from batches.calc.label_layout import LabelLayout
from batches.papers.count_list import print_count_list
from batches.papers.day_sheet import print_day_sheet
from batches.papers.labels import print_labels
from batches.papers.printing import Copy, Told, silent
from batches.papers.recall import print_recall
from batches.papers.serving_sheet import print_serving_sheet
from batches.papers.ticket import print_ticket
from batches.queries.count_lists import CountList
from batches.queries.labels import LabelSet
from batches.queries.making_days import DaySheet
from batches.queries.recalls import Recall
from batches.queries.serving_sheets import ServingSheet
from batches.queries.tickets import Ticket
from studio.kernel.plain_records import from_plain


def print_kept(kind: str, content: Mapping[str, Any], copy: Copy, told: Told = silent) -> bytes:
    """The PDF of a document of this kind, from its kept content."""
    kept = content["record"]
    match kind:
        case "ticket":
            return print_ticket(from_plain(Ticket, kept), copy, told)
        case "labels":
            layout = from_plain(LabelLayout, content["layout"])
            return print_labels(from_plain(LabelSet, kept), layout, copy, told)
        case "recall":
            return print_recall(from_plain(Recall, kept), copy, told)
        case "count list":
            return print_count_list(from_plain(CountList, kept), copy, told)
        case "servings":
            return print_serving_sheet(from_plain(ServingSheet, kept), copy, told)
        case "day sheet":
            return print_day_sheet(from_plain(DaySheet, kept), copy, told)
    raise ValueError(f"There is no paper of kind {kind}.")
