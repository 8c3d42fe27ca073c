# caneward: build, run, test. See DEVELOPERS.md.
PORT ?= 8080
GO ?= go
BIN := bin/caneward
WEB := web/app
# Extension loading off: records never load code.
TAGS := sqlite_omit_load_extension
VERSION := $(shell git describe --always --dirty 2>/dev/null || echo unknown)

.PHONY: run build web test test-go test-web test-browser test-gdal lint bench soak screenshots tools

run: build
	@$(BIN) demo --listen 127.0.0.1:$(PORT)

build: web
	$(GO) build -tags '$(TAGS)' -ldflags '-X main.version=$(VERSION)' -o $(BIN) ./cmd/caneward

# The page is built by npm from the lock file alone; no install script runs.
$(WEB)/node_modules/.installed: $(WEB)/package.json $(WEB)/package-lock.json
	cd $(WEB) && npm ci --ignore-scripts --no-audit --no-fund
	@touch $@

web: web/dist/index.html

web/dist/index.html: $(WEB)/node_modules/.installed $(shell find $(WEB)/src $(WEB)/public $(WEB)/scripts $(WEB)/index.html $(WEB)/*.ts $(WEB)/tsconfig*.json -type f 2>/dev/null)
	cd $(WEB) && npm run --silent build

# What leaves a processor idle runs beside something else; the browsers take them all.
test: lint
	$(MAKE) -j2 --output-sync=target test-go test-web test-gdal
	$(MAKE) test-browser
	@echo "all tests ran"

lint: web
	@test -z "$$(gofmt -l cmd geo blocks records tiles web/*.go web/problem)" || { gofmt -l cmd geo blocks records tiles web/*.go web/problem; echo "gofmt would change the files above"; exit 1; }
	$(GO) vet -tags '$(TAGS)' ./...
	cd $(WEB) && npm run --silent lint

# The race detector runs where goroutines share state; the pure arithmetic runs without it.
RACED := ./records/memory/... ./records/sqlite/... ./records/people/... ./records/entry/... ./web/... ./tiles/...
test-go: web
	$(GO) test -tags '$(TAGS)' -timeout 12m $$($(GO) list -tags '$(TAGS)' ./... | grep -vxF "$$($(GO) list -tags '$(TAGS)' $(RACED))")
	$(GO) test -tags '$(TAGS)' -timeout 12m -race $(RACED)

test-web: $(WEB)/node_modules/.installed
	cd $(WEB) && npm test --silent

test-browser: build
	.ci/browser.sh

# What general GIS programs make of our files, and we of theirs.
test-gdal:
	.ci/gdal.sh

bench:
	.ci/bench.sh

# The long rounds: two hundred thousand changed files, ten thousand seasons of
# phones, two hundred kills of the server, twenty copies under load restored, a
# thousand flipped bits, sixty thousand pairs of outlines, 2,500 slow clients, every fuzz target
# for a minute, and the rules of every screen in every size and language.
soak: build
	SOAK=1 $(GO) test -tags '$(TAGS)' -timeout 60m -run 'Mutated|PartingAgainst|SyncAgainst|KilledWhile|CopiesUnderLoad|FlippedBit|Slow|Histories' -v ./blocks/intake ./geo/overlay ./records/fence ./records/sqlite ./web ./cmd/caneward
	.ci/fuzz.sh 60s
	SOAK=1 .ci/browser.sh

screenshots: build
	cd $(WEB) && node e2e/screenshots.mjs ../../testdata/screenshots
