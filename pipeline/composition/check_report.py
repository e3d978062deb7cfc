"""The findings of a table's checks as files: ``findings.csv`` and ``report.html``, readable without a network."""

from __future__ import annotations

from collections.abc import Iterable
from html import escape
from pathlib import Path

import pandas as pd

from pipeline.composition.check import SEVERITIES, summary
from pipeline.composition.check_plots import distribution, marked_entries, shortened
from pipeline.composition.check_table import lay_out, members
from pipeline.page_frame import page, table

PLOTTED = ("K", "P", "NA", "PROCNT", "WATER")
FIRST = ("K", "P", "NA", "PROCNT")  # what people with kidney disease count stands before other components
WORST = 15  # rows of each check on the page; all of them are in the CSV
MOST_PARTS = 4  # components named in one cell
SEVERITY_WORDS = {
    "error": "cannot be, or is dangerous enough to stop for", "warning": "a compiler would ask about it",
    "note": "worth knowing; often right",
}
CHECK_WORDS = {
    "alcohol": "Alcohol", "column-order": "Columns beside the wrong foods", "not-compared": "Never compared with a known table",
    "unlike-curated": "Unlike the same food in the curated core", "amino-acids": "Amino acids within protein", "carbohydrate": "Sugars, starch and fibre within carbohydrate",
    "density": "Densities", "duplicate": "Duplicate and near-duplicate entries", "energy": "Energy against its factors",
    "energy-kj-kcal": "Energy: kJ against kcal", "fatty-acids": "Fatty acids within fat",
    "fatty-acid-classes": "Single fatty acids within their class", "fibre": "Fibre within carbohydrate",
    "group-outlier": "Values far from their food group", "key-components": "Entries without key components",
    "minerals-in-ash": "Minerals within ash", "negative-value": "Negative values", "outside-own-range": "Values outside their own range",
    "proximates": "Sum of proximates", "raw-against-cooked": "Raw against cooked", "sugars": "Single sugars within total sugars",
    "swapped-columns": "Columns exchanged", "swapped-in-row": "Two values exchanged in one entry",
    "swapped-macronutrients": "Two proximates exchanged in one entry", "unit-slip": "Slips of unit",
    "value-above-100-g": "More than 100 g in 100 g", "values-imputed": "Imputed and borrowed values",
    "values-without-entry": "Values without an entry", "zero-for-missing": "Zeros that may be missing values",
}


def write_report(
    findings: pd.DataFrame, entries: pd.DataFrame, values: pd.DataFrame, folder: Path, title: str = "composition table",
) -> tuple[Path, Path]:
    """Writes ``findings.csv`` (all) and ``report.html`` (counts, the worst rows, plots) into ``folder``.

    ``findings`` from :func:`pipeline.composition.check.check` on the same ``entries`` and
    ``values``; the folder is made if need be. The same tables give the same bytes. Gives both paths.
    """
    folder.mkdir(parents=True, exist_ok=True)
    table_path, page_path = folder / "findings.csv", folder / "report.html"
    rounded = findings.assign(**{name: findings[name].map(_number) for name in ("value", "expected_low", "expected_high")})
    rounded.to_csv(table_path, index=False, lineterminator="\n", encoding="utf-8")
    page_path.write_text(report_page(findings, entries, values, title), encoding="utf-8", newline="\n")
    return table_path, page_path


def report_page(findings: pd.DataFrame, entries: pd.DataFrame, values: pd.DataFrame, title: str) -> str:
    """The page as HTML, whole in itself."""
    counts = {severity: int((findings["severity"] == severity).sum()) for severity in SEVERITIES}
    outcome = ", ".join(_counted(counts[severity], severity) for severity in SEVERITIES)
    present = int(values["value"].notna().sum())
    body = "\n".join([
        f"<h1>Checks of {escape(title)}</h1>",
        f"<p>{len(entries):,} entries and {present:,} values were checked as food composition compilers do before they publish"
        " (after the FAO/INFOODS guidelines for checking food composition data, 2012, from memory).</p>",
        f'<p class="verdict">{escape(outcome)}</p>',
        '<div class="cautions"><p>A finding is a reason to look at the source, not a proof of a fault. A table without findings may'
        " still be wrong. Do not correct a published value without its source; figures for people with kidney disease rest on it."
        "</p></div>",
        "<h2>Counts</h2>", _counts(findings), *_checks(findings), "<h2>Distribution by food group</h2>",
        "<p>For each food group: a line from the lowest to the highest value, a bar over the middle half, a heavy tick at the median;"
        " the number of values in brackets. Numbered circles are entries that a check names for this component.</p>",
        *_plots(findings, entries, values),
    ])
    return page(f"Checks of {title}: {outcome}", body)


def _counted(count: int, noun: str) -> str:
    return f"{count:,} {noun}" if count == 1 else f"{count:,} {noun}s"


def _counts(findings: pd.DataFrame) -> str:
    if findings.empty:
        return "<p>Nothing was found.</p>"
    rows = []
    for row in summary(findings).to_dict("records"):
        check = row["check"]
        last = check == "all checks"
        name = "All checks" if last else f'<a href="#{escape(check)}">{escape(CHECK_WORDS.get(check, check))}</a>'
        cells = "".join(f'<td class="n">{row[key]:,}</td>' for key in (*SEVERITIES, "total"))
        opened = '<tr class="sum">' if last else "<tr>"
        rows.append(f'{opened}<th scope="row">{name}</th>{cells}</tr>')
    words = "; ".join(f"{severity}: {text}" for severity, text in SEVERITY_WORDS.items())
    heads = [("Check", False), ("Errors", True), ("Warnings", True), ("Notes", True), ("All", True)]
    return table("Findings by check and severity", heads, rows) + f"<p>{escape(words[0].upper() + words[1:])}.</p>"


def _checks(findings: pd.DataFrame) -> list[str]:
    if findings.empty:
        return []
    sections = ["<h2>The worst rows of each check</h2>",
                f"<p>At most {WORST} rows of each, potassium, phosphorus, sodium and protein first; all of them are in <code>findings.csv</code>.</p>"]
    for check in summary(findings)["check"].iloc[:-1]:
        sections.append(_worst(check, findings[findings["check"] == check]))
    return sections


def _worst(check: str, rows: pd.DataFrame) -> str:
    order = rows.assign(
        _severity=rows["severity"].map({severity: place for place, severity in enumerate(SEVERITIES)}),
        _other=~rows["component"].isin(FIRST), _far=_excess(rows))
    shown = order.sort_values(["_severity", "_other", "_far", "entry_id"], ascending=[True, True, False, True]).head(WORST)
    body = []
    for row in shown.itertuples():
        mark = ' class="error"' if row.severity == "error" else ""
        body.append(
            f'<tr><td class="severity"><span{mark}>{escape(row.severity)}</span></td>'
            f'<th scope="row">{escape(row.entry_name or row.entry_id or "Whole table")}<br><small>{escape(row.entry_id)}</small></th>'
            f"<td>{escape(_components(row.component))}</td>"
            f'<td class="n">{_shown(row.value)}</td><td class="n">{escape(_expected(row.expected_low, row.expected_high))}</td>'
            f'<td>{escape(row.unit)}</td><td class="what">{escape(row.what)}</td></tr>')
    title = CHECK_WORDS.get(check, check)
    remedies = "; ".join(sorted(set(rows["remedy"])))
    heads = [("Severity", False), ("Entry", False), ("Component", False), ("Value", True), ("Expected", True), ("Unit", False),
             ("What", False)]
    caption = f"{title}: {len(shown):,} of {len(rows):,}" if len(shown) < len(rows) else f"{title}: {len(rows):,}"
    framed = table(caption, heads, body, "rows")
    return f'<section id="{escape(check)}">{framed}<p><small>What to do: {escape(remedies)}.</small></p></section>'


def _excess(rows: pd.DataFrame) -> pd.Series:
    """How far beyond what was expected, relatively; 0 where there is no range."""
    above = (rows["value"] - rows["expected_high"]) / rows["expected_high"].abs().clip(lower=1e-3)
    below = (rows["expected_low"] - rows["value"]) / rows["value"].abs().clip(lower=1e-3)
    return pd.concat([above, below], axis=1).max(axis=1).fillna(0)


def _components(text: str) -> str:
    """The components of a finding; of many the first and the last, which is the whole."""
    named = members(text)
    return " + ".join(named) if len(named) <= MOST_PARTS else f"{named[0]} + … ({len(named) - 1} parts), {named[-1]}"


def _number(value: float) -> str:
    return "" if pd.isna(value) else f"{value:.10g}"


def _shown(value: float) -> str:
    """Four significant digits, in plain decimal."""
    if pd.isna(value):
        return ""
    if value == 0:
        return "0"
    text = f"{value:,.0f}" if abs(value) >= 1000 else f"{value:.4g}" if abs(value) >= 1e-4 else f"{value:.7f}".rstrip("0")
    return text.replace("-", "−")


def _expected(low: float, high: float) -> str:
    if pd.isna(low) and pd.isna(high):
        return ""
    if pd.isna(high):
        return f"from {_shown(low)}"
    return f"to {_shown(high)}" if pd.isna(low) or low == 0 else f"{_shown(low)} to {_shown(high)}"


def _plots(findings: pd.DataFrame, entries: pd.DataFrame, values: pd.DataFrame) -> Iterable[str]:
    laid = lay_out(entries, values[values["component"].isin(PLOTTED)])
    for component in PLOTTED:
        marked = marked_entries(findings, component)
        drawn = distribution(laid, component, marked)
        if drawn is None:
            yield f"<p>{escape(component)}: the table has no values to plot.</p>"
            continue
        svg, named, zeros = drawn
        texts = [
            f"{shortened(laid.entries.at[entry_id, 'name'])} ({entry_id}): {_shown(value)} {laid.units[component]}"
            for entry_id, value in zip(named["entry_id"], named["value"], strict=True)
        ]
        left_out = f" {zeros:,} values of 0 are left out, as the scale is logarithmic." if zeros else ""
        several = ""
        if len(marked) > len(named):
            several = f"{len(marked):,} entries are named by a check; the {len(named)} farthest from their group are numbered."
        caption = f"{component} by food group"
        alternative = f"{caption}: range, middle half and median of each group, groups by their medians. " + (
            "Numbered: " + "; ".join(texts) if texts else "No entry is named by a check.")
        svg = svg.replace("<svg", f'<svg role="img" aria-label="{escape(alternative, quote=True)}"', 1).replace('id="', f'id="{component}-')
        svg = svg.replace("url(#", f"url(#{component}-").replace('xlink:href="#', f'xlink:href="#{component}-')
        listed = "<p>No entry is named by a check.</p>"
        if texts:
            listed = f'<ol class="named">{"".join(f"<li>{escape(text)}</li>" for text in texts)}</ol>'
        note = f"<p><small>{escape((several + left_out).strip())}</small></p>" if several or left_out else ""
        yield f'<figure><figcaption>{escape(caption)}</figcaption><div class="wide">{svg}</div>{listed}{note}</figure>'
