"""The sheet of a batch: to follow at the bench, to fill in, to sign and to keep.

ISO 22716 7.2 asks for the formula, the lots, the weights, the times and the people, and for checks
in process; the second person's check of a weighing is of the FDA's inspection checklist.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from decimal import Decimal
from typing import Final

from django.utils.translation import gettext as said
from django.utils.translation import gettext_lazy as _

from api.sheets.blocks import Block, Fields, Heading, Sheet, Table, Text
from api.sheets.figures import PLAIN, Hand, grams, share
from api.sheets.measured import measurements
from formulas.caution_facts import of_sheet
from formulas.models import Batch, BatchLine, BatchPackaging, Pick, Weighing
from formulas.shares import Chosen, Share, shares
from ledger.amounts import rounded
from ledger.errors import Sentence

HUNDRED: Final = Decimal(100)
LINES: Final = (
    *(_("#"), _("Material"), "%", _("Target g"), _("Allowed g"), _("Lot to take")),
    *(_("Weighed g"), _("By"), "✓"),
)
STATES: Final = {
    Batch.State.PLANNED: _("to be made"),
    Batch.State.FINISHED: _("made"),
    Batch.State.CANCELLED: _("called off"),
    Batch.State.SCRAPPED: _("thrown away"),
}
CHECKS: Final = (
    _("Place, tools and scale are clean; scale checked"),
    _("Nothing of another batch is left; labels are those of this batch"),
    _("Every lot is released and in date today"),
)


def batch_sheet(
    batch: Batch,
    *,
    maker: str,
    printed_at: datetime,
    tolerance_percent: Decimal,
    paper: str,
    hand: Hand = PLAIN,
) -> Sheet:
    """Describe a batch as it stands: what was weighed is printed, what was not is room to write.

    `tolerance_percent` is how far a weighing may lie from its target, of the target.
    """
    named = {"formula": batch.version.formula.name, "number": batch.version.number, "maker": maker}
    return Sheet(
        title=said("Batch %(code)s") % {"code": batch.code},
        about=said("%(formula)s, version %(number)s, %(maker)s") % named,
        name=f"batch-{batch.code}",
        printed_at=printed_at,
        blocks=_Writer(hand).blocks(batch, tolerance_percent),
        paper=paper,
        hand=hand,
    )


def limits(target: Decimal, tolerance_percent: Decimal) -> tuple[Decimal, Decimal]:
    """What may be weighed, so far below and above the target, to a hundredth of a gram."""
    allowed = target * tolerance_percent / HUNDRED
    cent = Decimal("0.01")
    return (target - allowed).quantize(cent), (target + allowed).quantize(cent)


@dataclass(frozen=True, slots=True)
class _Writer:
    """Who writes a sheet of a batch, and how."""

    hand: Hand

    def blocks(self, batch: Batch, tolerance_percent: Decimal) -> list[Block]:
        lines = sorted(batch.lines.all(), key=lambda line: line.position)
        blocks: list[Block] = [Fields(self._facts(batch)), *self._cautions(batch)]
        blocks += [Heading(said("Before weighing")), _asked(CHECKS)]
        weighed = list(batch.weighings.all())
        lots = Chosen.of(batch)
        phases: dict[str, list[Share]] = {}
        for part in shares(lines, batch.changes.all(), weighed):
            phases.setdefault(part.line.phase, []).append(part)
        for name, of_phase in phases.items():
            title = said("Phase %(name)s") % {"name": name} if name else said("To weigh")
            blocks.append(Heading(title))
            blocks.append(self._weighings(of_phase, lots, weighed, tolerance_percent))
        listed = {(part.line.id, part.material.id) for parts in phases.values() for part in parts}
        unlisted = [one for one in weighed if (one.line_id, one.lot.material_id) not in listed]
        if unlisted:
            blocks += [Heading(said("Added beside the formula")), self._unlisted(unlisted)]
        blocks += self._to_effect(lines)
        blocks += self._packaging(batch, lots)
        return [*blocks, *self._ending(batch)]

    def _state(self, batch: Batch) -> str:
        """As the page of the batch has it, too."""
        if batch.state == Batch.State.PLANNED and batch.weighings.all():
            return said("begun")
        return str(STATES[Batch.State(batch.state)])

    def _facts(self, batch: Batch) -> list[tuple[str, str]]:
        made = batch.making
        rows = [
            (said("Makes"), batch.product.name if batch.product else batch.version.formula.name),
            (said("State"), self._state(batch)),
            (said("Planned for"), self.hand.day(batch.planned_for)),
        ]
        if batch.units is not None and batch.fill_grams is not None:
            of = {"count": self.hand.number(batch.units), "grams": self._grams(batch.fill_grams)}
            rows.append((said("Pieces"), said("%(count)s of %(grams)s g") % of))
        else:
            rows.append((said("Asked for"), self.hand.written(batch.asked_for)))
        rows.append((said("To weigh in"), f"{self._grams(batch.batch_grams)} g"))
        rows.append((said("Expected output"), f"{self._grams(batch.output_grams)} g"))
        if made is not None:
            rows.append((said("Made lot"), f"{made.lot.code}, {self._grams(made.output_grams)} g"))
        if batch.note:
            rows.append((said("Note"), batch.note))
        return rows

    def _cautions(self, batch: Batch) -> list[Block]:
        """What to look out for, each once and with its reason, as it is told on the screen."""
        say, told = self.hand.say, list[Block]()
        for one in of_sheet(batch):
            # Names that people gave stay as they are.
            about = [say(each) if isinstance(each, Sentence) else each for each in one.about]
            text = f"{', '.join(about)}: {say(one.text)} {say(one.reason)} {say(one.ask)}"
            told.append(Text(text, strong=True))
        return told

    def _weighings(
        self, parts: Sequence[Share], lots: Chosen, weighed: Sequence[Weighing], tolerance: Decimal
    ) -> Table:
        """What each line wants of which material, as the last top-up left it."""
        rows: list[tuple[str, ...]] = []
        for part in parts:
            line, own = part.line, part.material.id
            done = [one for one in weighed if one.line_id == line.id and one.lot.material_id == own]
            poured = [(one.lot.code, self._grams(one.quantity), str(one.person)) for one in done]
            picks = [one for one in lots.picks(line) if one.lot.material_id == own]
            known = [*poured, *([] if poured else self._picks(picks))]
            first, *others = known or [("", "", "")]
            percent = share(line.percent, self.hand) if own == line.material_id else ""
            target = self._target(part, tolerance)
            number = str(line.position + 1)
            rows.append((number, self._name(part), percent, *target, *first, ""))
            rows += [("", "", "", "", "", *one, "") for one in others]
            short = lots.short(line, own)
            if short and not done:
                lack = said("Short by %(grams)s g") % {"grams": self._grams(rounded(short, 2))}
                rows.append(("", lack, "", "", "", "", "", "", ""))
        head, widths = [str(name) for name in LINES], (5, 25, 7, 12, 22, 16, 12, 10, 4)
        return Table(head, widths, rows, frozenset({2, 3, 4, 6}))

    def _target(self, part: Share, tolerance: Decimal) -> tuple[str, str]:
        """What is to be weighed, and what may be."""
        if part.line.kind == "to_effect":
            return said("about %(grams)s") % {"grams": self._grams(part.grams)}, said("see below")
        low, high = map(self._grams, limits(part.grams, tolerance))
        return self._grams(part.grams), said("%(low)s to %(high)s") % {"low": low, "high": high}

    def _name(self, part: Share) -> str:
        name = part.material.name
        if part.material.inci_name and part.material.inci_name != name:
            name = f"{name} ({part.material.inci_name})"
        if part.line.max_celsius is not None:
            most = {"name": name, "degrees": self.hand.number(part.line.max_celsius)}
            name = said("%(name)s, at most %(degrees)s °C") % most
        if part.line.kind == "to_effect":
            name = said("%(name)s, to effect") % {"name": name}
        return name

    def _picks(self, picks: Sequence[Pick]) -> list[tuple[str, str, str]]:
        found = []
        for pick in picks:
            part = f": {self._grams(pick.quantity)} g" if len(picks) > 1 else ""
            until = ""
            last = getattr(pick, "until", pick.lot.expires_on)
            if last:
                until = said(", use by %(day)s") % {"day": self.hand.day(last)}
            place = getattr(pick, "place", None)
            there = f" · {place}" if place else ""
            found.append((f"{pick.lot.code}{part}{until}{there}", "", ""))
        return found

    def _unlisted(self, weighed: Sequence[Weighing]) -> Table:
        rows = [
            (one.lot.material.name, one.lot.code, self._grams(one.quantity), one.deviation)
            for one in weighed
        ]
        head = [said("Material"), said("Lot"), "g", said("Why")]
        return Table(head, (34, 16, 14, 36), rows, frozenset({2}))

    def _to_effect(self, lines: Sequence[BatchLine]) -> list[Block]:
        blocks: list[Block] = []
        for line in lines:
            if line.max_percent is None:
                continue
            figures = {
                "typical": share(line.percent, self.hand),
                "most": share(line.max_percent, self.hand),
                "rest": share(HUNDRED - line.max_percent, self.hand),
            }
            blocks.append(Heading(said("To effect: %(name)s") % {"name": line.material.name}))
            blocks.append(
                Text(
                    said(
                        "Usually %(typical)s %%, at most %(most)s %% of the finished mass. What"
                        " still fits into m grams of all else is m times %(most)s ÷ %(rest)s; more"
                        " is a deviation, to be written down with its reason."
                    )
                    % figures
                )
            )
            head = [said("Time"), said("Added g"), said("In all g")]
            head += [said("What was seen or measured"), said("Still fits g"), said("By")]
            blocks.append(Table(head, (11, 13, 13, 36, 14, 13), [("",) * 6] * 4))
        return blocks

    def _packaging(self, batch: Batch, chosen: Chosen) -> list[Block]:
        items: list[BatchPackaging] = sorted(batch.packaging.all(), key=lambda item: item.position)
        if not items:
            return []
        rows = []
        for item in items:
            count = self.hand.number(item.per_unit * (batch.units or 0))
            lots = ", ".join(
                f"{pick.lot.code} ({self.hand.number(pick.quantity)})"
                for pick in chosen.picks(item)
            )
            rows.append((item.material.name, count, lots, "", "", ""))
        head = [said("Packaging"), said("Count"), said("Lots to take")]
        head += [said("Used"), said("Rejected"), said("Left")]
        table = Table(head, (34, 10, 26, 10, 10, 10), rows, frozenset({1}))
        return [Heading(said("Packaging")), table]

    def _ending(self, batch: Batch) -> list[Block]:
        """Measurements, output, deviations and signatures."""
        names = [said("Output weighed (g): gross, tare, net")]
        if batch.version.retention is not None:
            names.append(said("Marc weighed (g): gross, tare, net"))
        names += [said("Samples kept (g or pieces), and where"), said("Lost (g), and why")]
        if batch.units is not None:
            names.append(said("Pieces good / rejected"))
        columns = [said("What was different, and why"), said("Decided by"), said("Time")]
        roles = [said("Weighed and made"), said("Second person: checked weighings")]
        roles += [said("Released on basis of")]
        signed = Table(
            (said("Signed"), said("Name"), said("Signature"), said("Date and time")),
            (31, 23, 26, 20),
            [(role, "", "", "") for role in roles],
        )
        parts: list[tuple[str, Block]] = [
            (said("Measurements"), measurements(batch, self.hand)),
            (said("Output"), Fields([(name, "") for name in names])),
            (said("Deviations"), Table(columns, (66, 20, 14), [("", "", "")] * 3)),
            (said("Signatures"), signed),
        ]
        return [block for name, block in parts for block in (Heading(name), block)]

    def _grams(self, amount: Decimal) -> str:
        return grams(amount, self.hand)


def _asked(questions: Sequence[object]) -> Table:
    head = [said("Check"), said("Yes"), said("Time"), said("By")]
    return Table(head, (60, 8, 14, 18), [(str(one), "", "", "") for one in questions])
