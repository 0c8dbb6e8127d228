"""Addresses that are typed without their last slash."""

from django.http import HttpRequest
from django.middleware.common import CommonMiddleware


class PageAddresses(CommonMiddleware):
    """Leads to the page whose address lacks only its last slash; an address of the API is taken as it stands.

    A program that leaves the slash out would lose the body of its request on the way.
    """

    def should_redirect_with_slash(self, request: HttpRequest) -> bool:
        return not request.path_info.startswith("/api/") and super().should_redirect_with_slash(request)
