# Two commands: `make demo` and `make test`. Both set up a private environment in .venv first.
PYTHON ?= python3
VENV ?= .venv
BIN = $(VENV)/bin

# Bytecode is kept: the story, the pages and the tests start some thousand processes, which would compile all of it anew.
unexport PYTHONDONTWRITEBYTECODE

.PHONY: demo test lint types layers check mutants benchmark validation readme picture clean

demo: $(VENV)/.ready
	PATH="$(abspath $(BIN)):$$PATH" sh tools/tell_the_story.sh build/demo

# One thread of linear algebra in each of two processes: more would fight over two cores.
test: $(VENV)/.ready-dev
	OMP_NUM_THREADS=1 OPENBLAS_NUM_THREADS=1 $(BIN)/python -m pytest -n 2 --dist worksteal

lint: $(VENV)/.ready-dev
	$(BIN)/ruff check src tests tools benchmarks
	$(BIN)/ruff format --check src tests tools benchmarks

types: $(VENV)/.ready-dev
	$(BIN)/mypy

layers: $(VENV)/.ready-dev
	$(BIN)/lint-imports

check: lint types layers

mutants: $(VENV)/.ready-dev
	$(BIN)/python tools/mutants.py

benchmark: $(VENV)/.ready-dev
	$(BIN)/python -m pytest benchmarks --benchmark-enable --benchmark-only -p no:xdist

validation: $(VENV)/.ready-dev
	$(BIN)/python tools/validation.py

readme: $(VENV)/.ready-dev
	$(BIN)/python tools/readme.py

picture: $(VENV)/.ready-dev
	DRYFIT_PICTURE=docs/pictures/workbench.png $(BIN)/python -m pytest -q tests/journeys/web/test_pages.py -k picture_of_the_readme

$(VENV)/.ready: pyproject.toml constraints.txt
	test -x $(BIN)/python || $(PYTHON) -m venv $(VENV)
	$(BIN)/python -m pip install --quiet --constraint constraints.txt --editable .
	$(BIN)/python -m compileall -q src
	touch $@

$(VENV)/.ready-dev: $(VENV)/.ready
	$(BIN)/python -m pip install --quiet --constraint constraints.txt --editable '.[dev]'
	touch $@

clean:
	rm -rf $(VENV) build .pytest_cache .mypy_cache .ruff_cache .hypothesis .benchmarks
