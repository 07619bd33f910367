"""Reads a dashboard with the dashboard tool's own published types; fails if a panel comes back other than it was written."""

import json
import sys

from grafana_foundation_sdk.cog import plugins
from grafana_foundation_sdk.cog.encoder import JSONEncoder
from grafana_foundation_sdk.models import dashboard

plugins.register_default_plugins()
with open(sys.argv[1], encoding="utf-8") as file:
    written = json.load(file)
read = json.loads(JSONEncoder().encode(dashboard.Dashboard.from_json(written)))
assert written["panels"], "no panels"
for before, after in zip(written["panels"], read["panels"], strict=True):
    for field, value in before.items():
        come_back = after.get(field)
        if field == "fieldConfig":
            # What it fills in by itself is left aside.
            value = value["defaults"]
            come_back = {key: come_back["defaults"].get(key) for key in value}
        assert come_back == value, f"{before['title']}: {field}: {come_back} for {value}"
places = [(p["gridPos"]["x"], p["gridPos"]["y"]) for p in written["panels"]]
assert len(set(places)) == len(places), "two panels in one place"
