"""What REST views and the GraphQL address share: who asks, what is taken, how faults are told."""

from typing import Any, cast

from rest_framework.permissions import SAFE_METHODS
from rest_framework.request import Request
from rest_framework.views import APIView

from api.models import SystemToken, User
from api.sign_in.scopes import read_scopes, require_read, require_write
from api.wire.input_fields import is_storable
from api.wire.json_bodies import JsonBodyParser
from api.wire.viewer import get_actor, make_viewer
from inventory.errors import BadInput, Fault, NotFound
from inventory.models import Actor
from jobs.queries.access import WorkViewer


class Door(APIView):
    """A view for programs: signed in, JSON only, refusals as problem details.

    Sign-in is by session, which wants a CSRF token for writes, or by a system's token.
    """

    parser_classes = [JsonBodyParser]
    # Methods that only read here, though others write by them.
    reading_methods: frozenset[str] = frozenset()

    def initial(self, request: Request, *args: Any, **kwargs: Any) -> None:
        super().initial(request, *args, **kwargs)
        if request.method in SAFE_METHODS or request.method in self.reading_methods:
            require_read(self.scopes)
        else:
            require_write(self.scopes)
        # PostgreSQL fails on such text in a comparison; no name of ours has it.
        if not all(is_storable(str(value)) for value in kwargs.values()):
            raise NotFound("There is nothing at this address.")
        for name, value in request.query_params.items():
            if not is_storable(name) or not is_storable(str(value)):
                raise BadInput.of([Fault(name[:60], "", "must be text")])

    @property
    def viewer(self) -> WorkViewer:
        """What the asker may see, made once a request."""
        if not hasattr(self, "_viewer"):
            self._viewer = make_viewer(self._user, scopes=self.scopes)
        return self._viewer

    @property
    def scopes(self) -> frozenset[str] | None:
        """What a system's token is narrowed to; None for a person."""
        token = self.request.auth
        return read_scopes(token.scopes) if isinstance(token, SystemToken) else None

    @property
    def actor(self) -> Actor:
        """Whom the ledger names for what the asker does."""
        return get_actor(self._user)

    @property
    def _user(self) -> User:
        return cast("User", self.request.user)
