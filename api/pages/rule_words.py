"""What the rules that a named deviation overrides are called, as a reader's language has it."""

from collections.abc import Iterable, Mapping
from typing import Final

from django.utils.functional import Promise
from django.utils.translation import gettext_lazy as _

from formulas.deviations import NOTED, Rule

RULES: Final[Mapping[str, Promise | str]] = {
    Rule.STATUS: _("the lot was not released"),
    Rule.LAST_USABLE_DAY: _("the lot was past its day"),
    Rule.OPEN_TOO_LONG: _("the lot was open for too long"),
    Rule.MAXIMUM_PERCENT: _("more than the formula's maximum"),
    Rule.MAXIMUM_TEMPERATURE: _("the batch was too hot"),
    Rule.NOT_IN_FORMULA: _("not in the formula"),
    Rule.LINE_MATERIAL: _("another material than the line's"),
    Rule.NEWER_LOT: _("an older lot was in store"),
    Rule.BULK_AGE: _("the bulk was filled late"),
    NOTED: _("a reason was given, no rule stood in the way"),
}


def overrode(rules: Iterable[str]) -> str:
    """What was overridden, in one text."""
    return "; ".join(str(RULES[one]) for one in rules)
