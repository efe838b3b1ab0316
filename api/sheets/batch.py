"""The sheet of a batch: to follow at the bench, to fill in, to sign and to keep.

ISO 22716 7.2 asks for the formula, the lots, the weights, the times and the people, and for checks
in process; the second person's check of a weighing is of the FDA's inspection checklist.
"""

from collections.abc import Sequence
from datetime import datetime
from decimal import Decimal
from typing import Final

from api.sheets.blocks import Block, Fields, Heading, Sheet, Table, Text
from api.sheets.figures import day, grams
from api.sheets.measured import measurements
from formulas.caution_facts import of_sheet
from formulas.models import Batch, BatchLine, BatchPackaging, Pick, Weighing
from formulas.shares import Chosen, Share, shares
from ledger.models import Material

HUNDRED: Final = Decimal(100)
LINES: Final = (
    *("#", "Material", "%", "Target g", "Allowed g", "Lot to take", "Weighed g", "By"),
    "✓",
)
STATES: Final = {
    Batch.State.PLANNED: "to be made",
    Batch.State.FINISHED: "made",
    Batch.State.CANCELLED: "called off",
    Batch.State.SCRAPPED: "thrown away",
}
CHECKS: Final = (
    "Place, tools and scale are clean; scale checked",
    "Nothing of another batch is left; labels are those of this batch",
    "Every lot is released and in date today",
)


def batch_sheet(
    batch: Batch, *, maker: str, printed_at: datetime, tolerance_percent: Decimal, paper: str
) -> Sheet:
    """Describe a batch as it stands: what was weighed is printed, what was not is room to write.

    `tolerance_percent` is how far a weighing may lie from its target, of the target.
    """
    lines = sorted(batch.lines.all(), key=lambda line: line.position)
    blocks: list[Block] = [Fields(_facts(batch)), *_cautions(batch)]
    blocks += [Heading("Before weighing"), _asked(CHECKS)]
    weighed = list(batch.weighings.all())
    lots = Chosen.of(batch)
    phases: dict[str, list[Share]] = {}
    for part in shares(lines, batch.changes.all(), weighed):
        phases.setdefault(part.line.phase, []).append(part)
    for name, of_phase in phases.items():
        blocks.append(Heading(f"Phase {name}" if name else "To weigh"))
        blocks.append(_weighings(of_phase, lots, weighed, tolerance_percent))
    listed = {(part.line.id, part.material.id) for parts in phases.values() for part in parts}
    unlisted = [one for one in weighed if (one.line_id, one.lot.material_id) not in listed]
    if unlisted:
        blocks += [Heading("Added beside the formula"), _unlisted(unlisted)]
    blocks += _to_effect(lines)
    blocks += _packaging(batch, lots)
    blocks += _ending(batch)
    return Sheet(
        title=f"Batch {batch.code}",
        about=f"{batch.version.formula.name}, version {batch.version.number}, {maker}",
        name=f"batch-{batch.code}",
        printed_at=printed_at,
        blocks=blocks,
        paper=paper,
    )


def _facts(batch: Batch) -> list[tuple[str, str]]:
    made = batch.making
    rows = [
        ("Makes", batch.product.name if batch.product else batch.version.formula.name),
        ("State", STATES[Batch.State(batch.state)]),
        ("Planned for", day(batch.planned_for)),
        ("Asked for", batch.asked_for),
        ("To weigh in", f"{grams(batch.batch_grams)} g"),
        ("Expected output", f"{grams(batch.output_grams)} g"),
    ]
    if batch.units is not None and batch.fill_grams is not None:
        rows.append(("Pieces", f"{batch.units:,} of {grams(batch.fill_grams)} g"))
    if made is not None:
        rows.append(("Made lot", f"{made.lot.code}, {grams(made.output_grams)} g"))
    if batch.note:
        rows.append(("Note", batch.note))
    return rows


def _cautions(batch: Batch) -> list[Block]:
    """What to look out for, each once and with its reason, as it is told on the screen."""
    return [
        Text(f"{', '.join(one.about)}: {one.text} {one.reason} {one.ask}", strong=True)
        for one in of_sheet(batch)
    ]


def _asked(questions: Sequence[str]) -> Table:
    return Table(
        ("Check", "Yes", "Time", "By"), (60, 8, 14, 18), [(one, "", "", "") for one in questions]
    )


def _weighings(
    parts: Sequence[Share], lots: Chosen, weighed: Sequence[Weighing], tolerance: Decimal
) -> Table:
    """What each line wants of which material, as the last top-up left it."""
    rows: list[tuple[str, ...]] = []
    for part in parts:
        line, own = part.line, part.material.id
        done = [one for one in weighed if one.line_id == line.id and one.lot.material_id == own]
        low, high = limits(part.grams, tolerance)
        target = (grams(part.grams), f"{grams(low)} to {grams(high)}")
        name = _name(part)
        if line.kind == "to_effect":
            target, name = (f"about {grams(part.grams)}", "see below"), f"{name}, to effect"
        poured = [(f"{one.lot.code}", grams(one.quantity), str(one.person)) for one in done]
        picks = [one for one in lots.picks(line) if one.lot.material_id == own]
        first, *others = [*poured, *([] if poured else _picks(picks))] or [("", "", "")]
        share = f"{line.percent.normalize():f}" if own == line.material_id else ""
        rows.append((str(line.position + 1), name, share, *target, *first, ""))
        rows += [("", "", "", "", "", *one, "") for one in others]
        short = lots.short(line, own)
        if short and not done:
            rows.append(("", f"Short by {grams(short)} g", "", "", "", "", "", "", ""))
    return Table(LINES, (6, 25, 8, 12, 19, 15, 12, 12, 5), rows, frozenset({2, 3, 4, 6}))


def _name(part: Share) -> str:
    name = part.material.name
    if part.material.inci_name and part.material.inci_name != name:
        name = f"{name} ({part.material.inci_name})"
    if part.line.max_celsius is not None:
        name = f"{name}, at most {part.line.max_celsius.normalize():f} °C"
    return name


def limits(target: Decimal, tolerance_percent: Decimal) -> tuple[Decimal, Decimal]:
    """What may be weighed, so far below and above the target, to a hundredth of a gram."""
    allowed = target * tolerance_percent / HUNDRED
    cent = Decimal("0.01")
    return (target - allowed).quantize(cent), (target + allowed).quantize(cent)


def _picks(picks: Sequence[Pick]) -> list[tuple[str, str, str]]:
    found = []
    for pick in picks:
        part = f": {grams(pick.quantity)} g" if len(picks) > 1 else ""
        until = f", exp {day(pick.lot.expires_on)}" if pick.lot.expires_on else ""
        found.append((f"{pick.lot.code}{part}{until}", "", ""))
    return found


def _unlisted(weighed: Sequence[Weighing]) -> Table:
    rows = [
        (one.lot.material.name, one.lot.code, grams(one.quantity), one.deviation) for one in weighed
    ]
    return Table(("Material", "Lot", "g", "Why"), (34, 16, 14, 36), rows, frozenset({2}))


def _to_effect(lines: Sequence[BatchLine]) -> list[Block]:
    blocks: list[Block] = []
    for line in lines:
        if line.max_percent is None:
            continue
        maximum, typical = line.max_percent.normalize(), line.percent.normalize()
        rest = (HUNDRED - maximum).normalize()
        blocks.append(Heading(f"To effect: {line.material.name}"))
        blocks.append(
            Text(
                f"Usually {typical:f} %, at most {maximum:f} % of the finished mass. What still"
                f" fits into m grams of all else is m times {maximum:f} ÷ {rest:f}; more"
                " is a deviation, to be written down with its reason."
            )
        )
        head = ("Time", "Added g", "In all g", "What was seen or measured", "Still fits g", "By")
        blocks.append(Table(head, (11, 13, 13, 36, 14, 13), [("",) * 6] * 4))
    return blocks


def _packaging(batch: Batch, chosen: Chosen) -> list[Block]:
    items: list[BatchPackaging] = sorted(batch.packaging.all(), key=lambda item: item.position)
    if not items:
        return []
    rows = []
    for item in items:
        count = item.per_unit * (batch.units or 0)
        lots = ", ".join(
            f"{pick.lot.code} ({pick.quantity.normalize():,f})" for pick in chosen.picks(item)
        )
        rows.append((_named(item.material), f"{count.normalize():,f}", lots, "", "", ""))
    head = ("Packaging", "Count", "Lots to take", "Used", "Rejected", "Left")
    table = Table(head, (34, 10, 26, 10, 10, 10), rows, frozenset({1}))
    return [Heading("Packaging"), table]


def _named(material: Material) -> str:
    return material.name


def _ending(batch: Batch) -> list[Block]:
    """Measurements, output, deviations and signatures."""
    spent = batch.version.retention is not None
    output = Fields(
        [
            ("Output weighed (g): gross, tare, net", ""),
            *([("Marc weighed (g): gross, tare, net", "")] if spent else []),
            ("Samples kept (g or pieces), and where", ""),
            ("Lost (g), and why", ""),
            *([("Pieces good / rejected", "")] if batch.units is not None else []),
        ]
    )
    columns = ("What was different, and why", "Decided by", "Time")
    deviations = Table(columns, (66, 20, 14), [("", "", "")] * 3)
    roles = ("Weighed and made", "Second person: checked weighings", "Released on basis of")
    signed = Table(
        ("Signed", "Name", "Signature", "Date and time"),
        (31, 23, 26, 20),
        [(role, "", "", "") for role in roles],
    )
    parts: list[tuple[str, Block]] = [
        ("Measurements", measurements(batch)),
        ("Output", output),
        ("Deviations", deviations),
        ("Signatures", signed),
    ]
    return [block for name, block in parts for block in (Heading(name), block)]
