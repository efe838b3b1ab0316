"""Where a person can go from every page, by what the role may do there; and from an alert."""

from typing import Final

from django.utils.functional import Promise
from django.utils.translation import gettext_lazy as _

from ledger.access import Actor
from ledger.models import Alert, AlertKind
from ledger.roles import Verb

# Path, name, and what the role must be allowed to do; None for what every maker's member sees.
PLACES: Final[tuple[tuple[str, Promise | str, Verb | None], ...]] = (
    ("/", _("Today"), None),
    ("/receive", _("Receive"), Verb.RECEIVE),
    ("/batches", _("Batches"), None),
    ("/formulas", _("Formulas"), None),
    ("/products", _("Products"), Verb.SEE_COSTS),
    ("/lots", _("Shelf"), None),
    ("/materials", _("Materials"), None),
    ("/order", _("Order"), None),
    ("/co-op", _("Co-op"), None),
    ("/books", _("Books"), Verb.SEE_COSTS),
)
# Where somebody goes who acts for the co-op alone.
OF_COOP: Final[tuple[tuple[str, Promise | str], ...]] = (
    ("/", _("Today")),
    ("/order-rounds", _("Order together")),
    ("/order/plan", _("What to buy")),
    ("/settlement", _("Who owes whom")),
    ("/suppliers", _("Suppliers")),
    ("/import", _("Bring in")),
)


def places_for(actor: Actor | None) -> list[tuple[str, Promise | str]]:
    """The pages that this person has something to do on."""
    if actor is None:
        return []
    if actor.maker_id is None:
        return list(OF_COOP)
    return [(path, name) for path, name, verb in PLACES if verb is None or actor.may(verb)]


def place_of(alert: Alert) -> str:
    """The page of what an alert is about, where it is settled."""
    match alert.kind:
        case AlertKind.CALLED_BACK:
            return f"/recall-notices/{alert.subject}"
        case AlertKind.BATCH_SHORT:
            return f"/batches/{alert.subject}"
        case AlertKind.DEPOSIT_UNCLAIMED:
            return "/deposits"
    return f"/lots/{alert.lot_id}" if alert.lot_id else f"/materials/{alert.material_id}"
