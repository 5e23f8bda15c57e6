# The commands of everyday work. `make help` lists them.

SHELL := /usr/bin/env bash -eu -o pipefail
.DEFAULT_GOAL := help

# FUZZTIME is how long each fuzz target runs; FUZZFLAGS are added, like -json.
FUZZTIME ?= 10s
FUZZFLAGS ?=
# BENCH says which benchmarks run.
BENCH ?= .

.PHONY: help build release web demo test test-long race stress fuzz bench account-bench hub-bench pages-test check examples soak soak-hub

help: ## List the targets
	@awk -F ':.*## ' '/^[a-z-]+:.*## / { printf "  make %-14s %s\n", $$1, $$2 }' Makefile

build: ## Build the program as bin/isohaline
	go build -o bin/isohaline ./cmd/isohaline

# RELEASES are the machines that `make release` builds for: GOOS/GOARCH, and GOARM
# after another slash.
RELEASES := linux/amd64 linux/arm64 linux/arm/7

release: web ## Build static programs for every machine into out/release
	@mkdir -p out/release
	@for target in $(RELEASES); do \
		IFS=/ read -r goos goarch goarm <<<"$$target"; \
		file="out/release/isohaline-$$goos-$$goarch$${goarm:+v$$goarm}"; \
		CGO_ENABLED=0 GOOS=$$goos GOARCH=$$goarch GOARM=$$goarm go build -trimpath -ldflags '-s -w' -o "$$file" ./cmd/isohaline; \
		echo "$$file"; \
	done
	@cd out/release && sha256sum isohaline-* >SHA256SUMS

# The pages are built into the folder from which the program embeds them.
PAGES := internal/server/page/pages/built

web: ## Build the pages into the program (needs Node)
	cd web && npm ci --no-audit --no-fund && npm run build
	rm -rf $(PAGES) && cp -r web/dist $(PAGES)

demo: web build ## Run the service over an invented fleet
	bin/isohaline demo

test: ## Run the tests, but for those that take long
	go test ./...

test-long: ## Run all tests
	ISOHALINE_LONG=1 go test -timeout 20m ./...

race: ## Run the tests under the race detector
	go test -race -timeout 20m ./...

# STRESS are the packages that `make stress` runs, STRESS_COUNT how often.
STRESS ?= ./...
STRESS_COUNT ?= 20

stress: ## Run the tests again and again while both cores are kept busy (STRESS=packages)
	@busy() { while :; do :; done; }; \
	busy & one=$$!; busy & two=$$!; \
	trap 'kill "$$one" "$$two"' EXIT; \
	go test -count=$(STRESS_COUNT) -timeout 2h $(STRESS)

# At the end of its time the fuzzer now and then reports its own deadline as a
# failure; then a target runs once more. An input that fails is kept, and fails again.
fuzz: ## Run every fuzz target for a moment (FUZZTIME=10s)
	@failed=0; \
	while IFS=: read -r file target; do \
		again=1; while :; do \
			said=$$(go test $(FUZZFLAGS) -run '^$$' -fuzz "^$$target\$$" -fuzztime $(FUZZTIME) "./$$(dirname "$$file")" 2>&1) && break; \
			if ((again)) && [[ $$said == *"context deadline exceeded"* && $$said != *"Failing input"* ]]; then again=0; continue; fi; \
			failed=1; break; \
		done; printf '%s\n' "$$said"; \
	done < <(git grep -oE --untracked '^func Fuzz[A-Za-z0-9_]*' -- '*_test.go' | sed 's/func //' | sort); \
	exit $$failed

bench: ## Run the benchmarks (BENCH=regexp)
	go test -run '^$$' -bench '$(BENCH)' -benchmem ./...

soak-hub: ## Ten million tank-days of the hub's watch with everything going wrong: hours, see -from
	go run ./cmd/soak -hub -tank-days 1e7

soak: ## A million hours of edge, network and hub with everything going wrong
	go run ./cmd/soak

account-bench: ## How soon, how surely and how rightly the account finds trouble
	go run ./cmd/accountbench

hub-bench: build ## From a device's publish to a browser, beside mosquitto: time, processor time, bytes written
	go run ./cmd/hubbench -program bin/isohaline

pages-test: web build ## Types, logic and browser tests of the pages (needs Chromium)
	cd web && npm run check && npm test && npm run e2e

check: ## Check format, vet, staticcheck, go.mod and shell scripts
	@unformatted=$$(git ls-files -z '*.go' | xargs -0 gofmt -l); if [ -n "$$unformatted" ]; then echo "gofmt would change:"; echo "$$unformatted"; exit 1; fi
	go vet ./...
	go tool staticcheck ./...
	go mod tidy -diff
	@if command -v shellcheck >/dev/null; then echo shellcheck .ci/run; shellcheck .ci/run; else echo "SKIPPED: shellcheck is not installed"; fi

examples: build ## Check every example and write its sheet into out/
	@mkdir -p out
	@for file in examples/*.yaml; do \
		sheet="out/$$(basename "$$file" .yaml).html"; code=0; \
		bin/isohaline check --html "$$sheet" "$$file" >/dev/null || code=$$?; \
		case $$code in 0) answer=accepted ;; 1) answer="not accepted" ;; *) exit "$$code" ;; esac; \
		echo "$$file: $$answer, see $$sheet"; \
	done
