"""Every request is bounded in size, number, depth and time, over a real socket where it matters."""

import json
import socket
import time
from urllib.parse import urlsplit
from uuid import uuid4

import pytest

from decussate.web import limits
from decussate.web.security import LARGEST_BODY

OWN = "Sec-Fetch-Site: same-origin\r\n"


@pytest.fixture
def connect(address):
    """Open a bare connection to the server."""
    opened = []

    def open_():
        where = urlsplit(address)
        one = socket.create_connection((where.hostname, where.port), timeout=15)
        opened.append(one)
        return one, f"Host: {where.hostname}:{where.port}\r\n"

    yield open_
    for one in opened:
        one.close()


def rest_of(connection) -> bytes:
    """What the server still says before it closes the connection."""
    said = b""
    while part := connection.recv(65536):
        said += part
    return said


@pytest.mark.parametrize("sent", ["", "GET / HTTP/1.1\r\nHost: 127", "GET /"])
def test_a_head_that_does_not_come_ends_the_connection(connect, monkeypatch, sent):
    monkeypatch.setattr(limits, "HEAD_SECONDS", 0.3)
    connection, _ = connect()
    began = time.monotonic()
    connection.sendall(sent.encode())
    assert rest_of(connection) == b""
    assert time.monotonic() - began < 5


def test_a_second_head_that_does_not_come_ends_the_connection(connect, monkeypatch):
    connection, host = connect()
    monkeypatch.setattr(limits, "HEAD_SECONDS", 0.3)
    connection.sendall(f"GET /health HTTP/1.1\r\n{host}\r\n".encode())
    said = connection.recv(65536)
    assert said.startswith(b"HTTP/1.1 200")
    began = time.monotonic()
    connection.sendall(b"GET /health HTTP/1.1\r\nX-Sl")
    assert b"HTTP/1.1" not in rest_of(connection)
    assert time.monotonic() - began < 5


def test_a_body_that_does_not_come_is_answered_and_dropped(connect, app, monkeypatch):
    stack = app.middleware_stack
    while not isinstance(stack, limits.BodyInTime):
        stack = getattr(stack, "app", None) or stack._app
    monkeypatch.setattr(stack, "_seconds", 0.3)
    connection, host = connect()
    head = f"POST /sign-in HTTP/1.1\r\n{host}{OWN}Content-Length: 100\r\n\r\nname="
    connection.sendall(head.encode())
    assert rest_of(connection).startswith(b"HTTP/1.1 408")


def test_a_head_without_end_is_refused(connect):
    connection, host = connect()
    connection.sendall(f"GET / HTTP/1.1\r\n{host}X: {'x' * limits.LARGEST_HEAD}".encode())
    assert rest_of(connection).startswith(b"HTTP/1.1 400")


def test_a_body_without_a_length_is_refused(connect):
    connection, host = connect()
    head = f"POST /sign-in HTTP/1.1\r\n{host}{OWN}Transfer-Encoding: chunked\r\n\r\n"
    connection.sendall(head.encode())
    assert connection.recv(65536).startswith(b"HTTP/1.1 411")


def test_a_body_too_large_is_refused(client, examination):
    form = {"entry": str(uuid4()), "text": "x" * LARGEST_BODY}
    assert client.post(f"/examinations/{examination}/shorthand", data=form).status_code == 413


def test_a_form_of_too_many_fields_is_refused(client, examination):
    form = {f"field {number}": "1" for number in range(1001)} | {"entry": str(uuid4())}
    for address in ("audiogram", "findings", "story", "sweep"):
        answer = client.post(f"/examinations/{examination}/{address}", data=form)
        assert answer.status_code in (400, 413)


@pytest.mark.parametrize(
    "body",
    [
        "[" * 100_000,
        '{"a":' * 20_000,
        json.dumps({"own_words": [[]]}).replace("[]", "[" * 25 + "]" * 25),
        '{"distance_m": NaN}',
        '{"row": 1' + "0" * 5000 + "}",
        "[]",
        "",
    ],
)
def test_json_that_is_too_deep_or_none_is_refused(client, examination, body):
    address = f"/examinations/{examination}/screen/state"
    answer = client.post(address, content=body.encode())
    assert answer.status_code == 422
    assert "Traceback" not in answer.text


def test_json_as_the_page_sends_it_is_taken(client, examination):
    address = f"/examinations/{examination}/screen/state"
    answer = client.post(address, content=json.dumps({"view": "chart", "distance_m": 3.0}))
    assert answer.status_code == 200


def test_the_longest_shorthand_is_read_in_bounded_time(client, examination):
    """The slowest line of the tests, as often as a form may hold it (limit: judgement)."""
    line = "R ptosis partial, L CN VI palsy; VA R 6/9 L 6/60, pupils 4 mm R 6 mm L not reacting\n"
    text = line * (LARGEST_BODY * 9 // 10 // (len(line) + 20))
    began = time.process_time()  # others may use the machine too
    form = {"entry": str(uuid4()), "text": text}
    answer = client.post(
        f"/examinations/{examination}/shorthand", data=form, follow_redirects=False
    )
    assert answer.status_code in (303, 422)
    assert time.process_time() - began < 20


@pytest.mark.parametrize(
    ("field", "value"),
    [
        ("reason right", "x" * 5001),
        ("choice", "record right " + "x" * 300),
        ("value right", "9" * 400),
    ],
)
def test_what_the_record_cannot_hold_is_refused_in_words(client, examination, field, value):
    choice = "hinder right" if field.startswith("reason") else "measure right"
    form = {"entry": str(uuid4()), "test": "distance_acuity", "choice": choice, field: value}
    answer = client.post(f"/examinations/{examination}/findings", data=form)
    assert answer.status_code == 422
    assert "expected" in answer.text.lower()
