"""What changes about instruments: reagents, calibrations, trust, tokens, deliveries."""

from servicedesk.instruments.actions.calibrating import NotCalibrated
from servicedesk.instruments.actions.commissioning import NotCommissioned
from servicedesk.instruments.actions.deliveries import (
    PLAIN,
    SENML,
    SENML_CBOR,
    TABLE,
    receive,
    refuse,
    sign_of_life,
    take,
)
from servicedesk.instruments.actions.displays import (
    NotShown,
    Shown,
    correct_shown,
    keep_display_photo,
    read_display,
    set_photo_aside,
)
from servicedesk.instruments.actions.files import empty_inbox, take_file
from servicedesk.instruments.actions.loads import NotLoaded, record_calibration, record_load
from servicedesk.instruments.actions.mailbox import NoMailbox, address_of, empty_mailbox, mailbox_of
from servicedesk.instruments.actions.pulls import Tried, attempt, pull, pull_due
from servicedesk.instruments.actions.relaying import NotRelayed, check_relay
from servicedesk.instruments.actions.tokens import (
    TooOften,
    digest,
    make_token,
    replace_token,
    revoke_token,
    use_token,
)
from servicedesk.instruments.actions.trust import TrustMoveRefused, move_trust
from servicedesk.instruments.adapters.records import NotRead, Record
from servicedesk.web.fetching import NotFetched

__all__ = [
    "PLAIN",
    "SENML",
    "SENML_CBOR",
    "TABLE",
    "NoMailbox",
    "NotCalibrated",
    "NotCommissioned",
    "NotFetched",
    "NotLoaded",
    "NotRead",
    "NotRelayed",
    "NotShown",
    "Record",
    "Shown",
    "TooOften",
    "Tried",
    "TrustMoveRefused",
    "address_of",
    "attempt",
    "check_relay",
    "correct_shown",
    "digest",
    "empty_inbox",
    "empty_mailbox",
    "keep_display_photo",
    "mailbox_of",
    "make_token",
    "move_trust",
    "receive",
    "pull",
    "pull_due",
    "read_display",
    "record_calibration",
    "record_load",
    "refuse",
    "replace_token",
    "revoke_token",
    "set_photo_aside",
    "sign_of_life",
    "take",
    "take_file",
    "use_token",
]
