"""What schemathesis reports and is no fault, each with the reason. Everything else that it finds fails the run."""

import re

import schemathesis
from schemathesis.core.failures import AcceptedNegativeData
from schemathesis.openapi.checks import RejectedPositiveData, UnsupportedMethodResponse


@schemathesis.hook
def filter_failure(context, failure, case, response):
    """Whether a finding counts."""
    return not any(is_one(failure, case, response) for is_one in EXCEPTIONS)


def rule_at_its_field(failure, case, response):
    """A request that fits the schema may break a rule that no schema can state (a time zone must exist, a horse must be the caller's
    to move, a last day can't come before the first); the answer then points to the field. A refusal of the request's shape points
    nowhere, and counts: the description and the server differ."""
    return is_rejected(failure, response, 422, "/problems/invalid") and all(error["pointer"] for error in response.json()["errors"])


def integer_with_a_fraction(failure, case, response):
    """JSON Schema counts 7.0 among the integers. Here an integer is written as one, since signatures and hashes are over the text."""
    return is_rejected(failure, response, 422, "/problems/invalid") and all(
        re.match(r"invalid type: floating point `-?[\d.e+]+`, expected [iu]\d+", error["detail"]) for error in response.json()["errors"]
    )


def number_out_of_reach(failure, case, response):
    """What is signed or reckoned with is read by RFC 7493: a number beyond 2^53 isn't one that every reader reads alike."""
    rejected = is_rejected(failure, response, 400, "/problems/malformed")
    return rejected and response.json()["detail"].startswith("a number is beyond 2^53")


def drawn_signature(failure, case, response):
    """A device proves its key when it signs in, and a signature can't be drawn."""
    return case.operation.label == "POST /v1/sessions" and is_rejected(failure, response, 422, "/problems/not-genuine")


def drawn_picture(failure, case, response):
    """An attachment must begin as its media type does, and what is drawn for one is JSON or text."""
    label = "POST /v1/horses/{horse}/attachments"
    return case.operation.label == label and is_rejected(failure, response, 415, "/problems/unsupported-media-type")


def drawn_code(failure, case, response):
    """A code that nobody gave out gets one answer whatever it looks like, and a code can't be drawn."""
    return (
        case.operation.label == "POST /v1/invitations/accept"
        and isinstance(failure, AcceptedNegativeData | RejectedPositiveData)
        and response.status_code == 410
    )


def event_refused_by_itself(failure, case, response):
    """A push is judged event by event, and one that can't be read mustn't hold up the others: the refusal stands at its place."""
    return (
        case.operation.label == "POST /v1/events"
        and isinstance(failure, AcceptedNegativeData)
        and response.status_code == 200
        and all(outcome["status"] == "refused" for outcome in response.json()["outcomes"])
    )


def word_in_place_of_an_id(failure, case, response):
    """`/v1/sessions/{id}` can be deleted, and `refresh` stands where an id would. Who isn't signed in is asked to sign in, before the id
    is looked at; who is hears 405."""
    return (
        (case.method, case.path) == ("DELETE", "/v1/sessions/refresh")
        and isinstance(failure, UnsupportedMethodResponse)
        and response.status_code == 401
    )


def is_rejected(failure, response, status, kind):
    rejected = isinstance(failure, RejectedPositiveData) and response.status_code == status
    return rejected and response.json()["type"] == kind


EXCEPTIONS = [
    rule_at_its_field,
    integer_with_a_fraction,
    number_out_of_reach,
    drawn_signature,
    drawn_picture,
    drawn_code,
    event_refused_by_itself,
    word_in_place_of_an_id,
]
