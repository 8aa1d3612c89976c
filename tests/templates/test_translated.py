"""Every word a person reads goes through gettext: the templates are read for words that do not.

Rough on purpose: it takes the tags of templates and pages away and looks at what is left.
"""

from __future__ import annotations

import re

import pytest

from tests.templates.test_strict_policy import NAMES, TEMPLATES

# Our own name, signs of units and formats, and words of other languages' own names.
LEFT_AS_THEY_ARE = {"Swathkeeper", "h", "MM", "DD", "csv", "xlsx"}
READ_ALOUD = ("aria-label", "title", "alt", "placeholder", "data-label")

_COMMENT = re.compile(r"\{%\s*comment.*?endcomment\s*%\}|\{#.*?#\}|<!--.*?-->", re.S)
# The page's width is a class, not a word.
_CLASS = re.compile(r"\{%\s*block main_class\s*%\}.*?\{%\s*endblock\s*%\}", re.S)
_TRANSLATED = re.compile(r"\{%\s*blocktrans(?:late)?\b.*?endblocktrans(?:late)?\s*%\}", re.S)
_HIDDEN = re.compile(r"<(script|style|svg)\b.*?</\1>", re.S)
_TAG = re.compile(r"\{%.*?%\}|\{\{.*?\}\}", re.S)
_MARKUP = re.compile(r"<[^<>]*>", re.S)
_WORD = re.compile(r"[^\W\d_]{2,}")

SOURCES = [pytest.param(path.read_text(), id=name) for path, name in zip(TEMPLATES, NAMES, strict=True)]


def plain(source: str) -> str:
    """A template without comments and what gettext sees already."""
    return _TAG.sub(" ", _TRANSLATED.sub(" ", _CLASS.sub(" ", _COMMENT.sub(" ", source))))


@pytest.mark.parametrize("source", SOURCES)
def test_text_is_translated(source):
    text = _MARKUP.sub(" ", _HIDDEN.sub(" ", plain(source)))
    text = re.sub(r"&[a-z]+;", " ", text)
    assert not [word for word in _WORD.findall(text) if word not in LEFT_AS_THEY_ARE]


@pytest.mark.parametrize("source", SOURCES)
def test_attributes_that_are_read_out_are_translated(source):
    for name in READ_ALOUD:
        for value in re.findall(rf"\s{name}=\"([^\"]*)\"", plain(source)):
            assert not [word for word in _WORD.findall(value) if word not in LEFT_AS_THEY_ARE], value


def test_it_would_notice():
    assert _WORD.findall(_MARKUP.sub(" ", plain('<p class="x">Save {% translate "it" %}</p>'))) == ["Save"]
