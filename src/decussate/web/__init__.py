"""The bedside pages: a thin shell over the rooms below, served on this machine."""

from __future__ import annotations

from decussate.web.app import LOCAL_HOSTS, create_app

__all__ = ["LOCAL_HOSTS", "create_app"]
