"""What is gathered of a request before a thread is given to it: whole or not, what is refused by its head, what stands behind it."""

import pytest

from servicedesk.web.gathering import MOST_HEAD, Gathered

HEAD = b"POST /x HTTP/1.1\r\nHost: h\r\n"


def gathered(*parts):
    made = Gathered()
    return made, [made.add(part) for part in parts]


def given(made):
    return b"".join(iter(lambda: made.recv(7), b""))


def test_a_request_is_whole_when_its_last_byte_is_there_however_it_was_cut():
    whole = HEAD + b"Content-Length: 5\r\n\r\nhello"

    made, answers = gathered(*(whole[n : n + 1] for n in range(len(whole))))

    assert answers == [False] * (len(whole) - 1) + [True]
    assert (given(made), made.left, made.closes) == (whole, b"", False)


def test_what_stands_behind_it_is_the_next_one():
    made, answers = gathered(b"GET / HTTP/1.1\r\n\r\nGET /next HTTP/1.1\r\n")

    assert answers == [True]
    assert (given(made), made.left) == (b"GET / HTTP/1.1\r\n\r\n", b"GET /next HTTP/1.1\r\n")


@pytest.mark.parametrize(
    "line",
    [
        b"Content-Length: 104857600",
        b"Content-Length: 99999999999999999999999999",
        b"Content-Length: +5",
        b"Content-Length:",
        b"Content-Length: 5\r\nContent-Length: 6",
        b"Transfer-Encoding: chunked",
        b"transfer-encoding: gzip, chunked\r\nContent-Length: 5",
    ],
)
def test_of_what_is_too_big_or_of_unknown_length_only_the_head_is_read(line):
    made, answers = gathered(HEAD + b"Connection: keep-alive\r\n" + line + b"\r\n\r\n" + b"x" * 100)

    assert (answers, made.closes, made.body) == ([True], True, None)
    assert given(made) == HEAD + line + b"\r\nConnection: close\r\n\r\n"


def test_a_head_without_end_is_handed_on_as_it_is():
    made, answers = gathered(HEAD, b"a" * MOST_HEAD, b"")

    assert (answers[:2], made.closes) == ([False, True], True)


def test_who_waits_to_be_told_to_go_on_is_told_once_and_only_where_it_is_wanted():
    asks = b"Expect: 100-Continue\r\nContent-Length: "
    made, answers = gathered(HEAD + asks + b"3\r\n\r\n", b"abc")
    assert (answers, made.asks) == ([False, True], True)
    assert given(made) == HEAD + b"Content-Length: 3\r\n\r\nabc"

    big, answers = gathered(HEAD + asks + b"104857600\r\n\r\n")
    assert (answers, big.asks, b"Expect" in given(big)) == ([True], False, False)


def test_who_sends_next_to_nothing_has_no_more_time_for_it():
    made, _answers = gathered(HEAD)
    assert made.due == made.begun + 20

    made.add(b"Content-Length: 1000000\r\n\r\n" + b"x" * 10)
    assert 30 < made.due - made.begun < 31
    made.add(b"x" * 512_000)
    assert 530 < made.due - made.begun < 531


def test_a_long_body_is_on_disk_and_gone_when_it_was_answered():
    made, answers = gathered(HEAD + b"Content-Length: 2000000\r\n\r\n", *[b"x" * 100_000] * 20)

    assert answers[-1] and made.body._rolled
    assert len(given(made)) > 2_000_000
    made.close()
    assert made.body.closed
