"""At the bench: one ingredient at a time, what was measured, and the last weighing taken back."""

from typing import Any
from uuid import UUID

from django import forms
from django.http import HttpRequest, HttpResponse
from django.utils.translation import gettext as said
from django.utils.translation import gettext_lazy as _

from api.pages.forms import (
    GramsField,
    LotCodeField,
    PageForm,
    SureField,
    Typed,
    UndoReasonField,
    id_in,
    unsure,
)
from api.pages.screen import Screen
from api.pages.window_words import MEASURES, asked
from formulas.bench import (
    Bench,
    Turn,
    add_from_label,
    back_from_label,
    bench_of,
    goes_on_with,
    weigh_from_label,
    weighing_undone,
)
from formulas.enough import say_enough
from formulas.judging import Measure
from formulas.measurements import record_measurement
from formulas.models import Weighing
from formulas.undoing import undo
from formulas.weighing import Weighed
from ledger.models import LotOpening
from ledger.opened_lots import opened_by
from ledger.roles import Verb

# The bench shows so many readings; the page of the batch has all.
MOST_READINGS = 5


class WeighForm(PageForm):
    line = forms.UUIDField(widget=forms.HiddenInput)
    lot = LotCodeField(label=_("Lot"), required=False)
    quantity = GramsField(label=_("On the scale"), help_text=_("Grams if no unit is named"))
    deviation = forms.CharField(
        label=_("Reason, if a rule is not kept"), max_length=400, required=False
    )
    sure = SureField()


class OtherForm(PageForm):
    """So much of a lot that is of no line, or that goes back out of the pot."""

    lot = LotCodeField(label=_("Code of its lot"))
    quantity = GramsField(label=_("How much of it"), help_text=_("Grams if no unit is named"))
    reason = forms.CharField(label=_("Why it was done"), max_length=400)


class AddForm(OtherForm):
    """What the formula does not list; a rule that its lot breaks has a reason of its own."""

    reason = forms.CharField(label=_("Why it was done"), max_length=199)
    deviation = forms.CharField(
        label=_("Reason, if its lot may not be used"), max_length=199, required=False
    )


class WordForm(PageForm):
    """That a line to effect is enough, or is not after all."""

    line = forms.UUIDField(widget=forms.HiddenInput)


class UndoForm(PageForm):
    entry = forms.UUIDField(widget=forms.HiddenInput)
    reason = UndoReasonField(
        _("typed wrongly"),
        _("wrong lot"),
        _("weighed twice"),
        label=_("Why it is taken back"),
        max_length=400,
    )


class ReadingField(Typed):
    """What an instrument showed, "5.6" or "72 degC"; what was measured says how it is read."""

    def read(self, typed: str) -> str:
        return typed


class MeasureForm(PageForm):
    measure = forms.ChoiceField(label=_("What was measured"), choices=list(MEASURES.items()))
    value = ReadingField(label=_("What it showed"), help_text=_("5.6 for a pH, 72 degC when hot"))


class AtBench(Screen):
    """One ingredient at a time."""

    template = "pages/at_bench.html"

    def get(self, request: HttpRequest, id: UUID) -> HttpResponse:
        return self._page(id)

    def post(self, request: HttpRequest, id: UUID) -> HttpResponse:
        here, do = f"/batches/{id}/bench", request.POST.get("do")
        if do == "undo":
            undoing = UndoForm(request.POST, reader=self.reader)
            return self.act(
                undoing,
                lambda: undo(
                    self.actor, of_batch=id, happened_at=self.done_at, **undoing.cleaned_data
                ),
                lambda undone: f"{here}?undone={undone.original.id}",
                lambda: self._page(id, undoing=undoing, status=422),
            )
        if do == "measure":
            measuring = MeasureForm(request.POST, reader=self.reader)
            return self.act(
                measuring,
                lambda: self._measure(id, measuring.cleaned_data),
                lambda kept: f"{here}?measured=1",
                lambda: self._page(id, measuring=measuring, status=422),
            )
        if do in ("add", "back"):
            kind = AddForm if do == "add" else OtherForm
            other = kind(request.POST, reader=self.reader, prefix=do)
            return self.act(
                other,
                lambda: self._other(id, other.cleaned_data),
                lambda weighed: f"{here}?after=1",
                lambda: self._page(id, status=422, **{do: other}),
            )
        if do in ("enough", "not_enough"):
            word = WordForm(request.POST, reader=self.reader)
            return self.act(
                word,
                lambda: say_enough(
                    self.actor,
                    batch=id,
                    enough=do == "enough",
                    now=self.done_at,
                    **word.cleaned_data,
                ),
                lambda said: here if said.enough else f"{here}?line={said.line_id}",
                lambda: self._page(id, word=word, status=422),
            )
        form = WeighForm(request.POST, reader=self.reader)
        return self.act(
            form,
            lambda: self._weigh(id, form.cleaned_data),
            lambda weighed: f"{here}?line={form.cleaned_data['line']}&after=1",
            lambda: self._page(id, form=form, status=422),
        )

    def _weigh(self, id: UUID, typed: dict[str, Any]) -> Any:
        weighed = weigh_from_label(
            self.actor,
            batch=id,
            line=typed["line"],
            label=typed["lot"],
            quantity=typed["quantity"],
            happened_at=self.done_at,
            deviation=typed["deviation"],
        )
        if not typed["sure"]:
            doubts = [self._too_much(bench_of(self.actor, id), typed["line"])]
            if not typed["deviation"]:
                doubts += [self._newer(weighed), self._heat_unknown(weighed)]
            if told := " ".join(one for one in doubts if one):
                raise unsure(told)
        return weighed

    def _too_much(self, bench: Bench, line: UUID) -> str:
        """What is said where more is in than is wanted: mostly a slip of the unit."""
        for turn in bench.turns:
            if turn.line.id == line and turn.over:
                grams = {
                    "weighed": self.reader.grams(turn.share.weighed),
                    "wanted": self.reader.grams(turn.share.grams),
                    "over": self.reader.grams(turn.over),
                }
                told = said("%(weighed)s would be in, %(over)s more than the %(wanted)s wanted.")
                return told % grams
        return ""

    def _newer(self, weighed: Weighed) -> str:
        """What is said where an older lot stands waiting, which mostly goes first."""
        older = weighed.earlier
        if older is None:
            return ""
        facts = {"poured": weighed.lot.code, "older": older.code}
        if older.last_day is None:
            told = said(
                "%(older)s came before %(poured)s. Why not that one first? Write the reason below,"
                " or tick that it is so."
            )
        else:
            facts["day"] = self.reader.day(older.last_day)
            told = said(
                "%(older)s is good until %(day)s. Why not that one first? Write the reason below,"
                " or tick that it is so."
            )
        return told % facts

    def _heat_unknown(self, weighed: Weighed) -> str:
        """What is said where nobody knows how hot the batch is that heat must not harm."""
        heat = weighed.heat
        if heat is None or not heat.note:
            return ""
        told = said("No temperature of the batch was kept; it may be at %(most)s °C at most.")
        return told % {"most": self.reader.figure(heat.max_celsius)}

    def _other(self, id: UUID, typed: dict[str, Any]) -> Any:
        verb = add_from_label if "deviation" in typed else back_from_label
        typed["label"] = typed.pop("lot")
        return verb(self.actor, batch=id, happened_at=self.done_at, **typed)

    def _measure(self, id: UUID, typed: dict[str, Any]) -> Any:
        return record_measurement(
            self.actor,
            batch=id,
            measure=Measure(typed["measure"]),
            value=typed["value"],
            happened_at=self.done_at,
        )

    def _page(
        self,
        id: UUID,
        *,
        form: PageForm | None = None,
        undoing: PageForm | None = None,
        measuring: PageForm | None = None,
        add: PageForm | None = None,
        back: PageForm | None = None,
        word: PageForm | None = None,
        status: int = 200,
    ) -> HttpResponse:
        self.actor.must(Verb.MAKE)
        bench = bench_of(self.actor, id)
        of = form or word
        wanted = self.request.GET.get("line", "") if of is None else str(of.data.get("line", ""))
        turn = self._turn(bench, wanted)
        # What was done before is not told once more of a form that was refused.
        told = self.request.GET if status == 200 else {}
        weighed, kept = "after" in told, "measured" in told
        rows = bench.measured
        just = next(iter(bench.weighings), None) if weighed else None
        undone = self._undone(bench, told.get("undone", ""))
        return self.show(
            bench=bench,
            turn=turn,
            just=just or undone,
            undone=undone,
            opened=just and self._opens(just),
            after=bench.weighed_cautions if weighed else (),
            hot=bench.measured_cautions if kept else (),
            kept=kept,
            measured=[(MEASURES[row.measure], row, how) for row, how in rows[:MOST_READINGS]],
            asked=asked(bench.windows.values(), self.reader, rows),
            celsius=bench.celsius,
            word=word,
            form=form or WeighForm(reader=self.reader, initial=self._first(bench, turn)),
            undoing=undoing or UndoForm(reader=self.reader, initial=_last(bench)),
            measuring=measuring or MeasureForm(reader=self.reader, initial=self._to_measure()),
            add=add or AddForm(reader=self.reader, prefix="add"),
            back=back or OtherForm(reader=self.reader, prefix="back"),
            status=status,
        )

    def _first(self, bench: Bench, turn: Turn | None) -> dict[str, Any]:
        """What stands in the form: of what is added to effect the lot, little after little."""
        if turn is None:
            return {}
        lot = goes_on_with(self.actor, bench, turn)
        return {"line": turn.line.id, "lot": lot.code if lot else ""}

    def _undone(self, bench: Bench, told: str) -> Weighing | None:
        """What was just taken back, if it was."""
        entry = id_in(told)
        return weighing_undone(self.actor, bench, entry) if entry else None

    def _to_measure(self) -> dict[str, str]:
        """What somebody came here to measure, if anything."""
        measure = self.request.GET.get("measure", "")
        return {"measure": measure} if measure in MEASURES else {}

    def _opens(self, just: Weighing) -> LotOpening | None:
        """The opening of the lot that was just weighed for the first time, if it was one."""
        return opened_by(self.actor, just.lot, just.entry_id)

    def _turn(self, bench: Bench, wanted: str) -> Turn | None:
        """The line that was asked for; after a weighing the next one that is not done.

        What is added to effect stays while it was weighed last, since a little more may follow.
        Once all is in it is asked again, until somebody says that it is enough.
        """
        turn = bench.turn(wanted)
        if wanted and turn and not (turn.done and self.request.GET.get("after")):
            return turn
        open_still = [
            turn for turn in bench.turns if turn.to_effect and turn.done and not turn.word
        ]
        last = bench.weighings[0].line_id if bench.weighings else None
        stays = next((one for one in open_still if one.line.id == last), None)
        return stays or bench.turn("") or next(iter(open_still), None)


def _last(bench: Bench) -> dict[str, Any]:
    return {"entry": bench.weighings[0].entry_id} if bench.weighings else {}
