"""Lists that are brought in: chosen, tried first with every error in its place, then kept whole.

What was tried waits in the page itself, as the rows that were read, so that what is kept is what
was shown. A list is small enough to be tried while somebody waits.
"""

from collections.abc import Callable, Collection, Sequence
from dataclasses import dataclass
from typing import Any, ClassVar, Final

from django import forms
from django.http import HttpRequest, HttpResponse
from django.utils.functional import Promise
from django.utils.translation import gettext as said
from django.utils.translation import gettext_lazy as _

from api import errors
from api.pages.forms import PageForm, SentFileField
from api.pages.packing import MOST_PACKED, packed, unpacked
from api.pages.screen import Screen
from api.sheet_files import SheetTooLarge, read_sheet
from api.sheet_writing import csv_of
from formulas import formula_lists
from ledger import price_list_rows, price_lists, stock_lists
from ledger.errors import Refusal
from ledger.price_list_rows import ListRefused, ListRow
from ledger.roles import Verb

MOST_ERRORS, MOST_SHOWN = 80, 60


@dataclass(frozen=True, slots=True)
class Kind:
    """A kind of list: its columns, an example, how many rows are tried at once, and its verbs."""

    name: Promise | str
    lead: Promise | str
    verb: Verb
    columns: Sequence[str]
    known: Collection[str]
    required: Sequence[str]
    most: int
    example: Sequence[Sequence[str]]
    template: str
    check: Callable[[Screen, Sequence[ListRow]], Any]
    keep: Callable[[Screen, Sequence[ListRow]], Any]


_PRICED: Final = (
    "Harbour Oils,Glycerin,G-5,5 kg,,40.00,,,2026-01-31,1,7,720,25 kg,37.50,50 kg,35.00,,,"
)
KINDS: Final = {
    "prices": Kind(
        _("Prices of suppliers"),
        _("One row is one price of one pack, from one day on."),
        Verb.OFFER,
        price_list_rows.columns(3),
        price_list_rows.KNOWN,
        price_list_rows.REQUIRED,
        400,
        [_PRICED.split(",")],
        "pages/import_prices.html",
        lambda screen, rows: price_lists.check_list(screen.actor, rows),
        lambda screen, rows: price_lists.import_list(screen.actor, rows),
    ),
    "lots": Kind(
        _("Lots that are there already"),
        _("One row is one lot, with what is left of it and what that is worth."),
        Verb.RECEIVE,
        stock_lists.COLUMNS,
        stock_lists.COLUMNS,
        stock_lists.REQUIRED,
        300,
        [["Glycerin", "12.5 kg", "104.00", "G-17", "2027-06-30", "", "", "certificate seen"]],
        "pages/import_lots.html",
        lambda screen, rows: stock_lists.check_stock(screen.actor, rows, now=screen.now),
        lambda screen, rows: stock_lists.import_stock(screen.actor, rows, now=screen.now),
    ),
    "formulas": Kind(
        _("Formulas"),
        _("One row is one ingredient; the rows of a formula have its name and come to 100."),
        Verb.FORMULATE,
        formula_lists.COLUMNS,
        formula_lists.COLUMNS,
        formula_lists.REQUIRED,
        300,
        [
            ["Hand balm", "A", "Sunflower oil", "78", ""],
            ["Hand balm", "A", "Beeswax", "balance", ""],
            ["Hand balm", "B", "Vitamin E", "0.5", "1"],
        ],
        "pages/import_formulas.html",
        lambda screen, rows: formula_lists.check_formulas(screen.actor, rows),
        lambda screen, rows: formula_lists.import_formulas(screen.actor, rows),
    ),
}


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
    """The kinds of lists that can be brought in."""

    template = "pages/imports.html"

    def get(self, request: HttpRequest) -> HttpResponse:
        may = [(path, kind) for path, kind in KINDS.items() if self.actor.may(kind.verb)]
        if self.actor.maker_id is None:
            may = [(path, kind) for path, kind in may if path == "prices"]
        return self.show(kinds=may)


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
            rows = self._read(form.cleaned_data["file"].read())
            return self._page(form, found=self.kind.check(self, rows), packed=_packed(rows))
        except Refusal as refusal:
            form.add_error("file", refusal.detail)
            return self._page(form, status=422)

    def _keep(self, rows: Sequence[ListRow], sure: bool) -> Any:
        if len(rows) > self.kind.most:
            raise SheetTooLarge(rows=self.kind.most)
        try:
            kept = self.kind.keep(self, rows)
        except ListRefused as refused:
            raise Refusal(
                said("Something has changed since the list was tried: try it again.")
            ) from refused
        if getattr(kept, "known", ()) and not sure:
            raise Refusal(
                said(
                    "Some of it is there already. Try the list again, and say that it is so meant."
                )
            )
        return kept

    def _read(self, content: bytes) -> list[ListRow]:
        """The rows of a file, no more than are tried while somebody waits."""
        kind = self.kind
        rows = read_sheet(content, known=kind.known, required=kind.required)
        if len(rows) > kind.most:
            raise SheetTooLarge(rows=kind.most)
        return [
            ListRow(
                row.number,
                {column: cell.text for column, cell in row.cells.items()},
                {column: cell.wrong for column, cell in row.cells.items() if cell.wrong},
            )
            for row in rows
        ]

    def _page(
        self,
        form: PageForm,
        *,
        found: Any = None,
        packed: str = "",
        kept: str = "",
        status: int = 200,
    ) -> HttpResponse:
        wrong = list(found.errors) if found else []
        blank = form if isinstance(form, FileForm) else FileForm(reader=self.reader)
        return self.show(
            kind=self.kind,
            path=self.of,
            form=blank,
            pressed=form if isinstance(form, PackedForm) else None,
            found=found,
            sure=PackedForm(reader=self.reader)["sure"],
            told=self.kind.template,
            wrong=wrong[:MOST_ERRORS],
            more_wrong=len(wrong) > MOST_ERRORS,
            most_shown=f":{MOST_SHOWN}",
            packed="" if wrong else packed,
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


def _packed(rows: Sequence[ListRow]) -> str:
    """Rows as a hidden field carries them. Raises SheetTooLarge."""
    text = packed([[row.number, dict(row.cells)] for row in rows])
    if text is None:
        raise SheetTooLarge(said("There is too much text in this list: send it in parts."))
    return text


def _unpacked(text: str) -> list[ListRow]:
    """The rows that `_packed` made; they are judged again like any other."""
    try:
        return [
            ListRow(int(number), {str(name): str(cell) for name, cell in cells.items()})
            for number, cells in unpacked(text)
        ]
    except (ValueError, TypeError, AttributeError) as error:
        raise errors.BadRequest from error
