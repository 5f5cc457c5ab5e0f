"""Why a letter did not go out is said in a sentence with what to do, from what mail servers answer."""

import pytest

from servicedesk.dispatch.queries import refusal_words


@pytest.mark.parametrize(
    ("error", "said"),
    [
        (
            "550 b'5.1.1 <a@example.org>: Recipient address rejected: User unknown'",
            "The address was refused.",
        ),
        ("{'a@example.org': (550, b'no such person')}", "The address was refused."),
        ("552 b'5.2.2 Over quota'", "The mailbox is full."),
        ("452 b'4.2.2 The mailbox is over its limit'", "The mailbox is full."),
        ("552 b'5.3.4 Message size exceeds fixed limit'", "The letter is too big"),
        ("535 b'5.7.8 Authentication credentials invalid'", "The mail server refused our sign-in."),
        ("554 b'5.7.1 Message rejected as spam'", "The mail server took it for unwanted mail."),
        ("ConnectionRefusedError: [Errno 111] Connection refused", "The mail server was not reached."),
        ("gaierror: [Errno -2] Name or service not known", "The mail server was not reached."),
        ("TimeoutError: timed out", "The mail server did not answer in time."),
        ("SSLCertVerificationError: certificate verify failed", "The mail server's certificate is not sound"),
        ("421 b'4.3.2 Service shutting down'", "The mail server asked to wait."),
        ("ValueError: something else", "The mail server did not take it."),
        ("", ""),
    ],
)
def test_an_answer_has_its_sentence(error: str, said: str) -> None:
    words = refusal_words(error)

    assert words.startswith(said)
    assert bool(words) == bool(error)
