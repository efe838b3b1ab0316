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
        file = whole_copy.packed(self.actor)
        headers = whole_copy.headers(self.actor, self.now)
        return HttpResponse(file, content_type=whole_copy.KIND, headers=headers)
