"""The end of a count: what explains each difference, and closing the sheet."""

import hashlib
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any, Final
from uuid import UUID

from django import forms
from django.http import HttpRequest, HttpResponse
from django.utils.translation import gettext as said
from django.utils.translation import gettext_lazy as _

from api.pages.forms import GramsField, PageForm
from api.pages.saying import in_words
from api.pages.screen import Screen
from formulas.access import batches_of
from formulas.counting import Cause, Explanation, close_count
from ledger import counting
from ledger.access import find
from ledger.errors import Invalid
from ledger.models import CountLine
from ledger.roles import Verb

# So many lines are on a page, so many batches to choose from, and so many causes has a line.
LINES, CODES, MOST = 25, 20, 20
LONGEST = 400
CAUSES: Final = [
    ("", _("not explained yet")),
    ("shrink", _("it is gone, and nobody knows why")),
    ("evaporation", _("it evaporated or dried out")),
    ("spill", _("it was spilled or thrown away")),
    ("found", _("it was found again")),
    ("misbooked", _("a batch was booked wrongly")),
]
# What may hold for many lots at once; a batch that was booked wrongly does not.
LACKING: Final = [(cause, why) for cause, why in CAUSES if cause not in ("misbooked", "found")]
FOUND: Final = [(cause, why) for cause, why in CAUSES if cause in ("", "found")]


class CauseForm(PageForm):
    """What explains a lot's difference, or a part of it."""

    cause = forms.ChoiceField(label=_("Because"), choices=CAUSES, required=False)
    reason = forms.CharField(label=_("How is that known"), max_length=LONGEST, required=False)
    quantity = GramsField(
        label=_("Of it"), required=False, help_text=_("Left empty, all that is left of it")
    )
    batch = forms.CharField(
        label=_("Which batch"),
        max_length=40,
        required=False,
        widget=forms.TextInput(attrs={"list": "batches", "autocomplete": "off"}),
    )

    def clean(self) -> dict[str, Any]:
        typed = super().clean() or {}
        if typed.get("cause") and not typed.get("reason"):
            self.add_error("reason", _("Say how this is known."))
        if typed.get("cause") == "misbooked" and not typed.get("batch"):
            self.add_error("batch", _("Which batch was it?"))
        return typed


class EndForm(PageForm):
    """The end of the sheet; and of lots beyond those that the page has, one cause for all.

    `state` names the differences as they are now: whoever saw others looks at them first.
    """

    rest_cause = forms.ChoiceField(label=_("Why they differ"), required=False)
    rest_reason = forms.CharField(label=_("How is that known"), max_length=LONGEST, required=False)
    leave_unread = forms.BooleanField(
        label=_("Close it though some lots were not looked at"), required=False
    )

    def __init__(self, *args: Any, rest: Sequence[CountLine], state: str, **how: Any) -> None:
        super().__init__(*args, **how)
        self.state = state
        lacking = [line for line in rest if _lacks(line)]
        self.offer("rest_cause", LACKING if lacking else FOUND)
        if 0 < len(lacking) < len(rest):
            too_much = _("What there is too much of was found again.")
            self.fields["rest_cause"].help_text = too_much

    def clean(self) -> dict[str, Any]:
        typed = super().clean() or {}
        if self.data.get("state") != self.state:
            changed = _(
                "Somebody counted meanwhile, and what differs is not what you saw. Look once more,"
                " then close the sheet; what you typed is kept."
            )
            self.add_error(None, changed)
        if typed.get("rest_cause") and not typed.get("rest_reason"):
            self.add_error("rest_reason", _("Say how this is known."))
        return typed


@dataclass(slots=True)
class Explained:
    """The lines that differ with their causes, and the sheet's end, sent as one."""

    end: PageForm
    lines: Sequence[CountLine]
    causes: Sequence[Sequence[CauseForm]]
    again: Sequence[CountLine]
    rest: Sequence[CountLine]

    def is_valid(self) -> bool:
        return all([self.end.is_valid(), *(form.is_valid() for row in self.causes for form in row)])

    def told(self) -> list[tuple[CountLine, list[CauseForm]]]:
        """The lines for which causes were chosen."""
        chosen = [
            (line, [form for form in row if form.cleaned_data["cause"]])
            for line, row in zip(self.lines, self.causes, strict=True)
        ]
        return [(line, row) for line, row in chosen if row]

    def refuse(self, refusal: Any) -> None:
        of, place, _causes, which, name = [*refusal.pointer.strip("/").split("/"), *[""] * 5][:5]
        if of != "explanations" or not place.isdecimal():
            self.end.refuse(refusal)
            return
        told = self.told()
        if int(place) >= len(told):
            self._refuse_of_rest(self.rest[int(place) - len(told)], refusal.detail)
            return
        row = told[int(place)][1]
        form = row[int(which) if which.isdecimal() else 0]
        form.add_error(name if name in form.fields else None, refusal.detail)

    def _refuse_of_rest(self, line: CountLine, why: str) -> None:
        """The lots beyond those of the page come after them, and have one cause: which one it is
        about is named there."""
        told = {"lot": line.lot.code, "why": in_words(why, self.end.reader)}
        self.end.add_error("rest_cause", said("%(lot)s: %(why)s") % told)


class CloseCount(Screen):
    """The differences, each explained by its causes, and the end of the sheet."""

    template = "pages/count_close.html"

    def get(self, request: HttpRequest, id: UUID) -> HttpResponse:
        self.actor.must(Verb.COUNT)
        return self._page(id, self._forms(id))

    def post(self, request: HttpRequest, id: UUID) -> HttpResponse:
        self.actor.must(Verb.COUNT)
        forms = self._forms(id, request.POST)
        if "another" in request.POST:
            return self._page(id, forms)
        return self.act(
            forms,
            lambda: self._close(id, forms),
            lambda closed: f"/counts/{id}",
            lambda: self._page(id, forms, status=422),
        )

    def _forms(self, id: UUID, data: Any = None) -> Explained:
        sheet = find(counting.sheets_of(self.actor), id)
        all_lines = list(counting.lines_of(sheet))
        differ = [line for line in all_lines if line.asks == "explanation"]
        # What somebody typed about a lot stays on the page, whichever others came meanwhile.
        lines = sorted(differ, key=lambda line: f"{line.lot_id}-0-cause" not in (data or ()))
        again = [line for line in all_lines if line.asks == "recount"]
        more = [*data.getlist("more"), *data.getlist("another")] if data is not None else []
        causes = [
            [
                CauseForm(data, reader=self.reader, prefix=f"{line.lot_id}-{n}")
                for n in range(min(1 + more.count(str(line.lot_id)), MOST))
            ]
            for line in lines[:LINES]
        ]
        rest = lines[LINES:]
        end = EndForm(data, reader=self.reader, rest=rest, state=_state_of(differ))
        return Explained(end, lines[:LINES], causes, again, rest)

    def _close(self, id: UUID, forms: Explained) -> Any:
        told = forms.told()
        codes = {form.cleaned_data["batch"] for _line, row in told for form in row} - {""}
        rows = batches_of(self.actor).filter(code__in=codes)
        batches = {code: str(batch) for batch, code in rows.values_list("id", "code")}
        explained = [
            Explanation(
                line.lot_id,
                [
                    self._cause(form.cleaned_data, batches, f"/explanations/{n}/causes/{m}/batch")
                    for m, form in enumerate(row)
                ],
            )
            for n, (line, row) in enumerate(told)
        ]
        end = forms.end.cleaned_data
        if end["rest_cause"]:
            explained += [
                Explanation(line.lot_id, [_for_all(line, end["rest_cause"], end["rest_reason"])])
                for line in forms.rest
            ]
        return close_count(
            self.actor,
            sheet=id,
            explanations=explained,
            now=self.now,
            leave_unread=end["leave_unread"],
        )

    def _cause(self, typed: dict[str, Any], batches: dict[str, str], pointer: str) -> Cause:
        code = typed["batch"] if typed["cause"] == "misbooked" else ""
        if code and code not in batches:
            raise Invalid(said("No batch has this code."), pointer=pointer)
        return Cause(typed["cause"], typed["reason"], typed["quantity"], batch=batches.get(code))

    def _page(self, id: UUID, forms: Explained, *, status: int = 200) -> HttpResponse:
        sheet = find(counting.sheets_of(self.actor), id)
        codes = batches_of(self.actor).order_by("-id").values_list("code", flat=True)
        return self.show(
            sheet=sheet,
            form=forms.end,
            rows=list(zip(forms.lines, forms.causes, strict=True)),
            rest=forms.rest,
            rest_shown=forms.rest[:LINES],
            rest_more=len(forms.rest[LINES:]),
            most=MOST,
            again=forms.again[:LINES],
            again_more=len(forms.again[LINES:]),
            codes=list(codes[:CODES]),
            status=status,
        )


def _for_all(line: CountLine, cause: str, reason: str) -> Cause:
    """What holds for a lot of the rest: what lacks has the cause, what is too much was found."""
    return Cause(cause if _lacks(line) else "found", reason, None)


def _lacks(line: CountLine) -> bool:
    return line.difference is None or line.difference < 0


def _state_of(differ: Sequence[CountLine]) -> str:
    """Which lots differ and by how much, in short: a sheet may have two thousand of them."""
    told = " ".join(f"{line.lot_id} {line.difference}" for line in differ)
    return hashlib.sha256(told.encode()).hexdigest()
