"""The words and columns of the import files, as the simulator writes them.

Index order matters here: the simulator keeps codes in arrays and turns them into these words when it writes rows.
"""

TASKS = (
    "grease",
    "arrestor",
    "port",
    "air_filter",
    "fuel_filter",
    "plug",
    "mounts",
    "stop_switch",
    "clutch",
    "head",
    "lay_up",
    "review",
)
COMPONENTS = (
    "head",
    "guard",
    "gearbox",
    "drive_shaft",
    "clutch",
    "exhaust",
    "cylinder",
    "crank",
    "intake",
    "carburetor",
    "fuel",
    "ignition",
    "stop_switch",
    "starter",
    "mounts",
    "throttle",
    "cooling",
)
# The component whose wear a task looks at, and, for grease and arrestor, renews.
TASK_COMPONENT = {
    "grease": "gearbox",
    "arrestor": "exhaust",
    "air_filter": "intake",
    "fuel_filter": "fuel",
    "plug": "ignition",
    "mounts": "mounts",
    "stop_switch": "stop_switch",
    "clutch": "clutch",
    "head": "head",
}
YARD_TASKS = ("grease", "arrestor", "air_filter", "fuel_filter", "plug", "head")

GUARD = ("on", "off", "refitted", "damaged", "no_cutter")
LINE = ("ok", "long", "uneven", "too_thick")
SAFETY = (
    "ok",
    "no_stop",
    "turns_at_idle",
    "trigger_sticks",
    "fuel_leak",
    "cracked_head",
    "loose_handle",
)
# The hidden fault behind each safety finding of a guard walk.
SAFETY_COMPONENT = {
    "no_stop": "stop_switch",
    "turns_at_idle": "clutch",
    "trigger_sticks": "throttle",
    "fuel_leak": "fuel",
    "cracked_head": "head",
    "loose_handle": "mounts",
}
SEEN_BY = ("crew", "shop")
AS_FOUND = ("ok", "clear", "partly", "blocked", "holed", "missing", "dry", "loose", "worn", "failed")
EVENTS_AT_LOOK = ("blocked", "holed", "missing", "dry", "failed")
SERVICE_DONE = ("looked", "serviced", "replaced")
DONE_BY = ("crew", "shop")
CAUSE = (
    "stale_fuel",
    "water",
    "no_oil",
    "overload",
    "dirt",
    "dropped",
    "earlier_repair",
    "makers_fault",
    "wear",
    "unknown",
)
FOUND = ("in_use", "at_look")
FAILURE_DONE = ("repaired", "replaced", "scrapped")
RETIRED_WHY = ("sold", "stolen", "scrapped", "lost")

COLUMNS: dict[str, tuple[str, ...]] = {
    "contractors": (
        "contractor",
        "shop",
        "time_zone",
        "season_opens",
        "season_closes",
        "working_days",
        "labour_rate",
        "downtime_per_day",
        "spare_on_trailer",
        "risk_limit",
        "confidence_gate",
        "discount_rate",
        "order_by",
    ),
    "models": (
        "maker",
        "model",
        "displacement_cc",
        "price",
        "resale_share_per_season",
        "warranty_months",
        "burn_litres_per_hour",
        "vibration_ms2",
        *(f"{task}_{measure}" for task in TASKS for measure in ("hours", "months")),
    ),
    "units": (
        "unit",
        "contractor",
        "crew",
        "maker",
        "model",
        "serial",
        "bought_on",
        "price",
        "registered_on",
        "hours_at_registration",
        "guard",
        "retired_on",
        "retired_why",
    ),
    "moves": ("unit", "contractor", "date", "crew"),
    "hours": (
        "unit",
        "contractor",
        "date",
        "meter_hours",
        "hours_run",
        "litres",
        "meter_replaced",
        "crew",
        "week_of",
        "crew_hours",
        "crew_litres",
        "trimmer_share",
    ),
    "guard": ("unit", "contractor", "date", "guard", "line", "safety", "seen_by"),
    "services": (
        "unit",
        "contractor",
        "date",
        "hours",
        "task",
        "as_found",
        "done",
        "part_hours",
        "done_by",
        "minutes",
        "parts_cost",
        "warranty",
    ),
    "failures": (
        "unit",
        "contractor",
        "date",
        "hours",
        "component",
        "what",
        "cause",
        "found",
        "done",
        "part_hours",
        "minutes",
        "parts_cost",
        "downtime_days",
        "warranty",
        "guard_as_found",
    ),
}
