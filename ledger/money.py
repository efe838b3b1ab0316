"""Money: the smallest coin of a currency, rounding said out loud, and splits that lose nothing.

Amounts are Decimal in the currency's main unit (dollars, not cents). Rounding is half-even, the
rule of ISO 80000-1, Annex B, rule A, so that many roundings do not drift upwards.
"""

import re
from collections.abc import Sequence
from decimal import ROUND_CEILING, ROUND_HALF_EVEN, Context, Decimal, localcontext
from fractions import Fraction
from math import lcm

from ledger.errors import (
    CurrencyUnknown,
    Invalid,
    MoneyNegative,
    MoneyTooFine,
    MoneyTooLarge,
    MoneyUnreadable,
    Sentence,
    SplitImpossible,
)
from ledger.typed_numbers import DECIMAL, tidy

# ISO 4217 list one, published 2026-01-01: the legal minor unit, which is not always the number
# of decimals that shops show. Codes that have none (gold, test codes) are left out on purpose.
_CURRENCIES_BY_MINOR_UNITS = {
    0: "BIF CLP DJF GNF ISK JPY KMF KRW PYG RWF UGX UYI VND VUV XAF XOF XPF",
    2: """
        AED AFN ALL AMD AOA ARS AUD AWG AZN BAM BBD BDT BMD BND BOB BOV BRL BSD BTN BWP BYN BZD
        CAD CDF CHE CHF CHW CNY COP COU CRC CUP CVE CZK DKK DOP DZD EGP ERN ETB EUR FJD FKP GBP
        GEL GHS GIP GMD GTQ GYD HKD HNL HTG HUF IDR ILS INR IRR JMD KES KGS KHR KPW KYD KZT LAK
        LBP LKR LRD LSL MAD MDL MGA MKD MMK MNT MOP MRU MUR MVR MWK MXN MXV MYR MZN NAD NGN NIO
        NOK NPR NZD PAB PEN PGK PHP PKR PLN QAR RON RSD RUB SAR SBD SCR SDG SEK SGD SHP SLE SOS
        SRD SSP STN SVC SYP SZL THB TJS TMT TOP TRY TTD TWD TZS UAH USD USN UYU UZS VED VES WST
        XAD XCD XCG YER ZAR ZMW ZWG
    """,
    3: "BHD IQD JOD KWD LYD OMR TND",
    4: "CLF UYW",
}
MINOR_UNITS = {
    code: digits for digits, codes in _CURRENCIES_BY_MINOR_UNITS.items() for code in codes.split()
}

# Amounts are stored as NUMERIC(18, 6): twelve digits stand before the point.
TOO_MUCH_MONEY = Decimal(10) ** 12
_PRECISE = Context(prec=80)
_AMOUNT = re.compile(rf"([-\u2212]?){DECIMAL}")


def minor_units(currency: str) -> int:
    """How many decimals the currency has by ISO 4217: 2 for USD, 0 for JPY, 3 for KWD.

    Raises CurrencyUnknown for anything else, gold (XAU) and other codes without coins included.
    """
    try:
        return MINOR_UNITS[currency]
    except KeyError:
        # The code is repeated in the answer, so it is cut short and made printable first.
        raise CurrencyUnknown(currency=ascii(currency)[1:-1][:12]) from None


def minor_unit(currency: str) -> Decimal:
    """The smallest coin of the currency in its main unit: 0.01 for USD. Raises CurrencyUnknown."""
    return Decimal(1).scaleb(-minor_units(currency))


def round_to_step(value: Decimal, step: Decimal, rounding: str = ROUND_HALF_EVEN) -> Decimal:
    """`value` as the nearest whole number of `step`s; `rounding` is a mode of `decimal`.

    Ties go to the even multiple unless another mode is named (ISO 80000-1, Annex B). Raises
    Invalid for a step that is not above zero or a value that is not a number.
    """
    if not value.is_finite() or not step.is_finite() or step <= 0:
        raise Invalid("Rounding needs a number and a step above zero.")
    with localcontext(_PRECISE):
        # Adding zero turns "-0.00", which nobody owes, into "0.00".
        return (value / step).quantize(Decimal(1), rounding=rounding) * step + 0


def round_money(value: Decimal, currency: str) -> Decimal:
    """`value` to the currency's minor unit, half-even, with exactly its number of decimals.

    Raises CurrencyUnknown, and Invalid for a value that is not a number.
    """
    return round_to_step(value, minor_unit(currency))


def round_money_up(value: Decimal, currency: str) -> Decimal:
    """`value` to the currency's minor unit, never below it: a price that must pay for something.

    Raises CurrencyUnknown, and Invalid for a value that is not a number.
    """
    return round_to_step(value, minor_unit(currency), ROUND_CEILING)


def parse_money(text: str, currency: str) -> Decimal:
    """An amount of zero or more as somebody typed it, with the currency's number of decimals.

    Raises MoneyUnreadable, MoneyNegative, MoneyTooFine, MoneyTooLarge or CurrencyUnknown. More
    decimals than the currency has are refused even when they are zeros: "186.000" is a hundred
    and eighty-six thousand to many people.
    """
    digits = minor_units(currency)
    typed = tidy(text, MoneyUnreadable)
    found = _AMOUNT.fullmatch(typed)
    if found is None:
        if re.search(r"[0-9],[0-9]", typed):
            raise MoneyUnreadable('Write the amount with a decimal point and no commas: "1234.50".')
        raise MoneyUnreadable
    if found[1]:
        raise MoneyNegative
    if len(typed.partition(".")[2]) > digits:
        raise MoneyTooFine(currency=currency, digits=digits)
    amount = Decimal(typed)
    if amount >= TOO_MUCH_MONEY:
        raise MoneyTooLarge
    return round_money(amount, currency)


def split_exactly(total: Decimal, weights: Sequence[Decimal], *, step: Decimal) -> list[Decimal]:
    """`total` in parts as the weights stand to each other; each a whole number of `step`s.

    Largest remainder (Hamilton's method): everyone first gets the whole steps of its exact
    share, and the steps left over go one each to the largest remainders, on a tie to the earlier
    member. The parts sum to the total exactly. A negative total is split as its opposite, so
    that taking back undoes giving. A known property of the method: when a total grows, one part
    may still shrink by a step; so a corrected bill is split anew, not topped up.

    A total of zero gives zeros. Otherwise raises SplitImpossible for no weights, a weight below
    zero, weights that are all zero, or a total that is not a whole number of steps.
    """
    if not step.is_finite() or step <= 0 or not total.is_finite():
        raise SplitImpossible("A split needs a total that is a number and a step above zero.")
    if not all(weight.is_finite() and weight >= 0 for weight in weights):
        raise SplitImpossible
    steps = Fraction(total) / Fraction(step)
    if steps.denominator != 1:
        raise SplitImpossible(
            Sentence(
                "{total} is not a whole number of {step}; round it first.", total=total, step=step
            )
        )
    if not steps:
        return [step * 0 for _ in weights]
    together = sum(map(Fraction, weights))
    if not together:
        raise SplitImpossible
    shares = [abs(steps) * Fraction(weight) / together for weight in weights]
    whole = _largest_remainder([share.as_integer_ratio() for share in shares])
    sign = 1 if steps > 0 else -1
    with localcontext(_PRECISE):
        return [sign * share * step for share in whole]


def split_money(total: Decimal, weights: Sequence[Decimal], currency: str) -> list[Decimal]:
    """`split_exactly` in the currency's smallest coin. Raises SplitImpossible, CurrencyUnknown."""
    return split_exactly(total, weights, step=minor_unit(currency))


def round_together(
    parts: Sequence[Decimal] | Sequence[Fraction], *, step: Decimal
) -> list[Decimal]:
    """Each part as a whole number of `step`s, so that they sum to their own sum, rounded half-even.

    For what is shown in rows above its sum: who adds it up finds that sum. Largest remainder; on a
    tie the earlier part gets the step. Parts may be below zero.
    """
    over, under = step.as_integer_ratio()
    ratios = [part.as_integer_ratio() for part in parts]
    return [
        step * number for number in _largest_remainder([(a * under, b * over) for a, b in ratios])
    ]


def _largest_remainder(shares: Sequence[tuple[int, int]]) -> list[int]:
    """The shares, each so much over so much, in whole numbers that sum to their own sum, rounded.

    All over one denominator: whole numbers are many times quicker than fractions.
    """
    under = lcm(*(below for _, below in shares))
    exact = [above * (under // below) for above, below in shares]
    parts = [divmod(each, under) for each in exact]
    whole = [part for part, _ in parts]
    # The sort is stable, so equal remainders keep the order of the members.
    by_remainder = sorted(range(len(parts)), key=lambda place: -parts[place][1])
    for place in by_remainder[: round(Fraction(sum(exact), under)) - sum(whole)]:
        whole[place] += 1
    return whole
