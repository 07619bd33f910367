"""Reads metrics with the parser of Prometheus' own Python library, and prints each sample as JSON."""

import json
import sys

from prometheus_client.openmetrics.parser import text_string_to_metric_families

samples = []
for family in text_string_to_metric_families(sys.stdin.read()):
    for sample in family.samples:
        samples.append({
            "family": family.name,
            "type": family.type,
            "help": family.documentation,
            "name": sample.name,
            "labels": sample.labels,
            "value": sample.value,
        })
json.dump(samples, sys.stdout)
