# Two commands are enough: "make demo" and "make test". Everything is kept inside this folder.
PYTHON ?= python3
VENV := .venv
BIN := $(VENV)/bin
DEBIAN := bind9-utils openssl poppler-utils chromium libreoffice-calc-nogui genisoimage qemu-utils

.PHONY: demo test bench lint types fast tools fuzz screenshots clean

demo: $(VENV)/installed
	@$(BIN)/python -m demo.run

test: $(VENV)/installed tools lint types
	$(BIN)/python -m pytest -n 2 --dist loadgroup

# Ratios within one run, with the machine's name, kept in docs/benchmarks.md. Best on a quiet machine: a few minutes.
bench: $(VENV)/installed
	$(BIN)/python -m bench.run

lint: $(VENV)/installed
	$(BIN)/ruff format --check .
	$(BIN)/ruff check .

types: $(VENV)/installed
	$(BIN)/mypy

# A picture of every page, narrow, wide and dark, in build/screenshots; look at them before a page is called done.
screenshots: $(VENV)/installed tools
	$(BIN)/python -m demo.screenshots

# Invents hostile packages: FUZZ_SECONDS for each reader of outside bytes. What breaks a promise is written as crash-….
FUZZ_SECONDS ?= 120
fuzz: $(VENV)/installed
	$(BIN)/python -m pip install --quiet --disable-pip-version-check --group fuzz
	@for part in archive descriptor mutilated environment manifest units qualifiers; do \
	  PYTHONPATH=src:. $(BIN)/python -m tests.fuzz.target $$part $(FUZZ_SECONDS) build/fuzz || exit 1; done

# What the tests use beside Python. As root it is installed; otherwise it is named, and those parts are skipped.
tools:
	@missing=""; for package in $(DEBIAN); do \
	  dpkg-query -W -f '$${Status}' $$package 2>/dev/null | grep -q "install ok installed" || missing="$$missing $$package"; done; \
	if [ -z "$$missing" ]; then :; \
	elif [ "$$(id -u)" = 0 ] && command -v apt-get >/dev/null; then \
	  apt-get -o DPkg::Lock::Timeout=120 update -qq && \
	  DEBIAN_FRONTEND=noninteractive apt-get -o DPkg::Lock::Timeout=120 install -y -qq --no-install-recommends $$missing; \
	else echo "not root: would install$$missing; the tests that need them are skipped"; fi

$(VENV)/installed: pyproject.toml
	$(PYTHON) -c 'import sys; sys.exit(sys.version_info < (3, 11) and "Python 3.11 or later is needed")'
	$(PYTHON) -m venv $(VENV)
	$(BIN)/python -m pip install --quiet --disable-pip-version-check --upgrade pip
	$(BIN)/python -m pip install --quiet --disable-pip-version-check --editable . --group dev
	@touch $@

clean:
	rm -rf $(VENV) build
