"""Documents: certificates, safety data sheets and pictures, kept with the lot they belong to.

They are evidence: kept as they came, never overwritten or removed (Regulation (EC) No 1223/2009
Art 10-11, ISO 22716 17). A document goes with its lot when it moves to another maker.
"""

import hashlib
from collections.abc import Sequence
from uuid import UUID

from django.db.models import F, Q, QuerySet

from ledger.access import Actor, find, find_all, lot_for
from ledger.entries import explained
from ledger.errors import DocumentThere, Invalid
from ledger.file_types import kept_name, type_of_file
from ledger.models import Custody, Decision, DecisionDocument, Document, Lot, Share
from ledger.roles import Verb


def attach_document(
    actor: Actor,
    *,
    lot: UUID | str,
    kind: str,
    content: bytes,
    name: str,
    said: str = "",
    note: str = "",
) -> Document:
    """Keep a file with a lot that the maker has or had. `said` is the media type its sender gave.

    Raises NotFound, Forbidden, DocumentThere for a file that is with the lot already, and
    FileEmpty, FileTypeUnknown, FileMislabelled, FileDamaged for what cannot be kept.
    """
    actor.must(Verb.RECEIVE)
    found = lot_for(actor, lot)
    type = type_of_file(content, name=name, said=said)
    digest = hashlib.sha256(content).digest()
    there = Document.objects.filter(coop_id=actor.coop_id, lot=found, sha256=digest)
    for id in there.values_list("id", flat=True):
        raise DocumentThere(document=id)
    with explained():
        made = Document.objects.create(
            coop_id=actor.coop_id,
            maker_id=actor.maker,
            lot=found,
            kind=kind,
            note=note,
            name=kept_name(name, type),
            content_type=type.value,
            size=len(content),
            sha256=digest,
            content=content,
            person_id=actor.person_id,
        )
    return document_for(actor, made.id)


def documents_of(actor: Actor, lot: UUID | str) -> "QuerySet[Document]":
    """The documents of a lot, whoever of its holders attached them. Raises NotFound, Forbidden."""
    return _visible_to(actor).filter(lot=lot_for(actor, lot))


def document_for(actor: Actor, id: UUID | str) -> Document:
    """A document without its bytes. Raises NotFound, Forbidden."""
    return find(_visible_to(actor), id)


def file_of(actor: Actor, id: UUID | str) -> bytes:
    """The bytes of a document, as they came. Raises NotFound, Forbidden."""
    rows = _visible_to(actor).defer(None)
    return bytes(find(rows, id).content)


def rest_on(
    actor: Actor, decision: Decision, lot: Lot, documents: Sequence[UUID | str]
) -> list[UUID]:
    """Keep which documents of its lot a decision rests on; their ids, each once.

    Raises NotFound, Invalid for a document of another lot, and CertificateAlone for a release on a
    certificate of analysis of a material without a specification, or of a supplier that is not
    known (ISO 22716 6.5.3, from memory).
    """
    wanted = [(id, f"/documents/{place}") for place, id in enumerate(documents)]
    found = find_all(_visible_to(actor), wanted)
    for place, document in enumerate(found):
        if document.lot_id != lot.id:
            raise Invalid("This document is of another lot.", pointer=f"/documents/{place}")
    ids = list(dict.fromkeys(document.id for document in found))
    with explained():
        DecisionDocument.objects.bulk_create(
            DecisionDocument(
                coop_id=actor.coop_id, maker_id=actor.maker, decision=decision, document_id=id
            )
            for id in ids
        )
    return ids


def _visible_to(actor: Actor) -> "QuerySet[Document]":
    """Documents of the lots that the maker has or had, or that are open to the co-op, with the name
    of who attached each."""
    actor.must(Verb.READ)
    held = Custody.objects.filter(coop_id=actor.coop_id, maker_id=actor.maker).values("lot_id")
    # Which shares are open is for the wall to say.
    shared = Share.objects.filter(coop_id=actor.coop_id).values("lot_id")
    rows = Document.objects.filter(coop_id=actor.coop_id)
    rows = rows.filter(Q(lot_id__in=held) | Q(lot_id__in=shared))
    return rows.annotate(attached_by=F("maker__name")).defer("content")
