"""How a page answers: shown (again, with the faults of its form), done and on to the next page, or in part."""

from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from typing import Any

from django import forms
from django.contrib import messages
from django.http import HttpRequest, HttpResponse, HttpResponseRedirect, QueryDict
from django.shortcuts import render, resolve_url
from django.utils.cache import patch_vary_headers

from studio.kernel.errors import Invalid, Refusal


def sent(request: HttpRequest) -> QueryDict | None:
    """What was sent with the form; None when the page is only looked at."""
    return request.POST if request.method == "POST" else None


def shown(
    request: HttpRequest, template: str, context: Mapping[str, Any], form: forms.Form | None = None
) -> HttpResponse:
    """A page; 422 when its form was sent and has faults."""
    status = 422 if form is not None and form.is_bound and form.errors else 200
    context = dict(context) if form is None else {"form": form, **context}
    response = render(request, template, context, status=status)
    patch_vary_headers(response, ["HX-Request", "Cookie"])
    return response


def done(request: HttpRequest, sentence: str, to: str, *args: Any, **kwargs: Any) -> HttpResponse:
    """On to the page `to` (303, so that reloading it does nothing again), which says `sentence` once."""
    messages.success(request, sentence)
    return on_to(to, *args, **kwargs)


def on_to(to: str, *args: Any, **kwargs: Any) -> HttpResponse:
    """303 to a page by its name, or to an address of this host."""
    response = HttpResponseRedirect(resolve_url(to, *args, **kwargs))
    response.status_code = 303
    return response


def is_partial(request: HttpRequest) -> bool:
    """Whether a live part of the page is asked for, and not the page as a whole."""
    return request.headers.get("HX-Request") == "true" and not request.headers.get("HX-Boosted")


@contextmanager
def faults_into(form: forms.Form) -> Iterator[None]:
    """Put what an action refuses onto the form: by field where the refusal names one, else on top."""
    try:
        yield
    except Refusal as refusal:
        _add(form, refusal)


def _add(form: forms.Form, refusal: Refusal) -> None:
    told = refusal.errors if isinstance(refusal, Invalid) else {}
    known = {path: sentences for path, sentences in told.items() if path in form.fields}
    for path, sentences in known.items():
        form.add_error(path, list(sentences))
    others = [sentence for path, sentences in told.items() if path not in known for sentence in sentences]
    if not known or others:
        form.add_error(None, others or [refusal.message])
