"""Files that belong to a lot, such as certificates, and the decisions that rest on them."""

from typing import Final

from django.conf import settings
from django.db import models

from ledger.file_types import LONGEST_NAME, FileType
from ledger.models.base import MakerRow, link
from ledger.models.stock import Decision, Lot

# However large a server lets a file be, no row is larger: 25 MiB.
LARGEST: Final = 25 * 1024 * 1024


class Document(MakerRow):
    """A file as it came, attached to a lot by one of its holders (`maker`). Rows are only added.

    It goes with the lot: whoever has the lot or had it sees the row, as they see the lot.
    """

    class Kind(models.TextChoices):
        COA = "coa"
        SDS = "sds"
        SPECIFICATION = "specification"
        PHOTO = "photo"
        OTHER = "other"

    lot = link(Lot)
    kind = models.CharField(max_length=13, choices=Kind.choices)
    note = models.CharField(max_length=400, blank=True)
    name = models.CharField(max_length=LONGEST_NAME)
    content_type = models.CharField(
        max_length=15, choices=[(one.value, one.value) for one in FileType]
    )
    size = models.PositiveIntegerField()
    sha256 = models.BinaryField(max_length=32)
    content = models.BinaryField()
    person = models.ForeignKey(
        settings.AUTH_USER_MODEL, models.PROTECT, related_name="+", db_index=False
    )
    recorded_at = models.DateTimeField(auto_now_add=True)

    class Meta:
        constraints = (
            models.UniqueConstraint(fields=["coop", "lot", "sha256"], name="document_once_per_lot"),
            models.CheckConstraint(
                condition=models.Q(size__gt=0, size__lte=LARGEST), name="document_size_kept"
            ),
        )


class DecisionDocument(MakerRow):
    """A document that a decision about its lot rests on."""

    decision = link(Decision)
    document = link(Document)

    class Meta:
        constraints = (
            models.UniqueConstraint(
                fields=["coop", "decision", "document"], name="decision_rests_on_it_once"
            ),
        )
