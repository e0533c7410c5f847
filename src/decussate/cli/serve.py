"""``decussate serve``: the bedside pages, on this machine, or encrypted for others."""

from __future__ import annotations

import ipaddress
import socket
import ssl
from collections.abc import Sequence
from pathlib import Path

import click

from decussate.cli.options import by_option, database_option
from decussate.errors import BadInput

__all__ = ["serve"]

HOST = "127.0.0.1"

_a_file = click.Path(exists=True, dir_okay=False, path_type=Path)


@click.command()
@click.option(
    "--demo",
    is_flag=True,
    help="Add invented patients; while nobody owns the database, sign their invented examiner in "
    "with one touch.",
)
@click.option("--host", default=HOST, show_default=True, help="Address to listen at.")
@click.option("--port", type=click.IntRange(1, 65535), default=8000, show_default=True)
@click.option("--certificate", type=_a_file, help="TLS certificate with its chain, PEM.")
@click.option("--certificate-key", type=_a_file, help="Private key of the certificate, PEM.")
@click.option(
    "--name",
    "names",
    multiple=True,
    help="Name by which browsers address this server, as in its certificate; may be repeated.",
)
@click.option(
    "--scan-command",
    default="",
    help="Program of yours that looks for malware: it reads an attached file from standard input "
    "and exits with 0 when the file may be kept.",
)
@database_option
@by_option
def serve(
    demo: bool,
    host: str,
    port: int,
    certificate: Path | None,
    certificate_key: Path | None,
    names: tuple[str, ...],
    scan_command: str,
    database: str,
    by: str | None,
) -> None:
    """Serve the bedside pages: to browsers on this machine, or with TLS to others."""
    import uvicorn

    from decussate.records.scanning import Scanner
    from decussate.web.app import LOCAL_HOSTS, create_app
    from decussate.web.limits import SERVER_LIMITS

    here = _is_loopback(host)
    tls = certificate is not None and certificate_key is not None
    _require_encryption(host, here=here, tls=tls, certificate=certificate, key=certificate_key)
    if demo and not here:
        hint = "It signs in without a password, so that it is for this machine alone."
        raise BadInput("--demo", f"with --host {host}", f"--host {HOST}", hint=hint)
    addressed = _addressed(host, names, LOCAL_HOSTS if here else ())
    _require_free(host, port)
    scanner = Scanner.of_command(scan_command)
    app = create_app(database=database, demo=demo, hosts=addressed, tls=tls, scanner=scanner)
    if by:
        app.state.store.by = by
    if not here and not app.state.access.owned():
        app.state.store.close()
        hint = "Make one first: decussate people add NAME --role owner"
        raise BadInput("owner", "nobody", "an owner before others can reach it", hint=hint)
    shown = f"[{addressed[0]}]" if ":" in addressed[0] else addressed[0]
    scheme = "https" if tls else "http"
    if app.state.store.database.path is None:
        from decussate.records.disk import disk_in_words

        click.echo(disk_in_words(app.state.store.database))
    click.echo(f"Open {scheme}://{shown}:{port}/ in a browser; Ctrl-C stops.")
    uvicorn.run(
        app,
        host=host,
        port=port,
        log_level="warning",
        access_log=False,  # addresses of pages would be a log of who was looked at
        proxy_headers=False,  # whoever asks could claim any address
        server_header=False,
        timeout_graceful_shutdown=5,  # a browser that keeps its connection does not keep us
        ssl_certfile=certificate,
        ssl_keyfile=certificate_key,
        **SERVER_LIMITS,
    )


def _is_loopback(host: str) -> bool:
    if host == "localhost":
        return True
    try:
        return ipaddress.ip_address(host).is_loopback
    except ValueError:
        return False


def _require_encryption(
    host: str, *, here: bool, tls: bool, certificate: Path | None, key: Path | None
) -> None:
    """Refuse to serve others without TLS, and a certificate that cannot be used."""
    if not tls and (certificate or key):
        found = "--certificate alone" if certificate else "--certificate-key alone"
        raise BadInput("TLS", found, "--certificate FILE and --certificate-key FILE together")
    if not tls and not here:
        raise BadInput(
            "--host",
            host,
            "TLS for every address but this machine’s own",
            hint="Add --certificate FILE and --certificate-key FILE, or leave --host out.",
        )
    if tls:
        try:
            ssl.SSLContext(ssl.PROTOCOL_TLS_SERVER).load_cert_chain(str(certificate), str(key))
        except (ssl.SSLError, OSError) as problem:
            expected = "a PEM certificate and the key that belongs to it"
            hint = str(problem.strerror or problem)
            raise BadInput("--certificate", str(certificate), expected, hint=hint) from problem


def _addressed(host: str, names: Sequence[str], local: Sequence[str]) -> tuple[str, ...]:
    """Return the names under which the server may be addressed; any other is refused."""
    everywhere = host in ("0.0.0.0", "::")  # noqa: S104  (compared, not bound)
    if everywhere and not names:
        hint = "Give the names in its certificate: --name records.ward.example"
        raise BadInput("--name", "nothing", f"a name, with --host {host}", hint=hint)
    own = () if everywhere or host in local else (host,)
    return tuple(dict.fromkeys((*(name.lower() for name in names), *own, *local)))


def _require_free(host: str, port: int) -> None:
    family = socket.AF_INET6 if ":" in host else socket.AF_INET
    with socket.socket(family) as probe:
        # As the server itself does, so that a port just released counts as free.
        probe.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        try:
            probe.bind((host, port))
        except OSError as error:
            raise BadInput(
                "port",
                port,
                "a port that no other program uses",
                hint=f"{error.strerror}: try --port {port + 1}.",
            ) from error
