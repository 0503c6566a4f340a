# make demo   the whole job on the bench, no hardware needed
# make test   all tests        make quick   the fast ones        make bench   the figures
# Each sets up what it needs: Debian packages (where it may), the virtual environment, the package.

PYTHON ?= python3
VENV ?= .venv
BIN := $(VENV)/bin

.PHONY: demo test quick bench docs format packages test-packages clean

demo: packages $(VENV)/.installed
	@$(BIN)/tankfleet demo

test: test-packages $(VENV)/.installed-tests
	@$(BIN)/python -m tests.lanes

quick: test-packages $(VENV)/.installed-tests
	@$(BIN)/python -m pytest -n 2 --dist loadfile

bench: test-packages $(VENV)/.installed-tests
	@$(BIN)/python -m benchmarks

docs: $(VENV)/.installed-tests
	@$(BIN)/python docs/codes.py
	@$(BIN)/python docs/schemas.py
	@$(BIN)/python docs/pictures.py

format: $(VENV)/.installed-tests
	@$(BIN)/ruff check --fix-only --quiet . ; $(BIN)/ruff format --quiet .

packages:
	@PYTHON=$(PYTHON) .ci/prepare

test-packages:
	@PYTHON=$(PYTHON) .ci/prepare tests

$(BIN)/python: | packages
	@echo "Making the virtual environment $(VENV)" >&2
	@$(PYTHON) -m venv $(VENV)

$(VENV)/.installed: pyproject.toml | packages $(BIN)/python
	@echo "Installing tankfleet into $(VENV)" >&2
	@$(BIN)/python -m pip install --quiet --disable-pip-version-check --editable .
	@touch $@

$(VENV)/.installed-tests: pyproject.toml | test-packages $(BIN)/python
	@echo "Installing tankfleet and its test tools into $(VENV)" >&2
	@$(BIN)/python -m pip install --quiet --disable-pip-version-check --editable '.[test]'
	@touch $@ $(VENV)/.installed

clean:
	rm -rf $(VENV) .tankfleet rendered
