"""From a report to the page's text: templates, style, script, and the policy that forbids everything else.

Why it is: whatever a file name or a shop's note holds, it must come out as words. Jinja escapes what it is given and
fails on what it is not given; the page's own policy names the one style sheet and the one script by their hashes, so
that a browser runs nothing else even if a word should ever slip through.
"""

from __future__ import annotations

from base64 import b64encode
from functools import lru_cache
from hashlib import sha256
from importlib.resources import files
from pathlib import PurePath
from typing import Any, Literal

from jinja2 import Environment, PackageLoader, StrictUndefined
from markupsafe import Markup

from pdcheck.report.as_text import printable
from pdcheck.report.model import Report
from pdcheck.report.page.customer import cover
from pdcheck.report.page.talk import talk_of
from pdcheck.report.page.view import row_views, technician, top

_SCRIPTS = ("data.js", "signal.js", "list.js", "page.js")
Audience = Literal["technician", "customer"]


def page_html(
    report: Report, *, checksum: str | None = None, file_name: str | None = None, shop: str | None = None,
    audience: Audience = "technician", done: str | None = None, about: str | None = None,
) -> str:
    """The report as one self-contained page.

    :param checksum: SHA-256 of the capture file in hex, where the caller knows the file.
    :param file_name: what the page calls the file; the report's path where it is not given.
    :param shop: the name of the workshop.
    :param audience: ``"customer"`` gives a cover in everyday words and nothing of the protocol.
    :param done: what was done, in the shop's words, for the customer's cover.
    :param about: which device it is about (and the shop's ticket), for the customer's cover.
    """
    if audience == "customer":
        return _render("customer.html.j2", cover=cover(report, shop, done, checksum, about), **_assets(False))
    return _render("technician.html.j2", **technician(report, checksum, file_name, shop), **_assets(True))


def comparison_html(
    left: Report, right: Report, *, names: tuple[str, str] = ("before", "after"), summary: str = "",
    parting_s: tuple[float | None, float | None] = (None, None), first: str | None = None,
) -> str:
    """Two conversations side by side on one page, the place where they part marked.

    :param names: what the two are called.
    :param summary: in one sentence, how they differ.
    :param parting_s: in each, the moment (seconds) from which they differ; None where it is not there.
    :param first: what to do first.
    """
    sides = []
    for number, (report, name, moment) in enumerate(zip((left, right), names, parting_s, strict=True)):
        talk = talk_of(report)
        rows = tuple(row_views(report, talk, f"side-{number}"))
        parts_at = next(
            (view.ident for view in rows if moment is not None and view.row is not None
             and view.row.start_s >= moment - 1e-6), None,
        )
        sides.append({
            **top(report), "name": name, "rows": rows, "parts_at": parts_at,
            "file_name": PurePath(report.path).name or report.path,
            "has_cable": any(2 in (view.sender, view.receiver) for view in rows),
        })
    return _render("comparison.html.j2", sides=sides, summary=summary, first=first, **_assets(False))


def _render(template: str, **context: Any) -> str:
    return _environment().get_template(template).render(**context)


@lru_cache(maxsize=1)
def _environment() -> Environment:
    return Environment(
        loader=PackageLoader("pdcheck.report.page"), autoescape=True, undefined=StrictUndefined, trim_blocks=True,
        lstrip_blocks=True, finalize=_shown, auto_reload=False,
    )


def _shown(value: object) -> object:
    """Words without control characters or marks that turn the direction of writing; markup of our own as it is."""
    if isinstance(value, str) and not isinstance(value, Markup):
        return printable(value)
    return value


def _assets(with_script: bool) -> dict[str, Any]:
    style = _text("styles", "page.css")
    script = "\n".join(_text("scripts", name) for name in _SCRIPTS) if with_script else ""
    scripts = f"'sha256-{_digest(script)}'" if with_script else "'none'"
    policy = (
        f"default-src 'none'; style-src 'sha256-{_digest(style)}'; script-src {scripts}; img-src data:; "
        "base-uri 'none'; form-action 'none'"
    )
    return {"style": Markup(style), "script": Markup(script) if with_script else None, "policy": policy}


@lru_cache(maxsize=8)
def _text(folder: str, name: str) -> str:
    return files("pdcheck.report.page").joinpath(folder, name).read_text(encoding="utf-8")


def _digest(text: str) -> str:
    return b64encode(sha256(text.encode()).digest()).decode()
