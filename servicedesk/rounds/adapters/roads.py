"""A road router is asked for a block of ways, over HTTP. Coordinates go out, and nothing else: no names, no order, no times."""

from collections.abc import Iterator, Sequence

from django.conf import settings

from servicedesk.core.rounds.router import (
    NO_ROADS,
    Block,
    NotUnderstood,
    Refused,
    Service,
    Table,
    answer_of,
    halves,
    refusal_of,
    request_of,
)
from servicedesk.web.fetching import NotFetched, ask, named

HEADERS = {"Accept": "application/json", "Content-Type": "application/json"}
MOST_REQUESTS = 400
"""For one block; who refuses more of it is of no use."""


class NoAnswer(Exception):
    """The router did not answer, or not so that it can be understood; the sentence says why."""


def tables_of(service: Service, block: Block) -> Iterator[Table]:
    """What the router says of a block, in as many answers as it takes: too large a block is halved, a place far from any road is looked for and told as
    lost, a pair that no road joins has no way. Raises NoAnswer."""
    return _Line(service).tables(block)


class _Line:
    """One block's conversation with the router."""

    def __init__(self, service: Service) -> None:
        self.service, self.asked = service, 0

    def ask(self, block: Block) -> Table:
        """One request. Raises NoAnswer, Refused."""
        self.asked += 1
        if self.asked > MOST_REQUESTS:
            raise NoAnswer("It refuses nearly all that it is asked.")
        request = request_of(self.service, block)
        where = named(
            self.service.url, private=settings.ROADS_PRIVATE, private_set_by="TANKROUND_ROADS_PRIVATE"
        )
        try:
            body = ask(
                self.service.url.rstrip("/") + request.path, request.body, headers=HEADERS, where=where
            )
            return answer_of(self.service, block, body)
        except NotFetched as wrong:
            code = refusal_of(self.service, wrong.body)
            if code:
                raise Refused(code) from wrong
            raise NoAnswer(str(wrong)) from wrong
        except NotUnderstood as wrong:
            raise NoAnswer(str(wrong)) from wrong

    def tables(self, block: Block) -> Iterator[Table]:
        try:
            yield self.ask(block)
            return
        except Refused as wrong:
            code = wrong.code
        if code == "lost":
            yield from self.without_lost(block)
        elif len(block.starts) * len(block.ends) > 1:
            for half in halves(block):
                yield from self.tables(half)
        elif code == "apart":
            yield Table({(block.starts[0], block.ends[0]): None})

    def without_lost(self, block: Block) -> Iterator[Table]:
        keys = list(dict.fromkeys((*block.starts, *block.ends)))
        lost = self.lost(keys)
        if len(lost) == len(keys):
            raise NoAnswer(NO_ROADS)
        if not lost:
            raise NoAnswer("It finds no road near a place, and does not say which.")
        yield Table({}, frozenset(lost))
        starts, ends = (tuple(key for key in keys if key not in lost) for keys in (block.starts, block.ends))
        if starts and ends:
            yield from self.tables(Block(starts, ends))

    def lost(self, keys: Sequence[int]) -> set[int]:
        """Which of these places the router finds no road near: asked for the ways from the first to all, then halved until it is known."""
        try:
            self.ask(Block((keys[0],), tuple(keys)))
        except Refused as wrong:
            middle = len(keys) // 2
            if middle:
                return self.lost(keys[:middle]) | self.lost(keys[middle:])
            return {keys[0]} if wrong.code == "lost" else set()
        return set()
