# Everything a person needs: `make demo` runs it, `make test` proves it. Only Python 3.11+ is needed.

PYTHON ?= $(firstword $(foreach name,python3 python3.14 python3.13 python3.12 python3.11,\
	$(if $(shell $(name) -c 'import sys; print(*[1][:sys.version_info >= (3, 11)])' 2>/dev/null),$(name))))
BIN := .venv/bin
PIP := $(BIN)/python -m pip --disable-pip-version-check install -qq --constraint constraints.txt
ARGS ?=

.PHONY: demo test lint audit check bench test-influx clean
.DELETE_ON_ERROR:

demo: .venv/demo.done
	@$(BIN)/leafweather demo $(ARGS)

# The quick tests; all of them with LEAFWEATHER_TEST_ALL, as in CI. Named ones (ARGS) are run whichever they are.
QUICK := $(if $(LEAFWEATHER_TEST_ALL)$(ARGS),,-m "not slow")
SIDE_BY_SIDE := --numprocesses auto --maxprocesses 4 --dist loadfile

test: .venv/dev.done
	$(BIN)/python -m pytest $(SIDE_BY_SIDE) $(QUICK) $(ARGS)

lint: .venv/dev.done
	$(BIN)/ruff format --check .
	$(BIN)/ruff check .
	$(BIN)/mypy

# Known vulnerabilities of what is pinned; it says so where nobody can be asked.
audit: .venv/dev.done
	$(BIN)/python .ci/audit $(ARGS)

# Format, lint, types and the quick tests: before every commit.
check: lint
	$(BIN)/python -m pytest $(SIDE_BY_SIDE) -m "not slow" -q

# The store's contract on a real InfluxDB 2 server: in a container, or LEAFWEATHER_TEST_INFLUX_URL, _TOKEN and _ORG.
test-influx: .venv/dev.done
	$(BIN)/python -m pytest tests/store/test_influx_server.py $(ARGS)

bench: .venv/dev.done
	@for script in bench/[a-z]*.py; do $(BIN)/python $$script $(ARGS) || exit 1; done

clean:
	rm -rf .venv demo-data build dist *.egg-info

.venv/bin/python:
	@[ -z "$(PYTHON)" ] || $(PYTHON) -c 'import sys; sys.exit(sys.version_info < (3, 11))' 2>/dev/null || { echo "PYTHON=$(PYTHON) is no Python 3.11 or newer: name one that is, or leave PYTHON out."; exit 2; }
	@[ -n "$(PYTHON)" ] || { echo "Leafweather needs Python 3.11 or newer, and none was found on the path. Install one, or name it: make demo PYTHON=/path/to/python3.12"; exit 2; }
	@echo "Making a virtual environment in .venv with $$($(PYTHON) --version) ..."
	@$(PYTHON) -m venv .venv || { rm -rf .venv; echo "Python could not make a virtual environment in $$(pwd): see above. On Debian, install python3-venv; check that you may write here."; exit 2; }

.venv/demo.done: pyproject.toml constraints.txt | .venv/bin/python
	@echo "Installing Leafweather and what it needs (a minute or two, once) ..."
	@$(PIP) --editable '.[demo]' || { echo "The installation failed: see above. It needs the network, once."; exit 2; }
	@touch $@

.venv/dev.done: pyproject.toml constraints.txt | .venv/bin/python
	@echo "Installing Leafweather and what its tests need (a minute or two, once) ..."
	@$(PIP) --editable '.[demo,dev]' || { echo "The installation failed: see above. It needs the network, once."; exit 2; }
	@touch $@ .venv/demo.done
