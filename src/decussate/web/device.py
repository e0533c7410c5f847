"""What a browser calls itself, in words a person recognises."""

from __future__ import annotations

from functools import lru_cache

__all__ = ["device_in_words"]


@lru_cache(maxsize=500)
def device_in_words(user_agent: str) -> str:
    """Return the browser and what it runs on.

    Parameters
    ----------
    user_agent : str
        The header with which the browser describes itself; it may say anything.

    Returns
    -------
    str
        Such as ``Mobile Safari on iPad``; empty for an empty header.
    """
    if not user_agent:
        return ""
    from ua_parser import parse  # its tables take a third of a second to load

    found = parse(user_agent).with_defaults()
    browser = found.user_agent.family
    kind = found.device.family
    machine = kind if kind not in ("Other", "Mac") else found.os.family
    if browser == "Other":
        return user_agent[:60]
    return browser if machine == "Other" else f"{browser} on {machine}"
