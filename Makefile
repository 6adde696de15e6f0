# fourlimb: `make demo` renders the first lesson, `make test` runs every check. Both set themselves up.
PYTHON ?= python3
BIN := .venv/bin

.PHONY: help demo docs pictures test fuzz bench lint dist clean

help: ## say what can be made
	@grep -hE '^[a-z]+:.*##' $(MAKEFILE_LIST) | sed -E 's/:[^#]*## /\t/'

demo: .venv/ready ## render the first lesson into demo/
	$(BIN)/fourlimb demo -o demo

test: .venv/test-ready lint ## style, types, then all tests: a module in one process, since its tests may share a browser
	$(BIN)/pytest -n auto --dist loadfile --no-loadscope-reorder

fuzz: .venv/test-ready ## try a million hostile inputs, or go on where it was broken off; SEED=7 CASES=5000 for others
	$(BIN)/python tests/fuzz/fuzz.py --state .fuzz $(if $(SEED),--seed $(SEED)) $(if $(CASES),--cases $(CASES))

lint: .venv/test-ready
	$(BIN)/ruff check .
	$(BIN)/ruff format --check .
	$(BIN)/mypy

docs: .venv/ready ## write the tables of keys in docs/ anew
	$(BIN)/python -m render.lesson.key_pages

dist: .venv/test-ready ## make the wheel and the archive of the sources in dist/
	$(BIN)/python -m build --no-isolation --outdir dist .

pictures: .venv/test-ready ## draw the pictures of the README anew
	$(BIN)/python docs/pictures/draw.py

bench: .venv/test-ready ## print the ratios kept in DEVELOPERS.md
	for bench in tests/bench/*.py; do $(BIN)/python $$bench || exit 1; done

.venv/ready: pyproject.toml .ci/setup
	PYTHON=$(PYTHON) bash .ci/setup
	touch $@

.venv/test-ready: pyproject.toml .ci/setup
	PYTHON=$(PYTHON) bash .ci/setup test
	touch $@ .venv/ready

clean: ## remove what was made here
	rm -rf .venv build demo dist out .fuzz .pytest_cache .mypy_cache .ruff_cache .hypothesis *.egg-info
