# make demo: the portal with invented data on http://127.0.0.1:8000    make test: everything, checked
# Both set up what is missing first and do nothing twice. Targets are explained in README.md.

PYTHON ?= $(shell command -v python3.11 || command -v python3)
VENV := .venv
BIN := $(VENV)/bin
TEST_OPTIONS ?=
DEMO_OPTIONS ?=

TRANSLATIONS := $(patsubst %.po,%.mo,$(wildcard fleet/locale/*/LC_MESSAGES/*.po shop/locale/*/LC_MESSAGES/*.po))

.PHONY: demo test bench study faults reference lint setup setup-tests system system-tests
.DEFAULT_GOAL := demo

demo: setup
	@$(BIN)/python manage.py demo $(DEMO_OPTIONS)

test: setup-tests
	@$(BIN)/python -m pytest -n 2 $(TEST_OPTIONS)

# Timings as tables: medians, and the ratio to a yardstick measured in the same run.
bench: setup-tests
	@set -e; for file in tests/benchmarks/bench_*.py; do \
		module=$${file%.py}; $(BIN)/python -m "$$(echo "$$module" | tr / .)"; done

# Long simulations with known truth: coverage of intervals, cost of decisions. About half an hour.
study: setup-tests
	@set -e; for file in tests/benchmarks/study_*.py; do \
		module=$${file%.py}; $(BIN)/python -m "$$(echo "$$module" | tr / .)"; done

# The long hunt for damage: ten thousand broken sets of spreadsheets.
faults: setup-tests
	@$(BIN)/python -m tests.fleet.record.malformed --count 10000

# Our statistics beside published figures and other libraries, as one table.
reference: setup-tests
	@$(BIN)/python -m tests.reliability.reference_table

lint: setup-tests
	@$(BIN)/ruff check .
	@$(BIN)/mypy fleet shop
	@$(BIN)/lint-imports --no-logo

setup: system $(VENV)/.runtime $(TRANSLATIONS)

setup-tests: system-tests $(VENV)/.tests $(TRANSLATIONS)

system:
	@.ci/system venv pdf words

system-tests:
	@.ci/system venv pdf words browser

$(BIN)/python: | system
	$(PYTHON) -m venv $(VENV)

# A stamp is written last: a broken-off install is taken up again.
$(VENV)/.runtime: requirements.txt | $(BIN)/python
	$(BIN)/python -m pip install --quiet --disable-pip-version-check -r requirements.txt
	@touch $@

$(VENV)/.tests: tests/requirements.txt $(VENV)/.runtime
	$(BIN)/python -m pip install --quiet --disable-pip-version-check -r tests/requirements.txt
	@touch $@

%.mo: %.po
	msgfmt --check-format -o $@ $<
