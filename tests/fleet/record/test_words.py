"""The words of files: keys, screen words and the trade's other words come to the same key."""

import pytest
from django.utils import translation

from fleet import vocabulary as v
from fleet.record import words


@pytest.mark.parametrize("text", ["air_filter", "Air Filter", "AIR-FILTER", " air  filter ", "Air\u00a0Filter"])
def test_case_spaces_hyphens_and_underscores_do_not_matter(text):
    assert words.TASKS[words.normalise(text)] == "air_filter"


@pytest.mark.parametrize(
    ("known", "labels"),
    [
        (words.TASKS, {key: task.label for key, task in v.TASKS.items()}),
        (words.COMPONENTS, v.COMPONENTS),
        (words.GUARD, v.GUARD_STATES),
        (words.LINE, v.LINE_STATES),
        (words.SAFETY, v.SAFETY_STATES),
        (words.SEEN_BY, v.SEEN_BY),
        (words.AS_FOUND, v.AS_FOUND),
        (words.SERVICE_DONE, v.SERVICE_DONE),
        (words.FAILURE_DONE, v.FAILURE_DONE),
        (words.CAUSES, v.CAUSES),
        (words.FOUND, v.FOUND),
    ],
)
def test_every_key_and_every_word_on_a_screen_is_taken(known, labels):
    with translation.override("en-us"):
        for key, label in labels.items():
            assert known[words.normalise(key)] == key
            assert known[words.normalise(str(label))] == key


# Common practice: the other words of the trade that the contract names, with no source claimed.
@pytest.mark.parametrize(
    ("text", "key"),
    [
        ("carburettor", "carburetor"),
        ("carb", "carburetor"),
        ("arrester", "exhaust"),
        ("Spark Screen", "exhaust"),
        ("muffler", "exhaust"),
        ("kill switch", "stop_switch"),
        ("shield", "guard"),
        ("recoil", "starter"),
        ("bump head", "head"),
        ("gear head", "gearbox"),
        ("gear-case", "gearbox"),
        ("Driveshaft", "drive_shaft"),
    ],
)
def test_other_words_for_components(text, key):
    assert words.COMPONENTS[words.normalise(text)] == key


@pytest.mark.parametrize(
    ("text", "key"),
    [
        ("arrester", "arrestor"),
        ("spark screen", "arrestor"),
        ("decarbonise", "port"),
        ("kill switch", "stop_switch"),
        ("bump head", "head"),
        ("Gear head", "grease"),
        ("Winterize", "lay_up"),
        ("keep-or-replace review", "review"),
    ],
)
def test_other_words_for_tasks(text, key):
    assert words.TASKS[words.normalise(text)] == key


@pytest.mark.parametrize("text", ["filter", "engine", "on?", "!", "", "wobbly"])
def test_words_that_could_mean_two_things_are_not_guessed(text):
    for known in (words.TASKS, words.COMPONENTS, words.GUARD):
        assert words.normalise(text) not in known


@pytest.mark.parametrize("text", ["yes", "Y", "TRUE", "t", "1", "x", "X", "✓", "1.0", "Yes ", "-1"])
def test_yes(text):
    assert words.flag(text) is True


@pytest.mark.parametrize("text", ["no", "N", "False", "f", "0", "0.0", "off", " No"])
def test_no(text):
    assert words.flag(text) is False


def test_no_answer_and_nonsense():
    assert words.flag("") is None
    assert words.flag("-") is None
    assert words.flag("n/a") is None
    for text in ("maybe", "2", "10", "00", "yes?"):
        with pytest.raises(ValueError):
            words.flag(text)


@pytest.mark.parametrize(
    ("text", "days"),
    [
        ("Mon-Fri", (0, 1, 2, 3, 4)),
        ("monday to saturday", (0, 1, 2, 3, 4, 5)),
        ("Mon, Wed, Fri", (0, 2, 4)),
        ("Mon–Thu and Sat", (0, 1, 2, 3, 5)),
        ("Sat-Mon", (0, 5, 6)),
    ],
)
def test_working_days(text, days):
    assert words.working_days(text) == days
    assert words.working_days(words.working_days_text(days)) == days


@pytest.mark.parametrize("text", ["", "weekdays?", "Mon-Tue-Wed", "Fryday"])
def test_working_days_nobody_understands(text):
    with pytest.raises(ValueError):
        words.working_days(text)


def test_a_name_of_dashes_keeps_a_key():
    assert words.name_key("--") == "--"
    assert words.name_key("North Crew") == words.name_key("north-crew")
