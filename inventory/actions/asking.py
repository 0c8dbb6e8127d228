"""Asking the keeper of a lot, and the keeper's answer: hand some over, lend it, let a batch claim it, or decline."""

from dataclasses import replace
from datetime import date, datetime
from decimal import Decimal

from inventory.actions.drawing_off import Container, draw_off
from inventory.actions.keeping import refuse_other_than_keeper
from inventory.actions.lending import lend
from inventory.calc.wording import figure
from inventory.models import Lot, LotKind, LotRequest, Reason, RequestState, Wish
from studio.actions.changing import refuse_stale
from studio.actions.history import record
from studio.actions.telling import tell_member
from studio.kernel.errors import Conflict, Forbidden, Invalid
from studio.kernel.work import work
from studio.models import Member


class NobodyToAsk(Conflict):
    """The lot is the studio's or one's own, so it needs no asking."""

    code = "nobody-to-ask"
    title = "Nobody needs to be asked"


class AlreadyAsked(Conflict):
    """The same is asked already and not answered yet."""

    code = "already-asked"
    title = "Asked already"


class AlreadyAnswered(Conflict):
    """The request was answered or withdrawn before."""

    code = "already-answered"
    title = "Answered already"


class NotTheAsker(Forbidden):
    """Only who asked can withdraw a request."""

    code = "not-the-asker"
    title = "Not your request"


class BadRequestForLot(Invalid):
    """A request that says too little or too much: grams, a day, a batch."""

    code = "bad-lot-request"
    title = "This cannot be asked"


def ask_keeper(
    *,
    by: Member,
    now: datetime,
    lot: Lot,
    wish: Wish,
    mass: Decimal | None = None,
    until: date | None = None,
    purpose: str = "",
    word: str = "",
) -> LotRequest:
    """Ask the keeper for some grams to take away, for the lot until a day, or that a batch may claim of it.

    Raises `NobodyToAsk`, `AlreadyAsked`, or `BadRequestForLot` with every fault.
    """
    if lot.is_decided_by(by):
        whose = "yours to decide about" if lot.keeper_id else "the studio's"
        raise NobodyToAsk(f"Lot {lot.number} is {whose}; take what you need.")
    _check(wish, mass, until, purpose, now.date())
    with work():
        same = LotRequest.objects.filter(
            lot=lot, asker=by, wish=wish, purpose=purpose, state=RequestState.OPEN
        )
        if same.exists():
            raise AlreadyAsked(f"You asked {lot.keeper} for this already; withdraw that to ask differently.")
        request = LotRequest.objects.create(
            studio_id=by.studio_id,
            lot=lot,
            asker=by,
            wish=wish,
            mass=mass,
            until=until,
            purpose=purpose,
            word=word,
            asked_at=now,
        )
        _note(by, now, request, "asked for", {"mass": [None, mass], "until": [None, until]}, word)
        _tell(lot.keeper, now, request, f"{by} asks for {_wanted(request)}.", word)
    return request


def _check(wish: Wish, mass: Decimal | None, until: date | None, purpose: str, today: date) -> None:
    errors: dict[str, list[str]] = {}
    if wish == Wish.LOAN:
        if until is None or until < today:
            errors["until"] = ["Say until which day, today or later."]
        if mass is not None:
            errors["mass"] = ["A loan is of the whole lot; leave the grams out."]
    else:
        if mass is None:
            errors["mass"] = ["Say how many grams."]
        if until is not None:
            errors["until"] = ["Only a loan has a day; leave it out."]
    if (wish == Wish.CLAIM) != bool(purpose):
        errors["batch"] = ["Name the batch that would claim it, and none otherwise."]
    if errors:
        raise BadRequestForLot(next(iter(errors.values()))[0], errors=errors)


def withdraw_request(
    *, by: Member, now: datetime, request_id: int, why: str = "", expected: int | None = None
) -> LotRequest:
    """Take one's own request back. Raises `NotTheAsker`, `AlreadyAnswered`."""
    with work():
        request = _lock_open(by, request_id, expected)
        if request.asker_id != by.id:
            raise NotTheAsker("Somebody else asked this; only they can withdraw it.")
        _answer(by, now, request, RequestState.WITHDRAWN, "")
        _note(by, now, request, "withdrew the request for", {}, why)
    return request


def decline_request(
    *, by: Member, now: datetime, request_id: int, answer: str, expected: int | None = None
) -> LotRequest:
    """Say no, with a word. Raises `NotTheKeeper`, `AlreadyAnswered`."""
    with work():
        request = _lock_open(by, request_id, expected)
        refuse_other_than_keeper(request.lot, by)
        _answer(by, now, request, RequestState.DECLINED, answer)
        _note(by, now, request, "declined", {}, answer)
        _tell(request.asker, now, request, f"{by} declined: {_wanted(request)}.", answer)
    return request


def grant_request(
    *,
    by: Member,
    now: datetime,
    request_id: int,
    mass: Decimal | None = None,
    until: date | None = None,
    container: Container | None = None,
    answer: str = "",
    expired_reason: str = "",
    expected: int | None = None,
) -> LotRequest:
    """Grant all or part: `mass` grams, or another day for a loan; what was asked for where nothing is said.

    Some of a lot is drawn off into a lot of the asker's own. Raises `NotTheKeeper`, `AlreadyAnswered`,
    `BadRequestForLot`, and what drawing off and lending refuse.
    """
    with work():
        request = _lock_open(by, request_id, expected)
        refuse_other_than_keeper(request.lot, by)
        granted = _granted_mass(request, mass, until)
        _answer(by, now, request, RequestState.GRANTED, answer)
        if request.wish == Wish.SOME:
            assert granted is not None
            into = container or Container(kind=LotKind(request.lot.kind))
            request.given = draw_off(
                by=by,
                now=now,
                number=request.lot.number,
                mass=granted,
                container=replace(into, keeper=request.asker),
                expired_reason=expired_reason,
                reason=Reason.HANDED_OVER,
            )
        if request.wish == Wish.LOAN:
            lend(
                by=by,
                now=now,
                lot=request.lot,
                to=request.asker,
                due_on=until or request.until or now.date(),
                request=request,
            )
        request.granted_mass = granted
        request.save(update_fields=["granted_mass", "given"])
        _note(by, now, request, "granted", {"mass": [request.mass, granted]}, answer)
        part = f" ({figure(granted)} g of it)" if granted is not None and granted != request.mass else ""
        _tell(request.asker, now, request, f"{by} granted{part}: {_wanted(request)}.", answer)
    return request


def _granted_mass(request: LotRequest, mass: Decimal | None, until: date | None) -> Decimal | None:
    if request.wish == Wish.LOAN:
        if mass is not None:
            raise BadRequestForLot(
                "A loan is of the whole lot; leave the grams out.", errors={"mass": ["Leave this out."]}
            )
        return None
    if until is not None:
        raise BadRequestForLot("Only a loan has a day; leave it out.", errors={"until": ["Leave this out."]})
    assert request.mass is not None
    if mass is not None and mass > request.mass:
        sentence = f"{request.mass} g were asked for; grant that or less, not {mass} g."
        raise BadRequestForLot(sentence, errors={"mass": [sentence]})
    return request.mass if mass is None else mass


def _lock_open(by: Member, request_id: int, expected: int | None) -> LotRequest:
    """The request, locked before its lot. Raises `NoSuchThing`, `StaleEdition` or `AlreadyAnswered`."""
    rows = LotRequest.objects.select_for_update(no_key=True, of=("self",)).select_related(
        "lot__keeper__person", "asker__person"
    )
    request: LotRequest = rows.one(by.studio, "request", id=request_id)
    refuse_stale(request, expected, f"Request {request_id}")
    if request.state != RequestState.OPEN:
        raise AlreadyAnswered(f"This request was {request.state} before.", state=request.state)
    return request


def _answer(by: Member, now: datetime, request: LotRequest, state: RequestState, answer: str) -> None:
    request.state, request.answer = state, answer
    request.answered_at, request.answered_by = now, by
    request.edition += 1
    request.save(update_fields=["state", "answer", "answered_at", "answered_by", "edition"])


def _note(
    by: Member, now: datetime, request: LotRequest, verb: str, changes: dict[str, list[object]], why: str
) -> None:
    told = {name: change for name, change in changes.items() if change != [None, None]}
    record(
        by=by,
        at=now,
        subject="lot",
        name=request.lot.number,
        verb=f"{verb} ({request.wish})",
        changes=told,
        why=why,
    )


def _wanted(request: LotRequest) -> str:
    """What is asked for, in words."""
    if request.mass is None:
        return f"lot {request.lot.number}, {request.lot.title}, until {request.until}"
    batch = f", for batch {request.purpose}" if request.purpose else ""
    return f"{figure(request.mass)} g of lot {request.lot.number}, {request.lot.title}{batch}"


def _tell(member: Member | None, now: datetime, request: LotRequest, sentence: str, word: str) -> None:
    """Tell the other side by the way they chose."""
    if member is None or member.left_at is not None:
        return
    told = f"{sentence} {word}".strip()
    tell_member(
        member=member, at=now, topic="lot-request", subject="lot", name=request.lot.number, sentence=told
    )
