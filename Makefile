# Two commands do all on a fresh machine with Python 3.11 or newer: `make demo` and `make test`.
PYTHON ?= python3
VENV := .venv
BIN := $(VENV)/bin

.PHONY: help demo test books bench lint gold lock clean

help: ## show this list
	@grep -E '^[a-z]+:.*##' $(MAKEFILE_LIST) | sed -E 's/:.*## /\t/' | sort

$(VENV)/installed: requirements.lock pyproject.toml
	$(PYTHON) -m venv $(VENV)
	$(BIN)/python -m pip install --quiet --disable-pip-version-check --require-hashes -r requirements.lock
	$(BIN)/python -m pip install --quiet --disable-pip-version-check --no-deps -e .
	@touch $@

demo: $(VENV)/installed ## write, collect and grade a whole invented course into out/
	rm -rf out/demo
	$(BIN)/fairfit demo out/demo || [ $$? -eq 1 ]

test: lint ## check form and types, and run all tests
	$(BIN)/python -m pytest -q -n auto

books: $(VENV)/installed ## compare the gradebooks of 200 random classes with a spreadsheet, cell by cell
	FAIRFIT_BOOKS=200 $(BIN)/python -m pytest -q tests/rubrics/test_random_books.py

bench: $(VENV)/installed ## measure speed (not part of the tests)
	$(BIN)/python -m pytest -q tests/bench --benchmark-only --benchmark-disable-gc

lint: $(VENV)/installed ## check the code's form and its types
	$(BIN)/ruff check .
	$(BIN)/mypy

gold: $(VENV)/installed ## accept what the demo course now produces as the documents to compare with
	FAIRFIT_ACCEPT=1 $(BIN)/python -m pytest -q tests/lessons/test_gold.py

lock: $(VENV)/installed ## pin all dependencies anew
	$(BIN)/python -m pip install --quiet uv
	$(BIN)/uv pip compile -q --universal --python-version 3.11 --generate-hashes --no-emit-index-url \
	  --no-annotate --no-header --extra test pyproject.toml -o requirements.lock

clean: ## remove the environment and everything generated
	rm -rf $(VENV) out dist .pytest_cache .ruff_cache .hypothesis .benchmarks
