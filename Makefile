# make demo   install, run the main job on sample_data/, show the verdict
# make test   install what the tests need, run every check
# make bench  print the benchmarks
#
# A second run installs nothing and needs no network. PYTHON=python3.12 chooses another.

PYTHON ?= python3
VENV := .venv
BIN := $(VENV)/bin
PIP := $(BIN)/python -m pip install --quiet --disable-pip-version-check --constraint constraints.txt
OUT := demo_out

.PHONY: demo test packages check bench clean

demo: $(VENV)/.installed
	@$(BIN)/python sample_data/run_demo.py $(OUT)

test: packages check

packages:
	@tests/rig/install_packages.sh

check: $(VENV)/.installed-test
	$(BIN)/ruff check .
	$(BIN)/ruff format --check .
	$(BIN)/mypy
	# A process a core, each with one thread: the libraries' own threads would only compete.
	OMP_NUM_THREADS=1 OPENBLAS_NUM_THREADS=1 \
	  $(BIN)/python -m pytest --quiet --numprocesses auto --dist loadfile

bench: $(VENV)/.installed-test
	$(BIN)/python -m benchmarks.reading
	$(BIN)/python -m benchmarks.startup
	$(BIN)/python -m benchmarks.accuracy

$(VENV)/bin/python:
	@$(PYTHON) -c 'import sys; sys.exit(sys.version_info < (3, 11))' || \
	  { echo "Apexline needs Python 3.11 or newer; try: make PYTHON=python3.12 ..."; exit 2; }
	@$(PYTHON) -m venv $(VENV) || \
	  { rm -rf $(VENV); echo "Python's venv is missing; on Debian and Ubuntu: apt install python3-venv"; exit 2; }

$(VENV)/.installed: pyproject.toml constraints.txt | $(VENV)/bin/python
	$(PIP) --editable .
	@touch $@

$(VENV)/.installed-test: $(VENV)/.installed
	$(PIP) --editable '.[test]'
	@touch $@

clean:
	rm -rf $(VENV) $(OUT) dist build .pytest_cache .mypy_cache .ruff_cache .hypothesis
