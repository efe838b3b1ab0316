"""The demo co-op: three makers with a quarter of history, to look around in.

What happened stands in `catalogue`, `recipes`, `offers` and `history` as plain data, and in the
modules that `loading` names as what befell a maker on a day; `loading` does it, by the same verbs
as real work. Everything is told in days before today, and chance is seeded, so that every day has
the same figures. All names are invented.
"""
