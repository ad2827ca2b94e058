# Everything from a fresh clone, with Rust, CPython 3.11 or later, a C compiler and make.
#
#   make demo    build, run the demonstration study, write its tables and figures to demo-results/
#   make test    build, then every test of the engine and of the Python package
#   make lint    format, lints, documentation and types; warnings are errors
#   make bench   build, then the benchmarks beside other ways of doing the same work
#   make quick   test the engine's units, the plain interpreter among them: less than a minute once built
#   make mutants make small wrong changes in what a branch changed (since BASE), and list those that no test sees
#   make clean   remove what the above made

SHELL := /bin/bash
.DEFAULT_GOAL := demo
.DELETE_ON_ERROR:
.PHONY: demo test test-engine test-package quick lint lint-engine lint-package bench mutants clean

# The interpreter that makes .venv; set it to use another one.
PYTHON3 ?= python3
VENV := .venv
PYTHON := $(VENV)/bin/python
STAMPS := $(VENV)/stamps
PIP_OPTIONS := --quiet --disable-pip-version-check
TRIALS ?= 10000
PLANTED_LIVES ?= 30000
# What a branch is held against by make mutants.
BASE ?= main

# The package is compiled for the processor at hand; set it empty for a portable one. Results are the same.
PROCESSOR ?= -C target-cpu=native

BUILT_FROM := $(shell find src -type f) Cargo.toml Cargo.lock pyproject.toml

demo: $(STAMPS)/package
	$(VENV)/bin/serrata compare demo-data/demo-study.toml --trials $(TRIALS) --planted-lives $(PLANTED_LIVES) --seed 1 --out demo-results

test: test-engine test-package

test-engine:
	cargo test --quiet

# Both want the one build directory; the package has another, and is built meanwhile.
ifneq ($(filter lint,$(MAKECMDGOALS)),)
test-engine: | lint-engine
endif

test-package: $(STAMPS)/package $(STAMPS)/tools
	$(PYTHON) -m pytest

quick:
	cargo test --quiet --profile mutants --lib

lint: lint-engine lint-package

lint-engine:
	cargo fmt --check
	cargo clippy --quiet --all-targets -- -D warnings
	cargo clippy --quiet --lib --features python -- -D warnings
	RUSTDOCFLAGS="-D warnings" cargo doc --quiet --no-deps

lint-package: $(STAMPS)/package $(STAMPS)/tools
	$(VENV)/bin/ruff check --quiet .
	$(VENV)/bin/ruff format --quiet --check .
	$(VENV)/bin/mypy
	$(PYTHON) -m mypy.stubtest serrata._engine --concise

bench: $(STAMPS)/package $(STAMPS)/peers
	$(PYTHON) benches/side_by_side.py
	$(PYTHON) benches/fleet.py
	$(PYTHON) benches/cracks.py
	$(PYTHON) benches/hit_miss.py
	$(PYTHON) benches/rare.py
	$(PYTHON) benches/given.py
	$(PYTHON) benches/scale.py --figure benches/scale.png

mutants: $(VENV)/bin/cargo-mutants
	git diff $(BASE) -- src > $(VENV)/branch.diff
	$(VENV)/bin/cargo-mutants mutants --in-diff $(VENV)/branch.diff --output $(VENV)

clean:
	rm -rf $(VENV) demo-results target python/serrata/_engine*.so
	find . -name __pycache__ -not -path './$(VENV)/*' -prune -exec rm -rf {} +

$(VENV)/bin/cargo-mutants: | $(STAMPS)/venv
	@echo "installing cargo-mutants"
	@cargo install --quiet --locked --root $(VENV) cargo-mutants

# An interpreter of its own, with the tool that builds the package.
$(STAMPS)/venv:
	@command -v cargo >/dev/null || { echo "cargo is missing: install Rust 1.89 or later"; exit 1; }
	@command -v $(PYTHON3) >/dev/null || { echo "$(PYTHON3) is missing: install CPython 3.11 or later, or set PYTHON3"; exit 1; }
	@$(PYTHON3) -c 'import sys; sys.exit(sys.version_info < (3, 11))' || \
		{ echo "$$($(PYTHON3) --version) is too old: CPython 3.11 or later is needed; set PYTHON3"; exit 1; }
	@echo "making $(VENV)"
	@$(PYTHON3) -m venv $(VENV)
	@$(PYTHON) -m pip install $(PIP_OPTIONS) 'maturin>=1.9.4,<2'
	@mkdir -p $(STAMPS)
	@touch $@

# The package: the compiled engine stands beside the Python sources, so that an edit of those needs no
# new build.
$(STAMPS)/package: $(BUILT_FROM) | $(STAMPS)/venv
	@echo "building serrata; the first time takes some minutes"
	@RUSTFLAGS="$(PROCESSOR)" VIRTUAL_ENV=$(abspath $(VENV)) PIP_QUIET=1 CARGO_TERM_QUIET=true $(VENV)/bin/maturin develop --release --quiet
	@touch $@

# What the programs that serrata is measured beside need.
$(STAMPS)/peers: pyproject.toml | $(STAMPS)/package
	@echo "installing what the benchmark's peers need"
	@$(PYTHON) -m pip install $(PIP_OPTIONS) 'serrata[bench]'
	@touch $@

# What tests and checks need beyond it.
$(STAMPS)/tools: pyproject.toml | $(STAMPS)/package
	@echo "installing what tests and checks need"
	@$(PYTHON) -m pip install $(PIP_OPTIONS) 'serrata[dev]'
	@touch $@
