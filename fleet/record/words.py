"""The words people write in spreadsheets, and the one key each of them means.

Values are compared without case, spaces, hyphens, underscores and the usual punctuation. Every vocabulary takes its
own keys, the words that screens show, and the other words the trade uses for the same thing. A word that could mean
two things in its column (a bare *filter*, a bare *engine*) is left out on purpose: it is refused, not guessed.
"""

from __future__ import annotations

import re
import unicodedata
from collections.abc import Iterable, Mapping
from functools import lru_cache

from fleet import vocabulary as v

# Everything that people put between words. Marks of doubt or negation (? ! + #) stay: "on?" is not "on".
_BETWEEN_WORDS = re.compile(r"[\s_'’‘`.,:;/&()\"\u00ad\u200b\u2010-\u2015\u2212\u2060\ufeff-]+")


@lru_cache(maxsize=65536)
def normalise(text: str) -> str:
    """The form in which two spellings of a word are compared: no case, accents, spaces, hyphens or underscores."""
    plain = unicodedata.normalize("NFKD", text.casefold())
    return _BETWEEN_WORDS.sub("", "".join(letter for letter in plain if not unicodedata.combining(letter)))


def name_key(text: str) -> str:
    """The form in which names and tags are compared; a name made of nothing but dashes is compared as written."""
    return normalise(text) or text.casefold()


def _vocabulary(keys: Iterable[str], others: Mapping[str, str]) -> dict[str, str]:
    """Normalised spelling -> key; a spelling claimed by two keys is a mistake in this file and raises."""
    known = {normalise(key): key for key in keys}
    for key, spellings in others.items():
        if key not in known.values():
            raise ValueError(f"{key} is not a key of this vocabulary")
        for spelling in spellings.split("|"):
            word = normalise(spelling)
            if known.setdefault(word, key) != key:
                raise ValueError(f"{spelling} would mean both {known[word]} and {key}")
    return known


TASKS = _vocabulary(
    v.TASKS,
    {
        "grease": "gearbox grease|grease gearbox|greased|greasing|gear head grease|grease gear head|gear case grease"
        "|grease gear case|gearbox greased|lube|lubricate|gearbox lube|lube gearbox|gearbox|gear head",
        "arrestor": "arrester|spark arrestor|spark arrester|arrestor screen|arrester screen|arrestor screen clean"
        "|arrester screen clean|spark screen|spark screen clean|screen|screen clean|clean screen|clean arrestor"
        "|clean arrester|muffler screen|exhaust screen|clean spark screen|clean the screen|clean arrestor screen",
        "port": "exhaust port|clean the exhaust port|clean exhaust port|exhaust port clean|clean port|port clean"
        "|decarbonise|decarbonize|decarbonised|decarbonized|decarbonising|decarbonizing|decarb|decoke|de-coke|decoked"
        "|carbon clean|exhaust port decarbonise|exhaust port decarbonize",
        "air_filter": "air filter clean|clean air filter|air filter change|change air filter|air cleaner|air element"
        "|air filter element|air filter check",
        "fuel_filter": "fuel filter and line check|fuel filter line check|fuel filter & line|fuel filter and line"
        "|fuel filter change|change fuel filter|fuel filter check|fuel line|fuel line check|gas filter|petrol filter"
        "|fuel line and filter|fuel lines|pickup filter|fuel pickup",
        "plug": "spark plug|spark plug change|change spark plug|change plug|plug change|new plug|spark plug check"
        "|plugs|sparking plug",
        "mounts": "mounts and handle check|mounts & handle|mounts and handle|mount|mount check|mounts check|av mounts"
        "|anti vibration mounts|anti-vibe mounts|rubber mounts|isolators|handle check|handle|handle and mounts",
        "stop_switch": "stop switch and trigger check|stop switch & trigger|stop switch and trigger|stop switch check"
        "|kill switch|kill switch check|off switch|ignition switch|trigger check|trigger|stop check|stop and trigger"
        "|on/off switch|stop button|throttle lockout check",
        "clutch": "clutch and idle check|clutch & idle|clutch and idle|clutch check|idle check|idle|clutch inspection",
        "head": "cutting head and line check|cutting head & line|cutting head and line|cutting head check|cutting head"
        "|head check|head and line check|head and line|trimmer head|bump head|bump feed head|line head|string head"
        "|cutter head|line check|spool|spool check|bump head check|trimmer head check",
        "lay_up": "laid up|laying up|season lay up|winter lay up|winterize|winterise|winterizing|winterising"
        "|winterized|winterised|winter storage|storage|off season storage|store for winter|lay up for winter",
        "review": "keep or replace review|keep or replace|replace or keep|replacement review|yearly review"
        "|annual review",
    },
)

COMPONENTS = _vocabulary(
    v.COMPONENTS,
    {
        "head": "cutting head|trimmer head|bump head|bump feed head|line head|string head|cutter head|spool|head spool"
        "|tap head",
        "guard": "shield|debris shield|debris guard|deflector|debris deflector|cutting guard|safety guard|line guard"
        "|cutter guard|skirt|shroud guard",
        "gearbox": "gear head|gear case|gears|bevel gear|bevel gears|angle drive|angle gear|angle gearbox"
        "|transmission|gear housing",
        "drive_shaft": "shaft|drive shaft|flex shaft|flexible shaft|flex cable|drive cable|drive tube|inner shaft"
        "|boom|shaft tube|main shaft",
        "clutch": "clutch drum|clutch shoes|clutch shoe|clutch spring|clutch springs|clutch bell|centrifugal clutch",
        "exhaust": "exhaust and arrestor|exhaust and arrester|muffler|silencer|arrestor|arrester|spark arrestor"
        "|spark arrester|arrestor screen|arrester screen|spark screen|screen|exhaust screen|muffler screen"
        "|exhaust port|exhaust system|exhaust gasket|muffler gasket",
        "cylinder": "cylinder and piston|piston and cylinder|piston|piston ring|piston rings|rings|ring|top end|barrel"
        "|cylinder head|jug|bore|base gasket|cylinder gasket",
        "crank": "crankshaft bearings and seals|crankshaft|crank shaft|crank bearing|crank bearings|crankshaft bearing"
        "|crankshaft bearings|crank seal|crank seals|crankshaft seal|crankshaft seals|main bearing|main bearings"
        "|crankcase|bottom end|crank case|con rod|connecting rod|crank bearings and seals",
        "intake": "intake and insulator|insulator|insulator block|intake gasket|intake manifold|manifold|intake boot"
        "|carb boot|carburetor insulator|heat insulator|air filter|air cleaner|air box|filter housing|reed valve|reed",
        "carburetor": "carb|carburettor|carburetter|carburater|carburator|carby|carbs|carb kit|carburetor diaphragm"
        "|carburettor diaphragm|carb diaphragm|diaphragm|needle valve",
        "fuel": "fuel: line, filter, tank, cap, primer|fuel line filter tank cap primer|fuel line|fuel lines|fuel hose"
        "|fuel filter|fuel tank|fuel cap|tank|tank cap|gas line|gas tank|gas cap|petrol line|petrol tank|primer"
        "|primer bulb|purge bulb|fuel system|pickup filter|tank vent|vent|grommet|fuel pickup",
        "ignition": "spark plug|plug|sparking plug|coil|ignition coil|ignition module|magneto|flywheel|flywheel key"
        "|plug cap|plug boot|plug wire|ht lead|spark",
        "stop_switch": "stop switch and wiring|kill switch|off switch|ignition switch|wiring|stop wire|kill wire|switch"
        "|on/off switch|stop button|stop switch wiring|wires",
        "starter": "recoil|recoil starter|recoil start|pull start|pull starter|pull cord|pull rope|rope|starter rope"
        "|starter cord|rewind|rewind starter|starter spring|recoil spring|starter assembly|starter pawl|starter pulley",
        "mounts": "mounts and handle|handle and mounts|mount|handle|handles|handlebar|loop handle|front handle"
        "|rear handle|grip|av mount|av mounts|anti vibration mount|anti vibration mounts|isolator|isolators"
        "|rubber mount|rubber mounts",
        "throttle": "throttle: trigger, lockout, cable|throttle trigger lockout cable|trigger|throttle trigger|lockout"
        "|throttle lockout|trigger lockout|throttle cable|cable|throttle linkage|trigger and cable",
        "cooling": "cooling: fins, fan, shroud|cooling fins fan shroud|fins|fan|shroud|cooling fins|cooling fan"
        "|fan housing|fan cover|engine shroud|engine cover|cylinder shroud",
    },
)

GUARD = _vocabulary(
    v.GUARD_STATES,
    {
        "on": "yes|y|true|1|x|ok|good|fitted|present|in place|guard on|on guard|intact|scuffed|scratched|fine",
        "off": "no|n|false|0|missing|removed|none|gone|absent|no guard|guard off|not fitted|guard missing|taken off",
        "refitted": "off, refitted now|refit|re-fitted|refitted now|put back|put back on|off refitted|off now refitted"
        "|off then refitted|was off, refitted|back on",
        "damaged": "cracked|cracked through|broken|loose|split|bent|guard damaged|guard cracked|guard loose|damage",
        "no_cutter": "on, cutter missing|cutter missing|no line cutter|cutter gone|line cutter missing|cutter off"
        "|on no cutter|without cutter|no blade|knife missing|no knife",
    },
)
LINE = _vocabulary(
    v.LINE_STATES,
    {
        "ok": "good|fine|right|correct|right length|yes",
        "long": "too long|over long|overlong|over length|past cutter|past the cutter|long line",
        "uneven": "unequal|not even|one side long|one end long|uneven ends",
        "too_thick": "thick|heavy|too heavy|oversize|over size|wrong line|thick line",
    },
)
SAFETY = _vocabulary(
    v.SAFETY_STATES,
    {
        "ok": "good|fine|none|pass|passed|all good|all ok|safe|nothing found|yes",
        "no_stop": "does not stop|doesn't stop|will not stop|won't stop|wont stop|not stopping|stop switch failed"
        "|stop switch|kill switch|cannot be stopped|can't stop",
        "turns_at_idle": "head turns at idle|turns on idle|spins at idle|head spins at idle|creeps|creeps at idle"
        "|head moves at idle|head creeps|idle",
        "trigger_sticks": "trigger or lockout sticks|trigger sticking|sticky trigger|sticking trigger|lockout sticks"
        "|throttle sticks|throttle sticking|trigger|lockout|trigger stuck",
        "fuel_leak": "leak|leaks|leaking|leaking fuel|fuel leaking|leaks fuel|gas leak|petrol leak|fuel leaks",
        "cracked_head": "cutting head cracked|head cracked|cracked cutting head|head split|broken head|head broken",
        "loose_handle": "handle or mount loose|handle loose|loose mount|mount loose|mounts loose|loose mounts|handle"
        "|loose handle or mount|torn mount|mount torn",
    },
)
SEEN_BY = _vocabulary(
    v.SEEN_BY,
    {
        "crew": "crew boss|yard|field|foreman|operator|crew member|driver|team",
        "shop": "bench|technician|tech|mechanic|dealer|workshop|service shop|bench tech|bench technician|service",
    },
)
AS_FOUND = _vocabulary(
    v.AS_FOUND,
    {
        "ok": "good|fine|nothing wrong|no fault|okay|pass|passed|sound",
        "clear": "clean|open|not blocked|unblocked",
        "partly": "partly blocked|partially blocked|part blocked|partial|partially|half blocked|partly clogged"
        "|partially clogged|some carbon|dirty",
        "blocked": "clogged|plugged|fully blocked|choked|carboned up|carboned|plugged up|blocked up|clogged up"
        "|completely blocked",
        "holed": "hole|has hole|torn|burnt through|burned through|perforated|hole in screen|burned out|burnt out",
        "missing": "gone|absent|removed|not there|not fitted|lost",
        "dry": "no grease|bone dry|ran dry|without grease|out of grease",
        "loose": "slack|play|has play",
        "worn": "wear|worn out|worn down",
        "failed": "failed the check|fail|fails|bad|did not pass|not ok|no good|broken|failed check",
    },
)
# "Not looked at" is an answer on the bench sheet; in a file it is the same as a blank cell.
NO_FINDING = frozenset(normalise(word) for word in ("not looked at", "not looked", "not checked", "not seen"))
SERVICE_DONE = _vocabulary(
    v.SERVICE_DONE,
    {
        "looked": "look|looked at|inspected|inspection|checked|check|look only|inspect|reviewed|looked only|tested",
        "serviced": "service|cleaned|clean|greased|grease|lubricated|lubed|adjusted|topped up|done|laid up"
        "|decarbonised|decarbonized|tightened|yes|x|maintained",
        "replaced": "replace|replacement|renewed|new|changed|change|exchanged|swapped|swap|new part|new fitted"
        "|fitted new",
    },
)
FAILURE_DONE = _vocabulary(
    v.FAILURE_DONE,
    {
        "repaired": "repair|fixed|fix|mended|rebuilt|rebuild|adjusted|cleaned|welded|reset",
        "replaced": "replace|replacement|renewed|new|changed|exchanged|swapped|swap|new part|new fitted|fitted new",
        "scrapped": "scrap|junked|junk|written off|write off|disposed|disposed of|binned|beyond repair|unit scrapped",
    },
)
CAUSES = _vocabulary(
    v.CAUSES,
    {
        "stale_fuel": "old fuel|stale gas|bad fuel|bad gas|old gas|stale petrol|old petrol|gummed fuel|varnish",
        "water": "water in fuel|water in gas|wet fuel|water in petrol|watery fuel",
        "no_oil": "no oil in fuel|straight gas|straight gasoline|unmixed fuel|no mix|straight petrol|no oil in gas"
        "|straight fuel",
        "overload": "overloaded|over load|overloading|line too long|long line|too much line",
        "dirt": "dirty|dust|debris|grass|grit|dust and dirt",
        "dropped": "drop|impact|run over|hit|knocked|fell|fall|dropped or hit|accident",
        "earlier_repair": "previous repair|prior repair|bad repair|comeback|come back|last repair|earlier work",
        "makers_fault": "maker's fault|makers fault|maker fault|manufacturer|manufacturer's fault|manufacturer fault"
        "|manufacturing defect|factory defect|defect|factory fault|factory",
        "wear": "worn|worn out|normal wear|wear and tear|age|old age|fatigue|wear & tear",
        "unknown": "not known|unsure|don't know|not sure|no idea|unclear|none|other",
    },
)
FOUND = _vocabulary(
    v.FOUND,
    {
        "in_use": "use|in field|in the field|on the job|on job|during use|while working|at work|in service|field"
        "|in work",
        "at_look": "look|at look|at a look|at inspection|inspection|inspected|at check|check|at a check|at service"
        "|during service|when looked at|on inspection|looked",
    },
)

# "minus one" is how some spreadsheets store a ticked box; normalising takes its sign away.
YES = frozenset(normalise(w) for w in ("yes", "y", "true", "t", "1", "x", "on", "✓", "✔", "☑", "si"))
NO = frozenset(normalise(w) for w in ("no", "n", "false", "f", "0", "off", "none", "✗", "✘", "☐"))

# What stands in a cell that its writer left without an answer; free text keeps it as written.
NO_ANSWER = frozenset({"", "na"})


def is_no_answer(text: str) -> bool:
    """Whether a cell of anything but free text says nothing: blank, a dash, or ``n/a``."""
    return normalise(text) in NO_ANSWER


def flag(text: str) -> bool | None:
    """Yes, no, or ``None`` for a blank cell; anything else raises :class:`ValueError`."""
    word = normalise(text.strip().removesuffix(".0"))
    if word in NO_ANSWER:
        return None
    if word in YES:
        return True
    if word in NO:
        return False
    raise ValueError(text)


DAYS = ("Mon", "Tue", "Wed", "Thu", "Fri", "Sat", "Sun")
_DAY_NAMES = {
    spelling: number
    for number, spellings in enumerate(
        (
            ("mo", "mon", "monday", "mondays"),
            ("tu", "tue", "tues", "tuesday", "tuesdays"),
            ("we", "wed", "weds", "wednesday", "wednesdays"),
            ("th", "thu", "thur", "thurs", "thursday", "thursdays"),
            ("fr", "fri", "friday", "fridays"),
            ("sa", "sat", "saturday", "saturdays"),
            ("su", "sun", "sunday", "sundays"),
        )
    )
    for spelling in spellings
}
_DAY_RANGE = re.compile(r"\s*(?:-|–|—|\bto\b|\bthrough\b)\s*", re.IGNORECASE)
_DAY_LIST = re.compile(r"[\s,;/+&]+(?:and\s+)?", re.IGNORECASE)


def working_days(text: str) -> tuple[int, ...]:
    """Days of the week (Monday 0) from ``Mon-Fri``, ``Mon, Wed, Fri`` or ``Mon-Thu, Sat``; else :class:`ValueError`.

    >>> working_days("Mon-Thu, Sat")
    (0, 1, 2, 3, 5)
    """
    days: set[int] = set()
    for part in _DAY_LIST.split(_DAY_RANGE.sub("-", text.strip())):
        if not part:
            continue
        ends = [_DAY_NAMES.get(normalise(day), -1) for day in part.split("-")]
        if len(ends) > 2 or -1 in ends:
            raise ValueError(text)
        first, last = ends[0], ends[-1]
        days.update((first + step) % 7 for step in range((last - first) % 7 + 1))
    if not days:
        raise ValueError(text)
    return tuple(sorted(days))


def working_days_text(days: Iterable[int]) -> str:
    """The shortest usual writing of a set of working days; the inverse of :func:`working_days`.

    >>> working_days_text((0, 1, 2, 3, 5))
    'Mon-Thu, Sat'
    """
    runs: list[list[int]] = []
    for day in sorted(set(days)):
        if runs and day == runs[-1][-1] + 1:
            runs[-1].append(day)
        else:
            runs.append([day])
    return ", ".join(
        f"{DAYS[run[0]]}-{DAYS[run[-1]]}" if len(run) > 2 else ", ".join(DAYS[day] for day in run) for run in runs
    )


def model_key(maker: str, model: str) -> str:
    """How the catalog knows a model: maker and name compared without case, spaces and hyphens."""
    return f"{name_key(maker)}/{name_key(model)}"
