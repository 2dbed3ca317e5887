"""What every page is given."""

from django.http import HttpRequest

from portfolio import access


def page(request: HttpRequest) -> dict[str, object]:
    """`can`: what the reader's role may do, for showing only the links and buttons that will work."""
    user = getattr(request, "user", None)
    role = user.role if user is not None and user.is_authenticated else ""
    return {"can": access.MAY.get(role, frozenset())}
