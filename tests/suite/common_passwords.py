"""Prints the passwords of fifteen characters and more among the commonest ones that Django carries."""

import gzip
import json
from importlib.resources import files

packed = files("django.contrib.auth").joinpath("common-passwords.txt.gz").read_bytes()
print(json.dumps([one for one in gzip.decompress(packed).decode().split("\n") if len(one) >= 15]))
