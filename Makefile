# Two commands: `make run` does the whole job on the demo collection, `make test` passes the tests.
# Each prepares what it needs first; that is done once, and again only when the pins change.
#
#   make run COLLECTION=path/to/recipes     another collection; OPTIONS='--output somewhere' as well
#   make test TESTS=tests/test_units.py     some of the tests
#   make clean                              remove the environment, kept results and releases

SHELL := /bin/sh
ENVIRONMENT := .venv
BIN := $(ENVIRONMENT)/bin
READY := $(ENVIRONMENT)/.ready
PIP := $(BIN)/python -m pip install -qq --disable-pip-version-check --no-input
# The first of these that is new enough makes the environment; PYTHON=... names another one.
PYTHON ?= python3
PYTHONS := $(PYTHON) python3 python3.13 python3.12 python3.11
NEW_ENOUGH := import sys, venv; sys.exit(sys.version_info < (3, 11))

COLLECTION ?=
OPTIONS ?=
TESTS ?= tests

.PHONY: run test setup clean

# Exit code 1 of `potash run` means "done, and something is withheld": an answer, not a failure.
run: $(READY)
	@$(BIN)/potash run $(COLLECTION) $(OPTIONS); code=$$?; \
	[ $$code -le 1 ] || exit $$code

test: $(READY)
	@$(BIN)/python -m pytest -q -n auto --dist loadfile $(TESTS)

setup: $(READY)

$(READY): requirements.txt requirements-test.txt pyproject.toml
	@found=; \
	for python in $(PYTHONS); do \
		if $$python -c '$(NEW_ENOUGH)' >/dev/null 2>&1; then found=$$python; break; fi; \
	done; \
	if [ -z "$$found" ]; then \
		echo "Potash needs Python 3.11 or newer with its venv module; tried: $(PYTHONS)." >&2; \
		echo "Install it, or name it: make PYTHON=/path/to/python3.11 $(MAKECMDGOALS)" >&2; \
		exit 2; \
	fi; \
	if ! $(BIN)/python -c '$(NEW_ENOUGH)' >/dev/null 2>&1; then \
		echo "Preparing $(ENVIRONMENT) with $$($$found --version) (once; about a minute)"; \
		$$found -m venv --clear $(ENVIRONMENT) || exit 2; \
	else \
		echo "Bringing $(ENVIRONMENT) up to date with the pins"; \
	fi
	@$(PIP) -r requirements-test.txt
	@$(PIP) --no-deps --no-build-isolation -e .
	@$(BIN)/python -m compileall -q pipeline
	@$(BIN)/python -m pipeline.orchestration
	@touch $@

clean:
	rm -rf $(ENVIRONMENT) .potash output build potash.egg-info .pytest_cache .hypothesis
