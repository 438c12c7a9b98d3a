"""Documents over GraphQL, in the shapes of REST; their content is got over REST."""

import graphene

from api.graphql.supply_types import paged_field
from api.wire.attached import DOCUMENT_FILTERS, document_json
from jobs.queries.attached import visible_documents


class DocumentQuery(graphene.ObjectType):
    """Photos and papers; reads only."""

    documents = paged_field(
        "Document",
        visible_documents,  # type: ignore[arg-type]
        lambda rows, _asked: [document_json(row) for row in rows],
        DOCUMENT_FILTERS,
    )
