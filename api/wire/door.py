"""What REST views and the GraphQL address share: who asks, what is taken, how faults are told."""

from functools import partial
from typing import Any, cast

from rest_framework.permissions import SAFE_METHODS
from rest_framework.request import Request
from rest_framework.views import APIView

from api.models import SystemToken, User
from api.sign_in.scopes import read_scopes, require_read, require_write
from api.wire.input_fields import is_storable
from api.wire.json_bodies import JsonBodyParser
from api.wire.keyed_answers import answer_once, read_key
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
    # Whether what is answered to a POST is kept under the key it was sent with; not where it holds a secret.
    keeps_answers = True
    # A creation whose body has no id of its own would happen twice when it is sent twice.
    needs_key = False

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
        if self.takes_key(request.method or ""):
            self._keep_answer(request)

    @classmethod
    def takes_key(cls, method: str) -> bool:
        """Whether an Idempotency-Key means something here."""
        return method == "POST" and cls.keeps_answers and method not in cls.reading_methods

    def _keep_answer(self, request: Request) -> None:
        key = read_key(request, is_required=self.needs_key)
        make = getattr(self, "post", None)
        if key is None or make is None:
            return
        rights = f"{self._user.role} {self._user.crew_id} {sorted(self.scopes or ())}"
        once = partial(answer_once, key=key, user=self._user, request=request, rights=rights)
        self.post = lambda *args, **names: once(partial(make, *args, **names))

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
