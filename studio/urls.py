"""Which address leads where. The floors above are named by string; each brings its own list."""

import sys
from collections.abc import Callable
from typing import Any

from django.contrib.auth.views import LogoutView
from django.http import HttpRequest, HttpResponse
from django.urls import include, path
from django.utils.module_loading import import_string

from studio.api import alerts, members, problems, records, reference, team, webhooks
from studio.pages import alerts as alert_pages
from studio.pages import chosen, codes, faults, health, history, passwords, sessions, you
from studio.pages import members as member_pages
from studio.pages import records as record_pages
from studio.pages import webhooks as webhook_pages
from studio.pages.sign_in import SignIn, sign_in_code

FLOORS = ("inventory", "batches")

own_api = [
    path("studio/", team.StudioView.as_view(), name="studio"),
    path("members/", members.MemberList.as_view(), name="members"),
    path("members/<int:member_id>/", members.MemberView.as_view(), name="member"),
    path("members/<int:member_id>/role/", members.MemberRole.as_view()),
    path("members/<int:member_id>/remove/", members.MemberRemove.as_view()),
    path("members/<int:member_id>/hand-over/", members.MemberHandOver.as_view()),
    path("invitations/", members.InvitationList.as_view(), name="invitations"),
    path("invitations/<int:invitation_id>/", members.InvitationView.as_view()),
    path("invitations/<int:invitation_id>/withdraw/", members.InvitationWithdraw.as_view()),
    path("keys/", team.KeyList.as_view(), name="keys"),
    path("keys/<int:id>/", team.KeyView.as_view(), name="key"),
    path("keys/<int:id>/revoke/", team.KeyRevoke.as_view(), name="key-revoke"),
    path("alerts/", alerts.AlertList.as_view()),
    path("alerts/<int:alert_id>/", alerts.AlertView.as_view()),
    path("alerts/<int:alert_id>/quiet/", alerts.AlertQuiet.as_view()),
    path("alert-mail/", alerts.AlertMailView.as_view()),
    path("webhooks/", webhooks.WebhookList.as_view()),
    path("webhooks/<int:webhook_id>/", webhooks.WebhookView.as_view(), name="webhook"),
    path("webhooks/<int:webhook_id>/renew/", webhooks.WebhookRenew.as_view()),
    path("webhooks/<int:webhook_id>/try/", webhooks.WebhookTry.as_view()),
    path("webhooks/<int:webhook_id>/end/", webhooks.WebhookEnd.as_view()),
    path("webhooks/<int:webhook_id>/deliveries/", webhooks.DeliveryList.as_view(), name="deliveries"),
    path("studio/export/", records.EverythingView.as_view(), name="studio-export"),
    path("records/", records.RecordList.as_view(), name="sealed-records"),
    path("records/bundle/", records.BundleView.as_view(), name="records-bundle"),
    path("checkpoints/", records.CheckpointList.as_view(), name="checkpoints"),
    path("history/", team.HistoryList.as_view(), name="api-history"),
]

urlpatterns = [
    path("history/", history.history, name="history"),
    path("history/changes/", history.changes, name="changes"),
    path("records/", record_pages.records, name="records"),
    path("records/checkpoint/", record_pages.new_checkpoint, name="new-checkpoint"),
    path("records/bundle/", record_pages.bundle, name="bundle"),
    path("records/everything/", record_pages.everything, name="everything"),
    path("you/", you.you, name="you"),
    path("you/studios/<int:member_id>/", you.choose_studio, name="choose-studio"),
    path("you/leave/", you.leave, name="leave-studio"),
    path("you/password/", passwords.ChangePassword.as_view(), name="password-change"),
    path("you/codes/", codes.codes, name="codes"),
    path("you/codes/begin/", codes.begin, name="begin-codes"),
    path("you/codes/confirm/", codes.confirm, name="confirm-codes"),
    path("you/codes/recovery/", codes.recovery, name="recovery-codes"),
    path("you/codes/end/", codes.end, name="end-codes"),
    path("you/sessions/", sessions.sessions, name="sessions"),
    path("you/sessions/others/end/", sessions.end_others, name="end-other-sessions"),
    path("you/sessions/<str:name>/end/", sessions.end, name="end-session"),
    path("members/", member_pages.members, name="people"),
    path("members/studio/", chosen.chosen, name="studio-choices"),
    path("members/invite/", member_pages.invite_member, name="invite-member"),
    path("members/<int:member_id>/role/", member_pages.role, name="member-role"),
    path("members/<int:member_id>/remove/", member_pages.remove, name="remove-member"),
    path("members/<int:member_id>/hand-over/", member_pages.hand_over, name="hand-over-studio"),
    path("invitations/<int:invitation_id>/withdraw/", member_pages.end_invitation, name="end-invitation"),
    path("join/<str:secret>/", member_pages.join, name="join"),
    path("found/", member_pages.found, name="found-studio"),
    path("keys/", you.new_key, name="new-key"),
    path("keys/<int:key_id>/end/", you.end_key, name="end-key"),
    path("you/mail/", you.choose_alert_mail, name="alert-mail"),
    path("alerts/", alert_pages.alerts, name="alerts"),
    path("alerts/<int:alert_id>/quiet/", alert_pages.quiet, name="quiet-alert"),
    path("webhooks/", webhook_pages.webhooks, name="webhooks"),
    path("webhooks/new/", webhook_pages.new_webhook, name="new-webhook"),
    path("webhooks/<int:webhook_id>/", webhook_pages.deliveries, name="webhook-log"),
    path("webhooks/<int:webhook_id>/try/", webhook_pages.try_it, name="try-webhook"),
    path("webhooks/<int:webhook_id>/renew/", webhook_pages.renew, name="renew-webhook"),
    path("webhooks/<int:webhook_id>/end/", webhook_pages.end, name="end-webhook"),
    path("password/", passwords.ForgottenPassword.as_view(), name="password-forgotten"),
    path("password/sent/", passwords.sent, name="password-sent"),
    path("password/<uidb64>/<token>/", passwords.NewPassword.as_view(), name="password-new"),
    path("sign-in/", SignIn.as_view(), name="sign-in"),
    path("sign-in/code/", sign_in_code, name="sign-in-code"),
    path("sign-out/", LogoutView.as_view(), name="sign-out"),
    path("healthz", health.alive, name="alive"),
    path("readyz", health.ready, name="ready"),
    path("metrics", health.metrics, name="metrics"),
    path("problems/", reference.problem_page, name="problem-kinds"),
    path("problems/<slug:code>", reference.problem_page, name="problem-kind"),
    path("api/", reference.reference, name="reference"),
    path("api/schema/", reference.schema, name="schema"),
    path("api/problems/", reference.problem_list, name="api-problems"),
    path("api/v1/", include(own_api)),
    *(path("api/v1/", include(import_string(f"{floor}.urls.api_urlpatterns"))) for floor in FLOORS),
    *(path("", include(f"{floor}.urls")) for floor in FLOORS),
]

Answer = Callable[[HttpRequest], HttpResponse]


def _of(api: Answer, status: int) -> Callable[..., HttpResponse]:
    """A handler that answers a problem under /api/, and a page everywhere else."""

    def handler(request: HttpRequest, exception: Any = None) -> HttpResponse:
        if request.path.startswith("/api/"):
            return api(request)
        away = status == 500 and problems.as_away(sys.exception())
        return faults.fault(request, 503 if away else status)

    return handler


handler400 = _of(problems.unreadable, 400)
handler403 = _of(problems.not_allowed, 403)
handler404 = _of(problems.nothing_here, 404)
handler500 = _of(problems.failed, 500)
