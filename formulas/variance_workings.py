"""The working of variances: from the whole down to each material's quantity and price."""

from collections.abc import Iterable, Mapping
from decimal import Decimal

from formulas.comparing import Judged
from formulas.explaining import Figure
from formulas.fill_comparing import JudgedFill
from formulas.models import StandardCost
from formulas.variances import FORMULAS, USAGE, Direction, InputVariance, Split
from ledger.access import Actor


def working_of(actor: Actor, judged: Judged | JudgedFill) -> Figure:
    """The tree of the variances; every figure is the sum of its parts."""
    compared, told = judged.compared, judged.variances
    teller = _Teller(actor.currency, judged.names)
    standards = _standards(compared.formula_standard, compared.product_standard)
    facts = {"actual": f"{told.actual:f}", "standard": f"{told.standard:f}", **standards}
    parts = (
        teller.materials(told.materials, told.all_materials),
        teller.packaging(told.packaging, told.all_packaging),
        teller.split("labour", told.labour, "rate", "efficiency"),
        teller.split("overhead", told.overhead, "rate", "base"),
    )
    return teller.figure("variance", told.total, "actual - standard", facts, parts)


class _Teller:
    def __init__(self, currency: str, names: Mapping[str, str]) -> None:
        self.currency = currency
        self.names = names

    def figure(
        self,
        name: str,
        amount: Decimal,
        how: str,
        facts: Mapping[str, str] = {},
        parts: Iterable[Figure] = (),
    ) -> Figure:
        """A variance, with what it means for the maker."""
        told = {**facts, "direction": Direction.of(amount).value}
        return Figure(name, amount, self.currency, how, told, tuple(parts))

    def materials(self, each: Iterable[InputVariance], whole: InputVariance) -> Figure:
        """Price, and usage of mix and yield; each by material."""
        lines = list(each)
        price = [self._line(one, one.price, FORMULAS["price"]) for one in lines]
        mix = [self._line(one, one.mix, FORMULAS["mix"]) for one in lines]
        yielded = [self._line(one, one.yielded, FORMULAS["yield"]) for one in lines]
        usage = (
            self.figure("mix", whole.mix, FORMULAS["mix"], parts=mix),
            self.figure("yield", whole.yielded, FORMULAS["yield"], parts=yielded),
        )
        parts = (
            self.figure("price", whole.price, FORMULAS["price"], parts=price),
            self.figure("usage", whole.usage, USAGE, parts=usage),
        )
        return self.figure("materials", whole.total, "price + usage", _facts(whole), parts)

    def packaging(self, each: Mapping[str, Split], whole: Split) -> Figure:
        """Price and usage, each by material."""
        parts = []
        for name, told in (("price", whole.price), ("usage", whole.usage)):
            how = FORMULAS[f"packaging_{name}"]
            lines = [
                self.figure(self.names[id], getattr(one, name), how, _facts(one))
                for id, one in each.items()
            ]
            parts.append(self.figure(name, told, how, parts=lines))
        return self.figure("packaging", whole.total, "price + usage", parts=parts)

    def split(self, name: str, whole: Split, price: str, usage: str) -> Figure:
        """Of labour or overhead, in its two parts."""
        parts = (
            self.figure(price, whole.price, FORMULAS[f"{name}_{price}"]),
            self.figure(usage, whole.usage, FORMULAS[f"{name}_{usage}"]),
        )
        return self.figure(name, whole.total, f"{price} + {usage}", _facts(whole), parts)

    def _line(self, one: InputVariance, amount: Decimal, how: str) -> Figure:
        return self.figure(self.names[one.name], amount, how, _facts(one))


def _facts(one: InputVariance | Split) -> dict[str, str]:
    """Actual and standard, in money and in grams, pieces or minutes."""
    told = {"actual": f"{one.actual:f}", "standard": f"{one.standard:f}"}
    if one.quantity or one.wanted:
        told |= {"quantity": f"{one.quantity:f}", "standard_quantity": f"{one.wanted:f}"}
    return told


def _standards(*standards: StandardCost | None) -> dict[str, str]:
    kinds = ("formula_standard_from", "product_standard_from")
    return {
        kind: one.valid_from.isoformat()
        for kind, one in zip(kinds, standards, strict=True)
        if one is not None
    }
