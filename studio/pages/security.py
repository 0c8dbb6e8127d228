"""What every answer tells the browser about where its content may come from: this host, and nowhere else."""

from collections.abc import Callable

from django.http import HttpRequest
from django.http.response import HttpResponseBase

POLICY = "; ".join(
    [
        "default-src 'self'",
        "img-src 'self' data:",
        "object-src 'none'",
        "base-uri 'self'",
        "form-action 'self'",
        "frame-ancestors 'none'",
    ]
)
FEATURES = "camera=(self), geolocation=(), microphone=(), payment=(), serial=(self), usb=()"


class ContentSecurity:
    """Middleware that sets the Content-Security-Policy and its like, unless a view has set its own."""

    def __init__(self, get_response: Callable[[HttpRequest], HttpResponseBase]) -> None:
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponseBase:
        response = self.get_response(request)
        response.headers.setdefault("Content-Security-Policy", POLICY)
        response.headers.setdefault("Permissions-Policy", FEATURES)
        return response
