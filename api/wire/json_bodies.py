"""Reading a body: JSON only, of a size that is known beforehand, whatever is in it."""

import json
from collections.abc import Mapping
from typing import IO, Any, NoReturn

from rest_framework.parsers import BaseParser

from api.errors import Malformed, TooLarge

# Five hundred lines with all their fields are a fifth of this.
LARGEST_BODY_BYTES = 1_000_000


class JsonBodyParser(BaseParser):
    """Reads JSON and nothing else. Numbers that JSON does not have, such as NaN, are refused."""

    media_type = "application/json"
    largest_bytes = LARGEST_BODY_BYTES

    def parse(
        self,
        stream: IO[bytes],
        media_type: str | None = None,
        parser_context: Mapping[str, Any] | None = None,
    ) -> Any:
        # One byte more than is taken: enough to know, whatever length was announced.
        body = stream.read(self.largest_bytes + 1)
        if len(body) > self.largest_bytes:
            raise TooLarge(f"The body is larger than {self.largest_bytes} bytes. Send it in parts.")
        return read_json(body)


def read_json(body: bytes) -> Any:
    """The value that a body holds."""
    try:
        value = json.loads(body.decode("utf-8"), parse_constant=_refuse_constant)
        # An escape may stand for half of a surrogate pair, which no answer could repeat.
        json.dumps(value, ensure_ascii=False).encode("utf-8")
        return value
    except UnicodeEncodeError:
        raise Malformed("The body holds half of a surrogate pair.") from None
    except UnicodeDecodeError:
        raise Malformed("The body is not text in UTF-8.") from None
    except RecursionError:
        raise Malformed("The body is nested too deeply.") from None
    except json.JSONDecodeError as error:
        raise Malformed(
            f"The body is not JSON: {error.msg} at line {error.lineno} column {error.colno}."
        ) from None
    except ValueError:
        raise Malformed("The body holds a number that JSON does not have or that is too long.") from None


def _refuse_constant(name: str) -> NoReturn:
    raise ValueError(name)
