"""Hanging a document on a thing."""

import hashlib
from uuid import UUID

from django.db.models import Model

from inventory.errors import BadInput, Fault
from inventory.models import Actor, Material, Receipt, WasteManifest
from inventory.services.documents import fingerprint_of, take_once
from jobs.models import AttachedDocument, FieldReport, Incident, StoredFile
from jobs.services.attaching.looking import Content, look_into
from jobs.services.attaching.storing import place_file, placing

LONGEST_NAME = 200
COLUMNS: dict[type[Model], str] = {
    FieldReport: "report",
    Incident: "incident",
    Receipt: "receipt",
    Material: "material",
    WasteManifest: "manifest",
}


def attach(*, id: UUID, by: Actor, thing: Model, name: str, data: bytes) -> AttachedDocument:
    """Store a document of a thing. Sent again under its id it is the same document, and nothing is written.

    `name` is what people call it; it decides nothing. The file is placed first, so a crash leaves at most a
    file that no row names.

    Raises
    ------
    BadInput
        If it has no name.
    UnusableFile
        If the content cannot be taken.
    DocumentConflict
        If the id stands for another document.
    """
    name = name.strip()
    if not 0 < len(name) <= LONGEST_NAME:
        raise BadInput.of([Fault("name", name[:60], f"must have 1 to {LONGEST_NAME} characters")])
    sent = hashlib.sha256(data).hexdigest()
    fingerprint = fingerprint_of(thing=thing, name=name, sent=sent)

    def make() -> AttachedDocument:
        content = look_into(data)
        return AttachedDocument.objects.create(
            uuid=id,
            file=_store(content),
            name=name,
            sent_sha256=sent,
            by=by,
            fingerprint=fingerprint,
            **{COLUMNS[type(thing)]: thing},
        )

    with placing():
        return take_once(AttachedDocument, id=id, by=by, author="by", fingerprint=fingerprint, make=make)


def _store(content: Content) -> StoredFile:
    sha256 = hashlib.sha256(content.data).hexdigest()
    # Even where the row is known: the file may have been lost, and this is a way to bring it back.
    place_file(content.data, sha256)
    stored, _is_new = StoredFile.objects.get_or_create(
        sha256=sha256,
        defaults={
            "media_type": content.media_type,
            "size": len(content.data),
            "width": content.width,
            "height": content.height,
        },
    )
    return stored
