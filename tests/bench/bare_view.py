"""What the web process of the framework alone serves."""

from typing import Any

from django.core.wsgi import get_wsgi_application
from django.urls import path
from rest_framework.request import Request
from rest_framework.response import Response
from rest_framework.views import APIView


class Rows(APIView):
    """Fifty rows of text."""

    def get(self, request: Request, rest: str = "") -> Response:
        return Response([{"place": place, "text": rest} for place in range(50)])


urlpatterns: list[Any] = [path("", Rows.as_view()), path("<path:rest>", Rows.as_view())]
application = get_wsgi_application()
