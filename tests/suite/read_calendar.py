"""Reads a calendar from standard input with the library icalendar, strictly, and writes its events as JSON."""

import datetime
import json
import sys

import icalendar

calendar = icalendar.Calendar.from_ical(sys.stdin.buffer.read())
problems = [str(error) for part in calendar.walk() for error in part.errors]
events = []
for event in calendar.walk("VEVENT"):
    start = event.decoded("DTSTART")
    assert not isinstance(start, datetime.datetime), "an all-day event has a date"
    events.append(
        {
            "uid": str(event["UID"]),
            "start": start.isoformat(),
            "stamp": event.decoded("DTSTAMP").isoformat(),
            "modified": event.decoded("LAST-MODIFIED").isoformat(),
            "sequence": int(event["SEQUENCE"]),
            "summary": str(event["SUMMARY"]),
            "description": str(event["DESCRIPTION"]),
            "location": str(event["LOCATION"]),
            "class": str(event["CLASS"]),
        }
    )
json.dump(
    {
        "version": str(calendar["VERSION"]),
        "product": str(calendar["PRODID"]),
        "name": str(calendar["X-WR-CALNAME"]),
        "problems": problems,
        "events": events,
    },
    sys.stdout,
)
