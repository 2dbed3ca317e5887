"""Small helps for the pages of a visit."""

from uuid import UUID, uuid4

from django import template

register = template.Library()


@register.simple_tag
def new_key() -> UUID:
    """A key for one form, so that sending it twice is once."""
    return uuid4()
