"""What is asked of the settings before the site serves people: `manage.py check --deploy`."""

from collections.abc import Sequence
from typing import Any
from urllib.parse import urlsplit

from django.conf import settings
from django.core.checks import CheckMessage, Tags, Warning, register

LOCAL = frozenset({"", "localhost", "127.0.0.1", "::1"})
CURE = "Set SNECK_SITE to the address under which readers reach the site, such as https://sneck.example.org."


@register(Tags.security, deploy=True)
def links_lead_here(app_configs: Sequence[Any] | None, **more: Any) -> list[CheckMessage]:
    """Warns when links in mail would lead the reader to their own machine, or over plain HTTP."""
    if settings.DEBUG or settings.SNECK_DEMO:
        return []
    site = urlsplit(settings.SNECK_SITE)
    if site.scheme not in ("http", "https") or (site.hostname or "") in LOCAL:
        says = f"Links in mail begin with {settings.SNECK_SITE!r}, which leads nobody to this site."
        return [Warning(says, hint=CURE, id="sneck.W001")]
    if site.scheme != "https":
        says = f"Links in mail begin with {settings.SNECK_SITE!r}: the secret in a job’s link would travel in clear."
        return [Warning(says, hint=CURE, id="sneck.W002")]
    return []
