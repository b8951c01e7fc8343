# Two commands do everything on a fresh machine: `make demo` and `make test`.
PYTHON ?= python3
VENV ?= .venv
BIN := $(VENV)/bin
OUT ?= out
WORKERS ?= 2

.PHONY: help demo test check study lock clean

help:
	@echo "make demo    set everything up, render the demo comparison, say where it is"
	@echo "make test    set everything up, run all tests on the built and installed wheel"
	@echo "make check   ruff, types, format"
	@echo "make study   run the studies behind the figures in docs/studies (hours; QUICK=1 for a small version)"
	@echo "make lock    make constraints.txt again"

demo:
	$(PYTHON) tools/bootstrap.py --venv $(VENV)
	$(BIN)/overlay demo --out $(OUT)/demo

test:
	$(PYTHON) tools/bootstrap.py --venv $(VENV) --extra test
	OVERLAY_EXPECT_INSTALLED=1 OMP_NUM_THREADS=1 OPENBLAS_NUM_THREADS=1 $(BIN)/pytest -n $(WORKERS) --dist loadgroup $(ARGS)

check:
	$(PYTHON) tools/bootstrap.py --venv $(VENV) --extra dev --no-model
	$(BIN)/ruff check .
	$(BIN)/ruff format --check .
	$(BIN)/mypy

study:
	$(PYTHON) tools/bootstrap.py --venv $(VENV) --extra test
	$(BIN)/python studies/run_all.py $(if $(QUICK),--quick)

lock:
	rm -rf build/lock && $(PYTHON) -m venv build/lock
	build/lock/bin/pip install --quiet ".[dev]"
	build/lock/bin/pip freeze --exclude overlay | sed '/ @ /d' > constraints-new.txt
	mv constraints-new.txt constraints.txt

clean:
	rm -rf build dist out
