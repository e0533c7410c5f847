# Two commands are enough: `make run` and `make test`. Both set up what they need.
PYTHON ?= python3
BIN := .venv/bin
PIP := $(BIN)/python -m pip install --quiet --disable-pip-version-check

.PHONY: run test lint types soak lock clean

run: .venv/run-ready
	$(BIN)/decussate serve --demo

test: lint types
	$(BIN)/python -m pytest -q -n 2

lint: .venv/test-ready
	$(BIN)/ruff format --check .
	$(BIN)/ruff check .

types: .venv/test-ready
	$(BIN)/mypy

.venv/run-ready: requirements.lock pyproject.toml
	$(PYTHON) -c 'import sys; assert sys.version_info >= (3, 11), "Python 3.11 or newer is needed"'
	$(PYTHON) -m venv .venv
	$(PIP) --require-hashes -r requirements.lock
	$(PIP) --no-build-isolation --no-deps -e .
	$(BIN)/python -m decussate.localisation.warm_up
	touch $@

.venv/test-ready: .venv/run-ready requirements-dev.lock
	$(PIP) --require-hashes -r requirements-dev.lock
	touch $@

soak: .venv/test-ready
	$(BIN)/python tools/soak_crash.py
	$(BIN)/python tools/soak_fuzz.py

lock:
	$(BIN)/python -m pip install --quiet uv
	$(BIN)/uv pip compile pyproject.toml --group build --quiet --generate-hashes --no-emit-index-url --no-header --no-annotate -o requirements.lock
	$(BIN)/uv pip compile pyproject.toml --group dev -c requirements.lock --quiet --generate-hashes --no-emit-index-url --no-header --no-annotate -o requirements-dev.lock

clean:
	rm -rf .venv
