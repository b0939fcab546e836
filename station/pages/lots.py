"""To be filled."""

from starlette.routing import Route

ROUTES: list[Route] = []
