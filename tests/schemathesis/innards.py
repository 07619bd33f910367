"""A check of our own among those of schemathesis: no refusal tells of what the server is made of."""

import re

import schemathesis

# Words of the programs and libraries within, of files and of queries. None of them can be part of an answer for people.
INNARDS = re.compile(
    r"diesel|sqlite|postgres|actix|tokio|panicked|backtrace|poison|\.rs\b|/(home|root|tmp|usr|var)/|\b(SELECT|INSERT|UPDATE|DELETE) ",
)


@schemathesis.check
def refusals_tell_no_innards(context, response, case):
    """ASVS 5.0, 13.4.6 and 16.5.1."""
    if response.status_code < 400:
        return
    found = INNARDS.search(response.text)
    # What somebody sent may be told back to them.
    sent = f"{case.path_parameters} {case.query} {case.headers} {case.body}"
    assert not found or found.group() in sent, f"a refusal tells of {found.group()!r}: {response.text}"
