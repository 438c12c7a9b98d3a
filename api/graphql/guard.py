"""Refuses a query that would cost too much, before it is validated or run.

Validation itself compares every field with every other, and nested lists multiply, so what is counted here
is the text, the fields, their depth and the rows they may ask for. Depth and cost of a fragment are worked
out once, however often it is spread; a fragment that reaches itself is refused.
"""

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any, ClassVar

from graphql import (
    DocumentNode,
    FieldNode,
    FragmentDefinitionNode,
    FragmentSpreadNode,
    GraphQLSyntaxError,
    IntValueNode,
    Lexer,
    OperationDefinitionNode,
    SelectionSetNode,
    Source,
    StringValueNode,
    TokenKind,
    VariableNode,
    Visitor,
    parse,
    visit,
)

from api.wire.input_fields import is_storable
from inventory.errors import BadInput, SpanstockError

MOST_TOKENS = 2_000
MOST_BRACKETS = 40
# Validation compares fields of one name in pairs: this many take a third of a second at worst.
MOST_FIELDS = 250
MOST_ALIASES = 30
MOST_FRAGMENTS = 50
DEEPEST = 9
# What tools ask of the schema nests `ofType` deeper than any data, and lists of fields not at all.
DEEPEST_INTROSPECTION = 15
INTROSPECTION_LISTS = frozenset({"fields", "inputFields", "interfaces", "possibleTypes", "args"})
MOST_INTROSPECTION_LISTS = 2
MOST_COST = 20_000
LONGEST_PLAIN_LIST = 10
OPENING = frozenset({TokenKind.BRACE_L, TokenKind.BRACKET_L, TokenKind.PAREN_L})
CLOSING = frozenset({TokenKind.BRACE_R, TokenKind.BRACKET_R, TokenKind.PAREN_R})


class BadQuery(BadInput):
    """The query is not GraphQL, or asks for what the schema does not have."""

    code: ClassVar[str] = "bad_query"


class QueryTooLarge(SpanstockError):
    """The query asks for more than one answer may hold; ask for it in parts."""

    code: ClassVar[str] = "query_too_large"


class QueryTooDeep(QueryTooLarge):
    """The query nests too deeply."""

    code: ClassVar[str] = "query_too_deep"


class FragmentCycle(BadQuery):
    """A fragment reaches itself."""

    code: ClassVar[str] = "fragment_cycle"


@dataclass(frozen=True)
class Weight:
    """Levels below a point, rows they may ask for, and how many lists of the schema nest there."""

    depth: int = 0
    cost: int = 0
    introspection_lists: int = 0


@dataclass
class Guard:
    """Weighs one document. `page_sizes` are the usual sizes of fields that page, by their names."""

    page_sizes: Mapping[str, int]
    plain_lists: frozenset[str]
    largest_page: int
    variables: Mapping[str, Any]
    fragments: dict[str, FragmentDefinitionNode] = field(default_factory=dict)
    weights: dict[str, Weight] = field(default_factory=dict)
    open_fragments: list[str] = field(default_factory=list)

    def check(self, document: DocumentNode) -> None:
        """Refuse the document if anything in it is too much."""
        self._count(document)
        for definition in document.definitions:
            if isinstance(definition, FragmentDefinitionNode):
                self.fragments[definition.name.value] = definition
        for name in self.fragments:
            self._weigh_fragment(name)
        for definition in document.definitions:
            if isinstance(definition, OperationDefinitionNode):
                self._check_operation(definition)

    def _count(self, document: DocumentNode) -> None:
        counter = _Counter()
        visit(document, counter)
        for found, most, what in (
            (counter.aliases, MOST_ALIASES, "aliases"),
            (counter.fields, MOST_FIELDS, "fields"),
            (counter.fragments, MOST_FRAGMENTS, "fragments"),
        ):
            if found > most:
                raise QueryTooLarge(f"The query has {found} {what}; at most {most} are taken.")

    def _check_operation(self, operation: OperationDefinitionNode) -> None:
        weight = self._weigh(operation.selection_set)
        if weight.depth > DEEPEST:
            raise QueryTooDeep(f"The query is {weight.depth} levels deep; at most {DEEPEST} are taken.")
        if weight.cost > MOST_COST:
            raise QueryTooLarge(
                f"The query may ask for {weight.cost} values; at most {MOST_COST} are taken. "
                "Ask for fewer rows."
            )

    def _weigh(self, selections: SelectionSetNode | None) -> Weight:
        depth = cost = lists = 0
        for selection in selections.selections if selections else ():
            if isinstance(selection, FieldNode):
                weight = self._weigh_field(selection)
            elif isinstance(selection, FragmentSpreadNode):
                weight = self._weigh_fragment(selection.name.value)
            else:
                weight = self._weigh(selection.selection_set)  # type: ignore[attr-defined]
            depth, lists = max(depth, weight.depth), max(lists, weight.introspection_lists)
            cost += weight.cost
        return Weight(depth, cost, lists)

    def _weigh_field(self, node: FieldNode) -> Weight:
        inner, name = self._weigh(node.selection_set), node.name.value
        if name in {"__schema", "__type"}:
            return self._weigh_introspection(inner)
        lists = inner.introspection_lists + (name in INTROSPECTION_LISTS)
        return Weight(inner.depth + 1, 1 + self._rows(node) * inner.cost, lists)

    def _weigh_introspection(self, inner: Weight) -> Weight:
        """The schema is small and the same for all: only its own nesting counts, not that of data."""
        if inner.depth > DEEPEST_INTROSPECTION or inner.introspection_lists > MOST_INTROSPECTION_LISTS:
            raise QueryTooDeep("The query asks the schema for itself over and over; ask for less of it.")
        return Weight(1, 1)

    def _weigh_fragment(self, name: str) -> Weight:
        if name in self.weights:
            return self.weights[name]
        if name in self.open_fragments:
            circle = " in ".join([*self.open_fragments[self.open_fragments.index(name) :], name])
            raise FragmentCycle(f"The fragments go in a circle: {circle}.")
        if name not in self.fragments:
            # Validation says it better.
            return Weight()
        self.open_fragments.append(name)
        weight = self._weigh(self.fragments[name].selection_set)
        self.open_fragments.pop()
        self.weights[name] = weight
        return weight

    def _rows(self, node: FieldNode) -> int:
        """How many rows a field may give."""
        name = node.name.value
        if name in self.plain_lists:
            return LONGEST_PLAIN_LIST
        if name not in self.page_sizes:
            return 1
        for argument in node.arguments:
            if argument.name.value == "first":
                return self._page_size(argument.value, self.page_sizes[name])
        return self.page_sizes[name]

    def _page_size(self, value: object, usual: int) -> int:
        if isinstance(value, IntValueNode):
            return min(int(value.value[:9]), self.largest_page) if value.value.isdigit() else usual
        if isinstance(value, VariableNode):
            given = self.variables.get(value.name.value)
            return given if isinstance(given, int) and 0 < given < self.largest_page else self.largest_page
        return self.largest_page


def parse_query(text: str) -> DocumentNode:
    """The document of a query whose size and nesting are bounded.

    Tokens and brackets are counted by the lexer first, which does not recurse, since the parser does.
    """
    try:
        _bound_tokens(text)
        return parse(text, no_location=False)
    except GraphQLSyntaxError as error:
        raise BadQuery(error.message) from None


def _bound_tokens(text: str) -> None:
    lexer, tokens, brackets = Lexer(Source(text)), 0, 0
    while (token := lexer.advance()).kind != TokenKind.EOF:
        tokens += 1
        brackets += (token.kind in OPENING) - (token.kind in CLOSING)
        if tokens > MOST_TOKENS:
            raise QueryTooLarge(f"The query has more than {MOST_TOKENS} words and signs.")
        if brackets > MOST_BRACKETS:
            raise QueryTooDeep(f"The query has more than {MOST_BRACKETS} brackets in each other.")


class _Counter(Visitor):
    """Counts what a document holds."""

    def __init__(self) -> None:
        super().__init__()
        self.fields = self.aliases = self.fragments = 0

    def enter_field(self, node: FieldNode, *_rest: object) -> None:
        self.fields += 1
        self.aliases += node.alias is not None

    def enter_string_value(self, node: StringValueNode, *_rest: object) -> None:
        if not is_storable(node.value):
            raise BadQuery("The query holds text that no database keeps.")

    def enter_fragment_definition(self, *_rest: object) -> None:
        self.fragments += 1
