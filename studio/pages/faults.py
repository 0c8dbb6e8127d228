"""The pages that say that something is not there, not allowed or broken."""

from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.template.loader import render_to_string

from studio.kernel.errors import Forbidden, NotFound, Refusal

SENTENCES = {
    400: ("The request could not be read", "Go back and try again; nothing was done."),
    403: ("You may not do this", "Nothing was done. Ask an owner of the studio if you should be able to."),
    404: ("There is nothing here", "The address is mistyped, or the thing belongs to another studio."),
    503: ("The service is busy", "Nothing was done. Wait a moment, go back and try again."),
    500: ("Something failed on our side", "Nothing was done. Go back and try again; the fault was logged."),
}


def fault(request: HttpRequest, status: int) -> HttpResponse:
    """The page for a status."""
    title, sentence = SENTENCES[status]
    shown = {"title": title, "sentence": sentence}
    if status >= 500:
        # Whatever failed may be what tells who is signed in, so this page asks nothing of the request.
        headers = {"Retry-After": "1"} if status == 503 else {}
        return HttpResponse(render_to_string("studio/fault.html", shown), status=status, headers=headers)
    return render(request, "studio/fault.html", shown, status=status)


def refused(request: HttpRequest, refusal: Refusal) -> HttpResponse:
    """The page for a refusal that the form it came from does not show itself."""
    status = 404 if isinstance(refusal, NotFound) else 403 if isinstance(refusal, Forbidden) else 409
    shown = {"title": refusal.title, "sentence": refusal.message}
    return render(request, "studio/fault.html", shown, status=status)


def stale_form(request: HttpRequest, reason: str = "") -> HttpResponse:
    """The page for a form whose protecting token does not fit, most often because it was open too long."""
    return render(
        request,
        "studio/fault.html",
        {
            "title": "This form was open for too long",
            "sentence": "Nothing was done. Go back, reload the page, and send the form again.",
        },
        status=403,
    )
