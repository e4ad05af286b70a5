# Two commands are enough: `make demo` and `make test`. Each sets up what it needs first.
PYTHON ?= python3
VENV := .venv
BIN := $(VENV)/bin
INSTALLED := $(VENV)/.installed

.DEFAULT_GOAL := help
.PHONY: help install demo serve test fast postgres lint types floors lock clean

help: ## what can be made
	@grep -E '^[a-z]+:.*##' $(MAKEFILE_LIST) | sed 's/:.*## /\t/' | expand -t 12

install: $(INSTALLED) ## make .venv and install Dryside with all it needs

$(INSTALLED): requirements/all.txt pyproject.toml
	@test -x $(BIN)/python || $(PYTHON) -m venv $(VENV)
	@echo "Installing into $(VENV) (once; a few minutes on a slow line) ..."
	@$(BIN)/python -m pip install --quiet --disable-pip-version-check --require-hashes -r requirements/all.txt
	@$(BIN)/python -m pip install --quiet --disable-pip-version-check --no-deps --no-build-isolation --editable .
	@touch $(INSTALLED)

demo: $(INSTALLED) ## take an invented photographer's season through the whole job
	@$(BIN)/dryside demo

serve: $(INSTALLED) ## the whole job in a browser, over the demo book
	@$(BIN)/dryside demo --quiet
	@$(BIN)/dryside serve --demo

test: $(INSTALLED) lint types floors ## every check
	@$(BIN)/python -m pytest -n auto --dist loadgroup

fast: $(INSTALLED) ## the tests that take no browser and no second
	@$(BIN)/python -m pytest -n auto --dist loadgroup -m "not browser and not slow"

postgres: $(INSTALLED) ## the book's and jobs' tests on a throw-away PostgreSQL
	@DRYSIDE_TEST_DATABASE=postgresql $(BIN)/python -m pytest -n auto --dist loadgroup -m "not browser" \
	  tests/book tests/labs tests/scans tests/prints tests/sleeves tests/stats

lint: $(INSTALLED) ## style
	@$(BIN)/ruff check src tests benchmarks
	@$(BIN)/ruff format --check src tests benchmarks

types: $(INSTALLED) ## types
	@$(BIN)/mypy

floors: $(INSTALLED) ## imports against the floors
	@$(BIN)/lint-imports

lock: $(INSTALLED) ## pin every dependency again, with hashes
	@$(BIN)/python -m pip install --quiet uv
	@$(BIN)/uv pip compile --quiet --universal --python-version 3.11 --generate-hashes --upgrade --all-extras \
	  --no-emit-index-url --no-emit-find-links --no-header --no-annotate pyproject.toml requirements/build.in -o requirements/all.txt

clean: ## remove the environment and caches
	rm -rf $(VENV) build dist .pytest_cache .mypy_cache .ruff_cache
