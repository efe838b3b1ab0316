"""A batch at the bench: one ingredient after the other, and the lot by what stands on its label."""

import re
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from decimal import ROUND_DOWN, Decimal
from typing import Final
from uuid import UUID

from django.db.models import Prefetch, QuerySet

from formulas.access import batches_of, standing, to_fetch
from formulas.caution_facts import of_last, of_measurement, of_plan, of_pouring
from formulas.cautions import Caution
from formulas.deviations import Rule
from formulas.effect import Pot, headroom, share_of, typical_grams
from formulas.enough import word_of
from formulas.judging import Judgement, Measure, Window
from formulas.learning import Learned
from formulas.lines_lots import is_barred, lots_of, pours_of
from formulas.measurements import judged, standing_rows, windows_of
from formulas.models import (
    Batch,
    BatchLine,
    BatchPackaging,
    Enough,
    LineChange,
    Measurement,
    Pick,
    Weighing,
)
from formulas.past_effects import learned_for
from formulas.pot import InPot
from formulas.shares import Chosen, Share, shares
from formulas.weighing import Weighed, weigh, weigh_back
from ledger.access import Actor, find, lots_visible_to
from ledger.errors import NotFound, Sentence
from ledger.models import Account, Holding, Lot
from ledger.quantities import Quantity

CENTIGRAM: Final = Decimal("0.01")
# The lot in a code of ours: in brackets, as a link of GS1, or after AI 10 of an element string
# that begins with a date (AI 17) or a GTIN (AI 01).
_BRACKETED: Final = re.compile(r"\(10\)([^(\x1d]{1,20})")
_LINKED: Final = re.compile(r"/10/([^/?#]{1,20})")
_ELEMENTS: Final = re.compile(r"(?:01\d{14})?(?:17\d{6})?10([^\x1d]{1,20})")


@dataclass(frozen=True, slots=True)
class Turn:
    """One material of one line: how much of it, how much is in, and from which lots.

    `lots` are those that it is of; `pours` is what is still to be poured, in grams, of each that
    was chosen. `headroom` is what may still go in of a line to effect, None where nothing limits
    it; `learned` is what such a line came to in other batches, and `word` that somebody found it
    enough, if nothing came since. `pot` is what there is beside it.
    """

    share: Share
    lots: Sequence[Lot]
    pours: Sequence[tuple[Pick, Decimal]]
    short: Decimal
    headroom: Decimal | None
    learned: Learned | None
    word: Enough | None
    pot: Pot

    @property
    def share_percent(self) -> Decimal:
        """What is in of the line, in percent of all that is in the pot now."""
        return share_of(self.pot.own, self.pot.others_now + self.pot.own)

    @property
    def learned_grams(self) -> Decimal | None:
        """What the usual share of it comes to in this batch, to the step of a scale."""
        if self.learned is None:
            return None
        return typical_grams(self.pot.others_final, self.learned.median).quantize(CENTIGRAM)

    @property
    def line(self) -> BatchLine:
        return self.share.line

    @property
    def tolerance(self) -> Decimal:
        """How many grams a weighing may lie from its target."""
        return self.share.tolerance

    @property
    def may_add(self) -> Decimal | None:
        """The headroom as a scale shows it, never more than there is."""
        return None if self.headroom is None else self.headroom.quantize(CENTIGRAM, ROUND_DOWN)

    @property
    def over(self) -> Decimal:
        """Grams that are in beyond what is wanted; nothing within the tolerance."""
        more = self.share.weighed - self.share.grams
        return Decimal(0) if self.to_effect or more <= self.tolerance else more

    @property
    def cautions(self) -> Sequence[Caution]:
        """What asks for care while this is weighed."""
        return of_pouring(self.share.material)

    @property
    def to_effect(self) -> bool:
        return self.share.to_effect

    @property
    def done(self) -> bool:
        """Within the tolerance; a line to effect is done with anything in it."""
        if self.to_effect:
            return self.share.weighed > 0
        return self.share.is_in


@dataclass(frozen=True, slots=True)
class Bench:
    """A batch with its turns in their order, and what was weighed.

    `barred` are lots that were chosen and are still wanted, and may not be used any more.
    """

    batch: Batch
    turns: Sequence[Turn]
    weighings: Sequence[Weighing]
    barred: Sequence[Pick]

    @property
    def cautions(self) -> Sequence[Caution]:
        """What asks for care before anything is weighed; two queries, where it is shown."""
        return of_plan(self.batch) if self.is_planned else ()

    @property
    def done(self) -> int:
        return sum(turn.done for turn in self.turns)

    @property
    def still_open(self) -> Sequence[Turn]:
        """What is in to effect, without anybody's word that it is enough."""
        return [one for one in self.turns if one.to_effect and one.done and one.word is None]

    @property
    def settled(self) -> int:
        """How many are done and not still open."""
        return self.done - len(self.still_open)

    @property
    def is_planned(self) -> bool:
        return bool(self.batch.state == Batch.State.PLANNED)

    @property
    def wanted(self) -> Decimal:
        """Grams of all lines together."""
        return sum((turn.share.grams for turn in self.turns), Decimal(0))

    @property
    def weighed(self) -> Decimal:
        """Grams that are in of all lines together."""
        return sum((turn.share.weighed for turn in self.turns), Decimal(0))

    @property
    def packaging(self) -> Sequence[BatchPackaging]:
        return sorted(self.batch.packaging.all(), key=lambda item: item.position)

    @property
    def lacks(self) -> bool:
        """Whether something of it is short, as it was when its lots were chosen."""
        return any(turn.short for turn in self.turns) or any(one.short for one in self.packaging)

    @property
    def grams(self) -> Decimal:
        """All that is in, what the formula does not list too."""
        return sum((one.quantity for one in self.weighings), Decimal(0))

    @property
    def measured(self) -> Sequence[tuple[Measurement, Judgement]]:
        """What was measured and still counts, the last first, and how it stands to its window."""
        windows = windows_of(self.batch.version)
        rows = sorted(standing_rows(self.batch), key=lambda row: (row.happened_at, row.id))
        return [(row, judged(row, windows)) for row in reversed(rows)]

    @property
    def measured_cautions(self) -> Sequence[Caution]:
        """What asks for care by what was measured last."""
        for row, _ in self.measured[:1]:
            return of_measurement(row, windows_of(self.batch.version))
        return ()

    @property
    def weighed_cautions(self) -> Sequence[Caution]:
        """What asks for care by what was weighed last, where no line lists it."""
        last = next(iter(self.weighings), None)
        return of_last(last, [turn.share for turn in self.turns], self.weighings)

    @property
    def celsius(self) -> Decimal | None:
        """The temperature that was recorded last; None if none was."""
        temperatures = (row.value for row, _ in self.measured if row.measure == Measure.TEMPERATURE)
        return next(temperatures, None)

    @property
    def windows(self) -> dict[Measure, Window]:
        """What the formula wants of each measure."""
        return windows_of(self.batch.version)

    def turn(self, line: str) -> Turn | None:
        """The turn of this line, else the next that is not done; None when all are."""
        named = [turn for turn in self.turns if str(turn.line.id) == line]
        waiting = [turn for turn in self.turns if not turn.done]
        unfinished = [turn for turn in named if not turn.done]
        return next(iter(unfinished or named or waiting), None)


def bench_of(actor: Actor, batch: UUID | str) -> Bench:
    """A batch as it stands at the bench, in a fixed number of queries.

    Raises NotFound, Forbidden.
    """
    row = find(_with_what_goes_in(batches_of(actor)), batch)
    in_pot, lots, taught = InPot(row), Chosen.of(row), learned_for(row)
    found = [
        _turn(row, share, in_pot, lots, taught.get(share.line.material_id))
        for share in shares(row.lines.all(), row.changes.all(), row.weighings.all())
        if not share.is_replaced
    ]
    weighings = sorted(row.weighings.all(), key=lambda one: one.id, reverse=True)
    return Bench(row, found, weighings, _barred(row, found, lots))


def _barred(batch: Batch, turns: Sequence[Turn], lots: Chosen) -> Sequence[Pick]:
    if batch.state != Batch.State.PLANNED:
        return ()
    chosen = [pick for turn in turns if not turn.share.is_in for pick, _ in turn.pours]
    chosen += [pick for item in batch.packaging.all() for pick in lots.picks(item)]
    # Two lines may be of one lot.
    return list({one.lot_id: one for one in chosen if is_barred(batch, one)}.values())


def _with_what_goes_in(batches: "QuerySet[Batch]") -> "QuerySet[Batch]":
    """The same with lines, lots and the weighings that count, a query for each kind of row."""
    lines = BatchLine.objects.select_related("material", "component")
    weighings = standing(Weighing.objects.select_related("lot__material", "person", "line"))
    return batches.prefetch_related(
        Prefetch("lines", lines),
        Prefetch("picks", to_fetch()),
        Prefetch("lines__words", Enough.objects.select_related("person")),
        Prefetch("changes", LineChange.objects.select_related("material")),
        Prefetch("weighings", weighings.order_by("id")),
        "pickings__lacks",
        Prefetch("packaging", BatchPackaging.objects.select_related("material")),
        "measurements",
        "version__windows",
    )


def _turn(batch: Batch, share: Share, in_pot: InPot, lots: Chosen, learned: Learned | None) -> Turn:
    line, pot = share.line, in_pot.of(share.line)
    most = line.max_percent
    return Turn(
        share=share,
        lots=lots_of(batch, share, lots),
        pours=pours_of(batch, share, lots),
        short=lots.short(line, share.material.id),
        headroom=None if most is None else headroom(pot.others_final, pot.own, most),
        learned=learned,
        word=word_of(line, pot.own),
        pot=pot,
    )


def weigh_from_label(
    actor: Actor,
    *,
    batch: UUID | str,
    line: UUID | str,
    label: str,
    quantity: Quantity,
    happened_at: datetime,
    deviation: str = "",
) -> Weighed:
    """Weigh a lot into a batch by its code as it was typed, or by all that its QR code holds.

    Without a label the material must be one that is not stocked. Raises what `weigh` raises, and
    NotFound for a code that no lot of the maker has.
    """
    lot = lot_labelled(actor, label) if label.strip() else None
    return weigh(
        actor,
        batch=batch,
        line=line,
        lot=lot,
        quantity=quantity,
        happened_at=happened_at,
        deviation=deviation,
    )


def add_from_label(
    actor: Actor,
    *,
    batch: UUID | str,
    label: str,
    quantity: Quantity,
    happened_at: datetime,
    reason: str,
    deviation: str = "",
) -> Weighed:
    """Weigh something into a batch that its formula does not list, by the code on its label.

    Its reason is for that alone: a lot that breaks a rule of its own asks for a deviation beside
    it, and both are kept. Raises what `weigh` raises, and NotFound for a code that no lot has.
    """
    return weigh(
        actor,
        batch=batch,
        lot=lot_labelled(actor, label),
        quantity=quantity,
        happened_at=happened_at,
        deviation=f"{reason}; {deviation}" if deviation else reason,
        only=None if deviation else {Rule.NOT_IN_FORMULA},
    )


def goes_on_with(actor: Actor, bench: Bench, turn: Turn) -> Lot | None:
    """The lot that a line to effect goes on with: what was poured last, while some is in store."""
    last = next(iter(bench.weighings), None)
    if last is None or not turn.to_effect or last.line_id != turn.line.id or last.quantity <= 0:
        return None
    held = Holding.objects.filter(
        coop_id=actor.coop_id, maker_id=actor.maker, lot=last.lot, any_left=True
    )
    there = last.lot.material.stocked and held.filter(kind=Account.Kind.STORE).exists()
    return last.lot if there else None


def weighing_undone(actor: Actor, bench: Bench, entry: UUID | str) -> Weighing | None:
    """A weighing of the batch that an entry had kept and that was taken back; None of others."""
    rows = Weighing.objects.select_related("lot__material")
    found = rows.filter(maker_id=actor.maker, batch=bench.batch, entry_id=entry).first()
    return found if found not in bench.weighings else None


def back_from_label(
    actor: Actor,
    *,
    batch: UUID | str,
    label: str,
    quantity: Quantity,
    happened_at: datetime,
    reason: str,
) -> Weighed:
    """Take so much of a lot back out of a batch, by the code on its label.

    Raises what `weigh_back` raises, and NotFound for a code that no lot of the maker has.
    """
    return weigh_back(
        actor,
        batch=batch,
        lot=lot_labelled(actor, label),
        quantity=quantity,
        happened_at=happened_at,
        reason=reason,
    )


def lot_labelled(actor: Actor, label: str) -> UUID:
    """The lot of a label; spaces and case do not matter in its code. Raises NotFound."""
    code = code_in(label)
    rows = lots_visible_to(actor).filter(code__iexact="".join(code.split()))
    for id in rows.values_list("id", flat=True)[:1]:
        return UUID(str(id))
    raise NotFound(
        Sentence("No lot of yours has the code {code!r}; look at its label.", code=code),
        pointer="/lot",
    )


def code_in(label: str) -> str:
    """The lot's code in what was typed or scanned."""
    text = label.strip()
    for pattern in (_BRACKETED, _LINKED):
        if found := pattern.search(text):
            return found[1].strip()
    if found := _ELEMENTS.fullmatch(text):
        return found[1].strip()
    return text
