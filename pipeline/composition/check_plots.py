"""Plots of the report: how a component is distributed in each food group, with the values far out named."""

from __future__ import annotations

import io
import re

import numpy as np
import pandas as pd

from pipeline.composition.check_table import Table, members

INK, BAR, MARKED = "#1c1c1c", "#b9c2c9", "#9a3412"
MOST_GROUPS = 30
MOST_NAMED = 12
NAME_LENGTH = 90
LABEL_WIDTH = 0.03  # of the width of the plot: dots closer than this share a label


def marked_entries(found: pd.DataFrame, component: str) -> pd.DataFrame:
    """The entries that a finding names for this component, the gravest first: entry_id, severity, check."""
    grave = found[found["severity"].isin(("error", "warning")) & (found["entry_id"] != "")]
    single = grave["component"].map(lambda text: members(text) == [component])
    return grave.loc[single, ["entry_id", "severity", "check"]].drop_duplicates("entry_id")


def distribution(table: Table, component: str, marked: pd.DataFrame) -> tuple[str, pd.DataFrame, int] | None:
    """One plot as SVG, the entries it names (number, entry_id, value) and how many values of 0 it leaves out.

    Per food group: a thin line from the lowest to the highest value, a bar over the middle half, a
    tick at the median; the entries of ``marked`` as numbered dots. Logarithmic for amounts that
    range over decades, else linear. None where the table has too little of the component.
    """
    if not table.has(component):
        return None
    values = table.wide[component]
    logarithmic = table.units[component] != "g"
    usable = values[values > 0] if logarithmic else values.dropna()
    if usable.empty:
        return None
    groups = _groups(usable.groupby(table.entries["food_group"].reindex(usable.index)))
    named = _named(usable, marked, table.entries["food_group"], [name for name, _ in groups])
    svg = _drawn(groups, named, f"{component}, {table.units[component]} per 100 g", logarithmic)
    zeros = int((values == 0).sum()) if logarithmic else 0
    return svg, named[["number", "entry_id", "value"]], zeros


def _groups(grouped) -> list[tuple[str, np.ndarray]]:
    """(name, sorted values) of the largest groups, by their medians."""
    largest = sorted(grouped, key=lambda item: (-len(item[1]), item[0]))[:MOST_GROUPS]
    return sorted(((str(name) or "no group", np.sort(rows.to_numpy())) for name, rows in largest), key=lambda item: np.median(item[1]))


def _named(usable: pd.Series, marked: pd.DataFrame, group_of: pd.Series, groups: list[str]) -> pd.DataFrame:
    """The marked entries that the plot numbers, the farthest from their group's median first chosen."""
    shown = marked[marked["entry_id"].isin(usable.index)]
    frame = pd.DataFrame({"entry_id": shown["entry_id"].to_numpy(), "value": usable.reindex(shown["entry_id"]).to_numpy()})
    frame["group"] = group_of.reindex(frame["entry_id"]).replace("", "no group").to_numpy()
    frame = frame[frame["group"].isin(groups)]
    medians = usable.groupby(group_of.reindex(usable.index).replace("", "no group")).median()
    smallest = usable[usable > 0].min()
    distance = np.abs(np.log(frame["value"].clip(lower=smallest) / frame["group"].map(medians).astype("float64").clip(lower=smallest)))
    chosen = frame.assign(distance=distance).sort_values(["distance", "entry_id"], ascending=[False, True]).head(MOST_NAMED)
    order = {name: place for place, name in enumerate(groups)}
    chosen = chosen.assign(place=chosen["group"].map(order)).sort_values(["place", "value"], ascending=[False, True])
    return chosen.assign(number=range(1, len(chosen) + 1))


def _drawn(groups: list[tuple[str, np.ndarray]], named: pd.DataFrame, label: str, logarithmic: bool) -> str:
    # Imported here: it takes a second, and only the report needs it.
    import matplotlib

    with matplotlib.rc_context({
        "svg.fonttype": "none", "svg.hashsalt": "potash", "font.family": "serif", "font.serif": ["Georgia", "DejaVu Serif"],
        "font.size": 10, "axes.edgecolor": INK, "path.simplify": False,
    }):
        from matplotlib.backends.backend_agg import FigureCanvasAgg
        from matplotlib.figure import Figure

        figure = Figure(figsize=(9.2, 0.7 + 0.32 * max(len(groups), 3)), layout="constrained")
        FigureCanvasAgg(figure)
        axes = figure.add_subplot()
        for place, (_, values) in enumerate(groups):
            low, quarter, middle, three, high = np.quantile(values, (0, 0.25, 0.5, 0.75, 1))
            axes.plot((low, high), (place, place), color=INK, linewidth=0.8)
            axes.barh(place, three - quarter, left=quarter, height=0.56, color=BAR, edgecolor=INK, linewidth=0.6)
            axes.plot((middle, middle), (place - 0.36, place + 0.36), color=INK, linewidth=2)
        if logarithmic:
            axes.set_xscale("log")
            axes.xaxis.set_major_formatter("{x:,.10g}")
        axes.plot(named["value"], named["place"], linestyle="", marker="o", markersize=5.5, markerfacecolor="white",
                  markeredgecolor=MARKED, markeredgewidth=1.5, zorder=5, clip_on=False)
        for words, value, place in _labels(named, axes):
            axes.text(value, place + 0.2, words, color=MARKED, ha="center", va="bottom", fontsize=8.5, fontweight="bold", zorder=6)
        axes.set_yticks(range(len(groups)), [f"{name} ({len(values)})" for name, values in groups])
        axes.set_ylim(-0.7, len(groups) - 0.3)
        axes.set_xlabel(label + (", logarithmic scale" if logarithmic else ""))
        axes.grid(axis="x", color="#dcdcdc", linewidth=0.6)
        axes.set_axisbelow(True)
        axes.spines[["top", "right", "left"]].set_visible(False)
        axes.tick_params(axis="y", length=0)
        out = io.StringIO()
        figure.savefig(out, format="svg", metadata={"Date": None, "Creator": None})
    return _inline(out.getvalue())


def _labels(named: pd.DataFrame, axes) -> list[tuple[str, float, float]]:
    """(text, value, place) of the numbers; dots that touch share one: "3-6"."""
    axes.get_xlim()  # settles the limits: they are worked out on demand
    across = axes.transAxes.inverted()
    labels: list[tuple[str, float, float]] = []
    run: list[tuple[int, float, float, float]] = []

    def close() -> None:
        if run:
            first, last = run[0], run[-1]
            words = str(first[0]) if len(run) == 1 else f"{first[0]}\u2013{last[0]}"
            labels.append((words, run[len(run) // 2][1], first[2]))
            run.clear()

    for number, value, place in zip(named["number"], named["value"], named["place"], strict=True):
        at = across.transform(axes.transData.transform((value, place)))[0]
        if run and (run[-1][2] != place or at - run[-1][3] > LABEL_WIDTH):
            close()
        run.append((number, value, place, at))
    close()
    return labels


def _inline(svg: str) -> str:
    """The SVG element alone, scaling with the page; ids made unlike those of the page's other plots."""
    body = svg[svg.index("<svg"):]
    body = re.sub(r"<metadata>.*?</metadata>", "", body, flags=re.S)
    return re.sub(r'(<svg\b[^>]*?) width="[^"]*"', r"\1", re.sub(r'(<svg\b[^>]*?) height="[^"]*"', r"\1", body, count=1), count=1)


def shortened(name: str) -> str:
    """A name that fits into a line."""
    return name if len(name) <= NAME_LENGTH else name[: NAME_LENGTH - 1].rstrip(" ,") + "…"
