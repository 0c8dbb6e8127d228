"""What is measured on: the lots, batches and members of a filled studio, found in its database."""

from dataclasses import dataclass
from functools import cached_property

from django.utils import timezone

from batches.models import Batch, BatchState, Formula
from inventory.models import Lot, LotKind, Material
from studio.actions.keys import issue_key
from studio.models import Member
from tests.bench.filled.founding import USUAL_LINES
from tests.client import Api
from tests.pages import Visitor


@dataclass(frozen=True)
class Scene:
    """A filled studio with somebody at work in it."""

    by: Member

    @classmethod
    def found(cls) -> "Scene":
        return cls(by=Member.objects.select_related("studio", "person").order_by("id")[0])

    @cached_property
    def secret(self) -> str:
        return issue_key(by=self.by, name="bench", scope="admin", at=timezone.now())[1]

    @cached_property
    def api(self) -> Api:
        return Api(self.secret)

    @cached_property
    def visitor(self) -> Visitor:
        return Visitor(self.by)

    @cached_property
    def deep_vial(self) -> Lot:
        """Two thousand pours stand behind it."""
        return Lot.objects.get(title="Long line, vial")

    @cached_property
    def wide_bottle(self) -> Lot:
        """It went into more lots than any other of its kind."""
        return Lot.objects.filter(kind=LotKind.BOTTLE, title="odorant 000").order_by("id")[0]

    @cached_property
    def blend(self) -> Lot:
        """The newest usual blend that is open."""
        return self._newest(BatchState.CLOSED, kind="blend").made

    @cached_property
    def closed(self) -> str:
        return self._newest(BatchState.CLOSED, kind="blend").number

    @cached_property
    def draft(self) -> str:
        return self._newest(BatchState.DRAFT).number

    @cached_property
    def weighing(self) -> str:
        return self._newest(BatchState.WEIGHING).number

    @cached_property
    def formula(self) -> str:
        return Formula.objects.get(code="formula-001").code

    @cached_property
    def material(self) -> int:
        return Material.objects.get(name="odorant 001").pk

    def _newest(self, state: BatchState, **kind: str) -> Batch:
        """The newest batch of a formula with the usual number of lines."""
        newest = Batch.objects.filter(state=state, **kind).select_related("made", "version").order_by("-id")
        return next(one for one in newest[:100] if one.version and one.version.lines.count() <= USUAL_LINES)
