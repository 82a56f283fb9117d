# Two commands set everything up on a machine with Python 3.11 or newer, git and make:
#   make demo   run the main job on the made-up season in demo_data/season
#   make test   run the tests
# Versions are those of the lock files, checked by their hashes. uv is used where it is on the PATH, pip otherwise.

PYTHON ?= python3
VENV := .venv
BIN := $(VENV)/bin
OUT ?= out
UV := $(shell command -v uv 2>/dev/null)
# Compile once at installation; without it every start would compile great-expectations anew.
export UV_COMPILE_BYTECODE := 1

ifdef UV
INSTALL := $(UV) pip install --quiet --python $(BIN)/python
else
INSTALL := env -u PYTHONDONTWRITEBYTECODE $(BIN)/python -m pip install --quiet --disable-pip-version-check
endif

# The tests are shared between processes, one for each processor and four at most, a file of tests at a time: what a
# file prepares for its tests is prepared once. Files keep their order, for the largest are not among the last.
SHARED := -n auto --maxprocesses 4 --dist loadfile --no-loadscope-reorder

.PHONY: help demo test lint types imports check lock clean

help: ## show this list
	@grep -E '^[a-z]+:.*##' $(MAKEFILE_LIST) | sed 's/:.*##/\t/'

$(BIN)/python:
	@$(PYTHON) -c 'import sys; sys.exit("platework needs Python 3.11 or newer" if sys.version_info < (3, 11) else 0)'
	$(PYTHON) -m venv $(VENV)

$(VENV)/.run: requirements.lock pyproject.toml | $(BIN)/python
	$(INSTALL) --require-hashes -r requirements.lock
	$(INSTALL) --no-deps -e .
	@touch $@

$(VENV)/.dev: requirements-dev.lock pyproject.toml | $(BIN)/python
	$(INSTALL) --require-hashes -r requirements-dev.lock
	$(INSTALL) --no-deps -e .
	@touch $@ $(VENV)/.run

demo: $(VENV)/.run ## run the main job on the demo season
	@$(BIN)/platework run demo_data/season --out $(OUT); code=$$?; test $$code -le 1

test: $(VENV)/.dev ## run all tests
	$(BIN)/python -m pytest -q $(SHARED)

lint: $(VENV)/.dev ## style and mistakes
	$(BIN)/ruff check .

types: $(VENV)/.dev ## static types, strict
	$(BIN)/mypy

imports: $(VENV)/.dev ## the layers of the product
	$(BIN)/lint-imports

check: lint types imports test ## all that has to pass before a merge

lock: ## renew the lock files (needs uv)
	uv pip compile --quiet --universal --generate-hashes --no-emit-index-url --no-header pyproject.toml -o requirements.lock
	uv pip compile --quiet --universal --generate-hashes --no-emit-index-url --no-header --extra dev -c requirements.lock pyproject.toml -o requirements-dev.lock

clean: ## remove what the commands above made
	rm -rf $(VENV) $(OUT) dist build
