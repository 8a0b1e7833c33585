# Two commands do all the set-up: `make demo` runs the main job, `make test` passes the tests.
PYTHON ?= python3
VENV := .venv
BIN := $(VENV)/bin
STUBS := $(VENV)/micropython-stubs
CURVES := $(VENV)/real-curves

# The tests start many processes: what each has compiled is kept for the next, away from the sources.
export PYTHONPYCACHEPREFIX := $(CURDIR)/$(VENV)/pycache
export PYTHONDONTWRITEBYTECODE :=

.PHONY: demo test lint style types types-on-board figures presses attack emulated measurements diagram pictures
.PHONY: hardware pins faults board parts-page case drawings guides clean

demo: $(VENV)/ready
	@$(BIN)/lampblack demo

test: $(VENV)/ready-for-tests
	@$(MAKE) --no-print-directory --jobs=3 lint $(VENV)/tests-compiled
	$(BIN)/pytest -n auto --dist worksteal

# Every process of the tests reads all of them: compiled beforehand, beside lint, they are compiled once.
$(VENV)/tests-compiled: $(VENV)/ready-for-tests $(wildcard tests/*.py tests/*/*.py)
	@$(BIN)/pytest --collect-only -qq >/dev/null || true # what is wrong is said when they run
	@touch $@

lint: style types types-on-board

style: $(VENV)/ready-for-tests
	$(BIN)/ruff check .
	$(BIN)/ruff format --check .

types: $(VENV)/ready-for-tests
	$(BIN)/mypy

types-on-board: $(VENV)/ready-for-tests
	$(BIN)/mypy --config-file firmware/mypy.ini --custom-typeshed-dir $(STUBS)

# First all of them quickly, to see that each is there; then each as often as it takes.
figures: $(VENV)/ready-for-tests
	$(BIN)/pytest tests/test_figures.py tests/test_savings.py -m ''
	$(BIN)/python -m tests.figures.presses
	$(BIN)/python -m tests.figures.run

# How many inputs the commonest changes cost at the panel, found by search: some minutes.
presses: $(VENV)/ready-for-tests
	$(BIN)/python -m tests.figures.presses

# The campaign of faults, each attacker for so many rounds, the slow ones for fewer: an hour or two on an idle machine.
# Any round can be played again by its seed.
ROUNDS ?= 20000
attack: $(VENV)/ready-for-tests
	$(BIN)/python -m tests.attack --rounds $(ROUNDS)

# Everything on the emulated Pico, the long tests too. Needs LAMPBLACK_UF2=path/to/MicroPython.uf2
emulated: $(VENV)/ready-for-tests
	$(BIN)/pytest tests/rig -m '' -rs -n auto --dist worksteal

# The whole matrix on the emulated Pico, written to docs/measurements.md: hours. Needs LAMPBLACK_UF2 too.
measurements: $(VENV)/ready-for-tests
	$(BIN)/python -m tests.rig.measure

# What the documents take from the code: state diagram, pictures of the panel, settings, replies on the wire.
diagram: $(VENV)/ready
	$(BIN)/python docs/made.py

# The pictures of the page in the documents, taken on the way by the browser tests. Needs Chromium on PATH.
pictures: $(VENV)/ready-for-tests
	LAMPBLACK_PICTURES=1 $(BIN)/pytest tests/browser

# Every single fault of the circuit, simulated and judged, in hardware/made/faults.csv. Needs ngspice.
faults: $(VENV)/ready-for-tests
	$(BIN)/python -m hardware.checks.faults

# Parts list, made tables of the hardware's pages, and their pictures: steps of the build, connectors, breadboard,
# drilling template.
guides: $(VENV)/ready-for-tests
	$(BIN)/python -m hardware.guide
	$(BIN)/python -m hardware.step_pictures
	$(BIN)/python -m hardware.wiring
	$(BIN)/python -m hardware.breadboard
	$(BIN)/python -m hardware.case.template

# The schematic, drawn and compared with the parts, in hardware/made/drawings.
drawings: $(VENV)/ready-for-tests
	$(BIN)/python -m hardware.drawings

# The board from parts.toml: KiCad's file, what a maker takes, drawings. Needs KiCad 6 with its footprints, and runs
# under the Python that it came with.
KICAD_PYTHON ?= /usr/bin/python3
board:
	$(KICAD_PYTHON) -m hardware.board

# The board in a browser, a page to tick parts off. Needs KiCad as well, and fetches InteractiveHtmlBom for its Python.
PARTS_PAGE := $(VENV)/parts-page
parts-page: $(PARTS_PAGE)/ready
	$(PARTS_PAGE)/bin/python -m hardware.parts_page

# The case: solids for a printer, pictures, and the search for clashes and for ways of light. Installs build123d first,
# about 1 GB, which nothing else needs.
case: $(VENV)/ready-for-tests
	$(BIN)/pip install --quiet --disable-pip-version-check --editable '.[case]'
	$(BIN)/python -m hardware.case
	$(BIN)/python -m hardware.case.template
	$(BIN)/python -m hardware.checks.clashes
	$(BIN)/python -m hardware.checks.light_traps

# All that is made of the hardware, each from what it needs; what a missing tool leaves out is said.
hardware: $(VENV)/ready-for-tests
	@$(BIN)/python -m hardware.make_all $(KICAD_PYTHON)

# The board's pins, from their one source.
pins:
	$(PYTHON) hardware/make_pins.py

$(VENV)/ready: pyproject.toml
	@$(PYTHON) -c 'import sys; sys.exit(sys.version_info < (3, 11))' || \
	  { echo "Lampblack needs Python 3.11 or newer. Name one: make demo PYTHON=python3.12"; exit 1; }
	$(PYTHON) -m venv $(VENV)
	$(BIN)/pip install --quiet --disable-pip-version-check --editable '.[lab]'
	@touch $@

$(VENV)/ready-for-tests: $(VENV)/ready $(STUBS)/ready $(CURVES)/ready
	$(BIN)/pip install --quiet --disable-pip-version-check --editable '.[lab,test]'
	@touch $@

# MicroPython's modules for mypy, pinned: the 1.22 of a board, within what all Pythons have. In a folder of
# their own, laid out as mypy has its own, so that they hide nothing from what runs on a PC.
$(STUBS)/ready: $(VENV)/ready Makefile
	rm -rf $(STUBS)
	$(BIN)/pip install --quiet --disable-pip-version-check --no-deps --target $(STUBS) \
	  micropython-stdlib-stubs==1.29.0.post2
	$(BIN)/pip install --quiet --disable-pip-version-check --no-deps --upgrade --target $(STUBS)/stdlib \
	  micropython-rp2-rpi-pico-stubs==1.22.1.post2
	@touch $@

# The curves of a real paper, for the tests: one file is read, and nothing of what it needs to run is fetched.
$(CURVES)/ready: $(VENV)/ready Makefile
	rm -rf $(CURVES)
	$(BIN)/pip install --quiet --disable-pip-version-check --no-deps --target $(CURVES) spectral-film-lut==0.18.13
	@touch $@

$(PARTS_PAGE)/ready: Makefile
	$(KICAD_PYTHON) -m venv --system-site-packages $(PARTS_PAGE)
	$(PARTS_PAGE)/bin/pip install --quiet --disable-pip-version-check --no-deps interactivehtmlbom==2.12.0
	@touch $@

clean:
	rm -rf $(VENV) .pytest_cache .mypy_cache .ruff_cache .hypothesis
