"""Where a person can go from every page, by what the role may do there; and from an alert."""

from collections.abc import Iterable, Mapping
from typing import Final

from django.utils.functional import Promise
from django.utils.translation import gettext_lazy as _

from ledger.access import Actor
from ledger.models import Alert, AlertKind
from ledger.roles import Verb

# How pages look to whoever reads them; there whatever one may do.
LOOK: Final = "/look"
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


# The place that a page belongs to, by how its address begins, where that is not the place's own.
BELONGS: Final[Mapping[str, str]] = {
    **dict.fromkeys(("deviations", "fills"), "/batches"),
    **dict.fromkeys(("containers", "what-if"), "/products"),
    **dict.fromkeys(("at-shops", "complaints", "counts", "decantings"), "/lots"),
    **dict.fromkeys(("places", "recall-notices", "recalls"), "/lots"),
    **dict.fromkeys(("offers", "order-rounds", "orders", "suppliers"), "/order"),
    **dict.fromkeys(("claims", "deposits", "movements", "settlement"), "/co-op"),
    **dict.fromkeys(("shares", "transfers"), "/co-op"),
    **dict.fromkeys(("import", "sent-lists"), "/materials"),
    "entries": "/lots",
    "receipts": "/books",
    **dict.fromkeys(("alert-receivers", "alerts", "password", "tokens"), LOOK),
}


def belongs_to(path: str, places: Iterable[tuple[str, Promise | str]]) -> str:
    """The place that a page stands in: one of these, or how pages look; empty where it is none."""
    known = [place for place, _name in places if place != "/"] + [LOOK]
    within = [place for place in known if f"{path}/".startswith(f"{place}/")]
    return max(within, key=len, default=BELONGS.get(path.strip("/").partition("/")[0], ""))


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
