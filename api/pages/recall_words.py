"""What a recall's fixed names are called, on its pages and on its printed record."""

from collections.abc import Mapping
from typing import Final

from django.utils.functional import Promise
from django.utils.translation import gettext_lazy as _

DEPTHS: Final[Mapping[str, str | Promise]] = {
    "": _("not said"),
    "wholesale": _("wholesalers"),
    "retail": _("shops"),
    "consumer": _("everybody who bought it"),
}
# From memory: the three classes of 21 CFR 7.3(m).
CLASSES: Final[Mapping[str, str | Promise]] = {
    "": _("nothing yet"),
    "I": _("Class I: serious harm or death may well come of it"),
    "II": _("Class II: harm that passes may come of it"),
    "III": _("Class III: harm is not likely"),
}
WAYS: Final[Mapping[str, str | Promise]] = {
    "email": _("by mail"),
    "phone": _("on the phone"),
    "message": _("by a message"),
    "letter": _("by letter"),
    "visit": _("on a visit"),
}
OUTCOMES: Final[Mapping[str, str | Promise]] = {
    "": _("nothing yet, or it comes back"),
    "destroyed": _("destroyed there"),
    "used_up": _("used up there"),
}
