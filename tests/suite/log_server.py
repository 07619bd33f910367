"""A log server on loopback for the tests: takes messages over TLS (RFC 5425) with a certificate that FOLDER/authority.pem vouches for.

Usage: log_server.py FOLDER NAME. NAME is whose certificate it shows. It writes the port that it will have to FOLDER/port, and listens there
once FOLDER/open exists. Each caller is a line in FOLDER/callers, each message (RFC 5424) one in FOLDER/messages. It ends when its standard
input does.
"""

import socket
import ssl
import sys
import threading
import time
from pathlib import Path

import certificates

folder, name = Path(sys.argv[1]), sys.argv[2]
certificates.vouched(folder, "logs", name, f"DNS:{name}")
context = certificates.context(folder, "logs")
listener = socket.socket()
listener.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
listener.bind(("127.0.0.1", 0))
(folder / "port.part").write_text(str(listener.getsockname()[1]))
(folder / "port.part").rename(folder / "port")


def note(file, line):
    with (folder / file).open("ab") as out:
        out.write(line + b"\n")


def take(caller):
    note("callers", b"one")
    try:
        with context.wrap_socket(caller, server_side=True) as line:
            stream = line.makefile("rb")
            while length := b"".join(iter(lambda: stream.read(1).strip(), b"")):
                note("messages", stream.read(int(length)).strip())
    except (OSError, ssl.SSLError):
        pass  # Who doesn't trust it hangs up.


def serve():
    while not (folder / "open").exists():
        time.sleep(0.05)
    listener.listen()
    while True:
        take(listener.accept()[0])


threading.Thread(target=serve, daemon=True).start()
sys.stdin.read()
