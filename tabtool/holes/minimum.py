"""The exact minimum of a sum of costs over choices that hang together.

Each *choice* takes one of a few values; a value has a cost of its own, and two linked
choices have a cost for each pair of values. A tune gives a chain of links with some
loops in it, where a repeated phrase is chosen once for all the places it stands.

The method is dynamic programming over the links (known as bucket elimination): a
choice is taken out, and for every combination of values its neighbours may have the
least it can cost is kept. On a chain this is the usual forward recursion. Costs are
whole numbers, so nothing is rounded; among equal minima the lowest value wins, the
choice with the lowest number being decided first.
"""

from __future__ import annotations

import heapq
from itertools import product
from typing import NamedTuple

Rows = list[list[int]]  # [value of the one][value of the other]


class _Factor(NamedTuple):
    """A cost that hangs on three or more choices together."""

    scope: tuple[int, ...]
    costs: dict[tuple[int, ...], int]


class Network:
    """Choices, numbered as the caller likes, and their costs; `solve` empties it."""

    def __init__(self) -> None:
        self.own: dict[int, list[int]] = {}
        self.links: dict[int, dict[int, Rows]] = {}
        self.factors: dict[int, list[_Factor]] = {}

    def choice(self, number: int, costs: list[int]) -> None:
        """A choice with one cost for each value it may take."""
        self.own[number] = costs
        self.links[number] = {}

    def add(self, number: int, costs: list[int]) -> None:
        """More cost for each value of a choice."""
        own = self.own[number]
        for value, cost in enumerate(costs):
            own[value] += cost

    def link(self, one: int, other: int, rows: Rows) -> None:
        """A cost for each pair of values of two choices; adds to what links them already."""
        there = self.links[one].get(other)
        if there is None:
            self.links[one][other] = [list(row) for row in rows]
            self.links[other][one] = [list(column) for column in zip(*rows, strict=True)]
            return
        back = self.links[other][one]
        for i, row in enumerate(rows):
            for j, cost in enumerate(row):
                there[i][j] += cost
                back[j][i] += cost

    def solve(self, limit: int | None = None) -> tuple[int, dict[int, int]] | None:
        """The least cost and a value for each choice that gives it.

        None if a single step would have to weigh more than `limit` combinations.
        """
        total = 0
        trace: list[tuple[int, tuple[int, ...], dict[tuple[int, ...], int]]] = []
        queue = [(self._degree(number), -number) for number in self.own]
        heapq.heapify(queue)
        while queue:
            degree, minus = heapq.heappop(queue)
            number = -minus
            if number not in self.own or degree != self._degree(number):
                continue  # taken out already, or its links have changed since
            around = self._around(number)
            if limit is not None:
                weighed = len(self.own[number])
                for other in around:
                    weighed *= len(self.own[other])
                if weighed > limit:
                    return None
            costs, best = self._take_out(number, around)
            trace.append((number, around, best))
            if around:
                self._put(around, costs)
            else:
                total += costs[()]
            for other in around:
                heapq.heappush(queue, (self._degree(other), -other))
        values: dict[int, int] = {}
        for number, around, best in reversed(trace):
            values[number] = best[tuple([values[other] for other in around])]
        return total, values

    def _degree(self, number: int) -> int:
        return len(self._around(number)) if self.factors.get(number) else len(self.links[number])

    def _around(self, number: int) -> tuple[int, ...]:
        around = set(self.links[number])
        for factor in self.factors.get(number, ()):
            around.update(factor.scope)
        around.discard(number)
        return tuple(sorted(around))

    def _take_out(
        self, number: int, around: tuple[int, ...]
    ) -> tuple[dict[tuple[int, ...], int], dict[tuple[int, ...], int]]:
        """The least a choice costs for each combination of its neighbours, and its value there."""
        own, links = self.own.pop(number), self.links.pop(number)
        factors = self.factors.pop(number, [])
        for other in links:
            del self.links[other][number]
        for factor in factors:
            for other in factor.scope:
                if other in self.factors:
                    self.factors[other] = [f for f in self.factors[other] if f is not factor]
        linked = [(around.index(other), rows) for other, rows in links.items()]
        costs: dict[tuple[int, ...], int] = {}
        best: dict[tuple[int, ...], int] = {}
        values = range(len(own))
        for there in product(*[range(len(self.own[other])) for other in around]):
            sums = own
            for place, rows in linked:
                at = there[place]
                sums = [sums[value] + rows[value][at] for value in values]
            for factor in factors:
                known = dict(zip(around, there, strict=True))
                sums = [
                    sums[value]
                    + factor.costs[
                        tuple([value if n == number else known[n] for n in factor.scope])
                    ]
                    for value in values
                ]
            least = min(sums)
            costs[there] = least
            best[there] = sums.index(least)
        return costs, best

    def _put(self, around: tuple[int, ...], costs: dict[tuple[int, ...], int]) -> None:
        if len(around) == 1:
            self.add(around[0], [costs[(i,)] for i in range(len(self.own[around[0]]))])
        elif len(around) == 2:
            one, other = around
            columns = range(len(self.own[other]))
            self.link(
                one, other, [[costs[i, j] for j in columns] for i in range(len(self.own[one]))]
            )
        else:
            factor = _Factor(around, costs)
            for number in around:
                self.factors.setdefault(number, []).append(factor)
