"""Plots as SVG, drawn on the server; the same figures stand in a table beneath each.

The library is loaded by the first who asks for a plot. What it writes as styles becomes
attributes, since the pages' policy allows no style but that of their own file; black becomes the
colour of the text around it, so that a plot is read in the dark as well. Series are told apart by
their marks and not by colour alone.
"""

import io
import math
import re
import threading
from collections.abc import Callable, Hashable, Sequence
from dataclasses import dataclass, replace
from datetime import date
from decimal import Decimal
from functools import lru_cache, wraps
from typing import Any, Final, ParamSpec
from xml.etree.ElementTree import Element

from defusedxml import ElementTree
from django.utils import formats
from django.utils.html import format_html
from django.utils.safestring import SafeString, mark_safe
from django.utils.translation import get_language, gettext

from api.pages.reader import Reader

SVG: Final = "{http://www.w3.org/2000/svg}"
INK: Final = "#000000"
# Told apart by everybody (Okabe and Ito, "Color Universal Design", from memory).
COLOURS: Final = ("#0072b2", "#d55e00", "#009e73", "#cc79a7", "#8c6d1f")
DASHES: Final = ("--", ":", "-.", (0, (8, 3)), (0, (1, 4)))
MARKS: Final = ("o", "s", "^", "D", "v")
KEPT: Final = {
    *("fill", "stroke", "stroke-width", "stroke-linecap", "stroke-linejoin", "stroke-dasharray"),
    *("stroke-dashoffset", "opacity", "fill-opacity", "stroke-opacity", "text-anchor"),
    *("font-size", "font-weight", "clip-path"),
}
# Days stand at the axis with their month for half a year, months with their year for longer.
MOST_DAYS: Final = 200
# Drawing takes a tenth of a second, some twenty kilobytes, and the same figures look the same.
DRAWINGS_KEPT: Final = 200
# Drawing shares state within the library.
_one_at_a_time = threading.Lock()
Figures = ParamSpec("Figures")


@dataclass(frozen=True, slots=True)
class Series:
    """Points of one name, in the order of x; in steps, each value holds until the next.

    Where there is no value the line ends.
    """

    name: str
    points: Sequence[tuple[date | Decimal, Decimal | None]]
    steps: bool = False


@dataclass(frozen=True, slots=True)
class Mark:
    """A point on the curve of this number, filled or hollow."""

    of: int
    x: Decimal
    y: Decimal
    hollow: bool = False


def _kept(draw: Callable[Figures, SafeString]) -> Callable[Figures, SafeString]:
    """Keep what was drawn last, by all that it was drawn from and the language of its words."""

    @lru_cache(DRAWINGS_KEPT)
    def drawn(language: str | None, *told: Any, **named: Any) -> SafeString:
        return draw(*told, **named)

    @wraps(draw)
    def looked_up(*told: Figures.args, **named: Figures.kwargs) -> SafeString:
        fixed = {name: _fixed(one) for name, one in named.items()}
        return drawn(get_language(), *map(_fixed, told), **fixed)

    return looked_up


def _fixed(told: Any) -> Hashable:
    """The same as it can be looked up by: sequences as tuples, those of a series as well."""
    if isinstance(told, Series):
        return replace(told, points=tuple(told.points))
    if isinstance(told, (list, tuple)):
        return tuple(map(_fixed, told))
    return told  # type: ignore[no-any-return]


@_kept
def lines(
    title: str, series: Sequence[Series], *, y: str, x: str = "", numbers: str = "en"
) -> SafeString:
    """Points joined by lines; `numbers` is how the reader writes them, here and below."""
    with _one_at_a_time:
        # A line of the legend for each, above the drawing, whose own height stays.
        figure, axes = _figure(x, y, height=2.5 + 0.22 * len(series))
        for place, one in enumerate(series):
            colour = COLOURS[place % len(COLOURS)]
            mark = MARKS[place % len(MARKS)]
            across = [at if isinstance(at, date) else float(at) for at, _ in one.points]
            up = [math.nan if value is None else float(value) for _, value in one.points]
            drawn: dict[str, Any] = {"color": colour, "label": one.name, "marker": mark}
            if one.steps:
                # Where a value only goes on, nothing new was said: no mark.
                new = [at for at in range(len(up)) if not at or up[at] != up[at - 1]]
                drawn |= {"drawstyle": "steps-post", "markevery": new}
            axes.plot(across, up, markersize=6, **drawn)
        axes.set_ylim(0, axes.get_ylim()[1] * 1.12)
        if isinstance(across[0], date):
            _few_dates(axes, [at for one in series for at, _ in one.points])
        else:
            _written(axes.xaxis, numbers)
        _written(axes.yaxis, numbers)
        _legend_above(axes, columns=1)
        return _svg(figure, title)


@_kept
def curves(
    title: str,
    series: Sequence[Series],
    marks: Sequence[Mark],
    *,
    x: str,
    y: str,
    numbers: str = "en",
) -> SafeString:
    """Lines without points, told apart by their dashes, and single points that are marked."""
    with _one_at_a_time:
        figure, axes = _figure(x, y, height=3.2)
        axes.axhline(0, color=INK, linewidth=0.8)
        for place, one in enumerate(series):
            across, up = zip(*one.points, strict=True)
            colour, style = COLOURS[place % len(COLOURS)], DASHES[place % len(DASHES)]
            axes.plot(
                [float(at) for at in across],
                [float(value) for value in up],
                color=colour,
                linestyle=style if place else "-",
                label=one.name,
            )
        for mark in marks:
            colour = COLOURS[mark.of % len(COLOURS)]
            # A later hollow one is larger: where two are at one place, both are seen.
            size = 9 + 5 * mark.of if mark.hollow else 9
            shape, fill = MARKS[mark.of % len(MARKS)], "none" if mark.hollow else "full"
            at = float(mark.x), float(mark.y)
            axes.plot(*at, shape, color=colour, markersize=size, fillstyle=fill)
        _written(axes.xaxis, numbers)
        _written(axes.yaxis, numbers)
        _legend_above(axes)
        return _svg(figure, title)


@_kept
def bars(
    title: str, parts: Sequence[tuple[str, Decimal]], *, x: str, numbers: str = "en"
) -> SafeString:
    """One bar for each part, beneath each other, with the name in front."""
    with _one_at_a_time:
        figure, axes = _figure(x, "", height=0.7 + 0.34 * len(parts))
        names = [name if len(name) < 26 else f"{name[:25]}…" for name, _ in parts]
        axes.barh(names, [float(value) for _, value in parts], color=COLOURS[0], height=0.6)
        axes.invert_yaxis()
        _written(axes.xaxis, numbers)
        return _svg(figure, title)


@_kept
def spread(
    title: str,
    values: Sequence[Decimal],
    limits: Sequence[tuple[str, Decimal]],
    *,
    y: str,
    x: str = "",
    band: tuple[Decimal, Decimal, Decimal] | None = None,
    numbers: str = "en",
) -> SafeString:
    """Single values in their order, with limits as lines across.

    `band` is the mean between what lies a standard deviation beside it.
    """
    with _one_at_a_time:
        figure, axes = _figure(x, y)
        places = range(1, len(values) + 1)
        if band is not None:
            low, mean, high = (float(value) for value in band)
            axes.axhspan(low, high, color=COLOURS[0], alpha=0.15, linewidth=0)
            axes.axhline(mean, color=COLOURS[0], linewidth=1.2, label=gettext("mean"))
        axes.plot(places, [float(value) for value in values], "o", color=COLOURS[0], markersize=6)
        for place, (name, limit) in enumerate(limits):
            style = DASHES[place % len(DASHES)]
            colour = COLOURS[(place + 1) % len(COLOURS)]
            axes.axhline(float(limit), linestyle=style, color=colour, label=name)
        axes.margins(y=0.25)
        axes.xaxis.get_major_locator().set_params(integer=True)
        _written(axes.xaxis, numbers)
        _written(axes.yaxis, numbers)
        _legend_above(axes)
        return _svg(figure, title)


def _legend_above(axes: Any, columns: int = 2) -> None:
    """The names of the lines above the drawing, where they hide nothing."""
    named = axes.get_legend_handles_labels()[0]
    if named:
        above = {"loc": "lower left", "bbox_to_anchor": (0, 1), "ncols": columns}
        close = {"fontsize": 9.5, "handlelength": 1.6, "columnspacing": 1}
        axes.legend(frameon=False, **above, **close)


def _few_dates(axes: Any, days: Sequence[Any]) -> None:
    """Days as the reader's language has them, few enough not to run into each other."""
    import matplotlib.dates

    dates: Any = matplotlib.dates
    first, last = min(days), max(days)
    if (last - first).days > MOST_DAYS:
        shape = "M Y"
    else:
        shape = "j M" if first.year == last.year else "j M\nY"
    axes.xaxis.set_major_locator(dates.AutoDateLocator(minticks=2, maxticks=5))
    axes.xaxis.set_major_formatter(
        lambda value, _: formats.date_format(dates.num2date(value).date(), shape)
    )


def _written(axis: Any, numbers: str) -> None:
    """The figures at an axis as the reader writes them, all with as many places."""
    import matplotlib.ticker

    ticker: Any = matplotlib.ticker
    plain = ticker.ScalarFormatter(useOffset=False)
    plain.set_scientific(False)
    plain.set_axis(axis)
    reader = Reader(numbers=numbers)

    def told(value: float, _: int | None) -> str:
        plain.set_locs(axis.get_majorticklocs())
        text = plain(value).replace("\N{MINUS SIGN}", "-")
        return reader.number(Decimal(text), len(text.partition(".")[2]))

    axis.set_major_formatter(told)


def _figure(x: str, y: str, height: float = 2.7) -> tuple[Any, Any]:
    from matplotlib import rcParams
    from matplotlib.figure import Figure

    # A name with two dollar signs is a name, and no formula to be set.
    rcParams.update({"svg.fonttype": "none", "font.size": 11, "text.parse_math": False})
    figure = Figure(figsize=(4.8, height), layout="constrained")
    figure.patch.set_alpha(0)
    axes = figure.add_subplot()
    axes.patch.set_alpha(0)
    axes.spines[["top", "right"]].set_visible(False)
    axes.set_xlabel(x)
    axes.set_ylabel(y)
    return figure, axes


def _svg(figure: Any, title: str) -> SafeString:
    """The drawing as a part of a page."""
    from matplotlib import rc_context

    out = io.BytesIO()
    # Two drawings in one page must not share the names of their parts.
    with rc_context({"svg.hashsalt": title}):
        figure.savefig(out, format="svg", metadata={"Date": None})
    root = ElementTree.fromstring(out.getvalue())
    for parent in list(root.iter()):
        for child in list(parent):
            if child.tag in {f"{SVG}metadata", f"{SVG}style"} or child.tag.endswith("}RDF"):
                parent.remove(child)
    text = _text(root)
    opened = format_html('<svg viewBox="{}" role="img" aria-label="{}"', root.get("viewBox"), title)
    # Written by the library; every text in it was escaped as it was put together.
    return mark_safe(f"{opened}>{text}</svg>")  # noqa: S308


def _text(root: Element) -> str:
    from xml.etree.ElementTree import tostring

    for one in root.iter():
        _without_style(one)
        one.tag = one.tag.removeprefix(SVG)
    body = "".join(tostring(child, encoding="unicode") for child in root)
    return re.sub(r"\s*\n\s*", " ", body)


def _without_style(one: Element) -> None:
    style = one.attrib.pop("style", "")
    for fact in style.split(";"):
        name, _, value = fact.partition(":")
        name, value = name.strip(), value.strip()
        if name == "font":
            size = re.search(r"([\d.]+)px", value)
            name, value = "font-size", size[1] if size else "12"
        if name in KEPT:
            one.set(name, value)
    for name in ("fill", "stroke"):
        if one.get(name) == INK:
            one.set(name, "currentColor")
    if one.tag == f"{SVG}text":
        one.set("fill", "currentColor")
    if one.tag == f"{SVG}g":
        one.attrib.pop("id", None)
    href = one.attrib.pop("{http://www.w3.org/1999/xlink}href", None)
    if href:
        one.set("href", href)
