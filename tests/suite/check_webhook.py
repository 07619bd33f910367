"""Checks a webhook's signature with Python's own hmac. Reads JSON on standard input: secret, id, timestamp, signature, body.

Prints as JSON how many of the signatures in the header `fit` the secret, and how many are there in `all`.
"""

import base64
import hashlib
import hmac
import json
import sys

told = json.load(sys.stdin)
key = base64.b64decode(told["secret"].removeprefix("whsec_"))
content = f"{told['id']}.{told['timestamp']}.{told['body']}".encode()
wanted = "v1," + base64.b64encode(hmac.new(key, content, hashlib.sha256).digest()).decode()
given = told["signature"].split(" ")
json.dump({"fit": sum(hmac.compare_digest(one, wanted) for one in given), "all": len(given)}, sys.stdout)
