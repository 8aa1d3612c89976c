"""Templates must work under a policy that allows no inline script and no inline style.

A breach would not raise anywhere: the browser drops it silently, and htmx lets a filtered
event through unfiltered. So the templates are read instead.
"""

from __future__ import annotations

import json
import re
from pathlib import Path

import pytest
from django.template.loader import get_template

ROOT = Path(__file__).parents[2]
TEMPLATES = sorted(
    path for folder in (ROOT / "templates", ROOT / "fleet", ROOT / "shop") for path in folder.rglob("*.html")
)
NAMES = [str(path.relative_to(ROOT)) for path in TEMPLATES]

# Mail clients and the PDF maker know no policy; their pages may carry styles of their own.
ON_SCREEN = [
    pytest.param(path.read_text(), id=name)
    for path, name in zip(TEMPLATES, NAMES, strict=True)
    if not {"email", "print"} & set(path.parts)
]


@pytest.mark.parametrize("source", ON_SCREEN)
def test_no_inline_script_or_style(source):
    for tag in re.findall(r"<script\b[^>]*>", source):
        assert " src=" in tag or 'type="application/json"' in tag, tag
    assert not re.search(r"<style\b", source)
    assert not re.search(r"\sstyle\s*=", source)
    assert not re.search(r"\son[a-z]+\s*=\s*[\"']", source)
    assert "javascript:" not in source


@pytest.mark.parametrize("source", ON_SCREEN)
def test_no_htmx_that_needs_eval(source):
    assert not re.search(r"\s(data-)?hx-on\b", source)
    assert not re.search(r"hx-(vals|headers|vars|request)\s*=\s*[\"']\s*(js|javascript):", source)
    for trigger in re.findall(r"hx-trigger\s*=\s*\"([^\"]*)\"|hx-trigger\s*=\s*'([^']*)'", source):
        assert "[" not in "".join(trigger), trigger


@pytest.mark.parametrize("source", ON_SCREEN)
def test_nothing_is_loaded_from_elsewhere(source):
    assert not re.search(r"<(script|link|img|iframe)\b[^>]*(src|href)=[\"'](https?:)?//", source)


def test_htmx_is_set_up_for_the_policy():
    content = re.search(r"name=\"htmx-config\" content='([^']+)'", (ROOT / "templates/base.html").read_text())
    config = json.loads(content.group(1))
    assert config["includeIndicatorStyles"] is False
    assert config["allowEval"] is False
    assert config["allowScriptTags"] is False
    assert config["selfRequestsOnly"] is True
    assert config["historyCacheSize"] == 0
    assert {"code": "422", "swap": True} in config["responseHandling"]


@pytest.mark.parametrize(
    "name",
    [str(path.relative_to(ROOT / "templates")) for path in TEMPLATES if path.is_relative_to(ROOT / "templates")],
)
def test_template_can_be_read(name):
    get_template(name)
