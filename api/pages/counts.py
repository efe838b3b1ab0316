"""Counting the shelf: a sheet to print, and what was found of each lot."""

from collections.abc import Sequence
from dataclasses import dataclass
from decimal import Decimal
from typing import Any, ClassVar
from uuid import UUID

from django import forms
from django.core.exceptions import ValidationError
from django.http import HttpRequest, HttpResponse
from django.utils.translation import gettext as said
from django.utils.translation import gettext_lazy as _

from api.pages.forms import GramsField, PageForm, Typed, id_in
from api.pages.screen import Screen
from api.pages.whole_numbers import page_in
from api.sheets.lots import sheet_of_count
from formulas.counting import batches_named
from ledger import abc_classes, counting, places
from ledger.access import find
from ledger.count_accuracy import accuracy_of, latest_sheets
from ledger.finding import material_named
from ledger.lot_labels import in_store, lots_of_count, maker_name
from ledger.models import CountLine, CountSheet
from ledger.quantities import kept_in, parse_quantity
from ledger.roles import Verb

# So many lines are on a page, so many of its sheets on the first.
LINES, SHEETS, DUE = 25, 20, 12
LONGEST = 400
# So many containers of a lot are weighed at a time, as the API takes them.
MOST_WEIGHED = 50
CLASSES = [
    ("A", _("A: most of the money goes there")),
    ("B", _("B: in between")),
    ("C", _("C: the many small things")),
]


class NewCountForm(PageForm):
    called: ClassVar = {"/materials/0": "material", "/lots/0": "lot"}

    lies_in = forms.ChoiceField(
        label=_("Only what lies in"),
        required=False,
        help_text=_("One of your places; what was put nowhere is in none of them"),
    )
    place = forms.CharField(
        label=_("Heading"),
        max_length=120,
        required=False,
        help_text=_("What stands above the sheet, such as: the week's count"),
    )
    classes = forms.MultipleChoiceField(
        label=_("Only these classes"),
        choices=CLASSES,
        required=False,
        widget=forms.CheckboxSelectMultiple,
        help_text=_("By what is used of it in a year; no tick means all"),
    )
    material = forms.CharField(
        label=_("Only this material"),
        max_length=200,
        required=False,
        widget=forms.TextInput(attrs={"autocomplete": "off"}),
    )
    lot = forms.CharField(max_length=64, required=False, widget=forms.HiddenInput)
    blind = forms.BooleanField(
        label=_("Blind: the sheet does not say how much should be there"), required=False
    )


class Counts(Screen):
    """What is to be counted, the sheets that there are, and a new one."""

    template = "pages/counts.html"

    def get(self, request: HttpRequest) -> HttpResponse:
        told = {"lot": "lot", "lies_in": "place"}
        first = {name: id_in(request.GET.get(given, "")) for name, given in told.items()}
        return self._page(self._form(initial=first))

    def post(self, request: HttpRequest) -> HttpResponse:
        form = self._form(request.POST)
        return self.act(
            form,
            lambda: self._open(form.cleaned_data),
            lambda sheet: f"/counts/{sheet.id}",
            lambda: self._page(form, status=422),
        )

    def _form(self, data: Any = None, **how: Any) -> NewCountForm:
        form = NewCountForm(data, reader=self.reader, **how)
        known = [(str(one.id), one.name) for one in places.choosable(self.actor)]
        form.offer("lies_in", [("", _("any place or none")), *known])
        return form

    def _open(self, typed: dict[str, Any]) -> CountSheet:
        name, lot = typed["material"], typed["lot"]
        chosen = counting.Chosen(
            classes=typed["classes"],
            materials=[material_named(self.actor, name).id] if name else [],
            lots=[lot] if lot else [],
            lies_in=typed["lies_in"] or None,
        )
        return counting.open_sheet(
            self.actor, chosen=chosen, now=self.now, place=typed["place"], blind=typed["blind"]
        )

    def _page(self, form: PageForm, *, status: int = 200) -> HttpResponse:
        due = abc_classes.due_counts(self.actor, now=self.now)
        return self.show(
            form=form if self.actor.may(Verb.COUNT) else None,
            sheets=latest_sheets(self.actor, limit=SHEETS),
            due=[one for one in due if one.is_due][:DUE],
            status=status,
        )


class FoundField(Typed):
    """What was found of a lot: a figure with or without its unit; 0 is nothing."""

    widget = forms.TextInput(attrs={"autocomplete": "off", "inputmode": "decimal"})

    def __init__(self, *, line: CountLine, **how: Any) -> None:
        super().__init__(**how)
        self.line = line

    def read(self, typed: str) -> counting.Read:
        unit = kept_in(self.line.lot.material.counted)
        bare = typed.replace(".", "", 1)
        if bare.isascii() and bare.isdigit():
            if not bare.strip("0"):
                return counting.Read(self.line.lot_id, nothing=True)
            typed = f"{typed} {unit}"
        return counting.Read(self.line.lot_id, quantity=parse_quantity(typed))


class ScaleField(GramsField):
    """What a scale showed of a lot's containers, one after the other: "1250 + 980"."""

    widget = forms.TextInput(attrs={"autocomplete": "off"})

    def __init__(self, **how: Any) -> None:
        forms.CharField.__init__(self, max_length=64 * MOST_WEIGHED, **how)

    def plain(self, typed: str) -> str:
        """Each number by itself, in `read`."""
        return typed

    def read(self, typed: str) -> Any:
        weights = typed.split("+")
        if len(weights) > MOST_WEIGHED:
            raise ValidationError(said("At most 50 containers of a lot are weighed at a time."))
        return [super(ScaleField, self).read(self.reader.plain(one.strip())) for one in weights]


@dataclass(frozen=True, slots=True)
class Row:
    """A line of the sheet as the page shows it; what is hidden while it is counted blind is."""

    line: CountLine
    hidden: bool
    fields: Sequence[Any] = ()
    in_store: Decimal | None = None


class ReadingsForm(PageForm):
    """What was found of each lot on the page; what is left empty was not looked at."""

    called: ClassVar = {"/happened_at": "", "/readings": ""}

    def __init__(self, *args: Any, lines: Sequence[CountLine], **how: Any) -> None:
        super().__init__(*args, **how)
        self.lines = lines
        for line in lines:
            names: list[tuple[str, Typed]] = [
                ("found", FoundField(line=line, required=False, label=_("Found, net")))
            ]
            if not line.lot.material.counted:
                names += [
                    ("gross", ScaleField(required=False, label=_("Or gross"))),
                    ("tare", ScaleField(required=False, label=_("less tare"))),
                ]
            for name, field in names:
                field.reader = self.reader
                self.fields[f"{name}_{line.lot_id}"] = field

    def row(self, line: CountLine, in_store: Decimal | None = None) -> Row:
        names = [f"{name}_{line.lot_id}" for name in ("found", "gross", "tare")]
        fields = [self[name] for name in names if name in self.fields]
        return Row(line, hides(line), fields, in_store)

    def clean(self) -> dict[str, Any]:
        typed = super().clean() or {}
        for line in self.lines:
            gross, tare = (typed.get(f"{name}_{line.lot_id}") for name in ("gross", "tare"))
            if typed.get(f"found_{line.lot_id}") and (gross or tare) and not self.errors:
                both = _("Give the net, or gross and tare, not both.")
                self.add_error(f"found_{line.lot_id}", both)
            elif (gross is None) != (tare is None) and not self.errors:
                self.add_error(f"gross_{line.lot_id}", _("Gross and tare go together."))
            elif gross and tare and len(tare) not in (1, len(gross)) and not self.errors:
                why = _("Write a tare for each container, or one that all of them have.")
                self.add_error(f"tare_{line.lot_id}", why)
        if not self.errors and not self.reads():
            self.add_error(None, _("Write down what you found of at least one lot."))
        return typed

    def reads(self) -> list[counting.Read]:
        """What was read, in the order of the lines."""
        read = []
        for line in self.lines:
            found, gross, tare = (
                self.cleaned_data.get(f"{name}_{line.lot_id}")
                for name in ("found", "gross", "tare")
            )
            if found is not None:
                read.append(found)
            elif gross and tare:
                tares = tare * len(gross) if len(tare) == 1 else tare
                weighed = zip(gross, tares, strict=True)
                read.append(
                    counting.Read(line.lot_id, [counting.Container(*one) for one in weighed])
                )
        return read

    def field_at(self, pointer: str) -> str:
        """A reading is named by its place among those that were typed."""
        of, place, *rest = [*pointer.strip("/").split("/"), "", ""]
        if of != "readings" or not place.isdecimal():
            return super().field_at(pointer)
        name = rest[-3] if rest[0] == "containers" and len(rest) > 4 else "found"
        return f"{name}_{self.reads()[int(place)].lot}"


def hides(line: CountLine) -> bool:
    """Whoever counts blind does not hear what the books say until nothing has to be read again."""
    return line.sheet.blind and line.asks in ("reading", "recount")


class ReasonForm(PageForm):
    reason = forms.CharField(label=_("Because"), max_length=LONGEST)

    def __init__(self, *args: Any, **how: Any) -> None:
        super().__init__(*args, auto_id="drop_%s", **how)


class Count(Screen):
    """A sheet: what is still to be looked at comes first."""

    template = "pages/count.html"

    def get(self, request: HttpRequest, id: UUID) -> HttpResponse:
        return self._page(id)

    def post(self, request: HttpRequest, id: UUID) -> HttpResponse:
        if request.POST.get("do") == "drop":
            reason = ReasonForm(request.POST, reader=self.reader)
            return self.act(
                reason,
                lambda: counting.drop_sheet(
                    self.actor, sheet=id, reason=reason.cleaned_data["reason"], now=self.now
                ),
                lambda dropped: "/counts",
                lambda: self._page(id, reason=reason, status=422),
            )
        # Those that were on the page when it was typed, whoever has counted since.
        sent = {name.partition("_")[2] for name in request.POST if name.startswith("found_")}
        lines = [line for line in self._lines(id)[1] if str(line.lot_id) in sent]
        form = ReadingsForm(request.POST, reader=self.reader, lines=lines[:LINES])
        return self.act(
            form,
            lambda: counting.read_lots(
                self.actor, sheet=id, readings=form.reads(), happened_at=self.now, now=self.now
            ),
            lambda sheet: f"/counts/{id}",
            lambda: self._page(id, form=form, status=422),
        )

    def _lines(self, id: UUID) -> tuple[CountSheet, list[CountLine]]:
        """The sheet and its lines, those that are to be read first."""
        sheet = find(counting.sheets_of(self.actor), id)
        lines = list(counting.lines_of(sheet))
        for line in lines:
            line.sheet = sheet
        first = ["recount", "reading", "explanation", ""]
        return sheet, sorted(lines, key=lambda line: first.index(line.asks))

    def _page(
        self,
        id: UUID,
        *,
        form: ReadingsForm | None = None,
        reason: PageForm | None = None,
        status: int = 200,
    ) -> HttpResponse:
        sheet, lines = self._lines(id)
        page = page_in(self.request.GET.get("page", ""))
        shown = form.lines if form else lines[page * LINES : (page + 1) * LINES]
        form = form or ReadingsForm(reader=self.reader, lines=shown)
        named = [
            batch
            for line in shown
            for cause in line.causes.all()
            if (batch := cause.entry.details.get("batch"))
        ]
        is_open = sheet.state == CountSheet.State.OPEN
        # What is not looked at yet is told as the books have it, unless it is counted blind.
        unread = [line.lot_id for line in shown if line.counted is None and not sheet.blind]
        left = in_store(self.actor, unread) if is_open and unread else {}
        return self.show(
            sheet=sheet,
            rows=[form.row(line, left.get(line.lot_id)) for line in shown],
            form=form if is_open and self.actor.may(Verb.COUNT) else None,
            reason=reason or ReasonForm(reader=self.reader),
            total=len(lines),
            accuracy=accuracy_of(lines),
            batches=batches_named(self.actor, named) if named else {},
            page=page,
            more=len(lines) > (page + 1) * LINES,
            status=status,
        )


class CountPrinted(Screen):
    """The sheet, to print and to write on."""

    def get(self, request: HttpRequest, id: UUID) -> HttpResponse:
        sheet, lots = lots_of_count(self.actor, id)
        printed = sheet_of_count(
            sheet,
            lots,
            maker=maker_name(self.actor),
            printed_at=self.now,
            paper="a4",
            hand=self.reader,
        )
        return self.printed(printed)
