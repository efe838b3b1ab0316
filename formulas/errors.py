"""Refusals of formulas and batches, in the manner of ledger.errors."""

from ledger.errors import Conflict, Invalid


class PercentNot100(Invalid):
    """The lines make {total} %, not 100 %: change a percent, or let one line be the balance."""

    code = "percent_not_100"


class BalanceNotPositive(PercentNot100):
    """The other lines make {total} %, which leaves the balance line nothing: lower one of them."""


class SecondBalance(Invalid):
    """Two lines are the balance: give all but one of them a percent."""

    code = "second_balance"


class FormulaCycle(Invalid):
    """A formula cannot contain itself ({path}): take out one of these lines."""

    code = "formula_cycle"


class OverMaximum(Invalid):
    """{percent} % is above the maximum of {max_percent} %: add less, or record a deviation."""

    code = "over_maximum"


class BatchTooSmall(Invalid):
    """At {batch_grams} g the scale's step of {step} g leaves nothing to weigh: make more."""

    code = "batch_too_small"


class PriceImpossible(Invalid):
    """Margin and fees take {percent} % of the price, which leaves nothing for the cost."""

    code = "price_impossible"


class AlreadyFinished(Conflict):
    """The batch {batch} is already finished; reverse the finish if that was the mistake."""

    code = "already_finished"


class NothingWeighed(Conflict):
    """Nothing has been weighed into the batch {batch}: weigh first, or cancel the batch."""

    code = "nothing_weighed"


class UnitCostMissing(Invalid):
    """{product} has not been made yet: give the unit cost that the price shall be built on."""

    code = "unit_cost_missing"


class InciMissing(Invalid):
    """A label names ingredients by INCI: give an INCI name or a composition to {names}."""

    code = "inci_missing"


class CompositionMissing(Invalid):
    """A blend is declared by its parts: state the composition of {names}, in percent."""

    code = "composition_missing"


class NothingDeclared(Invalid):
    """There is nothing in this to declare: all its materials are absent from the product."""

    code = "nothing_to_declare"


class WaterLostTooMuch(Invalid):
    """More water would boil off than there is, {there} %: give a smaller water_lost_percent."""

    code = "water_lost_too_much"


class BulkTooOld(Conflict):
    """This bulk was to be filled by {last_day}: have it looked at, and record a deviation."""

    code = "bulk_too_old"


class TooHot(Conflict):
    """{name} goes in at {max_celsius} degC at most, and the batch was last at {celsius} degC:
    let it cool and record its temperature, or record a deviation."""

    code = "too_hot"


class AlreadyCorrected(Conflict):
    """This measurement is already corrected; correct the one that corrects it."""

    code = "already_corrected"


class BelowCost(Invalid):
    """{name} would bring in {received} after fees for a unit that costs {unit_cost}: raise the
    price, or send confirm_below_cost to sell at a loss knowingly."""

    code = "below_cost"


class CostUnknown(Invalid):
    """What {name} costs is not known: receive it with its price, or give the cost yourself."""

    code = "cost_unknown"


class BalanceMissing(Invalid):
    """The substitute brings {brought} g more or less, and no line is the balance to give way."""

    code = "balance_missing"


class BalanceTooSmall(Invalid):
    """The substitute brings {brought} g more, and the balance line can give {left} g at most."""

    code = "balance_too_small"


class NotAnAlternate(Invalid):
    """{name} is no alternate of this line: add it to a new version of the formula, or weigh it
    with a deviation."""

    code = "not_an_alternate"


class NothingShort(Conflict):
    """The batch {batch} lacks no intermediate that is not planned for it already."""

    code = "nothing_short"


class ContainerTooSmall(Invalid):
    """The container holds {room} mL, and the fill is {wanted} mL: fill less, or pack it larger."""

    code = "container_too_small"


class RuleMissing(Conflict):
    """No rule is chosen for the net contents of {product}: choose "us" or "eu" first."""

    code = "rule_missing"


class SpreadMissing(Invalid):
    """Nobody has weighed units of {product} yet: weigh some, or give the standard deviation."""

    code = "spread_missing"


class StandardKept(Conflict):
    """{batch}, made on {day}, was judged by an earlier standard, which stays: let this one begin
    on a later day."""

    code = "standard_kept"


class StandardMissing(Conflict):
    """{name} has no standard cost that was valid on {day}: set one that begins by then."""

    code = "standard_missing"


class NotFinished(Conflict):
    """The batch {batch} is not finished: there is nothing to compare with a standard yet."""

    code = "not_finished"
