"""All that a maker has, in one file."""

from typing import Any, Final

from drf_spectacular.types import OpenApiTypes
from drf_spectacular.utils import OpenApiResponse
from rest_framework.request import Request

from api import whole_copy
from api.operation import Sent, reads
from api.printing import Printed
from ledger.access import Actor

ZIP: Final = OpenApiResponse(
    OpenApiTypes.BINARY, description="A ZIP with a CSV in UTF-8 of each table, and contents.csv."
)
BUSY: Final = "A copy is being made already."


class WholeCopy(Printed):
    """A copy of everything."""

    def initial(self, request: Request, *args: Any, **kwargs: Any) -> None:
        """Signing in is the first question."""
        whole_copy.of_one_moment()
        super().initial(request, *args, **kwargs)

    @reads(None, {(200, whole_copy.KIND): ZIP}, conflict=BUSY)
    def get(self, actor: Actor) -> Sent:
        """Download all that the maker has: entries, lots, formulas, batches, prices and the rest.

        Numbers are as the books keep them: grams or pieces, and money in the co-op's currency. The
        files that lie with lots are told of in document.csv, and are got one by one. Who did a
        thing is a number that person.csv names; nobody of another maker is named.
        """
        file = whole_copy.packed(actor)
        return Sent(file, headers=whole_copy.headers(actor, self.now), kind=whole_copy.KIND)
