"""All that the maker has, in one file, from the page of the books."""

from django.http import HttpRequest, HttpResponse

from api import whole_copy
from api.pages.screen import Screen


class WholeCopy(Screen):
    """A ZIP with every table."""

    def begin(self) -> None:
        """Signing in is the first question."""
        whole_copy.of_one_moment()

    def get(self, request: HttpRequest) -> HttpResponse:
        with whole_copy.packed(self.actor) as file:
            return HttpResponse(
                file.read(), content_type=whole_copy.KIND, headers=whole_copy.HEADERS
            )
