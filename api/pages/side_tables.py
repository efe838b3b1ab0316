"""The small tables of the pages as files: what a page shows beside its list, or instead of one.

Each is made of what the page has read already. A page names them in `files`, and its template has
the links beneath each table.
"""

from collections.abc import Iterable, Mapping, Sequence
from decimal import Decimal
from typing import Any

from django.utils.translation import gettext as said

from api.pages.tables import Cell, Files, Table, unit_of
from api.pages.words import worded
from formulas.balances import Needs
from formulas.bench import Bench
from formulas.drafted import Beside
from formulas.fill_reading import PastYield, UnitsSeen
from formulas.infusing import Steeped
from formulas.leftovers import Reconciliation
from formulas.lines_lots import codes_of
from formulas.models import FormulaVersion, StandardCost, Weighing
from formulas.unit_costs import UnitCost
from formulas.unit_weighings import Checked
from ledger.access import Actor, day_of
from ledger.lot_reading import Movement
from ledger.months import Month
from ledger.roles import Verb
from ledger.trace_ends import End
from ledger.tracing import Trace

Named = Iterable[tuple[str, Decimal | int | None]]


def named(table: str, what: str, rows: Named) -> Table:
    """Figures of one kind, each with its name; what is not known stands empty."""
    return Table(table, [said("What"), what], [(str(name), figure) for name, figure in rows])


def going_in(bench: Bench) -> Table:
    """What goes into a batch, what is in, and the lots that it is of."""
    columns = [
        said("What"),
        said("Wanted, g"),
        said("Weighed, g"),
        said("Lacking, g"),
        said("From"),
    ]
    cells = [
        (
            *(turn.share.material.name, turn.share.grams, turn.share.weighed, turn.short),
            " ".join(codes_of(turn.lots)),
        )
        for turn in bench.turns
    ]
    return Table(bench.batch.code, columns, cells)


def weighed_in(bench: Bench) -> Table:
    """All that was weighed into a batch and counts, the last first."""
    columns = [said("When"), said("Material"), said("Lot"), said("Grams"), said("As typed")]
    columns += [said("By whom"), said("Why a rule was not kept")]
    cells = [
        (
            *(one.happened_at.isoformat(), one.lot.material.name, poured_code(one), one.quantity),
            *(one.entered, one.person.get_username(), one.deviation),
        )
        for one in bench.weighings
    ]
    return Table(f"{bench.batch.code}-weighed", columns, cells)


def poured_code(weighing: Weighing) -> str:
    """The code of the lot that was poured; what runs from a tap has none to look for."""
    lot = weighing.lot
    return str(lot.code) if lot.material.stocked else ""


def measured_at(bench: Bench) -> Table:
    """What was measured at a batch and counts, the last first."""
    columns = [said("When"), said("What"), said("What it showed"), said("Against what is wanted")]
    cells = [
        (row.happened_at.isoformat(), row.measure, row.entered, how) for row, how in bench.measured
    ]
    return Table(f"{bench.batch.code}-measured", columns, cells)


def composition(version: FormulaVersion) -> Table:
    """The lines of a version, in percent."""
    columns = [said("Phase"), said("Ingredient"), said("Percent"), said("Kind"), said("At most")]
    columns.append(said("Not above, °C"))
    cells = [
        (
            *(line.phase.name, (line.component or line.material).name, line.percent),
            *(line.kind, line.max_percent, line.max_celsius),
        )
        for line in version.lines.all()
    ]
    return Table("composition", columns, cells)


def needed(needs: Needs) -> Table:
    """What a size of a formula or a product needs."""
    columns = [said("What"), said("Needed"), said("At hand"), said("Lacking"), said("Unit")]
    rows = [(one, one.quantity) for one in needs.packaging]
    rows += [(line.need, line.grams) for line in needs.lines]
    cells = [
        (one.material.name, wanted, one.available, one.short, unit_of(one.material.counted))
        for one, wanted in rows
    ]
    return Table("needs", columns, cells)


def versions(actor: Actor, beside: Beside) -> Table:
    """Two versions, line by line, and what each loses and costs."""
    called = said("version %(number)s")
    numbers = [called % {"number": one.number} for one in (beside.before, beside.after)]
    cells: list[tuple[Cell, ...]] = [
        (
            pair.shown.name if pair.shown else "",
            *(row.percent if row else None for row in (pair.before, pair.after)),
        )
        for pair in beside.pairs
    ]
    if beside.costs:
        cells.append(
            (said("A kilogram, at what things cost now"), *(c.amount for c in beside.costs))
        )
    both = (beside.before, beside.after)
    cells += [
        (said("Usual loss"), *(one.process_loss_percent for one in both)),
        (said("Density"), *(one.density_entered for one in both)),
        (said("Keeps for days"), *(one.shelf_life_days for one in both)),
        (said("Why"), *(one.note for one in both)),
        (said("Written"), *(day_of(actor, one.created_at) for one in both)),
    ]
    return Table("versions", [said("Ingredient"), *numbers], cells)


def all_versions(actor: Actor, rows: Iterable[FormulaVersion]) -> Table:
    """The versions of a formula, the latest first, and why each was written."""
    columns = [said("Version"), said("Why"), said("By whom"), said("Written")]
    cells = [
        (one.number, one.note, one.person.get_username(), day_of(actor, one.created_at))
        for one in rows
    ]
    return Table("all-versions", columns, cells)


def life(actor: Actor, movements: Iterable[Movement], *, counted: bool) -> Table:
    """What came to a lot in the store and left it, the latest first."""
    unit = unit_of(counted)
    columns = [said("When"), said("What"), said("Because")]
    columns += [f"{said('In or out')}, {unit}", f"{said('Left')}, {unit}", said("Undone")]
    cells = [
        (
            *(day_of(actor, move.happened_at), move.kind, move.reason),
            *(move.quantity, move.balance),
            said("undone") if move.undone else "",
        )
        for move in movements
    ]
    return Table("life", columns, cells)


def piece(cost: UnitCost, currency: str) -> Table:
    """What is in a piece, and what it costs now."""
    columns = [said("In a piece"), said("So much"), said("Unit")]
    columns += [f"{said('Costs now')}, {currency}", f"{said('Comes to')}, {currency}"]
    cells = [
        (share.cost.name, share.quantity, unit_of(counted), share.cost.shown, share.value)
        for shares, counted in ((cost.materials, False), (cost.packaging, True))
        for share in shares
    ]
    return Table("piece", columns, cells)


def batch_cost(cost: UnitCost, currency: str) -> Table:
    """What a batch of pieces costs now."""
    parts = cost.cost
    rows = [
        (said("Materials"), parts.materials),
        (said("Packaging"), parts.packaging),
        (said("Work"), parts.labour),
        (said("Overhead"), parts.overhead),
        (said("In all"), parts.total),
    ]
    return named("batch", f"{said('Comes to')}, {currency}", rows)


def standard(row: StandardCost, currency: str) -> Table:
    """What was set for each material, and for work and overhead, from a day on."""
    columns = [said("What"), said("So much"), f"{said('Should cost')}, {currency}"]
    cells: list[tuple[Cell, ...]] = [
        (one.material.name, one.share, one.price) for one in row.prices.all()
    ]
    if row.version is None:
        cells += [
            (said("An hour of work"), None, row.hourly_rate),
            (said("Overhead of a batch"), None, row.overhead_per_batch),
            (said("Overhead, percent of materials"), row.overhead_percent, None),
        ]
    return Table(f"standard-{row.valid_from}", columns, cells)


def balances(month: Month, currency: str) -> Table:
    """What each other maker owed before a month and after it."""
    columns = [said("With"), f"{said('Before')}, {currency}", f"{said('After')}, {currency}"]
    cells = [(one.name, one.before, one.amount) for one in month.balances]
    return Table("balances", columns, cells)


def whereabouts(traced: Trace) -> Table:
    """All of a lot that came in against the places where it is."""
    rows: list[tuple[str, Decimal | int | None]] = [(said("Came in"), traced.balance.received)]
    rows += list(traced.balance.places)
    rows.append((said("Not accounted for"), traced.balance.difference))
    unit = unit_of(traced.lot.material.counted)
    return named("whereabouts", f"{said('Quantity')}, {unit}", rows)


def on_the_way(traced: Trace) -> Table:
    """The lots on the way of a lot."""
    columns = [said("Lot"), said("Material"), said("Their lot"), said("Status"), said("Left")]
    columns += [said("Unit")]
    cells = [
        (
            *(lot.code, lot.material_name, lot.supplier_lot, lot.status, lot.on_hand),
            unit_of(lot.counted),
        )
        for lot in traced.lots
    ]
    return Table(f"trace-{traced.lot.code}", columns, cells)


def flows(traced: Trace, ends: Sequence[End]) -> Table:
    """How much of which lot went into which, and to which end."""
    columns = [said("From"), said("Material"), said("Their lot"), said("To"), said("Quantity")]
    columns += [said("Unit")]
    known = {lot.id: lot for lot in traced.lots}
    went = [(known[one], lot.code, much) for lot in traced.lots for one, much in lot.inputs]
    went += [(known[one.lot], worded(one.place), one.quantity) for one in ends]
    cells = [
        (lot.code, lot.material_name, lot.supplier_lot, to, much, unit_of(lot.counted))
        for lot, to, much in went
    ]
    return Table(f"flows-{traced.lot.code}", columns, cells)


def steeping(code: str, steeped: Steeped) -> Table:
    """What an infusion came to, beside what was to be expected of the same weighings."""
    columns = [said("Of all that went in"), said("Measured"), said("Expected")]
    cells = [
        (said("Came out, g"), steeped.output_grams, steeped.expected_output_grams),
        (said("Yield, %"), steeped.yield_percent, steeped.expected_yield_percent),
        (said("Strained out, wet, g"), steeped.marc_grams, steeped.expected_marc_grams),
        (said("Evaporated, g"), steeped.evaporation_grams, steeped.expected_evaporation_grams),
    ]
    return Table(f"{code}-steeped", columns, cells)


def of_units(actor: Actor, seen: UnitsSeen, facts: Mapping[str, Any]) -> Files:
    """The weights of filled pieces, and the tables beside them."""
    files: dict[str, Any] = {"": lambda: _weights(actor, seen)}
    currency = actor.currency if actor.may(Verb.SEE_COSTS) else None
    if checked := seen.checked:
        files["summary"] = lambda: _summary(seen, checked)
        files["giveaway"] = lambda: _giveaway(seen, checked, currency)
    if found := facts.get("found"):
        files["bulk"] = lambda: _bulk(found)
    if yields := facts.get("yields"):
        files["yields"] = lambda: yields_table(yields)
    return files


def _weights(actor: Actor, seen: UnitsSeen) -> Table:
    """All weighings at hand as a table."""
    columns = [said("Weighed on"), said("Piece"), said("Net, g"), said("Gross, g"), said("Tare, g")]
    cells = [
        (
            day_of(actor, row.happened_at),
            place,
            *(Decimal(one[name]) if name in one else None for name in ("net", "gross", "tare")),
        )
        for row in seen.weighings
        for place, one in enumerate(row.contents, 1)
    ]
    return Table("weights", columns, cells)


def _summary(seen: UnitsSeen, checked: Checked) -> Table:
    row = checked.row
    rows: list[tuple[str, Decimal | int | None]] = [
        (said("Pieces weighed"), row.units),
        (said("Mean"), row.mean_grams),
        (said("Spread"), row.deviation_grams),
        (said("Lightest"), row.least_grams),
        (said("Nominal"), row.nominal_grams),
    ]
    if seen.limits is not None:
        rows.append((said("Few may be below"), seen.limits.short))
        rows.append((said("None may be below"), seen.limits.least))
    if checked.target is not None:
        rows.append((said("Lowest target"), checked.target.grams))
    return named("summary", said("Grams, or pieces"), rows)


def _giveaway(seen: UnitsSeen, checked: Checked, currency: str | None) -> Table:
    columns = [said("What"), said("Above nominal, g")]
    columns += [f"{said('Worth')}, {currency}"] if currency else []
    given = [
        (said("A piece"), seen.each),
        (said("This lot"), checked.batch),
        (said("A year like the last"), checked.year),
        (said("Saved in a year at the lowest target"), checked.saving_year),
    ]
    cells = [(name, one.grams, *((one.money,) if currency else ())) for name, one in given if one]
    return Table("giveaway", columns, cells)


def _bulk(found: Reconciliation) -> Table:
    rows = [
        (said("Bulk that went in"), found.bulk_in),
        (said("Filled"), found.filled),
        (said("Samples"), found.samples),
        (said("Left in the filler"), found.heel),
        (said("Rejected"), found.rejects),
        (said("Not explained"), found.unexplained),
    ]
    return named("bulk", said("Grams"), rows)


def yields_table(past: Sequence[PastYield]) -> Table:
    columns = [said("Batch"), said("Made"), said("Yield, %"), said("Against plan, %")]
    cells = [(one.code, one.on, one.yield_percent, one.plan_percent) for one in past]
    return Table("yields", columns, cells)
