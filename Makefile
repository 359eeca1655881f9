# One file of recipes; `.ci/run` calls `make test`, so a laptop and CI do the same.
PYTHON ?= python3
VENV := .venv
BIN := $(VENV)/bin
STAMP := $(VENV)/.installed

.PHONY: demo test lint bench mutate readme reports fuzz lock clean ngspice chromium

demo: $(STAMP) ngspice
	@$(BIN)/python tests/demo/make_reports.py

test: $(STAMP) ngspice chromium lint
	$(BIN)/python -m pytest -n auto -q

lint: $(STAMP)
	$(BIN)/ruff check guardcheck tests
	$(BIN)/ruff format --check guardcheck tests
	$(BIN)/lint-imports
	$(BIN)/mypy

mutate: $(STAMP) ngspice
	$(BIN)/python -m tests.mutation.run $(MUTATE)

bench: $(STAMP) ngspice
	$(BIN)/python tests/benchmarks/run.py
	$(BIN)/python tests/benchmarks/start_up.py
	$(BIN)/python tests/benchmarks/capture_memory.py

reports: $(STAMP) ngspice
	@$(BIN)/python tests/demo/make_reports.py

readme: $(STAMP)
	@$(BIN)/python tests/demo/readme.py

schemas: $(STAMP)
	@$(BIN)/python tests/schemas.py

fuzz: $(STAMP) ngspice
	GUARDCHECK_FUZZ=deep $(BIN)/python -m pytest -q -k "fuzz or random" tests

lock: $(STAMP)
	$(BIN)/pip install -q pip-tools
	$(BIN)/pip-compile -q --extra dev --generate-hashes --allow-unsafe --strip-extras --no-emit-index-url --no-emit-trusted-host --no-emit-find-links \
	  --no-header --output-file requirements-dev.lock pyproject.toml

ngspice: $(STAMP)
	@.ci/need-ngspice $(BIN)/python

chromium:
	@.ci/need-chromium

$(STAMP): pyproject.toml requirements-dev.lock
	@.ci/make-venv $(PYTHON) $(VENV)
	@touch $(STAMP)

clean:
	rm -rf $(VENV) build dist .pytest_cache .mypy_cache .ruff_cache .hypothesis .import_linter_cache
