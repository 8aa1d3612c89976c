"""Small folders of files for tests of the import."""

import datetime as dt

from fleet.record.importing import import_files

TODAY = dt.date(2026, 6, 30)


def files(texts):
    return {f"{name}.csv": text.encode() for name, text in texts.items()}


def take(contractor="Quarry Hill Grounds", today=TODAY, only=None, shop="", **texts):
    return import_files(files(texts), contractor=contractor, today=today, only=only, shop=shop)


def bad(report):
    return [(b.file.removesuffix(".csv"), b.line, b.column, b.value) for b in report.bad]


UNITS = "unit,crew,maker,model,registered_on,hours_at_registration\n"
TWO = UNITS + "T1,North,Ostrel,Wren,2026-03-01,10\nT2,South,Ostrel,Heron,2026-03-01,0\n"
