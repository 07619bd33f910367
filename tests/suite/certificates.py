"""Certificates for servers on loopback."""

import ssl
import subprocess


def certificate(folder, name, subject, *more):
    """Writes NAME.pem and NAME-key.pem, which vouch for themselves unless `more` names an authority."""
    subprocess.run(
        ["openssl", "req", "-x509", "-newkey", "rsa:2048", "-nodes", "-days", "2", "-subj", f"/CN={subject}",
         "-keyout", folder / f"{name}-key.pem", "-out", folder / f"{name}.pem", *more],
        check=True, capture_output=True)


def vouched(folder, name, subject, alternative):
    """The same, of an authority whose own certificate is authority.pem."""
    certificate(folder, "authority", "an authority for this test")
    certificate(folder, name, subject, "-addext", f"subjectAltName={alternative}", "-CA", folder / "authority.pem",
                "-CAkey", folder / "authority-key.pem", "-addext", "basicConstraints=critical,CA:FALSE")


def context(folder, name):
    """What a server shows them with."""
    made = ssl.SSLContext(ssl.PROTOCOL_TLS_SERVER)
    made.load_cert_chain(folder / f"{name}.pem", folder / f"{name}-key.pem")
    return made
