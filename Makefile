# What a person or a build machine runs. `make test` is the quick suite, `make test-long` the heavy references.

CARGO ?= cargo
SYSTEM_PACKAGES = libgdal-dev pkg-config cmake libclang-dev
DEMO_RUN = demo-run

.PHONY: demo picture test test-long bench shipped system

# The demo property, all outputs.
demo: system
	$(CARGO) build --release
	./target/release/rowfall run pipelines/first-cut.toml -o $(DEMO_RUN)
	@echo "open $(DEMO_RUN)/report.html"

# The picture of the demo's plan the README shows, from the last demo run; rsvg-convert of librsvg draws it.
picture:
	rsvg-convert -w 1400 -b white $(DEMO_RUN)/maps/plan.svg -o docs/demo-plan.png

test: system
	$(CARGO) test

# Heavier references: larger cases and programs outside ours. What is not installed is said to be left out.
test-long: system
	$(CARGO) test --release -- --include-ignored
	$(MAKE) demo
	.ci/validate $(DEMO_RUN)
	.ci/papers $(DEMO_RUN)

# Our methods one by one, then beside other engines on the same files (installed into target/bench-peers).
bench: system
	$(CARGO) bench
	.ci/bench-peers

# Writes the shipped pipeline files and their schema again.
shipped: system
	ROWFALL_WRITE_SHIPPED=1 $(CARGO) test --test it shipped_files_are_current

# GDAL (with PROJ) and pkg-config, and what HiGHS of the tests is built with (CMake and libclang): installed on Debian and
# Ubuntu when missing, else said.
system:
	@clang() { [ -n "$$LIBCLANG_PATH" ] || ls /usr/lib/llvm-*/lib/libclang*.so* /usr/lib*/libclang*.so* >/dev/null 2>&1; }; \
	if pkg-config --exists gdal 2>/dev/null && command -v cmake >/dev/null 2>&1 && { clang || ! command -v apt-get >/dev/null 2>&1; }; then exit 0; fi; \
	if command -v apt-get >/dev/null 2>&1; then \
		if [ "$$(id -u)" = 0 ]; then as_root=""; else as_root="sudo"; fi; \
		echo "installing $(SYSTEM_PACKAGES): rowfall reads and writes maps with GDAL, its tests ask HiGHS"; \
		echo "+ $$as_root apt-get update && $$as_root apt-get install -y --no-install-recommends $(SYSTEM_PACKAGES)"; \
		$$as_root apt-get update && \
		$$as_root env DEBIAN_FRONTEND=noninteractive apt-get install -y --no-install-recommends $(SYSTEM_PACKAGES); \
	else \
		echo "rowfall needs GDAL 3.4 or newer with its headers, pkg-config, and CMake and libclang for its tests. Install them with one of:"; \
		echo "  Fedora:  sudo dnf install gdal-devel pkgconf cmake clang-devel"; \
		echo "  Arch:    sudo pacman -S gdal pkgconf cmake clang"; \
		echo "  macOS:   brew install gdal pkg-config cmake llvm"; \
		exit 1; \
	fi
