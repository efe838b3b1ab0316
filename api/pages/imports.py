"""Lists that are brought in: sent here, tried, and shown on the page of the list that was sent.

What was tried has an address of its own (`sent_lists`), so that going back never asks anybody to
send a list again.
"""

from typing import ClassVar, Final

from django import forms
from django.http import HttpRequest, HttpResponse
from django.utils.translation import gettext_lazy as _

from api import long_lists
from api.list_cells import Signs
from api.list_kinds import KINDS, Kind
from api.models import SentList
from api.pages.forms import PageForm, SentFileField
from api.pages.screen import Screen
from api.sheet_writing import csv_of
from ledger.errors import Refusal

MOST_LISTS: Final = 20
BETTERED: Final = (SentList.State.WRONG, SentList.State.STOPPED)


class FileForm(PageForm):
    file = SentFileField(
        label=_("The list, as CSV or XLSX"),
        widget=forms.FileInput(attrs={"accept": ".csv,.xlsx,text/csv"}),
    )


class Imports(Screen):
    """The kinds of lists that can be brought in, and those that were sent."""

    template = "pages/imports.html"

    def get(self, request: HttpRequest) -> HttpResponse:
        may = [(path, kind) for path, kind in KINDS.items() if self.actor.may(kind.verb)]
        if self.actor.maker_id is None:
            may = [(path, kind) for path, kind in may if path == "prices"]
        return self.show(kinds=may, sent=[(row, KINDS[row.kind]) for row in self._sent()])

    def _sent(self) -> list[SentList]:
        """The latest lists; of one that was put right and sent again only the latest is told."""
        told: set[tuple[str, str]] = set()
        rows = []
        for row in long_lists.lists_of(self.actor).defer("found")[: 5 * MOST_LISTS]:
            if row.state not in BETTERED or (row.kind, row.name) not in told:
                rows.append(row)
            told.add((row.kind, row.name))
        return rows[:MOST_LISTS]


class Import(Screen):
    """One kind of list, to be sent."""

    template = "pages/import.html"
    of: ClassVar[str]

    @property
    def kind(self) -> Kind:
        return KINDS[self.of]

    def get(self, request: HttpRequest) -> HttpResponse:
        self.actor.must(self.kind.verb)
        return self._page(FileForm(reader=self.reader))

    def post(self, request: HttpRequest) -> HttpResponse:
        self.actor.must(self.kind.verb)
        form = FileForm(request.POST, request.FILES, reader=self.reader)
        if not form.is_valid():
            return self._page(form, status=422)
        file = form.cleaned_data["file"]
        try:
            row = long_lists.send_list(
                self.actor,
                kind=self.of,
                name=str(file.name),
                content=file.read(),
                now=self.now,
                signs=Signs(self.reader.point, self.reader.grouping),
            )
        except Refusal as refusal:
            form.add_error("file", refusal.detail)
            return self._page(form, status=422)
        return self.go(f"/sent-lists/{row.id}")

    def _page(self, form: FileForm, status: int = 200) -> HttpResponse:
        return self.show(kind=self.kind, path=self.of, form=form, status=status)


class ImportPrices(Import):
    of = "prices"


class ImportLots(Import):
    of = "lots"


class ImportFormulas(Import):
    of = "formulas"


class Example(Screen):
    """The columns of a list with rows that show what goes into them, to fill in."""

    of: ClassVar[str] = ""

    def get(self, request: HttpRequest) -> HttpResponse:
        kind = KINDS[self.of]
        self.actor.must(kind.verb)
        name = f'attachment; filename="{self.of}-example.csv"'
        return HttpResponse(
            csv_of(kind.columns, kind.example),
            content_type="text/csv; charset=utf-8",
            headers={"Content-Disposition": name},
        )
