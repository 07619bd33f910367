"""A mail relay on loopback for the tests: a real SMTP server (aiosmtpd) that can be told to refuse first.

Usage: smtp_relay.py FOLDER [WHAT ...]. It writes its port to FOLDER/port and each letter that it takes to FOLDER/N.eml. Each
WHAT is what happens to one attempt, in order; all attempts after them are taken:
  451, 554  the letter's data is answered with that code
  421       the recipient is answered with that code
  close     the connection is cut after the data, before an answer
  tls       offers STARTTLS with a certificate that nobody vouches for (holds for the whole run; not an attempt)
  vouched   the same with a certificate that FOLDER/authority.pem vouches for
It ends when its standard input does.
"""

import asyncio
import sys
from pathlib import Path

import certificates
from aiosmtpd.smtp import SMTP

folder, plans = Path(sys.argv[1]), sys.argv[2:]
tls, vouched = "tls" in plans, "vouched" in plans
plans = [plan for plan in plans if plan not in ("tls", "vouched")]
taken = 0


class Relay:
    async def handle_RCPT(self, server, session, envelope, address, options):
        if plans and plans[0] == "421":
            plans.pop(0)
            return "421 4.3.0 not now"
        envelope.rcpt_tos.append(address)
        return "250 OK"

    async def handle_DATA(self, server, session, envelope):
        global taken
        plan = plans.pop(0) if plans else None
        if plan == "close":
            server.transport.abort()
            return "421 4.3.0 gone"
        if plan:
            return f"{plan} 4.3.0 not now"
        taken += 1
        head = f"X-Envelope-To: {','.join(envelope.rcpt_tos)}\r\n".encode()
        part = folder / f"{taken}.part"
        part.write_bytes(head + envelope.content)
        part.rename(folder / f"{taken}.eml")
        return "250 taken"


options = {}
if tls or vouched:
    if vouched:
        certificates.vouched(folder, "relay", "localhost", "IP:127.0.0.1")
    else:
        certificates.certificate(folder, "relay", "localhost", "-addext", "subjectAltName=IP:127.0.0.1")
    options = {"tls_context": certificates.context(folder, "relay")}


async def serve():
    loop = asyncio.get_running_loop()
    server = await loop.create_server(lambda: SMTP(Relay(), **options), "127.0.0.1", 0)
    port = server.sockets[0].getsockname()[1]
    (folder / "port.part").write_text(str(port))
    (folder / "port.part").rename(folder / "port")
    await loop.run_in_executor(None, sys.stdin.read)
    server.close()


asyncio.run(serve())
