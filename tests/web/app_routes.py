"""Every route of the application, whichever way the framework keeps those of an included router."""

from collections.abc import Iterable, Iterator

from starlette.routing import BaseRoute, Route


def every_route(routes: Iterable[BaseRoute]) -> Iterator[tuple[str, str, object]]:
    """Give method, address and endpoint of each."""
    for route in routes:
        included = getattr(route, "original_router", None)
        if included is not None:
            yield from every_route(included.routes)
        elif isinstance(route, Route):
            for method in sorted((route.methods or set()) - {"HEAD", "OPTIONS"}):
                yield method, route.path, route.endpoint
