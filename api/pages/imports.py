"""Lists that are brought in: chosen, tried first with every error in its place, then kept whole.

What was tried waits in the page itself, as the rows that were read, so that what is kept is what
was shown. A list that is too long for somebody to wait for goes to a worker (`sent_lists`).
"""

from collections.abc import Sequence
from itertools import islice
from typing import Any, ClassVar, Final

from django import forms
from django.http import HttpRequest, HttpResponse
from django.utils.translation import gettext as said
from django.utils.translation import gettext_lazy as _

from api import errors, long_lists
from api.list_findings import Findings, findings_of
from api.list_kinds import KINDS, Kind, list_row
from api.pages import tables
from api.pages.forms import PageForm, SentFileField
from api.pages.list_files import wrong_cells
from api.pages.packing import MOST_PACKED, packed, unpacked
from api.pages.screen import Screen
from api.sheet_files import SheetTooLarge, sheet_rows
from api.sheet_writing import csv_of
from ledger.errors import Refusal
from ledger.in_parts import silent
from ledger.price_list_rows import ListRefused, ListRow

MOST_LISTS: Final = 20


class FileForm(PageForm):
    file = SentFileField(
        label=_("The list, as CSV or XLSX"),
        widget=forms.FileInput(attrs={"accept": ".csv,.xlsx,text/csv"}),
    )


class PackedForm(PageForm):
    rows = forms.CharField(max_length=MOST_PACKED, widget=forms.HiddenInput)
    sure = forms.BooleanField(label=_("These are others: keep them too"), required=False)

    def clean_rows(self) -> list[ListRow]:
        return _unpacked(self.cleaned_data["rows"])


class Imports(Screen):
    """The kinds of lists that can be brought in, and the long ones that were sent."""

    template = "pages/imports.html"

    def get(self, request: HttpRequest) -> HttpResponse:
        may = [(path, kind) for path, kind in KINDS.items() if self.actor.may(kind.verb)]
        if self.actor.maker_id is None:
            may = [(path, kind) for path, kind in may if path == "prices"]
        sent = long_lists.lists_of(self.actor)[:MOST_LISTS]
        return self.show(kinds=may, sent=[(row, KINDS[row.kind]) for row in sent])


class Import(Screen):
    """One kind of list: tried first, then kept."""

    template = "pages/import.html"
    of: ClassVar[str]

    @property
    def kind(self) -> Kind:
        return KINDS[self.of]

    def get(self, request: HttpRequest) -> HttpResponse:
        self.actor.must(self.kind.verb)
        kept = request.GET.get("kept", "")
        return self._page(FileForm(reader=self.reader), kept=kept if kept.isdecimal() else "")

    def post(self, request: HttpRequest) -> HttpResponse:
        self.actor.must(self.kind.verb)
        if "as" in request.POST:
            return self._wrong_as_file(PackedForm(request.POST, reader=self.reader))
        if request.POST.get("do") == "keep":
            packed = PackedForm(request.POST, reader=self.reader)
            return self.act(
                packed,
                lambda: self._keep(**packed.cleaned_data),
                lambda found: f"/import/{self.of}?kept={found.rows}",
                lambda: self._page(packed, status=422),
            )
        form = FileForm(request.POST, request.FILES, reader=self.reader)
        if not form.is_valid():
            return self._page(form, status=422)
        try:
            return self._tried(form, form.cleaned_data["file"])
        except Refusal as refusal:
            form.add_error("file", refusal.detail)
            return self._page(form, status=422)

    def _tried(self, form: FileForm, file: Any) -> HttpResponse:
        """What is found in a list; a long one is sent to a worker instead."""
        kind, content = self.kind, file.read()
        sheet = sheet_rows(content, known=kind.known, required=kind.required, most=kind.most)
        rows = [list_row(row) for row in islice(sheet, kind.most_at_once + 1)]
        text = packed([[row.number, dict(row.cells)] for row in rows])
        if len(rows) > kind.most_at_once or text is None:
            row = long_lists.send_list(
                self.actor, kind=self.of, name=str(file.name), content=content, now=self.now
            )
            return self.go(f"/sent-lists/{row.id}")
        found = kind.check(self.actor, rows, self.now, silent)
        return self._page(form, found=findings_of(kind, rows, found), packed=text)

    def _wrong_as_file(self, packed: PackedForm) -> HttpResponse:
        """What is wrong with the list that was tried, whose rows its form still has."""
        if not packed.is_valid():
            return self._page(packed, status=422)
        kind, rows = self.kind, packed.cleaned_data["rows"]
        found = findings_of(kind, rows, kind.check(self.actor, rows, self.now, silent))
        asked = "xlsx" if self.request.POST["as"] == "xlsx" else "csv"
        return tables.file(asked, wrong_cells(self.reader, found.wrong))

    def _keep(self, rows: Sequence[ListRow], sure: bool) -> Any:
        if len(rows) > self.kind.most_at_once:
            raise SheetTooLarge(rows=self.kind.most_at_once)
        try:
            kept = self.kind.keep(self.actor, rows, self.now, silent)
        except ListRefused as refused:
            raise Refusal(
                said("Something has changed since the list was tried: try it again.")
            ) from refused
        if getattr(kept, "known", ()) and not sure:
            raise long_lists.ThereAlready
        return kept

    def _page(
        self,
        form: PageForm,
        *,
        found: Findings | None = None,
        packed: str = "",
        kept: str = "",
        status: int = 200,
    ) -> HttpResponse:
        blank = form if isinstance(form, FileForm) else FileForm(reader=self.reader)
        return self.show(
            kind=self.kind,
            path=self.of,
            form=blank,
            pressed=form if isinstance(form, PackedForm) else None,
            found=found,
            sure=PackedForm(reader=self.reader)["sure"],
            packed=packed,
            kept=kept,
            status=status,
        )


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


def _unpacked(text: str) -> list[ListRow]:
    """The rows of the form; they are judged again like any other."""
    try:
        return [
            ListRow(int(number), {str(name): str(cell) for name, cell in cells.items()})
            for number, cells in unpacked(text)
        ]
    except (ValueError, TypeError, AttributeError) as error:
        raise errors.BadRequest from error
