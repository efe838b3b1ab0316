"""What the templates of sheets need beside Django's own."""

from collections.abc import Mapping

from django import template

register = template.Library()


@register.filter
def under(pictures: Mapping[str, str], content: str) -> str:
    """The picture that belongs to the content of a code."""
    return pictures[content]
