# Every target does its own set-up in .venv: Python 3.11 or newer with pip is all it needs.

PYTHON ?= python3
VENV   ?= .venv
BIN    := $(VENV)/bin
UV     := $(BIN)/uv

SETUP_BASE  := $(VENV)/stamp-base
SETUP_TEST  := $(VENV)/stamp-test
SETUP_DEV   := $(VENV)/stamp-dev
SETUP_BENCH := $(VENV)/stamp-bench

.DEFAULT_GOAL := help
.PHONY: help demo test check bench bench-diagnosis prove docs lock browser
.DELETE_ON_ERROR:

help:  ## this list
	@sed -n 's/^\([a-z-]*\):.*##  *\(.*\)/  make \1\t\2/p' $(MAKEFILE_LIST) | expand -t 24

demo: $(SETUP_BASE)  ## record a run on the simulated bench, assess it, write the report into demo-out/
	$(BIN)/spoolwright demo

test: $(SETUP_TEST) browser  ## all tests, with the slowest named
	$(BIN)/pytest --durations=15 --durations-min=1

# Every step runs, so that one answer tells all that is wrong.
check: $(SETUP_DEV)  ## format, lint, types, import contracts, house rules, stale reference
	@failed=0; for step in "ruff format --check ." "ruff check ." "mypy" "lint-imports" \
			"python tools/house_rules.py" "python tools/build_docs.py --check"; do \
		printf '\n== %s\n' "$$step"; $(BIN)/$$step || failed=1; \
	done; exit $$failed

bench: $(SETUP_BENCH)  ## every benchmark, each printing its table (one of them: make bench ONLY=name)
	$(BIN)/python tools/bench.py $(ONLY)

prove: $(SETUP_BENCH)  ## measure every claim, write docs/figures.md (one of them: make prove ONLY=name)
	$(BIN)/python tools/prove.py $(ONLY)

bench-diagnosis: $(SETUP_BENCH)  ## the blind bench of the diagnosis, into docs/figures.md (half an hour on 16 cores)
	$(BIN)/python tools/prove.py diagnosis

docs: $(SETUP_DEV)  ## rebuild docs/reference from the docstrings
	$(BIN)/python tools/build_docs.py

# The lock file itself would carry host names, so only its hashed exports are kept.
LOCK   := build/lock
EXPORT := $(UV) export -q --project $(LOCK) --format requirements-txt --no-emit-project --no-header

lock: $(VENV)/stamp-installer  ## resolve the newest versions again into requirements/*.txt
	rm -rf $(LOCK) && mkdir -p $(LOCK) requirements && cp pyproject.toml $(LOCK)/
	$(EXPORT) --only-group installer > requirements/installer.txt
	$(EXPORT) --group build > requirements/base.txt
	$(EXPORT) --group build --group test > requirements/test.txt
	$(EXPORT) --group build --group test --group dev > requirements/dev.txt
	$(EXPORT) --group build --group test --group bench > requirements/bench.txt
	$(EXPORT) --group build --extra gpu > requirements/gpu.txt
	rm -rf $(LOCK)

# Debian may ship Python without ensurepip, so the environment starts without pip and the outer pip fills it.
$(VENV)/stamp-installer: requirements/installer.txt
	@$(PYTHON) -c 'import sys; sys.exit(sys.version_info < (3, 11))' || \
		{ echo "Python 3.11 or newer is needed; name one with: make PYTHON=/path/to/python3"; exit 1; }
	test -x $(BIN)/python || $(PYTHON) -m venv --without-pip $(VENV)
	$(PYTHON) -m pip --python $(BIN)/python install -q --require-hashes -r requirements/installer.txt
	@touch $@

$(VENV)/stamp-%: requirements/%.txt pyproject.toml $(VENV)/stamp-installer
	$(UV) pip install --python $(BIN)/python --require-hashes -r $<
	$(UV) pip install --python $(BIN)/python --no-deps --no-build-isolation -e .
	@touch $@

browser:
	@if command -v chromium >/dev/null && command -v chromedriver >/dev/null; then :; \
	elif [ "$$(id -u)" = 0 ] && command -v apt-get >/dev/null; then \
		apt-get update -q && \
		DEBIAN_FRONTEND=noninteractive apt-get install -y -q --no-install-recommends chromium chromium-driver; \
	else \
		echo "chromium and chromium-driver are not installed: the browser tests cannot run."; \
		echo "Install both with the system's package manager (Debian: apt install chromium chromium-driver)."; \
	fi
