"""Refusals of the ledger: a class with a code, facts and a sentence.

Programs read the code, makers read the sentence. The docstring of each class is its default
sentence; what is wrong, where, and what to do belongs in it. HTTP is not known here.
"""

from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from typing import Any, ClassVar


class Sentence(str):
    """A sentence that knows how it was made: its template, and what stands in the named places.

    It is a text like any other. Whoever says it in another language translates the template, so a
    figure stands there as what it is, and a sentence within it as one.
    """

    template: str
    places: Mapping[str, Any]

    def __new__(cls, template: str, /, **places: Any) -> "Sentence":
        """`template` with the places filled in, written as for `str.format`."""
        made = super().__new__(cls, template.format(**places))
        made.template, made.places = template, places
        return made


class Refusal(Exception):
    """The request cannot be accepted."""

    code: ClassVar[str] = "refused"

    def __init__(self, detail: str = "", *, pointer: str = "", **facts: Any) -> None:
        """`detail` replaces the default sentence, which may name the facts in braces. Where it is
        not the same each time, it is a Sentence.

        `pointer` is the JSON Pointer of the offending value in what the caller sent,
        and `facts` are the values a program may want beside the sentence.
        """
        self.detail = detail or Sentence(" ".join((type(self).__doc__ or "").split()), **facts)
        self.pointer = pointer
        self.facts: Mapping[str, Any] = facts
        super().__init__(self.detail)

    def at(self, pointer: str) -> "Refusal":
        """The same refusal, placed: `pointer` goes before the place it already names."""
        self.pointer = pointer + self.pointer
        return self


@contextmanager
def placed(pointer: str, *kinds: type[Refusal]) -> Iterator[None]:
    """What is refused within is about the value at `pointer`; only these kinds, if any are named.

    Those of other kinds pass as they are.
    """
    try:
        yield
    except Refusal as refusal:
        if not kinds or isinstance(refusal, kinds):
            refusal.at(pointer)
        raise


class Unreadable(Refusal):
    """This value cannot be read; write it as the documentation shows."""

    code = "unreadable"


class Invalid(Refusal):
    """This value cannot be accepted."""

    code = "invalid"


class UnitUnknown(Invalid):
    """The unit {unit!r} is not known; use one such as g, kg, lb, oz wt, mL, fl oz, gal or
    pieces."""

    code = "unit_unknown"


class UnitAmbiguous(Invalid):
    """ "oz" may mean volume or weight: write "fl oz" or "oz wt"."""

    code = "unit_ambiguous"


class DensityMissing(Invalid):
    """A volume of {name} becomes a mass only by a density: give the lot's or the material's."""

    code = "density_missing"


class MassMissing(Invalid):
    """A charge spread by mass needs the mass of one {name}: write it down with the material as its
    mass_each, or spread the charge by value."""

    code = "mass_missing"


class NotFound(Refusal):
    """There is no such thing here, or it is not yours."""

    code = "not_found"


class Forbidden(Refusal):
    """Your role does not allow this; ask an owner of the maker."""

    code = "forbidden"


class Conflict(Refusal):
    """The present state forbids this."""

    code = "conflict"


class NotEnough(Conflict):
    """There is not enough of this lot."""

    code = "not_enough"


class LotNotReleased(Conflict):
    """The lot {code} is {status}: release it first, or record a deviation with its reason."""

    code = "lot_not_released"


class LotExpired(Conflict):
    """The lot {code} may be used until {last_day} only: choose another, or record a deviation."""

    code = "lot_expired"


class LotOpenTooLong(Conflict):
    """The lot {code} was opened on {opened_on} and lasts {days} days then, until {use_by}: choose
    another, or record a deviation."""

    code = "lot_open_too_long"


class AlreadyReversed(Conflict):
    """The entry is already reversed; post anew if the reversal was the mistake."""

    code = "already_reversed"


class UsedSince(Conflict):
    """What this entry moved has been used since: reverse the later entries first."""

    code = "used_since"


class QuantityUnreadable(Unreadable):
    """This is not a quantity; write a number and a unit, such as "2.5 kg", "4 gal" or
    "60 pieces"."""

    code = "quantity_unreadable"


class UnitMissing(Invalid):
    """A number needs its unit: write "60 g", "60 mL" or "60 pieces"."""

    code = "unit_missing"


class UnitWrong(Invalid):
    """This unit measures something else than {name} is measured by."""

    code = "unit_wrong"


class WeightWanted(UnitWrong):
    """{name} is measured by mass: give a weight such as "2.5 kg", not a count."""


class PiecesWanted(UnitWrong):
    """{name} is counted: give pieces such as "60 pieces", not a weight or a volume."""


class QuantityNotPositive(Invalid):
    """A quantity must be above zero; what goes back out is a movement of its own."""

    code = "quantity_not_positive"


class QuantityTooSmall(Invalid):
    """This quantity is below a millionth of a gram, millilitre or piece; check its unit."""

    code = "quantity_too_small"


class QuantityTooLarge(Invalid):
    """This quantity is a million tonnes or more; check the number and its unit."""

    code = "quantity_too_large"


class CountNotWhole(Invalid):
    """{name} is counted in whole pieces: give a whole number."""

    code = "count_not_whole"


class DensityUnreadable(Unreadable):
    """This is not a density; write it such as "1.26 g/mL", "8.34 lb/gal" or "SG 1.262 20/20"."""

    code = "density_unreadable"


class DensityNotPositive(Invalid):
    """A density must be above zero."""

    code = "density_not_positive"


class DensityImplausible(Invalid):
    """No liquid or powder weighs {density} g/mL; check the number and both units."""

    code = "density_implausible"


class TemperatureUnreadable(Unreadable):
    """This is not a temperature; write it such as "20 degC" or "68 degF"."""

    code = "temperature_unreadable"


class TemperatureOutOfRange(Invalid):
    """This temperature is outside {low} to {high} degC, where it can be used here."""

    code = "temperature_out_of_range"


class MoneyUnreadable(Unreadable):
    """This is not an amount of money; write digits with a decimal point, such as "186.00"."""

    code = "money_unreadable"


class MoneyNegative(Invalid):
    """An amount of money must not be below zero here; a credit is an entry of its own."""

    code = "money_negative"


class MoneyTooFine(Invalid):
    """{currency} has {digits} decimals; write the amount with no more than that."""

    code = "money_too_fine"


class MoneyTooLarge(Invalid):
    """This amount is a million millions or more; check the number."""

    code = "money_too_large"


class CurrencyUnknown(Invalid):
    """{currency!r} is not a currency that money is paid in; give an ISO 4217 code such as USD."""

    code = "currency_unknown"


class SplitImpossible(Invalid):
    """This total cannot be split: there must be a weight above zero, and none below."""

    code = "split_impossible"


class Stale(Conflict):
    """This has been changed since you read it: read it again, then send your change anew."""

    code = "stale"


class PartsNot100(Invalid):
    """The parts make {total} %, not 100 %: a supplier's ranges need a middle for each part."""

    code = "percent_not_100"


class CountEnded(Conflict):
    """This count sheet is {state} and stays as it is: open a new one for the next count."""

    code = "count_ended"


class NotCounted(Conflict):
    """These lots have not been read yet: {codes}. Read them, or choose leave_unread."""

    code = "not_counted"


class RecountNeeded(Conflict):
    """These lots lie outside their tolerance and were read once: {codes}. Read each again."""

    code = "recount_needed"


class DifferenceUnexplained(Conflict):
    """The difference of the lot {code} is {difference} {unit}, and {explained} is explained: name
    its causes so that they sum to it."""

    code = "difference_unexplained"


class CountOvertaken(Conflict):
    """What was posted since changes the books of the moment at which {code} was read: read it
    again."""

    code = "count_overtaken"


class ExpiryStands(Conflict):
    """An expiry date is never extended. Use the lot up in time, write it off, or record a named
    deviation where it is used."""

    code = "expiry_stands"


class FileEmpty(Invalid):
    """This file is empty: choose it again."""

    code = "file_empty"


class FileTypeUnknown(Invalid):
    """By its bytes this is no PDF, PNG, JPEG or WebP: print it to a PDF, or take a picture."""

    code = "file_type_unknown"


class FileMislabelled(Invalid):
    """This file is called {said}, and its bytes are those of {found}: send it as what it is, with
    the name it had when it was made."""

    code = "file_mislabelled"


class FileDamaged(Invalid):
    """This {found} does not end as one does: it was cut off, or has something behind its end. Fetch
    it again, or save it anew."""

    code = "file_damaged"


class DocumentThere(Conflict):
    """This very file is with the lot already: use the document that is there."""

    code = "document_there"


class CertificateAlone(Conflict):
    """A release rests on a certificate of analysis only where the lot's supplier is known and the
    material has a specification of yours: set one first, or release on another basis."""

    code = "certificate_alone"


class NotAsOrdered(Invalid):
    """This is not what the order's line asks for: name the line that it came for, or leave
    order_line out to receive it as not ordered."""

    code = "not_as_ordered"


class AlertClosed(Conflict):
    """This alert is closed: what it told of is no longer so."""

    code = "alert_closed"


class AddressRefused(Invalid):
    """Messages go to public addresses by https alone; this is not one."""

    code = "address_refused"


class ReceiverKnown(Conflict):
    """Alerts go to this address already."""

    code = "receiver_known"


class NoSecret(Conflict):
    """A mail address has no secret; only a program's address has one."""

    code = "no_secret"
