"""The guard of `conftest.py`, which keeps tests from the network."""

from __future__ import annotations

import socket

import pytest


def test_another_machine_is_not_reached() -> None:
    """192.0.2.1 is kept for documentation (RFC 5737): without the guard this would wait in vain, or
    tell somebody."""
    with socket.socket() as one, pytest.raises(PermissionError, match=r"192\.0\.2\.1"):
        one.connect(("192.0.2.1", 9))


def test_this_machine_is_reached() -> None:
    """The browser that looks at the set-up sheet is asked by way of a port."""
    with socket.create_server(("127.0.0.1", 0)) as server, socket.socket() as one:
        one.connect(server.getsockname())
