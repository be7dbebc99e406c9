# All that is done with this repository. Each target sets up what it needs: Python 3.11+ and make are enough.
.DEFAULT_GOAL := help
.PHONY: help demo test test-slow test-trace lint format docs speed tour screens lock setup clean
.SUFFIXES:

BIN := .venv/bin
OUT ?= demo-out
# More for pytest, such as ARGS="-k notation".
ARGS ?=
# The tests of one file stay together, and files are shared out over the cores; PYTEST= has them one after the other.
PYTEST ?= -n auto --dist loadfile --no-loadscope-reorder
SOURCES := src tests speed scripts tools

help: ## say what there is
	@sed -n 's/^\([a-z-]*\):.*## \(.*\)/  make \1\t\2/p' $(MAKEFILE_LIST) | expand -t 20

demo: .venv/.ready-run ## prepare the demo job: findings, a PDF and a pocket page in demo-out/
	@$(BIN)/tapehook demo --out "$(OUT)"

test: lint docs ## style, types, contracts, documentation and all tests
	@browser=$$(scripts/browser.sh) && server=$$(scripts/postgresql.sh) && \
		TAPEHOOK_CHROMIUM="$$browser" TAPEHOOK_POSTGRESQL="$$server" $(BIN)/python -m pytest $(PYTEST) $(ARGS)

test-slow: .venv/.ready-dev ## the tests that take minutes
	@browser=$$(scripts/browser.sh) && server=$$(scripts/postgresql.sh) && \
		TAPEHOOK_CHROMIUM="$$browser" TAPEHOOK_POSTGRESQL="$$server" $(BIN)/python -m pytest -m slow $(ARGS)

test-trace: .venv/.ready-trace ## the one test that traces a lens with another program
	@$(BIN)/python -m pytest -m trace $(ARGS)

lint: .venv/.ready-dev ## style, types and the layers of the house
	@$(BIN)/ruff check --quiet .
	@$(BIN)/ruff format --quiet --check . || { echo "Not formatted; make format does it"; exit 1; }
	@$(BIN)/mypy $(SOURCES)
	@$(BIN)/lint-imports --no-logo

format: .venv/.ready-dev ## put the code in the house's form
	@$(BIN)/ruff format .
	@$(BIN)/ruff check --fix .

docs: .venv/.ready-dev ## build the documentation into site/, any broken link a fault
	@$(BIN)/mkdocs build --strict --quiet
	@echo "Documentation built: site/index.html"

speed: .venv/.ready-speed ## measure, beside peers in the same run; writes docs/speed.md
	@server=$$(scripts/postgresql.sh) && TAPEHOOK_POSTGRESQL="$$server" $(BIN)/python -m speed $(ARGS)

tour: .venv/.ready-dev ## take the README's pictures anew from the demo job
	@$(BIN)/python scripts/tour.py

screens: .venv/.ready-dev ## take the pictures of every page anew, three widths, both themes
	@$(BIN)/python scripts/screens.py

lock: .venv/.ready-dev ## resolve the dependencies anew (UPGRADE=1 for newer versions)
	@PATH="$(CURDIR)/$(BIN):$$PATH" scripts/lock.sh

setup: .venv/.ready-dev ## only set up, for working on the code
	@:

clean: ## remove all that was made here
	rm -rf .venv demo-out site dist build .mypy_cache .pytest_cache .ruff_cache .hypothesis .import_linter_cache
	find $(SOURCES) -name __pycache__ -type d -prune -exec rm -rf {} +

# The wider set-ups hold all of the narrower ones, so the two never undo each other.
.venv/.ready-%: requirements-%.lock requirements-uv.lock pyproject.toml scripts/setup.sh
	@scripts/setup.sh $*

.venv/.ready-run: requirements.lock requirements-uv.lock pyproject.toml scripts/setup.sh
	@scripts/setup.sh run
