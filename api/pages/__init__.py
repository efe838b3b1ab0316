"""The makers' screens: one URL and one view each, in plain HTML.

A view parses a form, makes one domain call and answers. Every screen works without JavaScript;
htmx only replaces a part of it, for which the view renders a fragment instead of the page.
"""
