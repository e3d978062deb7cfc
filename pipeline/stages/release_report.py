"""``checks.html``: what was checked before the release, to be read on a screen without a network, or printed."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from html import escape

import pandas as pd

from pipeline.checks import Check, CheckResult
from pipeline.page_frame import page, table

STATUS_WORDS = {
    "ready": "Ready: every line is settled, and no doubt was noted",
    "check": "To check: a person must look before it is published",
    "withheld": "Withheld: no figure is shown, because something it depends on is not settled or not known",
}
TABLE_WORDS = {
    "figures": "Figures",
    "source_lines": "Lines that were read in",
    "lines": "Lines and their outcomes",
    "contributions": "What each line contributes",
    "inputs": "Uncertain inputs",
    "verdicts": "Verdicts on claims and limits",
    "worklist": "Worklist",
    "variants": "Variants",
}
MOST_REASONS = 12


def report_page(
    result: CheckResult, frames: Mapping[str, pd.DataFrame], title: str, release_id: str, cautions: Sequence[str],
) -> str:
    """The page as HTML. The same checks, tables and cautions give the same page."""
    failed = len(result.failures)
    outcome = "All checks passed" if result.passed else f"{failed} of {len(result.checks)} checks failed"
    sections = [
        f"<h1>Checks of {escape(title)}</h1>",
        f"<p>Release <strong>{escape(release_id)}</strong>. {len(result.checks)} rules were checked on every row of the"
        " tables below. A release that breaks one of them is not published. A passed check"
        " says that the tables agree with each other and with these rules. It does not say that a recipe was"
        " written, weighed or cooked as its figures assume.</p>",
        f'<p class="verdict">{escape(outcome)}</p>',
        "<h2>Read this first</h2>", '<div class="cautions">', *(f"<p>{escape(text)}</p>" for text in cautions), "</div>",
        "<h2>What the release holds</h2>", _statuses(frames["figures"]), _reasons(frames["figures"]),
        *_other_counts(frames),
        "<h2>The checks</h2>",
        *(_checks(name, [check for check in result.checks if check.table == name]) for name in _tables(result)),
    ]
    return page(f"Checks of {title}: {outcome.lower()}", "\n".join(section for section in sections if section))


def _tables(result: CheckResult) -> list[str]:
    present = {check.table for check in result.checks}
    return [name for name in TABLE_WORDS if name in present] + sorted(present - set(TABLE_WORDS))


def _statuses(figures: pd.DataFrame) -> str:
    counts = figures["status"].value_counts()
    rows = [(words, _number(int(counts.get(status, 0))), _share(int(counts.get(status, 0)), len(figures)))
            for status, words in STATUS_WORDS.items()]
    rows.append(("All figures", _number(len(figures)), _share(len(figures), len(figures))))
    return _table("Figures by status", ("Status", "Figures", "Share"), rows)


def _reasons(figures: pd.DataFrame) -> str:
    held = figures[figures["status"] == "withheld"]
    if held.empty:
        return "<p>No figure is withheld.</p>"
    counts = held.groupby("reason").size().reset_index(name="n").sort_values(["n", "reason"], ascending=[False, True])
    rows = [(row.reason, _number(row.n)) for row in counts.head(MOST_REASONS).itertuples()]
    framed = _table("Why figures are withheld, the most frequent reasons first", ("Reason", "Figures"), rows)
    return framed + "<p>Every withheld figure is in <code>withheld.csv</code>.</p>"


def _other_counts(frames: Mapping[str, pd.DataFrame]) -> list[str]:
    wanted = (
        ("lines", "outcome", "Lines by outcome", "Outcome", "Lines"),
        ("verdicts", "verdict", "Verdicts on claims and limits", "Verdict", "Verdicts"),
        ("findings", "severity", "Findings of the audit", "Severity", "Findings"),
    )
    pages = []
    for name, column, caption, head, unit in wanted:
        if name in frames and len(frames[name]):
            counts = frames[name][column].value_counts().sort_index()
            pages.append(_table(caption, (head, unit), [(str(value), _number(int(n))) for value, n in counts.items()]))
    return pages


def _checks(checked: str, checks: Iterable[Check]) -> str:
    rows = []
    for check in checks:
        examples = "".join(f"<li>{escape(example)}</li>" for example in check.examples)
        more = check.rows_failed - len(check.examples)
        rest = f"<li>and {_number(more)} more</li>" if more > 0 else ""
        listed = f'<ul class="rows">{examples}{rest}</ul>' if examples else ""
        result = "✓ passed" if check.passed else "✗ FAILED"
        rows.append(
            f'<tr class="{"passed" if check.passed else "failed"}"><th scope="row">{escape(check.words)}<br>'
            f"<small>{escape(check.check_id)}, {escape(check.expectation)}</small>{listed}</th>"
            f'<td class="n">{_number(check.rows_checked)}</td><td class="n">{_number(check.rows_failed)}</td>'
            f'<td class="result">{result}</td></tr>')
    heads = ("Rule", "Rows checked", "Rows failed", "Result")
    return _framed(TABLE_WORDS.get(checked, checked), heads, rows, 1, 2)


def _table(caption: str, heads: tuple[str, ...], rows: Iterable[tuple[str, ...]]) -> str:
    body = [f'<tr><th scope="row">{escape(first)}</th>' + "".join(f'<td class="n">{escape(cell)}</td>' for cell in rest) + "</tr>"
            for first, *rest in rows]
    return _framed(caption, heads, body, *range(1, len(heads)))


def _framed(caption: str, heads: tuple[str, ...], rows: Iterable[str], *numeric: int) -> str:
    return table(caption, [(head, place in numeric) for place, head in enumerate(heads)], rows)


def _number(count: int) -> str:
    return f"{count:,}"


def _share(part: int, whole: int) -> str:
    return f"{100 * part / whole:.1f} %" if whole else "none"
