"""Requests that never reach a shop's records: their codes, and what a program and a page are told.

These codes are published by the JSON interface, beside those of ``app.shop.rejections``.
"""

from enum import StrEnum
from typing import NamedTuple

from app.wording.message import Message
from app.wording.reasons import TABLES


class RequestFault(StrEnum):
    """Why a request was not taken."""

    NOT_FOUND = "not-found"
    METHOD_NOT_ALLOWED = "method-not-allowed"  # methods
    BAD_REQUEST = "bad-request"
    NOT_JSON = "not-json"
    JSON_EXPECTED = "json-expected"
    WRONG_SHAPE = "wrong-shape"
    TOO_LARGE = "too-large"  # most, kB
    HEADER_TOO_LONG = "header-too-long"
    TOO_SLOW = "too-slow"
    UNKNOWN_HOST = "unknown-host"
    FOREIGN_ORIGIN = "foreign-origin"
    NOT_PAIRED = "not-paired"
    SHOP_COMPUTER_ONLY = "shop-computer-only"
    TOKEN_UNKNOWN = "token-unknown"
    SCOPE_MISSING = "scope-missing"  # scope
    HTTPS_ONLY = "https-only"
    TOO_MANY_REQUESTS = "too-many-requests"  # most, a second
    NO_DRY_RUN = "no-dry-run"
    TOO_MANY_STREAMS = "too-many-streams"  # most
    TIMED_OUT = "timed-out"
    NO_FEED = "no-feed"
    TOO_OFTEN = "too-often"  # most, a second
    INTERNAL_ERROR = "internal-error"


class FieldFault(StrEnum):
    """Why one field of a body, or one parameter, is not of the shape that the interface describes."""

    REQUIRED = "required"
    UNKNOWN_FIELD = "unknown-field"
    WRONG_TYPE = "wrong-type"
    NOT_ONE_OF = "not-one-of"  # choices
    TOO_LONG = "too-long"
    TOO_SHORT = "too-short"
    HIDDEN_SIGN = "hidden-sign"  # sign, such as U+202E
    OUT_OF_RANGE = "out-of-range"
    NOT_A_UUID = "not-a-uuid"
    MALFORMED = "malformed"


class Notice(NamedTuple):
    """A page that says why nothing else is shown."""

    title: Message
    sentence: Message


Q, D = RequestFault, FieldFault
NOT_FOUND, NOT_SAVED, NOT_FINISHED = Message("Not found"), Message("Not saved"), Message("Not finished")
NOT_KNOWN = Message("Not known if saved")
ELSEWHERE = Message("At another site")
TO_ENGINES = Message("Go to Engines")
NO_TLS = Message("The program was started without --tls.")

PROGRAM: dict[RequestFault, Message] = {
    Q.NOT_FOUND: Message("Nothing is at this address. See /api/openapi.json."),
    Q.METHOD_NOT_ALLOWED: Message("This address takes {methods} only."),
    Q.BAD_REQUEST: Message("The request cannot be read. Send it as /api/openapi.json describes."),
    Q.NOT_JSON: Message("The body is not JSON. Send it as /api/openapi.json describes."),
    Q.JSON_EXPECTED: Message("Send JSON, with the header Content-Type: application/json."),
    Q.WRONG_SHAPE: Message("The request does not have the shape that /api/openapi.json describes."),
    Q.TOO_LARGE: Message("The body is larger than {most}\u00a0kB and nothing was saved. Send less at once."),
    Q.HEADER_TOO_LONG: Message("The address or a header is too long. Send less in it."),
    Q.TOO_SLOW: Message("The request did not come whole in time. Send it again with the same key: it is saved once."),
    Q.UNKNOWN_HOST: Message("Unknown host name. Use an address that the program printed when it started."),
    Q.FOREIGN_ORIGIN: Message("Nothing was saved. Send no Origin and no Sec-Fetch-Site, or those of this server."),
    Q.NOT_PAIRED: Message(
        "Nothing was saved. Send the header Authorization: Bearer with a token that the shop computer created, on its "
        "page Programs with access."
    ),
    Q.SHOP_COMPUTER_ONLY: Message("Nothing was saved. Send this from the shop computer itself."),
    Q.TOKEN_UNKNOWN: Message(
        "Nothing was saved: this token is unknown, expired, or its access was removed. Create another one on the shop "
        "computer."
    ),
    Q.SCOPE_MISSING: Message("Nothing was saved. This token lacks the scope {scope}."),
    Q.HTTPS_ONLY: Message(
        "Nothing was saved. This token came over the network unencrypted: remove its access, start the program with "
        "--tls, and send a new one by https."
    ),
    Q.TOO_MANY_REQUESTS: Message("Nothing was saved. Send at most {most} requests a second, and this one again later."),
    Q.NO_DRY_RUN: Message("Nothing was saved. This operation cannot be tried only: leave dry_run out."),
    Q.TOO_MANY_STREAMS: Message("At most {most} streams are open at once. Try again later, or ask /api/changes."),
    Q.TIMED_OUT: Message("The request took too long. Send it again with the same key: it is saved only once."),
    Q.NO_FEED: Message("Nothing was taken. Send the token that evenbore feed printed, in Authorization: Bearer."),
    Q.TOO_OFTEN: Message("Nothing was taken. Send at most {most} times a second."),
    Q.INTERNAL_ERROR: Message("The program could not finish. Send it again with the same key: it is saved only once."),
}
"""The detail of a problem document."""

FIELDS: dict[FieldFault, Message] = {
    D.REQUIRED: Message("This field is required."),
    D.UNKNOWN_FIELD: Message("This field is unknown. Leave it out."),
    D.WRONG_TYPE: Message("Send a value of the type that /api/openapi.json describes."),
    D.NOT_ONE_OF: Message("Send one of these: {choices}."),
    D.TOO_LONG: Message("Send less than this, as /api/openapi.json describes."),
    D.TOO_SHORT: Message("Send more than this, as /api/openapi.json describes."),
    D.HIDDEN_SIGN: Message("Send this without {sign}, a character that does not show."),
    D.OUT_OF_RANGE: Message("Send a number in the range that /api/openapi.json describes."),
    D.NOT_A_UUID: Message("Send a UUID, such as 7c9e6679-7425-40de-944b-e07fc1f90ae7."),
    D.MALFORMED: Message("Send a value as /api/openapi.json describes."),
}

PAGES: dict[RequestFault, Notice] = {
    Q.NOT_FOUND: Notice(NOT_FOUND, Message("This page does not exist. Start from the Engines page.")),
    Q.BAD_REQUEST: Notice(
        NOT_SAVED, Message("The form cannot be read and nothing was saved. Reload its page and enter the values again.")
    ),
    Q.TOO_LARGE: Notice(
        Message("Form too large"),
        Message("The form is larger than {most}\u00a0kB and nothing was saved. Go back, shorten it and send it again."),
    ),
    Q.HEADER_TOO_LONG: Notice(NOT_FOUND, Message("The address is too long. Start from the Engines page.")),
    Q.TOO_SLOW: Notice(
        NOT_FINISHED, Message("The connection was too slow. Go back and send it again: it will be saved only once.")
    ),
    Q.UNKNOWN_HOST: Notice(
        Message("Unknown address"),
        Message(
            "This computer does not go by the name in the address bar. "
            "Use the address that the program printed when it started.",
        ),
    ),
    Q.FOREIGN_ORIGIN: Notice(
        NOT_SAVED,
        Message(
            "This form did not come from a page of this program, so nothing was saved. "
            "Open the page at the address that the program printed and send it from there.",
        ),
    ),
    Q.NOT_PAIRED: Notice(
        Message("Tablet not paired"),
        Message(
            "Nothing was saved, and this tablet holds its entries until it is paired. Open the Engines page to pair it."
        ),
    ),
    Q.SHOP_COMPUTER_ONLY: Notice(
        NOT_SAVED,
        Message("This is done on the shop computer only. Open the address there that the program printed first."),
    ),
    Q.TIMED_OUT: Notice(
        NOT_FINISHED,
        Message("The program took too long. Go back and send it again: it will be saved only once."),
    ),
    Q.INTERNAL_ERROR: Notice(
        NOT_FINISHED,
        Message("The program could not finish. Go back and send it again: it will be saved only once."),
    ),
}
"""What a browser is shown; a fault without a notice is shown as a bad request."""

TABLES.update({RequestFault: PROGRAM, FieldFault: FIELDS})  # type: ignore[dict-item]


def notice_of(fault: RequestFault) -> Notice:
    """The page of a fault."""
    return PAGES.get(fault, PAGES[RequestFault.BAD_REQUEST])
