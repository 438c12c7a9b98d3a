"""One network of containers, spans and runs, balanced: what fits, what does not, and who is suspect.

Each node conserves fluid, each stream is a reading or unknown. Readings share errors (a meter's of the day,
a tare, the film's share), which is what makes them correlated. Nothing is clipped here: a stream may come out
below nothing where the readings say so.
"""

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace

import numpy as np
from scipy.linalg import null_space
from scipy.special import chdtri

from jobs.calc.balance import Correlation, Floats, Reconciliation, reconcile

# More than so many things at once are not told apart by the readings of one day.
MOST_FREED = 5
TIE_DECIMALS = 6
# Below this share of its size a direction is rounding and not information.
UNTESTABLE = 1e-9
# An error so many times its standard uncertainty wide is as good as unknown.
UNKNOWN_FACTOR = 1e4


@dataclass(frozen=True)
class Stream:
    """Fluid going from one node to another, `None` being outside; `measured` is nan where nobody read it.

    `shared` names the errors that this reading has in common with others, each with its standard uncertainty
    in it; `own_uncertainty` is the rest. All in one unit. `guess` is what is taken where the readings leave
    an unread stream open, as far as they do; it takes no part in any test.
    """

    name: str
    source: str | None
    target: str | None
    measured: float = math.nan
    own_uncertainty: float = 0.0
    shared: Mapping[str, float] = field(default_factory=dict)
    guess: float = math.nan

    @property
    def standard_uncertainty(self) -> float:
        return math.hypot(self.own_uncertainty, *self.shared.values())


@dataclass(frozen=True)
class Suspect:
    """One thing that would explain why the day does not close.

    `kind` is `missing` (fluid that left a node unseen), `shared` (an error that several readings share, such
    as an instrument's) or `reading`. `amount` is how much would be missing, how much too high one reading
    would be, or how many of its standard uncertainties too high the shared error.
    """

    kind: str
    name: str
    statistic: float
    amount: float
    standard_uncertainty: float


@dataclass(frozen=True)
class Unaccounted:
    """What went in and came out nowhere, before anything is fitted; nan where too little was read.

    `nodes` are those whose readings it is the sum of. `shared` names the errors that several readings share,
    each with its signed part of the standard uncertainty.
    """

    amount: float
    standard_uncertainty: float
    nodes: tuple[str, ...]
    shared: Mapping[str, float] = field(default_factory=dict)


@dataclass(frozen=True)
class NetworkBalance:
    """A balanced network.

    Attributes
    ----------
    streams : tuple of Stream
        As given; the arrays of `fit` have this order
    first : Reconciliation
        The fit as everything was read, with the global and single tests
    fit : Reconciliation
        The fit after what does not fit was freed; the same where nothing was
    freed : tuple of Suspect
        What was freed, in order: loss streams, and readings set aside
    suspects : tuple of Suspect
        What would explain the failure, the likeliest first; empty where the global test passes
    unaccounted : Unaccounted
        The residual before fitting
    """

    streams: tuple[Stream, ...]
    first: Reconciliation
    fit: Reconciliation
    freed: tuple[Suspect, ...]
    suspects: tuple[Suspect, ...]
    unaccounted: Unaccounted


def balance_network(*, streams: Sequence[Stream], confidence: float = 0.95) -> NetworkBalance:
    """Reconcile a network; where the global test fails, free what explains it best and name the suspects.

    Each candidate adds one free unknown b along a direction g of the balances: a loss at one node, an error
    shared by several readings, an error of one reading. By how much the global statistic falls,
    T = (g' W r)^2 / (g' W g) with W the inverse covariance of the balances' residuals r, is chi-square with
    one degree of freedom where nothing is wrong (generalised likelihood ratio). Fluid can be missing but not
    be too much, so a loss counts only above 0. The best is freed and the rest is tested again.

    Parameters
    ----------
    streams : sequence of Stream, (n,)
        Readings and their standard uncertainties, names differing [any one unit u]
    confidence : float
        Confidence of the tests, 0 to 1 exclusive [-]

    Returns
    -------
    NetworkBalance
        Fits in [u], statistics in [-]

    Raises
    ------
    ValueError
        If there is no stream, two have one name, a stream has no node, or a value is out of range.

    References
    ----------
    .. [1] Narasimhan, S. and Mah, R. S. H., "Generalized likelihood ratio method for gross error
       identification", AIChE Journal 33 (1987) 1514-1521.
    .. [2] Narasimhan, S. and Jordache, C., "Data Reconciliation and Gross Error Detection", Gulf (2000),
       ch. 7 and 8 (serial compensation).
    """
    network = _Network(streams)
    first = network.fit((), confidence)
    freed: list[Suspect] = []
    columns: list[Floats] = []
    suspects: tuple[Suspect, ...] = ()
    fit = first
    while not fit.is_consistent and len(freed) < MOST_FREED:
        ranked = network.rank(columns)
        suspects = suspects or tuple(_significant([suspect for suspect, _column in ranked], confidence))
        if not ranked or ranked[0][0].statistic <= _critical(confidence, 1):
            break
        freed.append(ranked[0][0])
        columns.append(ranked[0][1])
        fit = network.fit(columns, confidence)
    return NetworkBalance(
        streams=network.streams,
        first=first,
        fit=_with_values_of(network.streams, freed, fit, confidence),
        freed=tuple(_with_final_amounts(freed, fit, len(network.streams))),
        suspects=suspects,
        unaccounted=find_unaccounted(streams=network.streams),
    )


def find_unaccounted(*, streams: Sequence[Stream]) -> Unaccounted:
    """Sum of the balances that readings close: what went into them less what came out, before any fit.

    Nodes joined by an unread stream are summed, so that it cancels; nodes that an unread stream leads out of
    are left out, since anything may have gone there. The covariance is that of the readings, with what they
    share: var = sum_i w_i^2 u_i^2 + sum_g (sum_i w_i c_ig)^2.

    Parameters
    ----------
    streams : sequence of Stream, (n,)
        Readings and their standard uncertainties [any one unit u]

    Returns
    -------
    Unaccounted
        Amount, above 0 where fluid is missing, and its standard uncertainty; nan where no node is left [u]

    Raises
    ------
    ValueError
        If there is no stream, two have one name or a stream has no node.

    References
    ----------
    .. [1] Vaclavek, V., "Studies on system engineering III: optimal choice of the balance measurements in
       complicated chemical engineering systems", Chemical Engineering Science 24 (1969) 947-955.
    .. [2] JCGM 100:2008 (GUM), 5.2 (correlated input quantities).
    """
    network = _Network(streams)
    nodes = network.closed_nodes()
    if not nodes:
        return Unaccounted(math.nan, math.nan, ())
    weights = network.matrix[[network.place[node] for node in nodes]].sum(axis=0)
    amount, variance = 0.0, 0.0
    shared: dict[str, float] = {}
    for weight, stream in zip(weights, network.streams, strict=True):
        if not weight:
            continue
        amount += weight * stream.measured
        variance += (weight * stream.own_uncertainty) ** 2
        for name, part in stream.shared.items():
            shared[name] = shared.get(name, 0.0) + weight * part
    variance += sum(part**2 for part in shared.values())
    return Unaccounted(float(amount), math.sqrt(variance), tuple(nodes), shared)


class _Network:
    """The network as arrays."""

    def __init__(self, streams: Sequence[Stream]) -> None:
        self.streams = tuple(streams)
        names = [stream.name for stream in self.streams]
        if not names:
            raise ValueError("streams must be at least one")
        if len(set(names)) < len(names):
            raise ValueError("streams must have different names")
        ends = (node for stream in self.streams for node in (stream.source, stream.target))
        nodes = [node for node in dict.fromkeys(ends) if node is not None]
        self.place = {node: row for row, node in enumerate(nodes)}
        self.matrix = np.zeros((len(self.place), len(names)))
        for column, stream in enumerate(self.streams):
            if stream.source == stream.target:
                raise ValueError(f"streams must lead somewhere, {stream.name} does not")
            for node, sign in ((stream.source, -1.0), (stream.target, 1.0)):
                if node is not None:
                    self.matrix[self.place[node], column] += sign
        self.measured = np.array([stream.measured for stream in self.streams])
        self.uncertainty = np.array([stream.standard_uncertainty for stream in self.streams])
        self.correlations = self._correlate()

    def _correlate(self) -> list[Correlation]:
        """Correlations of readings by the errors they share."""
        by_error: dict[str, list[int]] = {}
        for index, stream in enumerate(self.streams):
            if not math.isnan(stream.measured):
                for name, part in stream.shared.items():
                    if part:
                        by_error.setdefault(name, []).append(index)
        found: dict[tuple[int, int], float] = {}
        for name, members in by_error.items():
            for position, first in enumerate(members):
                for second in members[position + 1 :]:
                    product = self.streams[first].shared[name] * self.streams[second].shared[name]
                    found[first, second] = found.get((first, second), 0.0) + product
        return [
            (first, second, min(max(value / (self.uncertainty[first] * self.uncertainty[second]), -1), 1))
            for (first, second), value in found.items()
        ]

    def fit(self, columns: Sequence[Floats], confidence: float) -> Reconciliation:
        """Reconcile with these further unknowns."""
        extra = np.full(len(columns), np.nan)
        return reconcile(
            measured=np.concatenate([self.measured, extra]),
            standard_uncertainty=np.concatenate([self.uncertainty, extra]),
            balances=np.column_stack([self.matrix, *columns]) if columns else self.matrix,
            correlations=self.correlations,
            confidence=confidence,
        )

    def rank(self, columns: Sequence[Floats]) -> list[tuple[Suspect, Floats]]:
        """Candidates by how much of the failure each explains; among equals missing fluid comes first."""
        weight, residual, projection = self._weigh(columns)
        found = []
        for kind, name, column in self._candidates():
            direction = projection @ column
            precision = float(direction @ weight @ direction)
            # What the unread streams can take up by themselves is not told apart from them.
            if precision <= UNTESTABLE * float(column @ column) * float(np.abs(weight).max(initial=0.0)):
                continue
            amount = -float(direction @ weight @ residual) / precision
            if kind != "missing" or amount > 0:
                statistic = round(amount**2 * precision, TIE_DECIMALS)
                found.append((Suspect(kind, name, statistic, amount, precision**-0.5), column))
        # A stable sort keeps the order of the candidates among equals.
        return sorted(found, key=lambda pair: -pair[0].statistic)

    def _weigh(self, columns: Sequence[Floats]) -> tuple[Floats, Floats, Floats]:
        """Inverse covariance and residual of the balances left when what is unread is projected out."""
        is_read = ~np.isnan(self.measured)
        unread = np.column_stack([self.matrix[:, ~is_read], *columns])
        projection = null_space(unread.T).T if unread.shape[1] else np.eye(len(self.place))
        balances = projection @ self.matrix[:, is_read]
        read = [stream for stream, known in zip(self.streams, is_read, strict=True) if known]
        errors = list(dict.fromkeys(name for stream in read for name in stream.shared))
        own = balances * [stream.own_uncertainty for stream in read]
        loads = np.array([[stream.shared.get(name, 0.0) for name in errors] for stream in read])
        shared = balances @ loads.reshape(len(read), len(errors))
        weight = np.linalg.pinv(own @ own.T + shared @ shared.T, hermitian=True)
        return weight, balances @ self.measured[is_read], projection

    def _candidates(self) -> list[tuple[str, str, Floats]]:
        found: list[tuple[str, str, Floats]] = []
        for node, row in self.place.items():
            column = np.zeros(len(self.place))
            column[row] = -1.0
            found.append(("missing", node, column))
        readings = [index for index, stream in enumerate(self.streams) if not math.isnan(stream.measured)]
        for error in dict.fromkeys(name for index in readings for name in self.streams[index].shared):
            members = [index for index in readings if self.streams[index].shared.get(error)]
            if len(members) > 1:
                parts = np.array([self.streams[index].shared[error] for index in members])
                found.append(("shared", error, -self.matrix[:, members] @ parts))
        found += [("reading", self.streams[index].name, -self.matrix[:, index]) for index in readings]
        return found

    def closed_nodes(self) -> list[str]:
        """Nodes, joined by unread streams into groups, of which no group has an unread way out."""
        group = {node: node for node in self.place}

        def find(node: str) -> str:
            while group[node] != node:
                node = group[node]
            return node

        open_ends = []
        for stream in self.streams:
            if not math.isnan(stream.measured):
                continue
            if stream.source is not None and stream.target is not None:
                group[find(stream.source)] = find(stream.target)
            else:
                open_ends.append(stream.source or stream.target)
        left_out = {find(node) for node in open_ends if node is not None}
        return [node for node in self.place if find(node) not in left_out]


def _significant(suspects: Sequence[Suspect], confidence: float) -> list[Suspect]:
    """Those whose own test fails, at a level that allows for their number; at least the likeliest."""
    if not suspects:
        return []
    limit = _critical(confidence ** (1 / len(suspects)), 1)
    limit = min(limit, suspects[0].statistic)
    return [suspect for suspect in suspects if suspect.statistic >= limit]


def _critical(confidence: float, degrees: int) -> float:
    return float(chdtri(degrees, 1 - confidence))


def _with_values_of(
    streams: Sequence[Stream], freed: Sequence[Suspect], fit: Reconciliation, confidence: float
) -> Reconciliation:
    """The fit's tests with the values of the network in which what was freed is not known at all."""
    known = _without(streams, freed)
    values = _Network(known).fit((), confidence) if freed else fit
    is_open = np.isnan(values.reconciled)
    guessed = [_with_guess(stream) if open else stream for stream, open in zip(known, is_open, strict=True)]
    if guessed != known:
        values = _Network(guessed).fit((), confidence)
        values.standard_uncertainty[is_open] = math.nan
    count = len(streams)
    return replace(
        fit,
        reconciled=values.reconciled[:count],
        standard_uncertainty=values.standard_uncertainty[:count],
        adjustment=values.reconciled[:count] - np.array([stream.measured for stream in streams]),
        test_statistic=fit.test_statistic[:count],
    )


def _with_guess(stream: Stream) -> Stream:
    """So weak a reading that it moves nothing that is known."""
    if math.isnan(stream.guess):
        return stream
    return replace(stream, measured=stream.guess, own_uncertainty=UNKNOWN_FACTOR * (1 + abs(stream.guess)))


def _without(streams: Sequence[Stream], freed: Sequence[Suspect]) -> list[Stream]:
    """The streams with losses where fluid is missing, and without the readings and errors set aside."""
    found = list(streams)
    for suspect in freed:
        if suspect.kind == "missing":
            found.append(Stream(f"missing at {suspect.name}", suspect.name, None))
        elif suspect.kind == "reading":
            found = [
                replace(stream, measured=math.nan) if stream.name == suspect.name else stream
                for stream in found
            ]
        else:
            found = [_with_error_unknown(stream, suspect.name) for stream in found]
    return found


def _with_error_unknown(stream: Stream, error: str) -> Stream:
    if error not in stream.shared:
        return stream
    return replace(stream, shared={**stream.shared, error: stream.shared[error] * UNKNOWN_FACTOR})


def _with_final_amounts(freed: Sequence[Suspect], fit: Reconciliation, count: int) -> list[Suspect]:
    """What was freed early may have come out otherwise once the rest was freed too."""
    return [
        replace(
            suspect,
            amount=float(fit.reconciled[count + index]),
            standard_uncertainty=float(fit.standard_uncertainty[count + index]),
        )
        for index, suspect in enumerate(freed)
    ]
