"""How a member is told of alerts by e-mail: at once, in one mail a day, or never."""

from datetime import datetime, timedelta

from studio.actions.alerts import IN_ONE_MAIL, mail_of
from studio.actions.changing import refuse_stale
from studio.actions.outbox import announce
from studio.kernel.causes import Urgency
from studio.kernel.errors import Invalid
from studio.kernel.work import work
from studio.models import Alert, AlertMail, MailChoice, Member

DAY = timedelta(days=1)


def choose_mail(*, by: Member, mail: str, expected: int | None = None) -> AlertMail:
    """Choose how one is mailed, for oneself. Raises `Invalid`, `StaleEdition`."""
    if mail not in MailChoice.values:
        sentence = f"Mail comes {', '.join(MailChoice.values)}; choose one of these."
        raise Invalid(sentence, errors={"mail": [sentence]})
    with work():
        choice = _own_choice(by)
        refuse_stale(choice, expected, "Your choice")
        if choice.mail != mail:
            choice.mail = mail
            choice.edition += 1
            choice.save(update_fields=["mail", "edition"])
    return choice


def write_digest(*, member: Member, at: datetime) -> bool:
    """Put the daily mail of a member into the outbox; False when it is there already or there is nothing to tell.

    It tells what calls out now. A day on which nothing does has no mail.
    """
    with work():
        choice = _own_choice(member)
        if choice.mail != MailChoice.DAILY or (choice.digest_on and choice.digest_on >= at.date()):
            return False
        choice.digest_on = at.date()
        choice.save(update_fields=["digest_on"])
        loud = Alert.objects.of(member.studio_id).loud()
        alerts = list(loud.order_by("urgency", "due_on", "-since", "id")[:IN_ONE_MAIL])
        if not alerts:
            return False
        new = loud.filter(since__gt=at - DAY).count()
        content = mail_of(member.studio.name, alerts, loud.count())
        opening = f"{content['count']} alerts are open, {new} of them new since yesterday."
        announce(
            studio=member.studio_id,
            at=at,
            topic="daily-mail",
            contents=[{**content, "opening": opening}],
            members=[member.pk],
        )
    return True


def tell_member(*, member: Member, at: datetime, topic: str, subject: str, name: str, sentence: str) -> None:
    """Tell one member by mail, and the studio's webhooks, of something that was done for them.

    Called inside the work that did it. Who wants no mail gets none.
    """
    told = {"subject": subject, "name": name, "sentence": sentence, "urgency": Urgency.SOON.word}
    content = {"studio": member.studio.name, "count": 1, "alerts": [told]}
    silent = AlertMail.objects.filter(member=member, mail=MailChoice.NEVER).exists()
    announce(
        studio=member.studio_id,
        at=at,
        topic=topic,
        contents=[content],
        members=[] if silent else [member.pk],
        webhooks=None,
    )


def _own_choice(member: Member) -> AlertMail:
    """The member's row, locked; it is written when it is first needed."""
    fresh = AlertMail(studio_id=member.studio_id, member=member)
    AlertMail.objects.bulk_create([fresh], ignore_conflicts=True)
    return AlertMail.objects.select_for_update(of=("self",)).get(member=member)
