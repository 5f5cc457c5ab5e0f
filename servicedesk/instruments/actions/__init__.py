"""What changes about instruments: reagents, calibrations, trust, tokens, deliveries."""

from servicedesk.instruments.actions.loads import NotLoaded, record_calibration, record_load
from servicedesk.instruments.actions.tokens import make_token, revoke_token
from servicedesk.instruments.actions.trust import TrustMoveRefused, move_trust

__all__ = [
    "NotLoaded",
    "TrustMoveRefused",
    "make_token",
    "move_trust",
    "record_calibration",
    "record_load",
    "revoke_token",
]
